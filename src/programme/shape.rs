//! Levels of injected tones that undo the replay equalisation.

use crate::trade::Equalisation;
use crate::trade::tape_equalisation::flux_relative_db;

/// How the level of a row of tones depends on frequency.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shape {
    /// It does not.
    Flat,
    /// Like the flux on a tape that a right replay chain reads as flat, 120 us.
    InverseReplay120Us,
    /// The same for 70 us.
    InverseReplay70Us,
}

impl Shape {
    /// The words of a recipe.
    pub const WORDS: [(&'static str, Shape); 3] = [
        ("flat", Shape::Flat),
        ("inverse-replay-120us", Shape::InverseReplay120Us),
        ("inverse-replay-70us", Shape::InverseReplay70Us),
    ];

    /// Level at `hz` against that at `reference_hz`, dB.
    pub fn level_db(self, hz: f64, reference_hz: f64) -> f64 {
        let equalisation = match self {
            Shape::Flat => return 0.0,
            Shape::InverseReplay120Us => Equalisation::Us120,
            Shape::InverseReplay70Us => Equalisation::Us70,
        };
        let level_db = flux_relative_db(equalisation, hz, reference_hz);
        // To 0.001 dB, so that the last bit of another machine's logarithm does not make it another programme.
        (level_db * 1000.0).round() / 1000.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn injected_levels_follow_the_published_curve() {
        // IEC 60094-1:1981 clause 15 and 15.1: flux relative to 400 Hz, derived to 3 decimals: hz, 120 us, 70 us.
        let rows = [
            (20.0, 8.92, 8.675),
            (40.0, 4.398, 4.155),
            (80.0, 1.729, 1.494),
            (160.0, 0.653, 0.449),
            (315.0, 0.181, 0.091),
            (400.0, 0.0, 0.0),
            (800.0, -1.02, -0.425),
            (1000.0, -1.633, -0.692),
            (2000.0, -4.837, -2.421),
            (3150.0, -7.911, -4.587),
            (6300.0, -13.411, -9.319),
            (10000.0, -17.312, -13.019),
            (16000.0, -21.349, -16.97),
            (20000.0, -23.276, -18.877),
        ];
        for (hz, at_120_db, at_70_db) in rows {
            let level = |shape: Shape| shape.level_db(hz, 400.0);
            // Rounding of the rows and ours, 0.0005 dB each.
            assert_within!(level(Shape::InverseReplay120Us), at_120_db, 0.0011, "dB", "{hz} Hz, 120 us");
            assert_within!(level(Shape::InverseReplay70Us), at_70_db, 0.0011, "dB", "{hz} Hz, 70 us");
            assert_eq!(level(Shape::Flat), 0.0);
        }
    }
}
