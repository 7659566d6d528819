//! A tape that one deck recorded and another plays back.

use super::{DeckFile, RandomFlutter};

impl DeckFile {
    /// This deck while it plays a tape that `recorder` recorded.
    ///
    /// From the recorder come its record side, its tape with all that lies on it, what was turned while it recorded, and its
    /// noise reduction; from this deck head, playback side, electronics and sound card. Speeds divide: a tape recorded slow plays
    /// fast. The recorder's tilt counts the other way round: a head that finds the right channel late on an upright recording
    /// makes a recording whose right channel is early, so that a deck's own tape hides its tilt. Flutter of both is there: lines
    /// side by side, random flutter by its power.
    pub fn playing_tape_of(&self, recorder: &Self) -> Self {
        let mut both = self.clone();
        both.record = recorder.record.clone();
        both.tape = recorder.tape.clone();
        both.technician = recorder.technician.clone();
        both.noise_reduction = recorder.noise_reduction;
        both.azimuth.angle_arcmin -= recorder.azimuth.angle_arcmin;
        let ratio = (1.0 + self.speed.error_percent / 100.0) / (1.0 + recorder.speed.error_percent / 100.0);
        both.speed.error_percent = (ratio - 1.0) * 100.0;
        both.speed.drift_percent_per_min -= recorder.speed.drift_percent_per_min;
        both.speed.flutter.extend(recorder.speed.flutter.iter().copied());
        both.speed.random = match (self.speed.random, recorder.speed.random) {
            (Some(own), Some(other)) => Some(RandomFlutter {
                percent_rms: own.percent_rms.hypot(other.percent_rms),
                low_hz: own.low_hz.min(other.low_hz),
                high_hz: own.high_hz.max(other.high_hz),
                shape: own.shape,
            }),
            (own, other) => own.or(other),
        };
        both
    }

    /// The deck as the text of a deck file; reading it back gives the same deck.
    pub fn to_toml(&self) -> String {
        // Cannot fail: every value is a number, a text, a list or a table.
        toml::to_string_pretty(self).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deck::{FlutterLine, Sides};

    #[test]
    fn a_deck_hides_its_own_tilt_and_speed_from_itself_and_not_from_another() {
        let mut fast = DeckFile::default();
        fast.speed.error_percent = 2.0;
        fast.azimuth.angle_arcmin = 5.0;
        fast.speed.flutter =
            vec![FlutterLine { hz: 9.0, percent_peak: 0.1, phase_deg: 0.0, drift_hz_per_min: 0.0 }];
        fast.record.gain_db = Sides { left: 1.0, right: -1.0 };
        fast.playback.gain_db = Sides { left: 3.0, right: 3.0 };
        let own = fast.playing_tape_of(&fast);
        assert_within!(own.speed.error_percent, 0.0, 1e-12, "percent");
        assert_eq!(own.azimuth.angle_arcmin, 0.0);
        assert_eq!(own.speed.flutter.len(), 2);
        let upright = DeckFile::default().playing_tape_of(&fast);
        assert_eq!(DeckFile::from_toml(&upright.to_toml(), "back").unwrap(), upright);
        for (name, deck) in crate::deck::EXAMPLES {
            let deck = DeckFile::from_toml(deck, name).unwrap();
            assert_eq!(DeckFile::from_toml(&deck.to_toml(), name).unwrap(), deck, "{name}");
        }
        // By hand: 1 / 1.02 = 0.980392.
        assert_within!(upright.speed.error_percent, -1.9608, 1e-4, "percent");
        assert_eq!(upright.azimuth.angle_arcmin, -5.0);
        assert_eq!((upright.record, upright.playback), (fast.record, DeckFile::default().playback));
    }
}
