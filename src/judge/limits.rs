//! The tolerances that findings are judged by.

use crate::reading::{Circumstances, RecordedOn, TapeType};
use crate::trade::common_practice::{self, Bound, DeckClass, PracticeLimit};
use serde::Deserialize;
use thiserror::Error;

/// Why limits could not be had.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum JudgeError {
    /// The limits file is not TOML, or holds a key or a value that is not known.
    #[error("{place}: {message}; expected lines such as `speed_percent = 0.5`; correct the line")]
    LimitsMalformed {
        /// Name of the file.
        place: String,
        /// What the parser found, with the line.
        message: String,
    },
    /// A limit has a number that no deck can be judged by.
    #[error("{place}: `{key}` is {found}, expected {expected}; correct the number")]
    LimitOutOfRange {
        /// Name of the file.
        place: String,
        /// Key of the limit.
        key: &'static str,
        /// Number in the file.
        found: f64,
        /// What is allowed.
        expected: &'static str,
    },
    /// Another deck class than the built-in ones was asked for.
    #[error("{place}: `deck` is {found:?}, expected \"good\" or \"portable\"; write one of the two")]
    UnknownDeck {
        /// Name of the file.
        place: String,
        /// What stands there.
        found: String,
    },
}

/// One limit and where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct Tolerance {
    /// The number, in the unit of the field it stands in.
    pub value: f64,
    /// Where it comes from, in words.
    pub basis: String,
}

/// Limit of the response, in a band.
#[derive(Debug, Clone, PartialEq)]
pub struct ResponseLimit {
    /// Largest deviation from the reference frequency either way, dB.
    pub db: f64,
    /// Lowest frequency judged, Hz.
    pub from_hz: f64,
    /// Highest frequency judged, Hz.
    pub to_hz: f64,
    /// Where it comes from, in words.
    pub basis: String,
}

/// The tolerances of one class of deck, or of one service manual.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// What the limits are called in reports.
    pub name: String,
    /// Mean speed error either way, percent.
    pub speed_percent: Tolerance,
    /// Flutter, weighted quasi-peak, at most, percent.
    pub flutter_weighted_quasi_peak_percent: Tolerance,
    /// Flutter, weighted rms, at most, percent.
    pub flutter_weighted_rms_percent: Tolerance,
    /// Phase between the channels at 10 kHz either way, degrees.
    pub azimuth_phase_deg: Tolerance,
    /// Playback response.
    pub playback_response: ResponseLimit,
    /// Bass of the playback response, below the band of `playback_response`.
    pub bass_response: ResponseLimit,
    /// Response of what this deck recorded and played back, on tapes of types II to IV.
    pub record_playback_response: ResponseLimit,
    /// Highest frequency judged of what this deck recorded and played back on a tape of type I, Hz.
    pub record_playback_to_hz_type_1: f64,
    /// High-frequency time constant of the playback amplifier against the curve's, either way, percent.
    pub high_time_constant_percent: Tolerance,
    /// Low-frequency time constant of the playback amplifier against the curve's, either way, percent.
    pub low_time_constant_percent: Tolerance,
    /// Left against right, dB.
    pub channel_match_db: Tolerance,
    /// Playback level against its target either way, dB.
    pub playback_level_db: Tolerance,
    /// Level that a 0 dB part shall reach in the return, dBFS; `None` if not told.
    ///
    /// Only who knows how the sound card's full scale relates to the deck's line output can tell.
    pub playback_level_target_dbfs: Option<Tolerance>,
    /// Level of what this deck records and plays back, against its target either way, dB.
    pub record_level_db: Tolerance,
    /// High tone against low tone at -20 dB, recorded and played back, either way, dB.
    pub bias_pair_db: Tolerance,
    /// A-weighted noise against its reference, at most, dB.
    pub noise_a_weighted_db: Tolerance,
    /// Mains hum against its reference, at most, dB.
    pub hum_db: Tolerance,
    /// Third harmonic at 0 dB, at most, percent; `None`: practice knows no limit, only a service manual does.
    pub third_harmonic_percent: Option<Tolerance>,
    /// Highest output of the main treble tone against the reference level, at least, dB; `None` as above.
    pub treble_max_output_db: Option<Tolerance>,
    /// Leakage of either channel into the other at 1 kHz, at most, dB below 0; `None` as above.
    pub separation_db: Option<Tolerance>,
}

/// A limits file: every key may be missing.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    deck: Option<String>,
    name: Option<String>,
    source: Option<String>,
    speed_percent: Option<f64>,
    flutter_weighted_quasi_peak_percent: Option<f64>,
    flutter_weighted_rms_percent: Option<f64>,
    azimuth_phase_deg: Option<f64>,
    playback_response_db: Option<f64>,
    playback_response_from_hz: Option<f64>,
    playback_response_to_hz: Option<f64>,
    bass_response_db: Option<f64>,
    bass_response_from_hz: Option<f64>,
    record_playback_response_db: Option<f64>,
    record_playback_response_from_hz: Option<f64>,
    record_playback_response_to_hz: Option<f64>,
    high_time_constant_percent: Option<f64>,
    low_time_constant_percent: Option<f64>,
    channel_match_db: Option<f64>,
    playback_level_db: Option<f64>,
    playback_level_target_dbfs: Option<f64>,
    record_level_db: Option<f64>,
    bias_pair_db: Option<f64>,
    noise_a_weighted_db: Option<f64>,
    hum_db: Option<f64>,
    third_harmonic_percent: Option<f64>,
    treble_max_output_db: Option<f64>,
    separation_db: Option<f64>,
}

impl Limits {
    /// Common practice for a full-size deck worth calibrating.
    pub fn full_size() -> Self {
        Self::built_in("full-size deck", DeckClass::FullSize, common_practice::PLAYBACK_RESPONSE_FULL_SIZE_HZ)
    }

    /// Common practice for a portable or a simple deck.
    pub fn portable() -> Self {
        Self::built_in("portable", DeckClass::Portable, common_practice::PLAYBACK_RESPONSE_PORTABLE_HZ)
    }

    fn built_in(name: &str, class: DeckClass, (from_hz, to_hz): (f64, f64)) -> Self {
        let tolerance = |limit: PracticeLimit| Tolerance {
            value: match limit.bound(class) {
                Bound::PlusMinus(value) | Bound::AtMost(value) | Bound::AtLeast(value) => value,
                Bound::Between(_, high) => high,
            },
            basis: format!("{name}: {}", limit.basis.text()),
        };
        let Tolerance { value: db, basis } = tolerance(common_practice::PLAYBACK_RESPONSE);
        let high_hz = |limit: PracticeLimit| tolerance(limit).value;
        let bass_hz = common_practice::PLAYBACK_RESPONSE_PORTABLE_HZ.0;
        let bass_db = match common_practice::PLAYBACK_RESPONSE.bound(DeckClass::Portable) {
            Bound::PlusMinus(db) | Bound::AtMost(db) | Bound::AtLeast(db) | Bound::Between(_, db) => db,
        };
        Self {
            name: name.to_owned(),
            speed_percent: tolerance(common_practice::SPEED_ERROR),
            flutter_weighted_quasi_peak_percent: tolerance(common_practice::FLUTTER_WEIGHTED_PEAK),
            flutter_weighted_rms_percent: tolerance(common_practice::FLUTTER_WEIGHTED_RMS),
            azimuth_phase_deg: tolerance(common_practice::AZIMUTH_PHASE),
            playback_response: ResponseLimit { db, from_hz, to_hz, basis },
            // What a portable must keep, a good one must as well.
            bass_response: ResponseLimit {
                db: bass_db,
                from_hz: bass_hz,
                to_hz: from_hz,
                basis: format!("any deck: {}", common_practice::PLAYBACK_RESPONSE.basis.text()),
            },
            record_playback_response: ResponseLimit {
                db: common_practice::RECORD_PLAYBACK_DOWN_DB,
                from_hz: bass_hz,
                to_hz: high_hz(common_practice::RECORD_PLAYBACK_HF_TYPE_2_4),
                basis: tolerance(common_practice::RECORD_PLAYBACK_HF_TYPE_2_4).basis,
            },
            record_playback_to_hz_type_1: high_hz(common_practice::RECORD_PLAYBACK_HF_TYPE_1),
            high_time_constant_percent: tolerance(common_practice::PLAYBACK_HIGH_TIME_CONSTANT),
            low_time_constant_percent: tolerance(common_practice::PLAYBACK_LOW_TIME_CONSTANT),
            channel_match_db: tolerance(common_practice::CHANNEL_MATCH),
            playback_level_db: tolerance(common_practice::PLAYBACK_LEVEL),
            playback_level_target_dbfs: None,
            record_level_db: tolerance(common_practice::RECORD_LEVEL_MATCH),
            bias_pair_db: tolerance(common_practice::BIAS_PAIR_MATCH),
            noise_a_weighted_db: tolerance(common_practice::NOISE_A_WEIGHTED),
            hum_db: tolerance(common_practice::HUM),
            third_harmonic_percent: None,
            treble_max_output_db: None,
            separation_db: None,
        }
    }

    /// Limit of the response of a recording under these circumstances: of the playback alone, or of record and playback.
    pub fn response(&self, told: &Circumstances) -> ResponseLimit {
        if told.recorded_on != Some(RecordedOn::ThisDeck) {
            return self.playback_response.clone();
        }
        let to_hz = match told.tape_type {
            None | Some(TapeType::I) => self.record_playback_to_hz_type_1,
            Some(_) => self.record_playback_response.to_hz,
        };
        ResponseLimit { to_hz, ..self.record_playback_response.clone() }
    }

    /// Limits from a TOML file's text; `place` is the file's name for messages.
    ///
    /// `deck = "full-size"` (default) or `"portable"` chooses what keys that are missing fall back to, `source` says where
    /// the numbers come from, and each other key is named as the field it sets (`playback_response_db`,
    /// `playback_response_from_hz`, `playback_response_to_hz` for the response, likewise `record_playback_response_...` for what the
    /// deck recorded itself, and `bass_response_db`, `bass_response_from_hz` for what lies below).
    ///
    /// # Errors
    ///
    /// [`JudgeError::LimitsMalformed`] if the text is not TOML or has an unknown key, [`JudgeError::UnknownDeck`],
    /// and [`JudgeError::LimitOutOfRange`] for a tolerance that is not above 0, a level that is not below 0 dB, or an
    /// empty band.
    pub fn from_toml(text: &str, place: &str) -> Result<Self, JudgeError> {
        let file: File = toml::from_str(text).map_err(|error| JudgeError::LimitsMalformed {
            place: place.to_owned(),
            message: error.to_string().trim_end().replace('\n', " "),
        })?;
        let mut limits = match file.deck.as_deref() {
            None | Some("full-size") => Self::full_size(),
            Some("portable") => Self::portable(),
            Some(found) => {
                return Err(JudgeError::UnknownDeck { place: place.to_owned(), found: found.to_owned() });
            }
        };
        let basis = file.source.unwrap_or_else(|| place.to_owned());
        let checked = |key, found: Option<f64>, allowed: fn(f64) -> bool, expected| match found {
            Some(found) if !found.is_finite() || !allowed(found) => {
                Err(JudgeError::LimitOutOfRange { place: place.to_owned(), key, found, expected })
            }
            other => Ok(other),
        };
        let above = |key, found| checked(key, found, |x| x > 0.0, "a number above 0");
        let below = |key, found| checked(key, found, |x| x < 0.0, "a number of dB below 0");
        let set = |tolerance: &mut Tolerance, value: Option<f64>| {
            if let Some(value) = value {
                *tolerance = Tolerance { value, basis: basis.clone() };
            }
        };
        set(&mut limits.speed_percent, above("speed_percent", file.speed_percent)?);
        set(
            &mut limits.flutter_weighted_quasi_peak_percent,
            above("flutter_weighted_quasi_peak_percent", file.flutter_weighted_quasi_peak_percent)?,
        );
        set(
            &mut limits.flutter_weighted_rms_percent,
            above("flutter_weighted_rms_percent", file.flutter_weighted_rms_percent)?,
        );
        set(&mut limits.azimuth_phase_deg, above("azimuth_phase_deg", file.azimuth_phase_deg)?);
        set(
            &mut limits.high_time_constant_percent,
            above("high_time_constant_percent", file.high_time_constant_percent)?,
        );
        set(
            &mut limits.low_time_constant_percent,
            above("low_time_constant_percent", file.low_time_constant_percent)?,
        );
        set(&mut limits.channel_match_db, above("channel_match_db", file.channel_match_db)?);
        set(&mut limits.playback_level_db, above("playback_level_db", file.playback_level_db)?);
        set(&mut limits.record_level_db, above("record_level_db", file.record_level_db)?);
        set(&mut limits.bias_pair_db, above("bias_pair_db", file.bias_pair_db)?);
        set(&mut limits.noise_a_weighted_db, below("noise_a_weighted_db", file.noise_a_weighted_db)?);
        set(&mut limits.hum_db, below("hum_db", file.hum_db)?);
        limits.playback_level_target_dbfs =
            below("playback_level_target_dbfs", file.playback_level_target_dbfs)?
                .map(|value| Tolerance { value, basis: basis.clone() });

        let known = |value: Option<f64>| value.map(|value| Tolerance { value, basis: basis.clone() });
        limits.third_harmonic_percent = known(above("third_harmonic_percent", file.third_harmonic_percent)?);
        limits.treble_max_output_db = known(checked(
            "treble_max_output_db",
            file.treble_max_output_db,
            |x| (-40.0..=20.0).contains(&x),
            "a number of dB from -40 to 20",
        )?);
        limits.separation_db = known(below("separation_db", file.separation_db)?);

        let set_band = |band: &mut ResponseLimit, keys: [(&'static str, Option<f64>); 3]| {
            let fields = [&mut band.db, &mut band.from_hz, &mut band.to_hz];
            for (field, (key, value)) in fields.into_iter().zip(keys) {
                if let Some(value) = above(key, value)? {
                    *field = value;
                    band.basis.clone_from(&basis);
                }
            }
            if band.from_hz < band.to_hz {
                return Ok(());
            }
            let (key, from) = (keys[2].0, keys[1].0);
            Err(JudgeError::LimitOutOfRange {
                place: place.to_owned(),
                key,
                found: band.to_hz,
                expected: if from == "bass_response_from_hz" {
                    "more than bass_response_from_hz"
                } else if from == "record_playback_response_from_hz" {
                    "more than record_playback_response_from_hz"
                } else {
                    "more than playback_response_from_hz"
                },
            })
        };
        set_band(
            &mut limits.playback_response,
            [
                ("playback_response_db", file.playback_response_db),
                ("playback_response_from_hz", file.playback_response_from_hz),
                ("playback_response_to_hz", file.playback_response_to_hz),
            ],
        )?;
        // The manual's own band may reach down as far; then there is no bass below it to judge.
        limits.bass_response.to_hz =
            limits.playback_response.from_hz.max(limits.bass_response.from_hz * 1.01);
        set_band(
            &mut limits.bass_response,
            [
                ("bass_response_db", file.bass_response_db),
                ("bass_response_from_hz", file.bass_response_from_hz),
                ("playback_response_from_hz", None),
            ],
        )?;
        set_band(
            &mut limits.record_playback_response,
            [
                ("record_playback_response_db", file.record_playback_response_db),
                ("record_playback_response_from_hz", file.record_playback_response_from_hz),
                ("record_playback_response_to_hz", file.record_playback_response_to_hz),
            ],
        )?;
        if let Some(to_hz) = file.record_playback_response_to_hz {
            limits.record_playback_to_hz_type_1 = to_hz;
        }
        if let Some(name) = file.name {
            limits.name = name;
        }
        Ok(limits)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_of_the_recording_are_those_of_common_practice() {
        use crate::trade::common_practice::{Bound, limit};
        for (limits, pick) in [(Limits::full_size(), 0), (Limits::portable(), 1)] {
            for (id, tolerance) in
                [("record-level-match", &limits.record_level_db), ("bias-pair-match", &limits.bias_pair_db)]
            {
                let row = limit(id).unwrap();
                let bound = [Some(row.full_size), row.portable][pick].unwrap();
                assert_eq!(bound, Bound::PlusMinus(tolerance.value), "{id}");
                assert!(tolerance.basis.ends_with(row.basis.text()), "{id}");
            }
        }
    }

    #[test]
    fn a_file_replaces_only_what_it_says_and_names_its_source() {
        let text = "deck = \"portable\"\nsource = \"invented manual, page 3\"\nspeed_percent = 0.7\nplayback_response_to_hz = 12500\n";
        let limits = Limits::from_toml(text, "limits.toml").unwrap();
        assert_eq!(limits.speed_percent, Tolerance { value: 0.7, basis: "invented manual, page 3".into() });
        assert_eq!(limits.playback_response.to_hz, 12_500.0);
        assert_eq!(limits.playback_response.db, 3.0);
        assert_eq!(limits.channel_match_db, Limits::portable().channel_match_db);
    }

    #[test]
    fn wrong_files_are_refused_with_place_and_remedy() {
        for (text, words) in [
            ("speed = 1", "unknown field `speed`"),
            ("speed_percent = -1", "`speed_percent` is -1, expected a number above 0"),
            ("speed_percent = nan", "expected a number above 0"),
            ("deck = \"fine\"", "expected \"good\" or \"portable\""),
            ("playback_response_to_hz = 100", "more than playback_response_from_hz"),
            ("hum_db = 3", "below 0"),
            ("separation_db = 30", "below 0"),
            ("treble_max_output_db = 90", "from -40 to 20"),
            ("third_harmonic_percent = 0", "above 0"),
        ] {
            let error = Limits::from_toml(text, "x.toml").unwrap_err().to_string();
            assert!(error.starts_with("x.toml: ") && error.contains(words), "{text}: {error}");
        }
    }
}
