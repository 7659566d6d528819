//! Distortion and saturation from all played parts.

use crate::measure::distortion::harmonics::{self, PlayedStep};
use crate::measure::distortion::intermodulation::{self, PlayedTwin};
use crate::measure::distortion::saturation;
use crate::measure::noise::section::saturation_by_noise;
use crate::measure::response::steps::PlayedTone;
use crate::measure::tone::level_wander::LevelWander;
use crate::measure::whole::played::{Outcome, Played, on_both};
use crate::measure::whole::playing::twin_hz;
use crate::programme::{Serves, Signal};
use crate::reading::{Distortion, Intermodulation, Level, Pair, Saturation};

/// Harmonics against level; `reference_dbfs` is the returned level of the programme's reference level.
pub(crate) fn distortion(played: &Played<'_>, reference_dbfs: Pair) -> Option<Distortion> {
    let steps: Vec<PlayedStep> = played
        .parts()
        .filter_map(|(part, outcome)| match (&part.signal, outcome) {
            (Signal::Tone { hz }, Outcome::Harmonics(harmonics, _)) if on_both(part) => {
                Some(PlayedStep { part: &part.id, hz: *hz, programme_db: part.level_db, harmonics })
            }
            _ => None,
        })
        .collect();
    harmonics::distortion(&steps, reference_dbfs)
}

pub(crate) fn intermodulation(played: &Played<'_>) -> Option<Intermodulation> {
    let twins: Vec<PlayedTwin> = played
        .parts()
        .filter_map(|(part, outcome)| match (&part.signal, outcome) {
            (Signal::Chord { hz }, Outcome::Twin(twin)) if on_both(part) => {
                Some(PlayedTwin { part: &part.id, hz: twin_hz(hz)?, programme_db: part.level_db, twin })
            }
            _ => None,
        })
        .collect();
    intermodulation::intermodulation(&twins)
}

/// By tones in steps and by noise; `level` are the level tones.
pub(crate) fn saturation(
    played: &Played<'_>,
    level: &[Level],
    reference_dbfs: Pair,
    wander: &[LevelWander; 2],
) -> Option<Saturation> {
    let tones: Vec<PlayedTone> = played.tones_serving(Serves::Saturation).collect();
    let by_tones = saturation::saturation(&tones, reference_dbfs, wander);
    let noise = saturation_by_noise(played, level);
    if noise.is_empty() { by_tones } else { Some(Saturation { noise, ..by_tones.unwrap_or_default() }) }
}
