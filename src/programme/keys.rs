//! Typed access to the keys of a recipe, so that every refusal names file, line and key.

use super::{ProgrammeError, RecipeFault};
use crate::harmless::{acts, echo, echoes};
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Text of a recipe with its name, to turn a place in it into a line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Source<'a> {
    /// Name of the file, for messages.
    pub file: &'a str,
    /// The text.
    pub text: &'a str,
}

impl<'a> Source<'a> {
    /// The text as TOML.
    pub fn document(&self) -> Result<Spanned<DeTable<'a>>, ProgrammeError> {
        DeTable::parse(self.text).map_err(|error| ProgrammeError::NotToml {
            file: self.file.into(),
            line: self.line(error.span().map_or(0, |span| span.start)),
            message: echoes(error.message()),
        })
    }

    /// Line of a byte position, from 1.
    pub fn line(&self, at: usize) -> usize {
        1 + self.text.bytes().take(at).filter(|&byte| byte == b'\n').count()
    }

    /// Refusal of the value of `key` at byte position `at`.
    pub fn refuse(
        &self,
        at: usize,
        key: &str,
        found: impl Into<String>,
        allowed: impl Into<String>,
        remedy: impl Into<String>,
    ) -> ProgrammeError {
        ProgrammeError::Recipe(Box::new(RecipeFault {
            file: self.file.into(),
            line: self.line(at),
            key: key.into(),
            found: found.into(),
            allowed: allowed.into(),
            remedy: remedy.into(),
        }))
    }
}

/// One or more numbers, each with its byte position.
#[derive(Debug, Clone)]
pub(super) struct Numbers {
    /// The values and where they stand; never empty.
    pub values: Vec<(f64, usize)>,
}

/// One table of a recipe.
pub(super) struct Keys<'a> {
    /// Where the text comes from.
    pub source: Source<'a>,
    /// Byte position of the table.
    pub at: usize,
    table: &'a DeTable<'a>,
}

impl<'a> Keys<'a> {
    /// Keys of `table`, which stands at `span`.
    pub fn new(source: Source<'a>, span: Range<usize>, table: &'a DeTable<'a>) -> Self {
        Self { source, at: span.start, table }
    }

    /// Refuses every key but `known`; `of` says whose they are. Asked first, so that a misspelt key is named itself and
    /// not as missing.
    pub fn only(&self, of: &str, known: &[&str]) -> Result<(), ProgrammeError> {
        // In the order of the text, so that the first wrong line is named first.
        let unknown = self.table.keys().filter(|key| !known.contains(&key.get_ref().as_ref()));
        match unknown.min_by_key(|key| key.span().start) {
            None => Ok(()),
            Some(key) => Err(self.source.refuse(
                key.span().start,
                &echo(key.get_ref()),
                format!("a key that {of} does not know"),
                known.join(", "),
                "correct its spelling or take it out",
            )),
        }
    }

    /// Refusal of `key` where it stands, or of its table when it is missing.
    pub fn refuse(
        &self,
        key: &str,
        found: impl Into<String>,
        allowed: impl Into<String>,
        remedy: impl Into<String>,
    ) -> ProgrammeError {
        let at = self.table.get(key).map_or(self.at, |value| value.span().start);
        self.source.refuse(at, key, found, allowed, remedy)
    }

    /// The value, or a refusal because `key` is missing.
    pub fn required<T>(&self, key: &str, value: Option<T>, allowed: &str) -> Result<T, ProgrammeError> {
        value.ok_or_else(|| self.refuse(key, "nothing", allowed, format!("add the key {key}")))
    }

    /// A text.
    pub fn text(&self, key: &str) -> Result<Option<String>, ProgrammeError> {
        let Some(value) = self.table.get(key) else { return Ok(None) };
        match value.get_ref() {
            // It would reach the technician's terminal and sheet.
            DeValue::String(text) if text.chars().any(|c| acts(c) && c != '\n') => {
                let found = "control characters or marks of direction";
                Err(self.refuse(key, found, "printable text", "take them out"))
            }
            DeValue::String(text) => Ok(Some(text.to_string())),
            other => {
                let found = describe(other);
                Err(self.refuse(key, found, "a text in quotes", "put it in quotes"))
            }
        }
    }

    /// One of a list of words.
    pub fn word<T: Copy>(&self, key: &str, words: &[(&str, T)]) -> Result<Option<T>, ProgrammeError> {
        let Some(text) = self.text(key)? else { return Ok(None) };
        match words.iter().find(|(word, _)| *word == text) {
            Some(&(_, meaning)) => Ok(Some(meaning)),
            None => {
                let allowed: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
                Err(self.refuse(
                    key,
                    format!("{:?}", echo(&text)),
                    allowed.join(", "),
                    "use one of these words",
                ))
            }
        }
    }

    /// Yes or no.
    pub fn flag(&self, key: &str) -> Result<Option<bool>, ProgrammeError> {
        let Some(value) = self.table.get(key) else { return Ok(None) };
        match value.get_ref() {
            DeValue::Boolean(flag) => Ok(Some(*flag)),
            other => {
                let found = describe(other);
                Err(self.refuse(key, found, "true or false", "write one of the two, without quotes"))
            }
        }
    }

    /// One number or a list of numbers within `low..=high`.
    pub fn numbers(
        &self,
        key: &str,
        low: f64,
        high: f64,
        unit: &str,
    ) -> Result<Option<Numbers>, ProgrammeError> {
        let Some(value) = self.table.get(key) else { return Ok(None) };
        let list: Vec<&Spanned<DeValue<'a>>> = match value.get_ref() {
            DeValue::Array(list) => list.iter().collect(),
            _ => vec![value],
        };
        if list.is_empty() {
            return Err(self.refuse(key, "an empty list", "at least one number", "fill it or take it out"));
        }
        let mut values = Vec::with_capacity(list.len());
        for item in list {
            let allowed = || format!("{low} to {high} {unit}");
            let at = item.span().start;
            let Some(number) = number(item.get_ref()) else {
                let found = describe(item.get_ref());
                return Err(self.source.refuse(
                    at,
                    key,
                    found,
                    allowed(),
                    "write a plain number without unit",
                ));
            };
            if !(low..=high).contains(&number) {
                let remedy = "choose a value within";
                return Err(self.source.refuse(
                    at,
                    key,
                    format!("{} {unit}", echo(&number.to_string())),
                    allowed(),
                    remedy,
                ));
            }
            values.push((number, at));
        }
        Ok(Some(Numbers { values }))
    }

    /// One number within `low..=high`.
    pub fn number(&self, key: &str, low: f64, high: f64, unit: &str) -> Result<Option<f64>, ProgrammeError> {
        match self.numbers(key, low, high, unit)? {
            None => Ok(None),
            Some(numbers) => match numbers.values[..] {
                [(value, _)] => Ok(Some(value)),
                _ => Err(self.refuse(key, "a list", "one number", "give one number")),
            },
        }
    }

    /// One whole number within `low..=high`.
    pub fn whole(&self, key: &str, low: u32, high: u32) -> Result<Option<u32>, ProgrammeError> {
        let Some(value) = self.number(key, f64::from(low), f64::from(high), "(whole number)")? else {
            return Ok(None);
        };
        if value.fract() != 0.0 {
            let allowed = format!("whole numbers from {low} to {high}");
            return Err(self.refuse(key, value.to_string(), allowed, "write it without decimals"));
        }
        // Whole and within u32, as just checked.
        Ok(Some(value as u32))
    }

    /// A list of tables, `[[key]]`.
    pub fn tables(&self, key: &str) -> Result<Vec<Keys<'a>>, ProgrammeError> {
        let Some(value) = self.table.get(key) else { return Ok(Vec::new()) };
        let wrong = |keys: &Self, found: String| {
            keys.refuse(key, found, format!("tables headed [[{key}]]"), "head every part like that")
        };
        let DeValue::Array(list) = value.get_ref() else {
            return Err(wrong(self, describe(value.get_ref())));
        };
        list.iter()
            .map(|item| match item.get_ref() {
                DeValue::Table(table) => Ok(Keys::new(self.source, item.span(), table)),
                other => Err(wrong(self, describe(other))),
            })
            .collect()
    }
}

/// The value of a TOML number, `None` for anything else, NaN and infinity.
fn number(value: &DeValue<'_>) -> Option<f64> {
    let number = match value {
        DeValue::Integer(integer) => i64::from_str_radix(integer.as_str(), integer.radix()).ok()? as f64,
        DeValue::Float(float) => float.as_str().parse().ok()?,
        _ => return None,
    };
    number.is_finite().then_some(number)
}

fn describe(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("the text {:?}", echo(text)),
        DeValue::Integer(integer) => format!("the number {}", echo(&integer.to_string())),
        DeValue::Float(float) => format!("the number {}", echo(&float.to_string())),
        other => format!("a {}", other.type_str()),
    }
}
