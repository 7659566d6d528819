//! A stretch of the tape that was erased after recording.

use super::play::lead_s;
use super::{DeckFile, Sides, ratio_of_db};
use serde::{Deserialize, Serialize};
use std::f64::consts::PI;

/// Length of the change at either end, s.
const EDGE_S: f64 = 0.05;

/// A stretch that was recorded over with no input: what was on the tape goes down by so much.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Erased {
    /// Its start, s of the programme, 0 to 100000.
    pub from_s: f64,
    /// Its end, s of the programme, above `from_s`, to 100000.
    pub to_s: f64,
    /// By how much it goes down, dB, positive, 0 to 120.
    pub depth_db: Sides,
}

impl Erased {
    /// Amplitude ratio of `channel` at `programme_s`.
    pub(crate) fn gain(&self, channel: usize, programme_s: f64) -> f64 {
        let inside = (programme_s - self.from_s).min(self.to_s - programme_s) / EDGE_S;
        let share = 0.5 + 0.5 * (PI * inside.clamp(-0.5, 0.5)).sin();
        1.0 + share * (ratio_of_db(-self.depth_db.of(channel)) - 1.0)
    }
}

/// Erases the samples of one channel; `place` is that of the first of them on the tape, frames.
pub(crate) fn erase(file: &DeckFile, channel: usize, rate_hz: f64, place: i64, samples: &mut [f64]) {
    let lead_s = lead_s(file, rate_hz);
    for erased in &file.tape.erased {
        for (k, sample) in samples.iter_mut().enumerate() {
            *sample *= erased.gain(channel, (place + k as i64) as f64 / rate_hz - lead_s);
        }
    }
}
