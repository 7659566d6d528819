//! The tolerances that findings are judged by.

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
    #[error("{place}: `deck` is {found:?}, expected \"good\" or \"modest\"; write one of the two")]
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
    /// Replay response.
    pub replay_response: ResponseLimit,
    /// Left against right, dB.
    pub channel_match_db: Tolerance,
    /// Replay level against its target either way, dB.
    pub replay_level_db: Tolerance,
    /// Level that a 0 dB part shall reach in the return, dBFS; `None` if not told.
    ///
    /// Only who knows how the sound card's full scale relates to the deck's line output can tell.
    pub replay_level_target_dbfs: Option<f64>,
    /// Level of what this deck records and replays, against its target either way, dB.
    pub record_level_db: Tolerance,
    /// High tone against low tone at -20 dB, recorded and replayed, either way, dB.
    pub bias_pair_db: Tolerance,
    /// A-weighted noise against its reference, at most, dB.
    pub noise_a_weighted_db: Tolerance,
    /// Power-line hum against its reference, at most, dB.
    pub hum_db: Tolerance,
}

const PRACTICE: &str = "common practice, no source";
const MEMORY: &str = "from memory";

/// One built-in class of deck.
struct Class {
    name: &'static str,
    speed_percent: f64,
    quasi_peak_percent: f64,
    rms_percent: f64,
    phase_deg: f64,
    response: [f64; 3],
    match_db: f64,
    level_db: f64,
    record_level_db: f64,
    bias_pair_db: f64,
    noise_db: f64,
    hum_db: f64,
}

/// Full-size deck worth calibrating. Speed, flutter, azimuth, noise and hum from memory, the rest common practice.
const GOOD: Class = Class {
    name: "good deck",
    speed_percent: 0.5,
    quasi_peak_percent: 0.15,
    rms_percent: 0.08,
    phase_deg: 20.0,
    response: [1.0, 400.0, 15_000.0],
    match_db: 1.0,
    level_db: 0.5,
    record_level_db: 0.5,
    bias_pair_db: 0.5,
    noise_db: -48.0,
    hum_db: -55.0,
};

/// Portable or simple deck; origins as for [`GOOD`].
const MODEST: Class = Class {
    name: "modest deck",
    speed_percent: 1.5,
    quasi_peak_percent: 0.3,
    rms_percent: 0.2,
    phase_deg: 60.0,
    response: [3.0, 63.0, 10_000.0],
    match_db: 2.0,
    level_db: 1.5,
    record_level_db: 1.0,
    bias_pair_db: 1.5,
    noise_db: -42.0,
    hum_db: -45.0,
};

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
    replay_response_db: Option<f64>,
    replay_response_from_hz: Option<f64>,
    replay_response_to_hz: Option<f64>,
    channel_match_db: Option<f64>,
    replay_level_db: Option<f64>,
    replay_level_target_dbfs: Option<f64>,
    record_level_db: Option<f64>,
    bias_pair_db: Option<f64>,
    noise_a_weighted_db: Option<f64>,
    hum_db: Option<f64>,
}

impl Limits {
    /// Common practice for a full-size deck worth calibrating.
    pub fn good_deck() -> Self {
        Self::built_in(&GOOD)
    }

    /// Common practice for a portable or a simple deck.
    pub fn modest_deck() -> Self {
        Self::built_in(&MODEST)
    }

    fn built_in(class: &Class) -> Self {
        let tolerance = |value, origin: &str| Tolerance { value, basis: format!("{}: {origin}", class.name) };
        let [db, from_hz, to_hz] = class.response;
        Self {
            name: class.name.to_owned(),
            speed_percent: tolerance(class.speed_percent, MEMORY),
            flutter_weighted_quasi_peak_percent: tolerance(class.quasi_peak_percent, MEMORY),
            flutter_weighted_rms_percent: tolerance(class.rms_percent, MEMORY),
            azimuth_phase_deg: tolerance(class.phase_deg, MEMORY),
            replay_response: ResponseLimit {
                db,
                from_hz,
                to_hz,
                basis: format!("{}: {PRACTICE}", class.name),
            },
            channel_match_db: tolerance(class.match_db, PRACTICE),
            replay_level_db: tolerance(class.level_db, PRACTICE),
            replay_level_target_dbfs: None,
            record_level_db: tolerance(class.record_level_db, PRACTICE),
            bias_pair_db: tolerance(class.bias_pair_db, PRACTICE),
            noise_a_weighted_db: tolerance(class.noise_db, MEMORY),
            hum_db: tolerance(class.hum_db, MEMORY),
        }
    }

    /// Limits from a TOML file's text; `place` is the file's name for messages.
    ///
    /// `deck = "good"` (default) or `"modest"` chooses what keys that are missing fall back to, `source` says where
    /// the numbers come from, and each other key is named as the field it sets (`replay_response_db`,
    /// `replay_response_from_hz`, `replay_response_to_hz` for the response).
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
            None | Some("good") => Self::good_deck(),
            Some("modest") => Self::modest_deck(),
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
        set(&mut limits.channel_match_db, above("channel_match_db", file.channel_match_db)?);
        set(&mut limits.replay_level_db, above("replay_level_db", file.replay_level_db)?);
        set(&mut limits.record_level_db, above("record_level_db", file.record_level_db)?);
        set(&mut limits.bias_pair_db, above("bias_pair_db", file.bias_pair_db)?);
        set(&mut limits.noise_a_weighted_db, below("noise_a_weighted_db", file.noise_a_weighted_db)?);
        set(&mut limits.hum_db, below("hum_db", file.hum_db)?);
        limits.replay_level_target_dbfs = below("replay_level_target_dbfs", file.replay_level_target_dbfs)?;

        let band = &mut limits.replay_response;
        let edges = [
            above("replay_response_db", file.replay_response_db)?,
            above("replay_response_from_hz", file.replay_response_from_hz)?,
            above("replay_response_to_hz", file.replay_response_to_hz)?,
        ];
        for (field, value) in [&mut band.db, &mut band.from_hz, &mut band.to_hz].into_iter().zip(edges) {
            if let Some(value) = value {
                *field = value;
                band.basis.clone_from(&basis);
            }
        }
        if band.from_hz >= band.to_hz {
            return Err(JudgeError::LimitOutOfRange {
                place: place.to_owned(),
                key: "replay_response_to_hz",
                found: band.to_hz,
                expected: "more than replay_response_from_hz",
            });
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
        for (limits, pick) in [(Limits::good_deck(), 0), (Limits::modest_deck(), 1)] {
            for (id, tolerance) in
                [("record-level-match", &limits.record_level_db), ("bias-pair-match", &limits.bias_pair_db)]
            {
                let row = limit(id).unwrap();
                let bound = [Some(row.good), row.modest][pick].unwrap();
                assert_eq!(bound, Bound::PlusMinus(tolerance.value), "{id}");
                assert!(tolerance.basis.ends_with(row.basis.text()), "{id}");
            }
        }
    }

    #[test]
    fn a_file_replaces_only_what_it_says_and_names_its_source() {
        let text = "deck = \"modest\"\nsource = \"invented manual, page 3\"\nspeed_percent = 0.7\nreplay_response_to_hz = 12500\n";
        let limits = Limits::from_toml(text, "limits.toml").unwrap();
        assert_eq!(limits.speed_percent, Tolerance { value: 0.7, basis: "invented manual, page 3".into() });
        assert_eq!(limits.replay_response.to_hz, 12_500.0);
        assert_eq!(limits.replay_response.db, 3.0);
        assert_eq!(limits.channel_match_db, Limits::modest_deck().channel_match_db);
    }

    #[test]
    fn wrong_files_are_refused_with_place_and_remedy() {
        for (text, words) in [
            ("speed = 1", "unknown field `speed`"),
            ("speed_percent = -1", "`speed_percent` is -1, expected a number above 0"),
            ("speed_percent = nan", "expected a number above 0"),
            ("deck = \"fine\"", "expected \"good\" or \"modest\""),
            ("replay_response_to_hz = 100", "more than replay_response_from_hz"),
            ("hum_db = 3", "below 0"),
        ] {
            let error = Limits::from_toml(text, "x.toml").unwrap_err().to_string();
            assert!(error.starts_with("x.toml: ") && error.contains(words), "{text}: {error}");
        }
    }
}
