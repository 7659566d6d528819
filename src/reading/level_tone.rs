//! The level tone that all else is compared with, and channels without one.

use super::{Capture, Level};

/// A channel this far below the other is dead, dB (common practice, no source).
const DEAD_DB: f64 = 30.0;

/// The level tone to judge by: of those from 300 to 420 Hz (else of all) the one nearest to 0 dB.
pub fn level_tone(levels: &[Level]) -> Option<&Level> {
    let nearest = |usual: bool| {
        levels
            .iter()
            .filter(|level| !usual || (300.0..=420.0).contains(&level.hz))
            .min_by(|a, b| a.programme_db.abs().total_cmp(&b.programme_db.abs()))
    };
    nearest(true).or_else(|| nearest(false))
}

/// `[left, right]`: true where a channel has no signal while the other has.
pub fn dead_channels(capture: &Capture, levels: &[Level]) -> [bool; 2] {
    let heard = level_tone(levels).map_or(capture.peak_dbfs, |tone| tone.return_dbfs);
    match heard {
        [None, Some(_)] => [true, false],
        [Some(_), None] => [false, true],
        // Peaks say nothing of a channel that carries a disturbance only.
        [Some(left), Some(right)] if !levels.is_empty() => [right - left > DEAD_DB, left - right > DEAD_DB],
        _ => [false, false],
    }
}
