//! Separation and erasing from all played parts.

use crate::measure::separation::erasing;
use crate::measure::separation::leakage::{self, PlayedLeakage};
use crate::measure::whole::played::{Outcome, Played};
use crate::programme::Signal;
use crate::reading::{Erasing, Separation};

/// Leakage between the channels; nothing where one of them is not there.
pub(crate) fn separation(played: &Played<'_>) -> Vec<Separation> {
    if played.alignment.wiring.there() != [true; 2] {
        return Vec::new();
    }
    let leaks: Vec<PlayedLeakage> = played
        .parts()
        .filter_map(|(part, outcome)| match (&part.signal, outcome) {
            (Signal::Tone { hz }, Outcome::Leakage(leakage)) => {
                Some(PlayedLeakage { hz: *hz, programme_db: part.level_db, leakage })
            }
            _ => None,
        })
        .collect();
    leakage::separation(&leaks)
}

/// What erasing leaves of the first tone that serves it.
pub(crate) fn erasing(played: &Played<'_>) -> Option<Erasing> {
    played.parts().find_map(|(part, outcome)| match (&part.signal, outcome) {
        (Signal::Tone { hz }, Outcome::Erased(erased, stretch)) => {
            Some(erasing::erasing(*hz, part.level_db, played.clock(stretch), erased))
        }
        _ => None,
    })
}
