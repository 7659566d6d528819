//! The tolerances that findings are judged by.

use crate::harmless::{echo, echoes};
use crate::judge::quantities::{Key, LIMITS, Limit, number};
use crate::judge::tone_at_output::{SANE_DBFS, SANE_MV, ToneAtOutput, ToneTold, one_or_pair};
use crate::reading::{Circumstances, RecordedOn, TapeType};
use crate::trade::common_practice::{self, DeckClass};
use crate::trade::{FluxStatement, StatedFlux};
use serde::Deserialize;
use serde::de::{Deserializer, Error, MapAccess, Visitor};
use std::fmt;
use toml::{Spanned, Value};

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
    #[error("{place}: line {line}: `{key}` is {found}, expected {expected}; correct the number")]
    LimitOutOfRange {
        /// Name of the file.
        place: String,
        /// Line of the file.
        line: usize,
        /// Key of the limit.
        key: &'static str,
        /// What stands there.
        found: String,
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

/// The tolerances of one class of deck, or of one service manual: a number for every `Key` that has one.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// What the limits are called in reports.
    pub name: String,
    /// In the order of [`LIMITS`].
    values: Vec<Option<Tolerance>>,
    /// Highest frequency judged of what this deck recorded and played back on a tape of type I, Hz.
    record_playback_to_hz_type_1: f64,
    /// How the flux of [`Key::DeckStandard`] is stated.
    standard_stated: FluxStatement,
    /// `[left, right]`: the level tone at the deck's output.
    level_tone: [Option<ToneAtOutput>; 2],
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
    standard_stated: Option<Spanned<Value>>,
    /// Key, and what stands there, of what is told of the level tone.
    tone: Vec<(&'static str, Spanned<Value>)>,
    values: Vec<(Key, Spanned<f64>)>,
}

/// Keys of a limits file besides the limits.
const WORDS: [&str; 7] = [
    "deck",
    "name",
    "source",
    "deck_standard_stated",
    "level_tone_mv",
    "level_tone_dbfs",
    "level_tone_within_mv",
];

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
                        3 => file.standard_stated = Some(map.next_value()?),
                        4..=6 => file.tone.push((WORDS[place], map.next_value()?)),
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
            standard_stated: FluxStatement::Unknown,
            level_tone: [None, None],
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

    /// What the deck's level mark stands for; `None` if nobody told.
    pub fn deck_standard(&self) -> Option<StatedFlux> {
        let nwb_m = self.get(Key::DeckStandard)?.value;
        Some(StatedFlux { nwb_m, stated: self.standard_stated })
    }

    /// `[left, right]`: the level tone as it was read at the deck's output.
    pub fn level_tone(&self) -> &[Option<ToneAtOutput>; 2] {
        &self.level_tone
    }

    /// Takes what was read by hand of the level tone, where the file says nothing of it.
    pub fn take_level_tone(&mut self, read: [Option<ToneAtOutput>; 2]) {
        for (own, read) in self.level_tone.iter_mut().zip(read) {
            *own = own.take().or(read);
        }
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

    /// Limit of the bass below `main`, where that does not reach down to it; `None` where it does, or no head was played.
    pub fn bass_below(&self, main: &ResponseLimit, told: &Circumstances) -> Option<ResponseLimit> {
        let bass = self.bass();
        let below = told.recorded_on != Some(RecordedOn::Injected) && main.from_hz > bass.from_hz * 1.3;
        below.then(|| ResponseLimit { to_hz: main.from_hz.min(bass.to_hz), ..bass })
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
    /// the numbers come from, and each other key is one of `LIMITS`.
    ///
    /// # Errors
    ///
    /// [`JudgeError::LimitsMalformed`] if the text is not TOML or has an unknown key, [`JudgeError::UnknownDeck`],
    /// and [`JudgeError::LimitOutOfRange`] for a number that its row does not allow, or an empty band.
    pub fn from_toml(text: &str, place: &str) -> Result<Self, JudgeError> {
        let line = |start: usize| text.bytes().take(start).filter(|byte| *byte == b'\n').count() + 1;
        let file: File = toml::from_str(text).map_err(|error| JudgeError::LimitsMalformed {
            place: place.to_owned(),
            message: format!(
                "line {}: {}",
                line(error.span().map_or(0, |span| span.start)),
                echoes(error.message())
            ),
        })?;
        let mut limits = match file.deck.as_deref() {
            None | Some("full-size") => Self::full_size(),
            Some("portable") => Self::portable(),
            Some(found) => {
                return Err(JudgeError::UnknownDeck { place: place.to_owned(), found: echo(found) });
            }
        };
        let refused =
            |key: &'static str, start: usize, found: String, expected: &str| JudgeError::LimitOutOfRange {
                place: place.to_owned(),
                line: line(start),
                key,
                found: echo(&found),
                expected: expected.to_owned(),
            };
        let basis = file.source.unwrap_or_else(|| place.to_owned());
        let start_of =
            |key: Key| file.values.iter().find(|told| told.0 == key).map(|told| told.1.span().start);
        let told = |key: Key| start_of(key).is_some();
        for (key, spanned) in &file.values {
            let (key, value) = (*key, *spanned.get_ref());
            let row = key.row();
            if !row.holds(value) {
                return Err(refused(row.name, spanned.span().start, value.to_string(), &row.expected()));
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
                // The line of the upper end, or of whatever else was told of the band.
                let start = [to, from, db].into_iter().find_map(start_of).unwrap_or(0);
                let expected = format!("more than {}", from.row().name);
                return Err(refused(to.row().name, start, band.to_hz.to_string(), &expected));
            }
        }
        if let (Some(start), Some(tolerance)) =
            (start_of(Key::OutputTolerance), limits.get(Key::OutputTolerance))
        {
            let found = tolerance.value;
            match limits.get(Key::OutputNominal) {
                Some(nominal) if found < nominal.value => {}
                Some(_) => {
                    return Err(refused(
                        Key::OutputTolerance.row().name,
                        start,
                        found.to_string(),
                        "less than output_nominal_mv",
                    ));
                }
                None => {
                    return Err(refused(
                        Key::OutputTolerance.row().name,
                        start,
                        found.to_string(),
                        "output_nominal_mv beside it",
                    ));
                }
            }
        }
        if let Some(stated) = &file.standard_stated {
            let refused = |expected| {
                Err(refused(
                    "deck_standard_stated",
                    stated.span().start,
                    stated.get_ref().to_string(),
                    expected,
                ))
            };
            let word = stated.get_ref().as_str().and_then(FluxStatement::of_word);
            let Some(word) = word else {
                return refused("\"short-circuit\", \"open-circuit\" or \"unknown\"");
            };
            if !told(Key::DeckStandard) {
                return refused("deck_standard_nwb_m beside it");
            }
            limits.standard_stated = word;
        }
        let mut tone = ToneTold::default();
        for (key, spanned) in &file.tone {
            let (into, allowed, unit) = match *key {
                "level_tone_mv" => (&mut tone.mv, SANE_MV, "mV"),
                "level_tone_dbfs" => (&mut tone.dbfs, SANE_DBFS, "dBFS"),
                _ => (&mut tone.within_mv, (0.01, SANE_MV.1), "mV"),
            };
            *into = one_or_pair(spanned.get_ref(), allowed);
            if into.is_none() {
                let (low, high) = allowed;
                let expected = format!("a number from {low} to {high} {unit}, or [left, right] of them");
                return Err(refused(key, spanned.span().start, spanned.get_ref().to_string(), &expected));
            }
        }
        limits.level_tone = tone.tones().map_err(|(key, beside)| {
            let there = file.tone.iter().find(|(told, _)| *told == key);
            let (start, found) = there
                .map_or((0, String::new()), |(_, there)| (there.span().start, there.get_ref().to_string()));
            refused(key, start, found, &format!("{beside}, beside it"))
        })?;
        if let Some(name) = file.name {
            limits.name = name;
        }
        Ok(limits)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::tone_at_output::ToneInReturn;

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
    fn a_level_tone_counts_for_both_channels_or_each() {
        let limits = |text: &str| Limits::from_toml(text, "x.toml").unwrap();
        let both = limits("level_tone_mv = 580\nlevel_tone_dbfs = [-12, -12.4]\nlevel_tone_within_mv = 5");
        let [Some(left), Some(right)] = both.level_tone() else { panic!("{both:?}") };
        assert_eq!((left.mv, right.mv, right.uncertainty_mv), (580.0, 580.0, 5.0));
        assert_eq!(right.at, ToneInReturn::Dbfs { dbfs: -12.4, uncertainty_db: 0.0 });
        // 3 % and at least 1 mV where nothing was noted.
        let each = limits("level_tone_mv = [20, 580]\nlevel_tone_dbfs = -12");
        let [Some(left), Some(right)] = each.level_tone() else { panic!("{each:?}") };
        assert_eq!(left.uncertainty_mv, 1.0);
        assert_within!(right.uncertainty_mv, 17.4, 1e-9, "mV");
        let mut taken = limits("");
        taken.take_level_tone(each.level_tone().clone());
        assert_eq!(taken.level_tone(), each.level_tone());
        let mut own = both.clone();
        own.take_level_tone(each.level_tone().clone());
        assert_eq!(own.level_tone(), both.level_tone(), "the file's own goes first");
        let stated =
            limits("deck_standard_nwb_m = 200\ndeck_standard_stated = \"short-circuit\"").deck_standard();
        assert_eq!(stated, Some(StatedFlux { nwb_m: 200.0, stated: FluxStatement::ShortCircuit }));
        assert_eq!(
            limits("deck_standard_nwb_m = 200").deck_standard().unwrap().stated,
            FluxStatement::Unknown
        );
    }

    use proptest::prelude::*;

    /// A key of the output, what goes with it, and what may stand there.
    const OUTPUT_KEYS: [(&str, &str, f64, f64); 5] = [
        ("output_nominal_mv", "", 1.0, 20_000.0),
        ("deck_standard_nwb_m", "", 50.0, 1000.0),
        ("level_tone_mv", "level_tone_dbfs = -12", 1.0, 20_000.0),
        ("level_tone_dbfs", "level_tone_mv = 580", -80.0, 0.0),
        ("level_tone_within_mv", "level_tone_mv = 580\nlevel_tone_dbfs = -12", 0.01, 20_000.0),
    ];

    proptest! {
        /// Any number is taken as it stands, or refused with file, line and what is allowed.
        #[test]
        fn keys_of_the_output_take_what_can_be_meant_and_refuse_the_rest_with_their_line(
            key in 0..OUTPUT_KEYS.len(),
            number in prop_oneof![any::<f64>(), -100.0..2000.0f64],
            before in 0..5usize,
            pair in any::<bool>(),
        ) {
            let (key, beside, low, high) = OUTPUT_KEYS[key];
            let pair = pair && key.starts_with("level_tone");
            let value = if pair { format!("[{number:?}, {number:?}]") } else { format!("{number:?}") };
            let value = value.replace("NaN", "nan");
            let text = format!("{}{key} = {value}\n{beside}\n", "# mine\n".repeat(before));
            match Limits::from_toml(&text, "x.toml") {
                Ok(_) => prop_assert!((low..=high).contains(&number), "{text}"),
                Err(error) => {
                    prop_assert!(!(low..=high).contains(&number), "{text}: {error}");
                    let error = error.to_string();
                    let start = format!("x.toml: line {}: `{key}` is ", before + 1);
                    prop_assert!(error.starts_with(&start), "{text}: {error}");
                    prop_assert!(error.contains("expected a number from ") && error.ends_with("correct the number"), "{error}");
                }
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
            (
                "\noutput_nominal_mv = 0",
                "line 2: `output_nominal_mv` is 0, expected a number from 1 to 20000 mV",
            ),
            (
                "output_tolerance_mv = 50",
                "line 1: `output_tolerance_mv` is 50, expected output_nominal_mv beside it",
            ),
            (
                "output_nominal_mv = 580\noutput_tolerance_mv = 580",
                "line 2: `output_tolerance_mv` is 580, expected less than",
            ),
            ("deck_standard_nwb_m = 5", "from 50 to 1000 nWb/m"),
            (
                "deck_standard_nwb_m = 200\ndeck_standard_stated = \"din\"",
                "line 2: `deck_standard_stated` is \"din\", expected",
            ),
            ("deck_standard_stated = \"unknown\"", "expected deck_standard_nwb_m beside it"),
            ("level_tone_mv = 580", "line 1: `level_tone_mv` is 580, expected level_tone_dbfs"),
            ("level_tone_dbfs = -12", "expected level_tone_mv"),
            ("level_tone_within_mv = 5", "expected level_tone_mv"),
            ("level_tone_mv = [580, 570, 1]\nlevel_tone_dbfs = -12", "or [left, right] of them"),
            ("level_tone_mv = \"580 mV\"\nlevel_tone_dbfs = -12", "from 1 to 20000 mV"),
            (
                "level_tone_mv = 580\nlevel_tone_dbfs = 12",
                "line 2: `level_tone_dbfs` is 12, expected a number from -80 to 0 dBFS",
            ),
        ] {
            let error = Limits::from_toml(text, "x.toml").unwrap_err().to_string();
            assert!(error.starts_with("x.toml: ") && error.contains(words), "{text}: {error}");
        }
    }
}
