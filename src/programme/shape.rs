//! Levels of injected tones that undo the playback equalisation.

use super::Feed;
use crate::trade::Equalisation;
use crate::trade::tape_equalisation::{amplifier_db, flux_relative_db};

/// How the level of a row of tones depends on frequency.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shape {
    /// It does not.
    Flat,
    /// Like the flux on a tape that a right playback chain reads as flat, 120 us: for a flux loop, whose head makes of it a
    /// voltage that grows with frequency.
    InversePlayback120Us,
    /// The same for 70 us.
    InversePlayback70Us,
    /// Like the voltage that an ideal head makes of that flux, 6 dB an octave steeper: for the amplifier alone, 120 us.
    InverseAmplifier120Us,
    /// The same for 70 us.
    InverseAmplifier70Us,
}

impl Shape {
    /// The words of a recipe.
    pub const WORDS: [(&'static str, Shape); 5] = [
        ("flat", Shape::Flat),
        ("inverse-playback-120us", Shape::InversePlayback120Us),
        ("inverse-playback-70us", Shape::InversePlayback70Us),
        ("inverse-amplifier-120us", Shape::InverseAmplifier120Us),
        ("inverse-amplifier-70us", Shape::InverseAmplifier70Us),
    ];

    /// The shape that a right playback of `equalisation` makes flat when it is fed in at `feed`.
    pub fn undoing(feed: Feed, equalisation: Equalisation) -> Self {
        match (feed, equalisation) {
            (Feed::Amplifier, Equalisation::Us120) => Shape::InverseAmplifier120Us,
            (Feed::Amplifier, Equalisation::Us70) => Shape::InverseAmplifier70Us,
            (Feed::Loop, Equalisation::Us120) => Shape::InversePlayback120Us,
            (Feed::Loop, Equalisation::Us70) => Shape::InversePlayback70Us,
        }
    }

    /// Its word in a recipe.
    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, shape)| *shape == self).map_or("flat", |(word, _)| word)
    }

    /// Level at `hz` against that at `reference_hz`, dB.
    pub fn level_db(self, hz: f64, reference_hz: f64) -> f64 {
        let level_db = match self {
            Shape::Flat => return 0.0,
            Shape::InversePlayback120Us => flux_relative_db(Equalisation::Us120, hz, reference_hz),
            Shape::InversePlayback70Us => flux_relative_db(Equalisation::Us70, hz, reference_hz),
            Shape::InverseAmplifier120Us => -amplifier_db(Equalisation::Us120, hz, reference_hz),
            Shape::InverseAmplifier70Us => -amplifier_db(Equalisation::Us70, hz, reference_hz),
        };
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
            assert_within!(level(Shape::InversePlayback120Us), at_120_db, 0.0011, "dB", "{hz} Hz, 120 us");
            assert_within!(level(Shape::InversePlayback70Us), at_70_db, 0.0011, "dB", "{hz} Hz, 70 us");
            // An ideal head's voltage grows by 20 lg of the frequency.
            let head_db = 20.0 * (hz / 400.0f64).log10();
            let (volts_120, volts_70) = (Shape::InverseAmplifier120Us, Shape::InverseAmplifier70Us);
            assert_within!(level(volts_120), at_120_db + head_db, 0.0011, "dB", "{hz} Hz, 120 us, amplifier");
            assert_within!(level(volts_70), at_70_db + head_db, 0.0011, "dB", "{hz} Hz, 70 us, amplifier");
            assert_eq!(level(Shape::Flat), 0.0);
        }
    }

    #[test]
    fn each_way_in_has_its_own_shape_and_word() {
        for feed in [Feed::Amplifier, Feed::Loop] {
            for equalisation in Equalisation::ALL {
                let word = Shape::undoing(feed, equalisation).word();
                let us = format!("{}us", equalisation.high_time_constant_us());
                assert!(word.ends_with(&us), "{word} for {us}");
                assert_eq!(word.contains("amplifier"), feed == Feed::Amplifier, "{word}");
            }
        }
    }
}
