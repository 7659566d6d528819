//! The file of a job: found, read, and rewritten whole or not at all.
//!
//! A change is made in the text that was read, and read back as a job before it is written. The old file is held locked
//! while the new one is put in its place, and only if its bytes are still those that were read: of two who change it at
//! once, the second is told to do it again. A new file takes an old one's place without asking whether that one may be
//! written, so its rights are looked at first.

use super::JobError;
use crate::harmless::{echo, echoes};
use crate::judge::{HAND_QUANTITIES, HandKind, HandQuantity, Limits};
use crate::programme::{BY_HAND_BYTES, Overwrite, ProgrammeError, read_text, write_text};
use crate::reading::{
    AtHand, AttachedReading, FollowedReading, HandLimit, HandReadings, HandValue, Heads, JOB_FORMAT,
    JobCircumstances, JobDeck, JobSheet, JobState, NoiseReduction, RecordedOn, TapeType, Workshop,
};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::fs::File;
use std::path::{Path, PathBuf};
use toml::{Spanned, Value};

/// Name of the file in a job's folder.
pub const JOB_FILE: &str = "job.toml";

/// A job's file as it was read.
#[derive(Debug, Clone)]
pub struct JobFile {
    /// Where it is.
    pub path: PathBuf,
    /// What stands in it, to the letter.
    pub text: String,
    /// What that means.
    pub sheet: JobSheet,
    /// What its readings are judged by; `None` if it says nothing of limits.
    pub limits: Option<Limits>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    format: Spanned<String>,
    #[serde(default)]
    complaint: String,
    #[serde(default)]
    work: Vec<String>,
    workshop: Option<Workshop>,
    deck: RawDeck,
    #[serde(default)]
    limits: Option<Spanned<toml::Table>>,
    #[serde(default)]
    read: RawRead,
    #[serde(default)]
    at_hand: RawAtHand,
    #[serde(default)]
    as_found: BTreeMap<String, Spanned<Value>>,
    #[serde(default)]
    as_left: BTreeMap<String, Spanned<Value>>,
    #[serde(default)]
    hand_limits: BTreeMap<String, Spanned<Value>>,
    #[serde(default)]
    done: BTreeMap<String, String>,
    #[serde(default)]
    reading: Vec<RawReading>,
    #[serde(default)]
    followed: Vec<FollowedReading>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawDeck {
    name: String,
    number: Option<String>,
    owner: Option<String>,
    reference: Option<String>,
    heads: Option<Heads>,
    #[serde(default = "yes")]
    records: bool,
}

fn yes() -> bool {
    true
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
struct RawRead {
    recorded_on: Option<RecordedOn>,
    tape_type: Option<TapeType>,
    noise_reduction: Option<NoiseReduction>,
    transport: Option<String>,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
struct RawAtHand {
    #[serde(default)]
    calibrated_tape: bool,
    calibrated_tape_file: Option<String>,
    house_card: Option<String>,
    loopback: Option<String>,
    #[serde(default)]
    tape_types: Vec<TapeType>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawReading {
    state: JobState,
    file: String,
}

/// The job's file in `folder` or the nearest folder above it; `None` if there is none.
///
/// A `job.toml` of some other program is passed over.
pub fn find_job(folder: &Path) -> Option<PathBuf> {
    let folder = folder.canonicalize().ok()?;
    folder.ancestors().map(|folder| folder.join(JOB_FILE)).find(|path| {
        path.is_file() && read_text(path, BY_HAND_BYTES).is_ok_and(|text| text.contains("deckproof-job/"))
    })
}

impl JobFile {
    /// The job in `folder`, or with the file at that path.
    ///
    /// # Errors
    /// [`JobError`] with the line if there is none, or it is no job's.
    pub fn load(folder: &Path) -> Result<Self, JobError> {
        let path = if folder.is_dir() { folder.join(JOB_FILE) } else { folder.to_owned() };
        let text = read_text(&path, BY_HAND_BYTES).map_err(|source| match source.kind() {
            std::io::ErrorKind::InvalidData => JobError::NoText { path: path.clone() },
            _ => JobError::Unreadable { path: path.clone(), source },
        })?;
        Self::from_text(path, text)
    }

    /// The job whose file at `path` has this text.
    ///
    /// # Errors
    /// [`JobError::Malformed`] with the line, or [`JobError::Limits`].
    pub fn from_text(path: PathBuf, written: String) -> Result<Self, JobError> {
        let text = plain(&written);
        let at = |start: usize, found: String| JobError::Malformed {
            path: path.clone(),
            line: text.bytes().take(start).filter(|byte| *byte == b'\n').count() + 1,
            found,
        };
        let raw: Raw = toml::from_str(&text)
            .map_err(|error| at(error.span().map_or(0, |span| span.start), echoes(error.message())))?;
        if raw.format.get_ref() != JOB_FORMAT {
            let found = format!("`format` is {:?}, expected {JOB_FORMAT:?}", echo(raw.format.get_ref()));
            return Err(at(raw.format.span().start, found));
        }
        let (limits, portable) = limits(&path, &text, raw.limits.as_ref())?;
        let hand = |section: &BTreeMap<String, Spanned<Value>>| hand_readings(section, &at);
        let sheet = JobSheet {
            as_found: hand(&raw.as_found)?,
            as_left: hand(&raw.as_left)?,
            hand_limits: hand_limits(&raw.hand_limits, &at)?,
            hand_limits_source: raw
                .hand_limits
                .get("source")
                .and_then(|v| v.get_ref().as_str())
                .map(str::to_owned),
            workshop: raw.workshop.filter(|workshop| !workshop.name.trim().is_empty()),
            deck: JobDeck {
                name: raw.deck.name,
                number: raw.deck.number,
                owner: raw.deck.owner,
                reference: raw.deck.reference,
                heads: raw.deck.heads,
                records: raw.deck.records,
                portable,
            },
            complaint: raw.complaint.trim().to_owned(),
            work: raw.work,
            read: JobCircumstances {
                recorded_on: raw.read.recorded_on,
                tape_type: raw.read.tape_type,
                noise_reduction: raw.read.noise_reduction,
                transport: raw.read.transport,
            },
            at_hand: AtHand {
                calibrated_tape: raw.at_hand.calibrated_tape,
                calibrated_tape_file: raw.at_hand.calibrated_tape_file,
                house_card: raw.at_hand.house_card,
                loopback: raw.at_hand.loopback,
                tape_types: raw.at_hand.tape_types,
            },
            level_tone_told: limits.as_ref().is_some_and(|limits| *limits.level_tone() != [None, None]),
            readings: raw
                .reading
                .into_iter()
                .map(|raw| AttachedReading { state: raw.state, file: raw.file })
                .collect(),
            followed: raw.followed,
            done: raw.done.into_iter().collect(),
        };
        Ok(Self { path, text: written, sheet, limits })
    }

    /// The job's folder.
    pub fn folder(&self) -> &Path {
        match self.path.parent() {
            Some(folder) if folder != Path::new("") => folder,
            _ => Path::new("."),
        }
    }

    /// The file with the transport's numbers, if the job names one.
    pub fn transport(&self) -> Option<PathBuf> {
        self.sheet.read.transport.as_ref().map(|file| self.folder().join(file))
    }

    /// Replaces the file by `text`, whole or not at all, if it is still as it was read. Mark and line ends stay as they were.
    ///
    /// # Errors
    /// [`JobError::Changed`] if it is not; what [`JobFile::from_text`] returns if `text` is no job's.
    pub fn replace(&self, text: String) -> Result<Self, JobError> {
        let new = Self::from_text(self.path.clone(), as_written(&self.text, text))?;
        let unreadable = |source| JobError::Unreadable { path: self.path.clone(), source };
        let unwritable = |source| JobError::Unwritable { path: self.path.clone(), source };
        // Whoever waits here finds another text behind the name afterwards, and is refused.
        let held = File::open(&self.path).map_err(unreadable)?;
        match held.lock() {
            Err(error) if error.kind() != std::io::ErrorKind::Unsupported => return Err(unreadable(error)),
            _ => {}
        }
        if std::fs::read(&self.path).map_err(unreadable)? != self.text.as_bytes() {
            return Err(JobError::Changed { path: self.path.clone() });
        }
        write_text(&self.path, &new.text, Overwrite::Renew).map_err(|error| match error {
            ProgrammeError::Unwritable { source, .. } => unwritable(source),
            other => other.into(),
        })?;
        Ok(new)
    }
}

/// `text` as it is read: without a byte-order mark, lines ended by a line feed alone.
pub(super) fn plain(text: &str) -> String {
    text.strip_prefix('\u{feff}').unwrap_or(text).replace("\r\n", "\n")
}

/// `text` with the mark and the line ends of `before`.
fn as_written(before: &str, text: String) -> String {
    let text = if before.contains("\r\n") { text.replace('\n', "\r\n") } else { text };
    if before.starts_with('\u{feff}') { format!("\u{feff}{text}") } else { text }
}

/// Limits of the section `limits`, and whether common practice for portables is meant.
fn limits(
    path: &Path,
    text: &str,
    section: Option<&Spanned<toml::Table>>,
) -> Result<(Option<Limits>, bool), JobError> {
    let Some(section) = section else { return Ok((None, false)) };
    let table = section.get_ref();
    let portable = table.get("deck").and_then(Value::as_str) == Some("portable");
    let place = path.display().to_string();
    let Some(file) = table.get("file") else {
        return match Limits::from_toml(&table.to_string(), &place) {
            Ok(limits) => Ok((Some(limits), portable)),
            // Once more with the lines where they stand in the file.
            Err(error) => {
                Err(Limits::from_toml(&only_section(text, "limits"), &place).err().unwrap_or(error).into())
            }
        };
    };
    let line = text.lines().position(|line| line.trim_start().starts_with("file")).unwrap_or(0) + 1;
    let malformed = |found: String| JobError::Malformed { path: path.to_owned(), line, found };
    let Some(file) = file.as_str() else {
        return Err(malformed(
            "`file` is no text; write the name of a limits file in quotation marks".into(),
        ));
    };
    if table.keys().any(|key| key != "file" && key != "deck") {
        return Err(malformed("[limits] has a `file` and numbers of its own; keep one of the two".into()));
    }
    let place = path.parent().unwrap_or(Path::new("")).join(file);
    let unreadable = |source| JobError::Unreadable { path: place.clone(), source };
    let text = read_text(&place, BY_HAND_BYTES).map_err(unreadable)?;
    let limits = Limits::from_toml(&text, &place.display().to_string())?;
    let own = toml::from_str::<toml::Table>(&text).ok();
    let own = own.as_ref().and_then(|own| own.get("deck")).and_then(Value::as_str) == Some("portable");
    Ok((Some(limits), portable || own))
}

/// `text` with everything blanked but the lines of one section, so that lines keep their numbers.
fn only_section(text: &str, name: &str) -> String {
    let head = format!("[{name}]");
    let mut inside = false;
    let mut kept = String::new();
    for line in text.lines() {
        let bare = line.trim_start();
        if bare.starts_with('[') {
            inside = bare.starts_with(&head);
        } else if inside {
            kept += line;
        }
        kept.push('\n');
    }
    kept
}

fn number(value: &Value) -> Option<f64> {
    match value {
        Value::Integer(number) => Some(*number as f64),
        Value::Float(number) if number.is_finite() => Some(*number),
        _ => None,
    }
}

type At<'a> = &'a dyn Fn(usize, String) -> JobError;

fn hand_readings(section: &BTreeMap<String, Spanned<Value>>, at: At<'_>) -> Result<HandReadings, JobError> {
    let mut readings = HandReadings::default();
    let (mut uncertainties, mut returns) = (Vec::new(), Vec::new());
    for (key, value) in section {
        let wrong = |found: String| Err(at(value.span().start, found));
        if key == "tape_path" {
            let Some(words) = value.get_ref().as_str() else {
                return wrong("`tape_path` is no text; write it in quotation marks".into());
            };
            readings.tape_path = Some(words.trim().to_owned()).filter(|words| !words.is_empty());
            continue;
        }
        if let Some(quantity) = hand_rows().find(|quantity| quantity.return_key().as_ref() == Some(key)) {
            let name = value.get_ref().as_str().map(str::trim).filter(|name| !name.is_empty());
            let Some(name) = name else {
                return wrong(format!(
                    "`{key}` is {}, expected the name of the return that was recorded meanwhile, in quotation marks",
                    echo(&value.get_ref().to_string())
                ));
            };
            returns.push((quantity.id, name.to_owned(), key, value.span().start));
            continue;
        }
        let known = HAND_QUANTITIES.iter().find_map(|quantity| {
            let (unit, _) =
                quantity.kind.units().iter().find(|(unit, _)| quantity.key(unit).as_ref() == Some(key))?;
            Some((quantity, *unit))
        });
        if let Some((quantity, unit)) = within_key(key) {
            let Some(number) =
                number(value.get_ref()).filter(|number| quantity.is_sane_within(*number, unit))
            else {
                return wrong(format!(
                    "`{key}` is {}, expected a number above 0, what the gauge may be wrong by",
                    echo(&value.get_ref().to_string())
                ));
            };
            uncertainties.push((quantity.id, number, unit, key, value.span().start));
            continue;
        }
        let Some((quantity, unit)) = known else {
            return wrong(format!("unknown key `{}`, known are {}", echo(key), hand_keys().join(", ")));
        };
        let Some(number) = number(value.get_ref()).filter(|number| quantity.is_sane(*number, unit)) else {
            let (low, high) = quantity.sane;
            let held = quantity.kind.units()[0].0;
            return wrong(format!(
                "`{key}` is {}, expected a number from {low} to {high} {held}",
                echo(&value.get_ref().to_string())
            ));
        };
        if readings.values.iter().any(|there| there.quantity == quantity.id) {
            return wrong(format!(
                "`{key}`: {} stands there in another unit already; keep one",
                quantity.words
            ));
        }
        readings.values.push(HandValue {
            quantity: quantity.id.to_owned(),
            value: number,
            unit: unit.to_owned(),
            uncertainty: None,
            of: None,
        });
    }
    for (id, name, key, start) in returns {
        let Some(there) = readings.values.iter_mut().find(|there| there.quantity == id) else {
            return Err(at(
                start,
                format!("`{key}`: the value that it belongs to is not here; write it as well"),
            ));
        };
        there.of = Some(name);
    }
    for quantity in hand_rows() {
        let Some(key) = quantity.return_key() else { continue };
        let Some(there) = readings.values.iter().find(|there| there.quantity == quantity.id) else {
            continue;
        };
        if there.of.is_none() {
            let own = quantity.key(&there.unit).unwrap_or_default();
            let start = section.get(&own).map_or(0, |value| value.span().start);
            let found = format!(
                "`{own}`: not told which return was recorded meanwhile; write {key} = \"NAME.wav\" beside it"
            );
            return Err(at(start, found));
        }
    }
    for (id, number, unit, key, start) in uncertainties {
        let Some(there) = readings.values.iter_mut().find(|there| there.quantity == id) else {
            return Err(at(
                start,
                format!("`{key}`: the value that it belongs to is not here; write it as well"),
            ));
        };
        if there.unit != unit {
            return Err(at(
                start,
                format!("`{key}`: its value is in {}; write both in one unit", there.unit),
            ));
        }
        there.uncertainty = Some(number);
    }
    Ok(readings)
}

fn hand_rows() -> impl Iterator<Item = &'static HandQuantity> {
    const ROWS: &[HandQuantity] = &HAND_QUANTITIES;
    ROWS.iter()
}

/// Quantity and unit of a key such as `take_up_torque_within_g_cm`.
fn within_key(key: &str) -> Option<(&'static HandQuantity, &'static str)> {
    hand_rows().find_map(|quantity| {
        let units = quantity.kind.units();
        let (unit, _) = units.iter().find(|(unit, _)| quantity.within_key(unit).as_deref() == Some(key))?;
        Some((quantity, *unit))
    })
}

/// Keys of the sections with readings by hand.
pub(super) fn hand_keys() -> Vec<String> {
    let keys = HAND_QUANTITIES
        .iter()
        .flat_map(|quantity| quantity.kind.units().iter().filter_map(|(unit, _)| quantity.key(unit)));
    let returns = hand_rows().filter_map(HandQuantity::return_key);
    keys.chain(returns).chain(["tape_path".to_owned()]).collect()
}

fn hand_limits(section: &BTreeMap<String, Spanned<Value>>, at: At<'_>) -> Result<Vec<HandLimit>, JobError> {
    let mut limits: Vec<HandLimit> = Vec::new();
    for (key, value) in section {
        let wrong = |found: String| Err(at(value.span().start, found));
        if key == "source" {
            if value.get_ref().as_str().is_none() {
                return wrong("`source` is no text; write it in quotation marks".into());
            }
            continue;
        }
        let Some((quantity, unit, is_most)) = limit_key(key) else {
            return wrong(format!(
                "unknown key `{}`, expected such as take_up_torque_min_g_cm, fast_forward_and_rewind_torque_min_mn_m, \
                 dc_offset_max_mv, meter_max_db, source",
                echo(key)
            ));
        };
        let row = HAND_QUANTITIES.iter().find(|row| row.limit == quantity);
        let sane = |number: &f64| row.is_some_and(|row| row.is_sane(*number, unit));
        let Some(number) = number(value.get_ref()).filter(sane) else {
            let found = echo(&value.get_ref().to_string());
            let (low, high) = row.map_or((0.0, 0.0), |row| row.sane);
            let held = row.map_or("", |row| row.kind.units()[0].0);
            return wrong(format!("`{key}` is {found}, expected a number from {low} to {high} {held}"));
        };
        let place = match limits.iter().position(|limit| limit.quantity == quantity) {
            Some(place) if limits[place].unit != unit => {
                return wrong(format!(
                    "`{key}`: its other end is in {}; write both in one unit",
                    limits[place].unit
                ));
            }
            Some(place) => place,
            None => {
                limits.push(HandLimit {
                    quantity: quantity.to_owned(),
                    least: None,
                    most: None,
                    unit: unit.to_owned(),
                });
                limits.len() - 1
            }
        };
        let limit = &mut limits[place];
        *(if is_most { &mut limit.most } else { &mut limit.least }) = Some(number);
        if let (Some(least), Some(most)) = (limit.least, limit.most)
            && least > most
        {
            return wrong(format!("`{key}`: the least, {least}, is above the most, {most}"));
        }
    }
    Ok(limits)
}

/// Quantity, unit and end of a key such as `take_up_torque_max_g_cm`.
fn limit_key(key: &str) -> Option<(&'static str, &'static str, bool)> {
    HAND_QUANTITIES.iter().find_map(|quantity| {
        let rest = key.strip_prefix(&quantity.limit.replace('-', "_"))?;
        let (rest, is_most) = match rest.strip_prefix("_min_") {
            Some(rest) => (rest, false),
            None => (rest.strip_prefix("_max_")?, true),
        };
        let (unit, _) = quantity.kind.units().iter().find(|(_, in_key)| *in_key == rest)?;
        Some((quantity.limit, *unit, is_most))
    })
}

/// The unit that was typed as this program writes it; `None` if it is none for `kind`.
pub(super) fn unit_meant(typed: &str, kind: HandKind) -> Option<&'static str> {
    let bare = |text: &str| text.to_lowercase().replace(['.', '\u{b7}', '*', ' ', '_'], "");
    kind.units().iter().map(|(unit, _)| *unit).find(|unit| bare(unit) == bare(typed))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn parsed(section: &str) -> Result<JobFile, JobError> {
        let text = format!("format = \"{JOB_FORMAT}\"\n[deck]\nname = \"invented\"\n[as_found]\n{section}\n");
        JobFile::from_text("job.toml".into(), text)
    }

    #[test]
    fn millivolts_of_the_level_tone_stand_with_their_return() {
        let whole = "level_tone_left_mv = 655\nlevel_tone_left_return = \"level-1.wav\"\nlevel_tone_left_within_mv = 4";
        let job = parsed(whole).unwrap();
        let value = &job.sheet.as_found.values[0];
        assert_eq!(
            (value.quantity.as_str(), value.value, value.uncertainty),
            ("level-tone-left", 655.0, Some(4.0))
        );
        assert_eq!(value.of.as_deref(), Some("level-1.wav"));
        for (section, words) in [
            (
                "level_tone_left_mv = 655",
                "line 5: `level_tone_left_mv`: not told which return was recorded meanwhile; write \
                                          level_tone_left_return = \"NAME.wav\" beside it",
            ),
            (
                "level_tone_left_return = \"a.wav\"",
                "line 5: `level_tone_left_return`: the value that it belongs to is not here",
            ),
            (
                "level_tone_left_mv = 655\nlevel_tone_left_return = 4",
                "line 6: `level_tone_left_return` is 4, expected the name",
            ),
            ("level_tone_mv = 655", "line 5: unknown key `level_tone_mv`, known are "),
        ] {
            let error = parsed(section).unwrap_err().to_string();
            assert!(error.starts_with("job.toml: ") && error.contains(words), "{section}: {error}");
            assert!(error.ends_with("correct the line"), "{error}");
        }
    }

    proptest! {
        #[test]
        fn millivolts_that_cannot_be_meant_are_refused_with_file_line_and_remedy(
            number in prop_oneof![any::<f64>(), -100.0..30_000.0f64],
            before in 0..5usize,
            right in any::<bool>(),
        ) {
            let side = if right { "right" } else { "left" };
            let value = format!("{number:?}").replace("NaN", "nan");
            let section = format!(
                "{}level_tone_{side}_mv = {value}\nlevel_tone_{side}_return = \"a.wav\"",
                "# mine\n".repeat(before)
            );
            match parsed(&section) {
                Ok(job) => prop_assert_eq!(job.sheet.as_found.values[0].value, number),
                Err(error) => {
                    prop_assert!(!(1.0..=20_000.0).contains(&number), "{}: {}", section, error);
                    let error = error.to_string();
                    let start = format!("job.toml: line {}: `level_tone_{side}_mv` is ", 5 + before);
                    prop_assert!(error.starts_with(&start), "{section}: {error}");
                    prop_assert!(error.contains("expected a number from 1 to 20000 mV; correct the line"), "{error}");
                }
            }
        }
    }
}
