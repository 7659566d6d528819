//! Whether the gain follows the loudness, as an automatic recording level makes it.

use crate::measure::response::steps::PlayedTone;
use crate::reading::DistortionStep;
use crate::signal::statistics::median;

/// Tones that are compared lie at least this far apart in level, dB, ...
const APART_DB: f64 = 10.0;
/// ... and at most this far in frequency, as a ratio: a response that is not flat must not count.
const NEAR: f64 = 1.35;
/// Gain of the quiet tone over that of the loud one that no tape makes, dB: tape compresses a tone at the reference
/// level by some tenths (common practice, no source).
const MOST_DB: f64 = 1.5;
/// The same where the tones are not of one frequency: a bass cut may lie between them.
const MOST_APART_DB: f64 = 2.5;

/// How much more gain a quiet step of a distortion ladder had than the one at the reference level, dB, if that is more
/// than a curve that makes the measured third harmonic compresses: y = x - c x^3 lowers the fundamental by a factor of
/// 1 / (1 + 3 k3).
pub fn ladder_riding_db(steps: &[DistortionStep]) -> Option<f64> {
    let loud = steps.iter().filter(|step| step.programme_db.abs() < 0.01);
    let pairs = loud.flat_map(|loud| {
        let quiet = steps.iter().filter(|step| step.hz == loud.hz && step.programme_db <= -8.0);
        quiet.map(move |quiet| (loud, quiet))
    });
    pairs
        .flat_map(|(loud, quiet)| {
            [0, 1].map(|side| {
                let gain = |step: &DistortionStep| Some(step.level_dbfs[side]? - step.programme_db);
                let third = loud.k3_percent[side].unwrap_or(0.0) / 100.0;
                Some(gain(quiet)? - gain(loud)? - 20.0 * (1.0 + 3.0 * third).log10())
            })
        })
        .flatten()
        .filter(|db| *db > MOST_DB)
        .max_by(f64::total_cmp)
}

/// How much more gain a quiet tone had than a loud one of about the same frequency, dB, if that is more than tape
/// compresses; `None` otherwise.
pub fn gain_riding_db(tones: &[PlayedTone]) -> Option<f64> {
    let pairs = tones.iter().flat_map(|loud| tones.iter().map(move |quiet| (loud, quiet)));
    pairs
        .filter(|(loud, quiet)| loud.programme_db - quiet.programme_db >= APART_DB)
        .filter(|(loud, quiet)| (loud.hz / quiet.hz).max(quiet.hz / loud.hz) <= NEAR)
        .flat_map(|(loud, quiet)| {
            [0, 1].map(|channel| {
                let (loud_level, quiet_level) = (loud.tone.levels[channel]?, quiet.tone.levels[channel]?);
                // Noise in a weak tone must not look like gain.
                let uncertainty_db = quiet_level.uncertainty_db.hypot(loud_level.uncertainty_db);
                let more_db = quiet_level.dbfs - quiet.programme_db - (loud_level.dbfs - loud.programme_db);
                let most = if (loud.hz / quiet.hz - 1.0).abs() < 0.02 { MOST_DB } else { MOST_APART_DB };
                Some(more_db).filter(|more_db| more_db - uncertainty_db > most)
            })
        })
        .flatten()
        .max_by(f64::total_cmp)
}

/// Level at the end of a tone over that at its start, on both channels alike, from which on a slow automatic gain is at
/// work, dB: tape moves its tracks each for itself.
const CREEPS_DB: f64 = 0.5;
/// The channels agree within this, dB.
const ALIKE_DB: f64 = 0.2;

/// How far the gain crept while a steady tone below 1100 Hz of at least 1.8 s played, dB; `None` if it kept.
///
/// With only one channel a creeping gain cannot be told from a tape's.
pub fn gain_creep_db(tones: &[PlayedTone]) -> Option<f64> {
    tones
        .iter()
        .filter(|tone| tone.hz < 1100.0)
        .filter_map(|tone| {
            let creeps: Vec<f64> = [0, 1]
                .into_iter()
                .map(|channel| {
                    let band = &tone.tone.band[channel];
                    let share = tone.tone.levels[channel]?.noise_share;
                    if share > 0.003 || (band.samples.len() as f64) < 1.8 * band.rate_hz {
                        return None;
                    }
                    let powers: Vec<f64> = band.samples.iter().map(|z| z.norm_sqr()).collect();
                    let quarter = powers.len() / 4;
                    let (start, end) =
                        (median(&powers[..quarter]), median(&powers[powers.len() - quarter..]));
                    (start > 0.0 && end > 0.0).then(|| 10.0 * (end / start).log10())
                })
                .collect::<Option<_>>()?;
            let mean = (creeps[0] + creeps[1]) / 2.0;
            (mean.abs() > CREEPS_DB && (creeps[0] - creeps[1]).abs() < ALIKE_DB).then_some(mean)
        })
        .max_by(|a, b| a.abs().total_cmp(&b.abs()))
}
