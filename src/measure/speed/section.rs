//! Speed by the slates, and the frequencies of all tones.

use crate::capture::{FoundSlate, Stretch};
use crate::measure::faults::jumps::Jumps;
use crate::measure::faults::tears::{FREQUENCY_UNCERTAINTY, Torn, mean_hz, mean_hz_error, untorn};
use crate::measure::speed::slates;
use crate::measure::speed::tones::MeasuredTone;
use crate::measure::whole::played::{Outcome, Played};
use crate::programme::{PlacedPart, Signal};
use crate::reading::Speed;

/// Speed over the longest row of slates in which time does not jump.
pub(crate) fn speed(played: &Played<'_>, jumps: &Jumps) -> Option<Speed> {
    let torn: Vec<Torn> = jumps.torn.iter().copied().chain(jumps.switch).collect();
    let slates = untorn(&played.alignment.slates, &torn, &jumps.phase_jumps);
    let mut speed = slates::speed(slates, played.timeline)?;
    // A jump too small to be found moves the slates and not the frequency of a tone.
    if let Some((percent, uncertainty_percent)) = by_tones(played, slates) {
        let apart_percent = (speed.error_percent - percent).abs();
        if apart_percent > uncertainty_percent.hypot(speed.uncertainty_percent) {
            speed.uncertainty_percent = speed.uncertainty_percent.hypot(apart_percent);
        }
    }
    Some(speed)
}

/// Mean speed by the frequencies of the tones between the first and the last of `slates`, and its expanded uncertainty by how they
/// differ, percent; `None` where tones fill less than a third of that.
fn by_tones(played: &Played<'_>, slates: &[FoundSlate]) -> Option<(f64, f64)> {
    let [from_s, to_s] = [slates.first()?.start_s, slates.last()?.start_s];
    let between: Vec<(f64, f64)> = tones_at(played)
        .filter(|(stretch, _)| stretch.from_s > from_s && stretch.to_s < to_s)
        .map(|(stretch, tone)| (stretch.length_s(), tone.hz / tone.programme_hz))
        .collect();
    let known_s: f64 = between.iter().map(|tone| tone.0).sum();
    if between.len() < 3 || known_s < (to_s - from_s) / 3.0 {
        return None;
    }
    let ratio = between.iter().map(|(length_s, ratio)| length_s * ratio).sum::<f64>() / known_s;
    let squares: f64 = between.iter().map(|(length_s, one)| (length_s * (one - ratio)).powi(2)).sum();
    Some((100.0 * (ratio - 1.0), 200.0 * squares.sqrt() / known_s + 100.0 * FREQUENCY_UNCERTAINTY))
}

/// Frequencies and levels of all tones.
pub(crate) fn tones(played: &Played<'_>) -> Vec<MeasuredTone> {
    tones_at(played).map(|(_, tone)| tone).collect()
}

/// The same, each with the stretch in which it was measured.
fn tones_at<'a>(played: &'a Played<'_>) -> impl Iterator<Item = (Stretch, MeasuredTone)> + 'a {
    let of = |(part, outcome): (&PlacedPart, &Outcome)| {
        let Signal::Tone { hz: programme_hz } = part.signal else { return None };
        let (hz, stretch, dbfs, bands) = match outcome {
            Outcome::Tone(tone, stretch) => {
                (tone.hz, stretch, tone.levels.map(|level| level.map(|level| level.dbfs)), &tone.band)
            }
            Outcome::Flutter(result, stretch) => (mean_hz(&result.1)?, stretch, [None; 2], &result.1),
            _ => return None,
        };
        let (part, length_s) = (part.id.clone(), stretch.length_s());
        let stretch = *stretch;
        Some((
            stretch,
            MeasuredTone { part, programme_hz, hz, hz_error: mean_hz_error(bands), length_s, dbfs },
        ))
    };
    played.parts().filter_map(of)
}
