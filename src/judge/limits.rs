//! The tolerances that findings are judged by.

use crate::judge::quantities::{Key, LIMITS, Limit, number};
use crate::reading::{Circumstances, RecordedOn, TapeType};
use crate::trade::common_practice::{self, DeckClass};
use serde::Deserialize;
use serde::de::{Deserializer, Error, MapAccess, Visitor};
use std::fmt;

/// Why limits could not be had.
#[derive(Debug, thiserror::Error)]
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
        expected: String,
    },
    /// Another deck class than the built-in ones was asked for.
    #[error("{place}: `deck` is {found:?}, expected \"full-size\" or \"portable\"; write one of the two")]
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

/// The tolerances of one class of deck, or of one service manual: a number for every [`Key`] that has one.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// What the limits are called in reports.
    pub name: String,
    /// In the order of [`LIMITS`].
    values: Vec<Option<Tolerance>>,
    /// Highest frequency judged of what this deck recorded and played back on a tape of type I, Hz.
    record_playback_to_hz_type_1: f64,
}

/// What stands for a limit that nobody knows: nothing exceeds it.
static UNKNOWN: Tolerance = Tolerance { value: f64::INFINITY, basis: String::new() };

/// Keys of a band: how much, from where, up to where.
type Band = [Key; 3];
const RESPONSE: Band = [Key::Response, Key::ResponseFrom, Key::ResponseTo];
const BASS: Band = [Key::Bass, Key::BassFrom, Key::ResponseFrom];
const RECORD_PLAYBACK: Band = [Key::RecordPlayback, Key::RecordPlaybackFrom, Key::RecordPlaybackTo];

/// A limits file: every key may be missing.
#[derive(Default)]
struct File {
    deck: Option<String>,
    name: Option<String>,
    source: Option<String>,
    values: Vec<(Key, f64)>,
}

/// Keys of a limits file besides the limits.
const WORDS: [&str; 3] = ["deck", "name", "source"];

/// Every key of a limits file, for the message that names them.
static KEYS: [&str; WORDS.len() + LIMITS.len()] = {
    let mut keys = [WORDS[0]; WORDS.len() + LIMITS.len()];
    let mut k = 0;
    while k < keys.len() {
        keys[k] = if k < WORDS.len() { WORDS[k] } else { LIMITS[k - WORDS.len()].name };
        k += 1;
    }
    keys
};

/// A key as it was read, by its place in [`KEYS`].
struct FileKey(usize);

impl<'de> Deserialize<'de> for FileKey {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Name;
        impl Visitor<'_> for Name {
            type Value = FileKey;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a key of a limits file")
            }

            fn visit_str<E: Error>(self, name: &str) -> Result<FileKey, E> {
                let place = KEYS.iter().position(|key| *key == name);
                place.map(FileKey).ok_or_else(|| E::unknown_field(name, &KEYS))
            }
        }
        deserializer.deserialize_identifier(Name)
    }
}

impl<'de> Deserialize<'de> for File {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Keys;
        impl<'de> Visitor<'de> for Keys {
            type Value = File;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("limits")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<File, A::Error> {
                let mut file = File::default();
                while let Some(FileKey(place)) = map.next_key()? {
                    match place {
                        0 => file.deck = Some(map.next_value()?),
                        1 => file.name = Some(map.next_value()?),
                        2 => file.source = Some(map.next_value()?),
                        _ => file.values.push((LIMITS[place - WORDS.len()].key, map.next_value()?)),
                    }
                }
                Ok(file)
            }
        }
        deserializer.deserialize_map(Keys)
    }
}

impl Limits {
    /// Common practice for a full-size deck worth calibrating.
    pub fn full_size() -> Self {
        Self::built_in("full-size deck", DeckClass::FullSize)
    }

    /// Common practice for a portable or a simple deck.
    pub fn portable() -> Self {
        Self::built_in("portable", DeckClass::Portable)
    }

    fn built_in(name: &str, class: DeckClass) -> Self {
        let value =
            |limit: &Limit| limit.built_in.of(class, name).map(|(value, basis)| Tolerance { value, basis });
        Self {
            name: name.to_owned(),
            values: LIMITS.iter().map(value).collect(),
            record_playback_to_hz_type_1: number(common_practice::RECORD_PLAYBACK_HF_TYPE_1.bound(class)),
        }
    }

    /// The limit; `None` where practice knows none and no file gave one.
    pub fn get(&self, key: Key) -> Option<&Tolerance> {
        self.values[key as usize].as_ref()
    }

    /// The limit; where none is known, one that nothing exceeds.
    pub fn of(&self, key: Key) -> &Tolerance {
        self.get(key).unwrap_or(&UNKNOWN)
    }

    /// Sets a limit.
    pub fn set(&mut self, key: Key, limit: Tolerance) {
        self.values[key as usize] = Some(limit);
    }

    /// Limit of the response of a recording under these circumstances: of the playback alone, or of record and playback.
    pub fn response(&self, told: &Circumstances) -> ResponseLimit {
        if told.recorded_on != Some(RecordedOn::ThisDeck) {
            return self.band(RESPONSE);
        }
        let mut band = self.band(RECORD_PLAYBACK);
        if matches!(told.tape_type, None | Some(TapeType::I)) {
            band.to_hz = self.record_playback_to_hz_type_1;
        }
        band
    }

    /// Limit of the bass of the playback response, below the band of that.
    ///
    /// A manual's own band may reach down as far; then there is no bass below it to judge.
    pub fn bass(&self) -> ResponseLimit {
        let lowest_hz = common_practice::PLAYBACK_RESPONSE_PORTABLE_HZ.0;
        let band = self.band(BASS);
        ResponseLimit { to_hz: band.to_hz.max(1.01 * lowest_hz), ..band }
    }

    fn band(&self, [db, from, to]: Band) -> ResponseLimit {
        let Tolerance { value, basis } = self.of(db);
        ResponseLimit {
            db: *value,
            from_hz: self.of(from).value,
            to_hz: self.of(to).value,
            basis: basis.clone(),
        }
    }

    /// Limits from a TOML file's text; `place` is the file's name for messages.
    ///
    /// `deck = "full-size"` (default) or `"portable"` chooses what keys that are missing fall back to, `source` says where
    /// the numbers come from, and each other key is one of [`LIMITS`].
    ///
    /// # Errors
    ///
    /// [`JudgeError::LimitsMalformed`] if the text is not TOML or has an unknown key, [`JudgeError::UnknownDeck`],
    /// and [`JudgeError::LimitOutOfRange`] for a number that its row does not allow, or an empty band.
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
        let refused = |key: Key, found: f64, expected: String| JudgeError::LimitOutOfRange {
            place: place.to_owned(),
            key: key.row().name,
            found,
            expected,
        };
        let basis = file.source.unwrap_or_else(|| place.to_owned());
        let told = |key: Key| file.values.iter().any(|(told, _)| *told == key);
        for &(key, value) in &file.values {
            let allowed = key.row().allowed;
            if !allowed.holds(value) {
                return Err(refused(key, value, allowed.words()));
            }
            limits.set(key, Tolerance { value, basis: basis.clone() });
        }
        if told(Key::RecordPlaybackTo) {
            limits.record_playback_to_hz_type_1 = limits.of(Key::RecordPlaybackTo).value;
        }
        for [db, from, to] in [RESPONSE, BASS, RECORD_PLAYBACK] {
            // The edge below which the bass lies is the other band's.
            let own = [db, from, to].into_iter().filter(|key| (db, *key) != (Key::Bass, Key::ResponseFrom));
            if own.into_iter().any(told) {
                let value = limits.of(db).value;
                limits.set(db, Tolerance { value, basis: basis.clone() });
            }
            let band = if db == Key::Bass { limits.bass() } else { limits.band([db, from, to]) };
            if band.from_hz >= band.to_hz {
                return Err(refused(to, band.to_hz, format!("more than {}", from.row().name)));
            }
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
            for (id, tolerance) in [
                ("record-level-match", limits.of(Key::RecordLevel)),
                ("bias-pair-match", limits.of(Key::BiasPair)),
            ] {
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
        let told = Tolerance { value: 0.7, basis: "invented manual, page 3".into() };
        assert_eq!(limits.of(Key::Speed), &told);
        assert_eq!(limits.of(Key::ResponseTo).value, 12_500.0);
        assert_eq!(limits.of(Key::Response).value, 3.0);
        assert_eq!(limits.get(Key::ChannelMatch), Limits::portable().get(Key::ChannelMatch));
    }

    #[test]
    fn wrong_files_are_refused_with_place_and_remedy() {
        for (text, words) in [
            ("speed = 1", "unknown field `speed`"),
            ("speed_percent = -1", "`speed_percent` is -1, expected a number above 0"),
            ("speed_percent = nan", "expected a number above 0"),
            ("deck = \"fine\"", "expected \"full-size\" or \"portable\""),
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
