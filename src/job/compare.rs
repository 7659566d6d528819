//! Several readings from their files, held against each other.

use super::copies::first_copy;
use crate::harmless::{echo, echoes};
use crate::judge::Reading;
use crate::judge::{Named, compare_repeated, is_one_capture};
use crate::programme::{DATA_BYTES, read_text};
use crate::reading::{Comparison, FORMAT, SKEW_FORMAT, SkewReading};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why readings could not be compared.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum CompareError {
    /// A file could not be opened or read.
    #[error("{}: {source}; give the reading.json of a reading", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// Two repeats are of one capture.
    #[error(
        "{}: is of the same capture as {}, and shows nothing of how well the deck repeats itself; play the tape again for each repeat",
        path.display(),
        first.display()
    )]
    OneCapture {
        /// The file.
        path: PathBuf,
        /// The other one.
        first: PathBuf,
    },
    /// A file is no reading.
    #[error("{}: no reading: {why}; give the JSON that `deckproof read --out` or `--json` wrote", path.display())]
    NoReading {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
}

/// What a file holds.
#[derive(Debug, Clone)]
pub(super) enum Loaded {
    /// A reading of a return.
    Reading(Box<Reading>),
    /// What music says of azimuth.
    Skew(Box<SkewReading>),
}

/// The reading, or the result of `skew`, in the file at `path`.
pub(super) fn load(path: &Path) -> Result<Loaded, CompareError> {
    let text = read_text(path, DATA_BYTES)
        .map_err(|source| CompareError::Unreadable { path: path.to_owned(), source })?;
    loaded(path, &text)
}

/// The same of the text that the file at `path` has.
pub(super) fn loaded(path: &Path, text: &str) -> Result<Loaded, CompareError> {
    let no_reading = |why: String| CompareError::NoReading { path: path.to_owned(), why };
    let value: serde_json::Value =
        serde_json::from_str(text).map_err(|error| no_reading(format!("not JSON ({error})")))?;
    match value.get("format").and_then(serde_json::Value::as_str) {
        Some(FORMAT) => {}
        Some(SKEW_FORMAT) => {
            let skew =
                serde_json::from_value(value).map_err(|error| no_reading(echoes(&error.to_string())))?;
            return Ok(Loaded::Skew(Box::new(skew)));
        }
        Some(other) => {
            return Err(no_reading(format!("its format is {:?}, expected {FORMAT:?}", echo(other))));
        }
        None => return Err(no_reading("it has no key `format`".to_owned())),
    }
    let reading = serde_json::from_value(value).map_err(|error| no_reading(echoes(&error.to_string())))?;
    Ok(Loaded::Reading(Box::new(reading)))
}

/// The reading in the file at `path`.
///
/// # Errors
/// If the file cannot be read, or holds no `deckproof-reading/1`.
pub fn load_reading(path: &Path) -> Result<Reading, CompareError> {
    match load(path)? {
        Loaded::Reading(reading) => Ok(*reading),
        Loaded::Skew(_) => Err(CompareError::NoReading {
            path: path.to_owned(),
            why: format!("its format is {SKEW_FORMAT:?}, expected {FORMAT:?}"),
        }),
    }
}

/// Compares the readings in `files`, called `names`, with the spread of those in `repeats`, if any.
///
/// # Errors
/// If one of them cannot be loaded, or two of the `repeats` are of one capture.
pub fn compare_files(
    files: &[PathBuf],
    names: &[String],
    repeats: &[PathBuf],
) -> Result<Comparison, CompareError> {
    let load = |files: &[PathBuf]| files.iter().map(|file| load_reading(file)).collect::<Result<Vec<_>, _>>();
    let shown = |files: &[PathBuf]| files.iter().map(|file| file.display().to_string()).collect::<Vec<_>>();
    let (readings, repeated) = (load(files)?, load(repeats)?);
    if let Some([first, copy]) = first_copy(&repeated, is_one_capture) {
        return Err(CompareError::OneCapture { path: repeats[copy].clone(), first: repeats[first].clone() });
    }
    let (shown, shown_repeats) = (shown(files), shown(repeats));
    let named: Vec<Named<'_>> = readings
        .iter()
        .zip(names)
        .zip(&shown)
        .map(|((reading, name), file)| Named { name, file, reading })
        .collect();
    let repeated: Vec<Named<'_>> = repeated
        .iter()
        .zip(&shown_repeats)
        .map(|(reading, file)| Named { name: file, file, reading })
        .collect();
    Ok(compare_repeated(&named, &repeated))
}
