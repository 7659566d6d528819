//! Changes to a job's file: made anew, noted, set, attached, ticked. Comments and order stay as they were written.

use super::evidence::kind_of;
use super::job_file::{hand_keys, plain, unit_meant};
use super::{JOB_FILE, JobError, JobFile};
use crate::harmless::echoes;
use crate::judge::{HandQuantity, Key, STEPS, hand_quantity};
use crate::programme::{DATA_BYTES, Overwrite, read_text, write_text};
use crate::reading::{FollowedReading, JobState, TapeType};
use crate::trade::StatedFlux;
use std::path::{Path, PathBuf};
use toml_edit::{Array, ArrayOfTables, DocumentMut, Item, Table, Value, value};

/// What a new job begins with.
#[derive(Debug, Clone, Default)]
pub struct NewJob {
    /// Which deck.
    pub deck: String,
    /// Its number.
    pub number: Option<String>,
    /// Whose it is.
    pub owner: Option<String>,
    /// The owner's reference.
    pub reference: Option<String>,
    /// Heads, 2 or 3.
    pub heads: Option<u8>,
    /// A portable or a simple deck.
    pub portable: bool,
    /// What the owner says.
    pub complaint: Option<String>,
    /// A calibrated tape is at hand.
    pub calibrated_tape: bool,
    /// Types that the deck shall record on.
    pub tape_types: Vec<TapeType>,
}

/// What a new job begins with.
pub const JOB_TEMPLATE: &str = include_str!("job_template.toml");

/// Makes `folder` with the file of a new job, and gives its path.
///
/// # Errors
/// [`JobError`] if there is a job already, or the folder cannot be made.
pub fn new_job(folder: &Path, new: &NewJob) -> Result<PathBuf, JobError> {
    let path = folder.join(JOB_FILE);
    // What is told needs no hint.
    let hints: [(&str, bool); 4] = [
        ("# number =", new.number.is_some()),
        ("# owner =", new.owner.is_some()),
        ("# reference =", new.reference.is_some()),
        ("# heads =", new.heads.is_some()),
    ];
    let needed = |line: &&str| !hints.iter().any(|(hint, told)| *told && line.starts_with(hint));
    let template: String = JOB_TEMPLATE.lines().filter(needed).map(|line| format!("{line}\n")).collect();
    let mut document = parsed(&path, &template)?;
    document["deck"]["name"] = value(&new.deck);
    let mut set = |section: &str, key: &str, told: Option<Value>| {
        if let Some(told) = told {
            put(&mut document, section, key, told);
        }
    };
    set("deck", "number", new.number.as_deref().map(Value::from));
    set("deck", "owner", new.owner.as_deref().map(Value::from));
    set("deck", "reference", new.reference.as_deref().map(Value::from));
    set("deck", "heads", new.heads.map(|heads| i64::from(heads).into()));
    set("limits", "deck", new.portable.then(|| "portable".into()));
    set("at_hand", "calibrated_tape", new.calibrated_tape.then(|| true.into()));
    if !new.tape_types.is_empty() {
        let types: Array = new.tape_types.iter().map(|kind| format!("{kind:?}")).collect();
        set("at_hand", "tape_types", Some(types.into()));
    }
    if let Some(complaint) = &new.complaint {
        document["complaint"] = value(complaint);
    }
    let job = JobFile::from_text(path.clone(), document.to_string())?;
    if let Err(source) = std::fs::create_dir_all(folder) {
        return Err(JobError::Unwritable { path: folder.to_owned(), source });
    }
    write_text(&path, &job.text, Overwrite::Refuse)?;
    Ok(path)
}

fn parsed(path: &Path, text: &str) -> Result<DocumentMut, JobError> {
    text.parse().map_err(|error: toml_edit::TomlError| JobError::Malformed {
        path: path.to_owned(),
        line: error.span().map_or(0, |span| text[..span.start].matches('\n').count()) + 1,
        found: echoes(error.message()),
    })
}

/// The section called `name`, made if it is not there.
fn section<'a>(document: &'a mut DocumentMut, name: &str) -> Option<&'a mut dyn toml_edit::TableLike> {
    document.entry(name).or_insert_with(|| Item::Table(Table::new())).as_table_like_mut()
}

/// Sets `key`; what stood behind its old value as a comment stays.
fn put(document: &mut DocumentMut, name: &str, key: &str, mut told: Value) {
    let Some(section) = section(document, name) else { return };
    match section.get_mut(key).and_then(Item::as_value_mut) {
        Some(there) => {
            *told.decor_mut() = there.decor().clone();
            *there = told;
        }
        None => {
            section.insert(key, Item::Value(told));
        }
    }
}

/// A value that was read by hand, as it was typed.
#[derive(Debug, Clone, Copy)]
pub struct HandSet<'a> {
    /// Before or after the work.
    pub state: JobState,
    /// Which quantity, or `tape-path`.
    pub name: &'a str,
    /// The number, or words.
    pub told: &'a str,
    /// Its unit, if it was typed.
    pub unit: Option<&'a str>,
    /// What the gauge may be wrong by, in the same unit.
    pub within: Option<&'a str>,
    /// The return that was recorded meanwhile.
    pub of: Option<&'a str>,
    /// Replace a value that is there.
    pub force: bool,
}

/// What the service manual says of the deck's output and mark.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DeckTold {
    /// Output at the mark, mV rms.
    OutputNominal(f64),
    /// Its tolerance either way, mV.
    OutputTolerance(f64),
    /// What the mark stands for.
    DeckStandard(StatedFlux),
}

impl DeckTold {
    /// Names for the command line.
    pub const NAMES: [&'static str; 3] = ["output-nominal", "output-tolerance", "deck-standard"];

    /// What `told` in `unit` means for `name`, which is one of [`DeckTold::NAMES`].
    ///
    /// # Errors
    /// [`JobError::Typed`] with what is expected.
    pub fn meant(name: &str, told: &str, unit: Option<&str>) -> Result<Self, JobError> {
        let is_flux = name == Self::NAMES[2];
        let own = if is_flux { "nWb/m" } else { "mV" };
        if let Some(unit) = unit.filter(|unit| !unit.eq_ignore_ascii_case(own)) {
            return Err(typed(unit, &format!("no unit of {name}; write {own}")));
        }
        if is_flux {
            return StatedFlux::parse(told).map(Self::DeckStandard).map_err(|why| typed(told, &why));
        }
        let number = told.trim().parse::<f64>().ok();
        let row = Key::OutputNominal.row();
        let number = number.filter(|number| row.holds(*number));
        let number = number
            .ok_or_else(|| typed(told, &format!("expected {}, with a point for decimals", row.expected())))?;
        Ok(if name == Self::NAMES[0] { Self::OutputNominal(number) } else { Self::OutputTolerance(number) })
    }

    /// Keys of a limits file with their values.
    fn keys(&self) -> Vec<(String, Value)> {
        let key = |key: Key| key.row().name.to_owned();
        match self {
            Self::OutputNominal(mv) => vec![(key(Key::OutputNominal), short(*mv))],
            Self::OutputTolerance(mv) => vec![(key(Key::OutputTolerance), short(*mv))],
            Self::DeckStandard(flux) => vec![
                (key(Key::DeckStandard), short(flux.nwb_m)),
                ("deck_standard_stated".to_owned(), flux.stated.word().into()),
            ],
        }
    }
}

/// A number as a person writes it: without a point if it is whole.
fn short(number: f64) -> Value {
    if number.fract() == 0.0 { (number as i64).into() } else { number.into() }
}

/// A number as it was typed: without a point if there was none.
fn as_typed(told: &str, number: f64) -> Value {
    if told.trim().parse::<i64>().is_ok() { (number as i64).into() } else { number.into() }
}

impl JobFile {
    /// Adds a line to the work done, or to the complaint.
    ///
    /// # Errors
    /// What [`JobFile::replace`] returns.
    pub fn note(&self, words: &str, complaint: bool) -> Result<Self, JobError> {
        let words = words.trim();
        if words.is_empty() {
            return Err(typed(words, "nothing to note; give some words"));
        }
        let mut document = parsed(&self.path, &plain(&self.text))?;
        if complaint {
            let all = match self.sheet.complaint.as_str() {
                "" => words.to_owned(),
                there => format!("{there}\n{words}"),
            };
            put_root(&mut document, "complaint", all.into());
        } else {
            if document.get("work").is_none() {
                put_root(&mut document, "work", Array::new().into());
            }
            if let Some(work) = document["work"].as_array_mut() {
                // Comments behind the last line stay behind it.
                let mut line = Value::from(words);
                line.decor_mut().set_prefix("\n    ");
                let mut trailing = work.trailing().as_str().unwrap_or("\n").trim_end().to_owned();
                if !trailing.is_empty() {
                    line.decor_mut().set_prefix(format!("{trailing}\n    "));
                    trailing.clear();
                }
                work.push_formatted(line);
                work.set_trailing("\n");
                work.set_trailing_comma(true);
            }
        }
        self.replace(document.to_string())
    }

    /// Sets values that were read by hand, or `tape-path` to words: all of them or none.
    ///
    /// # Errors
    /// [`JobError::Typed`], [`JobError::Taken`], and what [`JobFile::replace`] returns.
    pub fn set(&self, sets: &[HandSet<'_>]) -> Result<Self, JobError> {
        let before = plain(&self.text);
        let text = sets.iter().try_fold(before.clone(), |text, set| self.with(text, set))?;
        if text == before { Ok(self.clone()) } else { self.replace(text) }
    }

    /// `text` with one value more.
    fn with(&self, text: String, set: &HandSet<'_>) -> Result<String, JobError> {
        let HandSet { state, name, told, unit, within, of, force } = *set;
        // What stands beside the value: its uncertainty, and the return that belongs to it. They come and go with it.
        let (mut beside, mut beside_keys): (Vec<(String, Value)>, Vec<String>) = (Vec::new(), Vec::new());
        let no_return = |name: &str| typed(name, "no return belongs to it; leave --return away");
        let (key, told, others) = if name == "tape-path" {
            if told.trim().is_empty() {
                return Err(typed(told, "nothing to note; say what was seen"));
            }
            if let Some(within) = within {
                return Err(typed(within, "words have no uncertainty; leave --within away"));
            }
            if of.is_some() {
                return Err(no_return(name));
            }
            ("tape_path".to_owned(), Value::from(told.trim()), vec!["tape_path".to_owned()])
        } else {
            let quantity = hand_quantity(name)
                .ok_or_else(|| typed(name, &format!("unknown; known are {}", hand_names())))?;
            let (unit, number) = number_meant(quantity, told, unit)?;
            let keys = quantity.kind.units().iter().filter_map(|(unit, _)| quantity.key(unit)).collect();
            beside_keys =
                quantity.kind.units().iter().filter_map(|(unit, _)| quantity.within_key(unit)).collect();
            if let Some(within) = within {
                let why = "expected a number above 0, with a point for decimals: what the gauge may be wrong by, in the unit of \
                           the value";
                let number = within.trim().parse::<f64>().ok();
                let number = number.filter(|number| quantity.is_sane_within(*number, unit));
                let number = number.ok_or_else(|| typed(within, why))?;
                beside.push((quantity.within_key(unit).unwrap_or_default(), as_typed(within, number)));
            }
            match (quantity.return_key(), of.map(str::trim).filter(|of| !of.is_empty())) {
                (Some(key), Some(of)) => {
                    beside.push((key.clone(), of.into()));
                    beside_keys.push(key);
                }
                (Some(_), None) => {
                    let why = "name the return that was recorded while this tone played, with --return NAME.wav: it ties the \
                               millivolts to the levels of returns";
                    return Err(typed(name, why));
                }
                (None, Some(_)) => return Err(no_return(name)),
                (None, None) => {}
            }
            (quantity.key(unit).unwrap_or_default(), as_typed(told, number), keys)
        };
        let mut document = parsed(&self.path, &text)?;
        let state = match state {
            JobState::AsFound => "as_found",
            JobState::AsLeft => "as_left",
        };
        let Some(section) = section(&mut document, state) else {
            return Err(typed(state, "is no section in the job's file; write it as [as_found], [as_left]"));
        };
        let find = |section: &dyn toml_edit::TableLike, keys: &[String]| -> Vec<(String, String)> {
            let text = |key: &String| {
                let text = section.get(key)?.as_value()?.clone().decorated("", "").to_string();
                Some((key.clone(), format!("{key} = {text}")))
            };
            keys.iter().filter_map(text).collect()
        };
        let (there, old_beside) = (find(section, &others), find(section, &beside_keys));
        let said = |key: &str, value: &Value| format!("{key} = {}", value.clone().decorated("", ""));
        if let Some((old, there)) = there.into_iter().next() {
            let new_beside: Vec<String> = beside.iter().map(|(key, value)| said(key, value)).collect();
            let old_beside: Vec<String> = old_beside.into_iter().map(|(_, text)| text).collect();
            if there == said(&key, &told) && old_beside == new_beside {
                return Ok(text);
            }
            if !force {
                return Err(JobError::Taken { path: self.path.clone(), there });
            }
            let before =
                section.key(&old).and_then(|key| key.leaf_decor().prefix()?.as_str().map(str::to_owned));
            let was: String = old_beside.iter().map(|text| format!(", {text}")).collect();
            for key in &beside_keys {
                section.remove(key);
            }
            let kept = format!("{}# before: {}{was}\n", before.unwrap_or_default(), there.replace('\n', " "));
            let behind = section
                .get(&old)
                .and_then(|item| item.as_value()?.decor().suffix()?.as_str().map(str::to_owned));
            section.remove(&old);
            section.insert(&key, Item::Value(told.decorated(" ", behind.unwrap_or_default())));
            if let Some(mut key) = section.key_mut(&key) {
                key.leaf_decor_mut().set_prefix(kept);
            }
        } else {
            section.insert(&key, Item::Value(told));
        }
        for (key, value) in beside {
            section.insert(&key, Item::Value(value));
        }
        Ok(document.to_string())
    }

    /// Sets what the service manual says of the deck's output and mark, in the section of the limits.
    ///
    /// # Errors
    /// As [`JobFile::set`]; and if the job takes its limits from a file of their own.
    pub fn set_told(&self, told: &DeckTold, force: bool) -> Result<Self, JobError> {
        let mut document = parsed(&self.path, &plain(&self.text))?;
        let Some(section) = section(&mut document, "limits") else {
            return Err(typed("limits", "is no section in the job's file; write it as [limits]"));
        };
        let file = section.get("file").and_then(Item::as_str).map(str::to_owned);
        let keys = told.keys();
        let mut was = Vec::new();
        for (key, value) in &keys {
            if let Some(file) = &file {
                let why = format!("the job's limits are in {file}; write {key} there");
                return Err(typed(key, &why));
            }
            let there =
                section.get(key).and_then(Item::as_value).map(|value| value.clone().decorated("", ""));
            let same = there.as_ref().is_some_and(|there| there.to_string() == value.to_string());
            was.extend(there.filter(|_| !same).map(|there| format!("{key} = {there}")));
        }
        if !was.is_empty() && !force {
            return Err(JobError::Taken { path: self.path.clone(), there: was.join(", ") });
        }
        let places = keys.iter().map(|(key, _)| key.clone()).collect::<Vec<_>>();
        for (key, value) in keys {
            put(&mut document, "limits", &key, value);
        }
        if let (Some(first), false) = (places.first(), was.is_empty())
            && let Some(section) = self::section(&mut document, "limits")
            && let Some(mut key) = section.key_mut(first)
        {
            let before =
                key.leaf_decor().prefix().and_then(|prefix| prefix.as_str()).unwrap_or_default().to_owned();
            key.leaf_decor_mut().set_prefix(format!("{before}# before: {}\n", was.join(", ")));
        }
        self.replace(document.to_string())
    }

    /// Adds the readings in `files`; those from outside the folder are copied into it.
    ///
    /// # Errors
    /// If one of them is no reading, or is attached already; then nothing is added.
    pub fn attach(&self, state: JobState, files: &[PathBuf]) -> Result<(Self, Vec<String>), JobError> {
        let folder = self.place()?;
        let mut attached = Vec::new();
        let mut copies: Vec<(PathBuf, String)> = Vec::new();
        for file in files {
            let unreadable = |source| JobError::Unreadable { path: file.clone(), source };
            let text = read_text(file, DATA_BYTES).map_err(unreadable)?;
            let kind = kind_of(file, &text)?;
            for there in &self.sheet.readings {
                if read_text(&folder.join(&there.file), DATA_BYTES).is_ok_and(|same| same == text) {
                    return Err(typed(
                        &file.display().to_string(),
                        &format!("attached already ({}); to move it, edit {JOB_FILE}", there.file),
                    ));
                }
            }
            let place = file.canonicalize().map_err(unreadable)?;
            let name = match place.strip_prefix(&folder) {
                Ok(inside) => inside.iter().map(|part| part.to_string_lossy()).collect::<Vec<_>>().join("/"),
                Err(_) => {
                    let name = free_name(&folder, state, &kind, &copies);
                    copies.push((folder.join(&name), text));
                    name
                }
            };
            if attached.contains(&name) {
                return Err(typed(&file.display().to_string(), "given twice; give each reading once"));
            }
            attached.push(name);
        }
        self.add(state, attached, &copies)
    }

    /// Adds a reading that no file holds yet, as JSON.
    ///
    /// # Errors
    /// What [`JobFile::attach`] returns.
    pub fn attach_new(&self, state: JobState, text: String) -> Result<(Self, Vec<String>), JobError> {
        let folder = self.place()?;
        let name = free_name(&folder, state, &kind_of(&self.path, &text)?, &[]);
        let copies = [(folder.join(&name), text)];
        self.add(state, vec![name], &copies)
    }

    /// The job's folder, whatever leads to it.
    fn place(&self) -> Result<PathBuf, JobError> {
        let unreadable = |source| JobError::Unreadable { path: self.folder().to_owned(), source };
        self.folder().canonicalize().map_err(unreadable)
    }

    /// Writes `copies` and adds the readings called `attached` to the file.
    fn add(
        &self,
        state: JobState,
        attached: Vec<String>,
        copies: &[(PathBuf, String)],
    ) -> Result<(Self, Vec<String>), JobError> {
        let mut document = parsed(&self.path, &plain(&self.text))?;
        let list = tables(&mut document, "reading")?;
        for name in &attached {
            let mut table = Table::new();
            table["state"] = value(state_word(state));
            table["file"] = value(name);
            list.push(table);
        }
        for (k, (path, text)) in copies.iter().enumerate() {
            if let Some(folder) = path.parent() {
                std::fs::create_dir_all(folder)
                    .map_err(|source| JobError::Unwritable { path: folder.to_owned(), source })?;
            }
            if let Err(error) = write_text(path, text, Overwrite::Refuse) {
                remove(&copies[..k]);
                return Err(error.into());
            }
        }
        let changed = self.replace(document.to_string());
        if changed.is_err() {
            remove(copies);
        }
        Ok((changed?, attached))
    }

    /// Adds what was shown live, and kept.
    ///
    /// # Errors
    /// What [`JobFile::replace`] returns.
    pub fn keep(&self, kept: &FollowedReading) -> Result<Self, JobError> {
        let mut document = parsed(&self.path, &plain(&self.text))?;
        let mut table = Table::new();
        table["state"] = value(state_word(kept.state));
        table["at"] = value(&kept.at);
        table["view"] = value(&kept.view);
        table["reads"] = value(&kept.reads);
        tables(&mut document, "followed")?.push(table);
        self.replace(document.to_string())
    }

    /// Calls a step done, with a remark.
    ///
    /// # Errors
    /// If there is no such step, and what [`JobFile::replace`] returns.
    pub fn tick(&self, step: &str, remark: &str) -> Result<Self, JobError> {
        let known = STEPS.iter().any(|known| {
            step == *known || step.strip_prefix(known).is_some_and(|rest| rest.starts_with("-type-"))
        });
        if !known {
            return Err(typed(step, &format!("no such step; steps are {}", STEPS.join(", "))));
        }
        let mut document = parsed(&self.path, &plain(&self.text))?;
        // What was said of it before stays.
        let before = self.sheet.done.iter().find(|(id, _)| id == step).map(|(_, before)| before.trim());
        let remark = match before {
            Some(before) if before == remark.trim() => return Ok(self.clone()),
            Some(before) if !before.is_empty() => format!("{before}; {remark}"),
            _ => remark.to_owned(),
        };
        put(&mut document, "done", step, remark.into());
        self.replace(document.to_string())
    }
}

fn state_word(state: JobState) -> &'static str {
    match state {
        JobState::AsFound => "as-found",
        JobState::AsLeft => "as-left",
    }
}

/// The list of tables called `name`, made if it is not there.
fn tables<'a>(document: &'a mut DocumentMut, name: &str) -> Result<&'a mut ArrayOfTables, JobError> {
    let list = document.entry(name).or_insert_with(|| Item::ArrayOfTables(ArrayOfTables::new()));
    let wrong = || typed(name, &format!("is no list of [[{name}]] in the job's file; write it so"));
    list.as_array_of_tables_mut().ok_or_else(wrong)
}

/// Removes copies that nobody refers to.
fn remove(copies: &[(PathBuf, String)]) {
    for (path, _) in copies {
        let _ = std::fs::remove_file(path);
    }
}

fn put_root(document: &mut DocumentMut, key: &str, mut told: Value) {
    match document.get_mut(key).and_then(Item::as_value_mut) {
        Some(there) => {
            *told.decor_mut() = there.decor().clone();
            *there = told;
        }
        None => {
            document.insert(key, Item::Value(told));
        }
    }
}

fn typed(typed: &str, why: &str) -> JobError {
    JobError::Typed { typed: typed.to_owned(), why: why.to_owned() }
}

/// Names for the command line.
fn hand_names() -> String {
    let names: Vec<&str> = crate::judge::HAND_QUANTITIES.iter().map(|quantity| quantity.id).collect();
    let told = DeckTold::NAMES.join(", ");
    format!(
        "{}, level-tone, tape-path, {told} (keys in the file: {})",
        names.join(", "),
        hand_keys().join(", ")
    )
}

fn number_meant(
    quantity: &HandQuantity,
    told: &str,
    unit: Option<&str>,
) -> Result<(&'static str, f64), JobError> {
    let units: Vec<&str> = quantity.kind.units().iter().map(|(unit, _)| *unit).collect();
    let unit = match (unit, &units[..]) {
        (None, [only]) => only,
        (None, _) => {
            return Err(typed(
                quantity.id,
                &format!("in which unit? Write {} behind the number", units.join(" or ")),
            ));
        }
        (Some(written), _) => unit_meant(written, quantity.kind).ok_or_else(|| {
            typed(written, &format!("no unit of {}; write {}", quantity.words, units.join(" or ")))
        })?,
    };
    let number = told.trim().parse::<f64>().ok().filter(|number| quantity.is_sane(*number, unit));
    let (low, high) = quantity.sane;
    let why = format!("expected a number, with a point for decimals, from {low} to {high} {}", units[0]);
    Ok((unit, number.ok_or_else(|| typed(told, &why))?))
}

/// A name in the folder that no file has yet.
fn free_name(folder: &Path, state: JobState, kind: &str, taken: &[(PathBuf, String)]) -> String {
    let plain: String =
        kind.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).take(40).collect();
    let state = match state {
        JobState::AsFound => "as-found",
        JobState::AsLeft => "as-left",
    };
    let free = |name: &String| {
        let path = folder.join(name);
        path.symlink_metadata().is_err() && !taken.iter().any(|(other, _)| *other == path)
    };
    (1u32..).map(|k| format!("readings/{state}-{plain}-{k}.json")).find(free).unwrap_or_default()
}
