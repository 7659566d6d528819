//! Several playings of one recording: whose flutter it is.

use super::ReadOptions;
use super::error::ReadError;
use super::read::{Whole, read_whole, read_whole_file};
use crate::capture::InMemory;
use crate::judge::{judge, work};
use crate::measure::same_tape;
use crate::reading::Reading;
use std::path::{Path, PathBuf};

/// Reads every playback at `paths`; the reading of the first carries what all of them say of the flutter.
///
/// # Errors
/// As [`super::read_return`] for each, and [`ReadError::SameTape`] if they cannot be laid over each other.
pub fn read_same_tape(paths: &[PathBuf], options: &ReadOptions) -> Result<Reading, ReadError> {
    let wholes = paths.iter().map(|path| read_whole_file(path, options)).collect::<Result<Vec<_>, _>>()?;
    let names: Vec<String> = paths.iter().map(|path| path.display().to_string()).collect();
    lay_over(wholes, &names, options)
}

/// The same for playings held in memory; `names` stand for the files' names.
///
/// # Errors
/// As [`read_same_tape`].
pub fn read_same_tape_samples(
    playings: &[InMemory],
    names: &[String],
    options: &ReadOptions,
) -> Result<Reading, ReadError> {
    let named = playings.iter().zip(names);
    let wholes =
        named.map(|(samples, name)| read_whole(samples, name, options)).collect::<Result<Vec<_>, _>>()?;
    lay_over(wholes, names, options)
}

fn lay_over(wholes: Vec<Whole>, names: &[String], options: &ReadOptions) -> Result<Reading, ReadError> {
    let path = |k: usize| Path::new(names.get(k).map_or("", String::as_str)).to_owned();
    let mut readings = Vec::new();
    let mut courses = Vec::new();
    for (k, whole) in wholes.into_iter().enumerate() {
        courses.push(whole.course.ok_or_else(|| ReadError::NoFlutter { path: path(k) })?);
        readings.push(whole.loopback.reading);
    }
    let code = |reading: &Reading| reading.recipe.as_ref().map(|recipe| recipe.code.clone());
    if let Some(k) = readings.iter().position(|reading| code(reading) != code(&readings[0])) {
        return Err(ReadError::OtherRecording { path: path(k), first: path(0) });
    }
    let found = same_tape(&courses, names).map_err(|source| ReadError::SameTape { path: path(0), source })?;
    // There is at least one: fewer than two were refused.
    let mut reading = readings.swap_remove(0);
    reading.same_tape = Some(found);
    reading.findings = judge(&reading, &options.limits);
    reading.work = work(&reading.findings);
    Ok(reading)
}
