//! Whether treble comes back with a gain that depends on its level, as a noise reduction left on makes it.
//!
//! A treble compander that only records lifts quiet treble, one that only plays back lowers it; the noise suppression of a sound card
//! lowers whatever is quiet. Tape alone compresses loud treble, which looks like quiet treble lifted; so that
//! direction is only told where quiet treble of two levels is there to compare (tones and pink noise).
//!
//! Compared are tones of one frequency at two levels: 3150 Hz at 0 and at -20 dB, less the same of tones near 400 Hz,
//! on both channels, from a tone that is steady. What the sound card suppresses shows as a silence that is 6 dB quieter
//! than the hiss far above a quiet low tone.

use crate::measure::faults::cells::{Cells, LEAST_POWER};
use crate::measure::faults::surroundings::{LoudTone, Surroundings};
use crate::measure::response::steps::PlayedTone;
use crate::signal::statistics::median;

/// Quiet treble weaker than loud treble by this much, dB, while low tones are alike: no tape does that.
const LOWERED_DB: f64 = 2.0;
/// The same where the hiss says it, too.
const LOWERED_WITH_HISS_DB: f64 = 1.0;
/// Hiss of the treble beside a loud tone over hiss in the silence, dB: modulation noise far from the tone makes less.
const HISS_DB: f64 = 3.0;
/// Quiet treble stronger than loud treble by this much, dB, ...
const LIFTED_DB: f64 = 1.0;
/// ... and treble of pink noise stronger than that of single tones by this much, dB, which tape does not make.
const PINK_LIFTED_DB: f64 = 0.6;
/// A loud tone whose level changes by more than this while it plays says nothing, dB.
const STEADY_DB: f64 = 0.5;
/// Hiss beside a quiet low tone over hiss in the silence, dB, from which on a noise suppression is at work.
const SUPPRESSED_DB: f64 = 6.0;

/// What depends on level that should not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LevelDependence {
    /// Quiet treble comes back weaker than loud treble, dB: played back with noise reduction, recorded without.
    Lowered(f64),
    /// Quiet treble comes back stronger than loud treble, dB: recorded with noise reduction, played back without.
    Lifted(f64),
    /// Silence is quieter than the noise beside a quiet tone, dB: noise suppression of the sound card.
    Suppressed(f64),
}

/// A tone and when it plays, s of the programme.
pub(crate) type At<'a> = (f64, PlayedTone<'a>);

/// What depends on level, by the tones at `tones` and what lies around them.
///
/// `slates_db` is the level of the slates near a time of the programme: what drifts with time, they show as well.
pub(crate) fn level_dependence(
    tones: &[At<'_>],
    around: &Surroundings,
    slates_db: &dyn Fn(f64) -> [f64; 2],
) -> Option<LevelDependence> {
    let channels = || [0, 1].into_iter().filter(|&channel| around.there[channel]);
    // Such a switch acts on both channels: the less sure one decides.
    let every = |of: &dyn Fn(usize) -> Option<f64>, pick: fn(f64, f64) -> f64| {
        channels().map(of).reduce(|a, b| Some(pick(a?, b?))).flatten()
    };
    if let (Some(silence), Some((beside, hz))) = (&around.silence, &around.quiet_low) {
        let from_hz = (4.0 * hz).max(hz + 3000.0);
        let above = |channel| hiss_over_silence_db(beside, silence, channel, from_hz, 12_000.0);
        if let Some(db) = every(&above, f64::min).filter(|&db| db >= SUPPRESSED_DB) {
            return Some(LevelDependence::Suppressed(db));
        }
    }
    let loud = around.loud_treble.as_ref()?;
    // With what drifted subtracted and without: what they agree on is there.
    let quiet_over_loud = |channel: usize| {
        let drifting = quiet_over_loud_db(tones, loud, channel, &|_| 0.0)?;
        let still = quiet_over_loud_db(tones, loud, channel, &|at_s| slates_db(at_s)[channel])?;
        Some(if drifting * still <= 0.0 { 0.0 } else { drifting.signum() * drifting.abs().min(still.abs()) })
    };
    let hiss = |channel| {
        let silence = around.silence.as_ref()?;
        hiss_over_silence_db(&loud.cells, silence, channel, 2.2 * loud.hz, 14_000.0)
    };
    let hiss_db = every(&hiss, f64::min);
    if let Some(db) = every(&quiet_over_loud, f64::max) {
        let with_hiss = hiss_db.is_some_and(|hiss_db| hiss_db >= HISS_DB);
        if db <= -LOWERED_DB || (db <= -LOWERED_WITH_HISS_DB && with_hiss) {
            return Some(LevelDependence::Lowered(-db));
        }
    }
    let pink = |channel: usize| pink_over_tones_db(tones, around, channel, &|at_s| slates_db(at_s)[channel]);
    match (every(&quiet_over_loud, f64::min), every(&pink, f64::min)) {
        (Some(db), Some(pink_db)) if db >= LIFTED_DB && pink_db >= PINK_LIFTED_DB => {
            Some(LevelDependence::Lifted(db))
        }
        _ => None,
    }
}

fn db(ratio: f64) -> f64 {
    10.0 * ratio.max(1e-30).log10()
}

/// Gain of a tone on one channel, dBFS less its level in the programme, less what drifted.
fn gain_db((at_s, tone): &At<'_>, channel: usize, drift_db: &dyn Fn(f64) -> f64) -> Option<f64> {
    let level = tone.tone.levels[channel]?;
    (level.noise_share < 0.1).then_some(level.dbfs - tone.programme_db - drift_db(*at_s))
}

/// Gain of the quiet treble over that of the loud treble, less the same of low tones, dB.
fn quiet_over_loud_db(
    tones: &[At<'_>],
    loud: &LoudTone,
    channel: usize,
    drift_db: &dyn Fn(f64) -> f64,
) -> Option<f64> {
    let ends: Vec<f64> = loud
        .ends
        .iter()
        .map(|end| Some(end.as_ref()?.levels[channel]?.dbfs - loud.programme_db))
        .collect::<Option<_>>()?;
    if (ends[0] - ends[1]).abs() > STEADY_DB {
        return None;
    }
    let loud_db = (ends[0] + ends[1]) / 2.0 - drift_db(loud.at_s);
    let near = |a: f64, b: f64, ratio: f64| (a / b).max(b / a) < ratio;
    let quiet_db = tones
        .iter()
        .filter(|(_, tone)| near(tone.hz, loud.hz, 1.05) && loud.programme_db - tone.programme_db > 15.0)
        .find_map(|tone| gain_db(tone, channel, drift_db))?;
    let low = || tones.iter().filter(|(_, tone)| (250.0..550.0).contains(&tone.hz));
    let mut low_db: Vec<f64> = Vec::new();
    for loud in low().filter(|(_, tone)| tone.programme_db > -6.0) {
        for quiet in low() {
            if near(loud.1.hz, quiet.1.hz, 1.3) && loud.1.programme_db - quiet.1.programme_db > 15.0 {
                low_db.push(gain_db(quiet, channel, drift_db)? - gain_db(loud, channel, drift_db)?);
            }
        }
    }
    (!low_db.is_empty()).then(|| quiet_db - loud_db - median(&low_db))
}

/// Noise of `beside` over that of `silence` between two frequencies, median of the cells, dB; `None` where there is too
/// little noise to tell.
fn hiss_over_silence_db(
    beside: &Cells,
    silence: &Cells,
    channel: usize,
    from_hz: f64,
    to_hz: f64,
) -> Option<f64> {
    let ratios_db: Vec<f64> = beside
        .between(from_hz, to_hz.min(0.8 * beside.end_hz()))
        .filter(|&k| beside.medians[channel][k] > LEAST_POWER)
        // Beyond -130 dBFS a bin there is nothing.
        .map(|k| {
            db(beside.medians[channel][k]
                / silence.medians[channel].get(k).copied().unwrap_or(0.0).max(1e-13))
        })
        .collect();
    (ratios_db.len() >= 12).then(|| median(&ratios_db))
}

/// Response of the treble to pink noise over that to single quiet tones, both against the middle, dB.
fn pink_over_tones_db(
    tones: &[At<'_>],
    around: &Surroundings,
    channel: usize,
    drift_db: &dyn Fn(f64) -> f64,
) -> Option<f64> {
    let (pink, pink_db) = around.pink.as_ref()?;
    let silence = around.silence.as_ref()?;
    let difference = |from_hz: f64, to_hz: f64| {
        let rows: Vec<f64> = tones
            .iter()
            .filter(|(_, tone)| {
                tone.hz >= from_hz && tone.hz <= to_hz && (tone.programme_db - pink_db).abs() < 3.0
            })
            .filter_map(|at| {
                let tone = at.1;
                // A third of an octave around the tone holds the same power of pink noise everywhere.
                let third = (tone.hz * 2f64.powf(-1.0 / 6.0), tone.hz * 2f64.powf(1.0 / 6.0));
                let noise = silence.power(channel, third.0, third.1);
                let power = pink.power(channel, third.0, third.1);
                (power > 10.0 * noise)
                    .then(|| Some(db(power - noise) - gain_db(at, channel, drift_db)?))
                    .flatten()
            })
            .collect();
        (rows.len() >= 3).then(|| rows.iter().sum::<f64>() / rows.len() as f64)
    };
    Some(difference(3900.0, 10_100.0)? - difference(390.0, 1010.0)?)
}
