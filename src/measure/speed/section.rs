//! Speed by the slates, and the frequencies of all tones.

use crate::measure::faults::jumps::Jumps;
use crate::measure::faults::tears::{Torn, mean_hz, mean_hz_error, untorn};
use crate::measure::speed::slates;
use crate::measure::speed::tones::MeasuredTone;
use crate::measure::whole::played::{Outcome, Played};
use crate::programme::{PlacedPart, Signal};
use crate::reading::Speed;

/// Speed over the longest row of slates in which time does not jump.
pub(crate) fn speed(played: &Played<'_>, jumps: &Jumps) -> Option<Speed> {
    let torn: Vec<Torn> = jumps.torn.iter().copied().chain(jumps.switch).collect();
    slates::speed(untorn(&played.alignment.slates, &torn, &jumps.splices_s), played.timeline)
}

/// Frequencies and levels of all tones.
pub(crate) fn tones(played: &Played<'_>) -> Vec<MeasuredTone> {
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
        Some(MeasuredTone { part, programme_hz, hz, hz_error: mean_hz_error(bands), length_s, dbfs })
    };
    played.parts().filter_map(of).collect()
}
