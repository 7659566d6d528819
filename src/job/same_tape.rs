//! Several playings of one recording: whose flutter it is.

use super::ReadOptions;
use super::error::ReadError;
use super::read::{Playing, measure_return, measure_samples};
use crate::capture::InMemory;
use crate::judge::Reading;
use crate::measure::same_tape;
use crate::reading::Facts;
use std::path::{Path, PathBuf};

/// Measures every playing at `paths`; the first carries what all of them say of the flutter.
///
/// # Errors
/// As [`super::read_return`] for each, and [`ReadError::SameTape`] if they cannot be laid over each other.
pub fn measure_same_tape(paths: &[PathBuf], options: &ReadOptions) -> Result<Playing, ReadError> {
    let playings = paths.iter().map(|path| measure_return(path, options)).collect::<Result<Vec<_>, _>>()?;
    let names: Vec<String> = paths.iter().map(|path| path.display().to_string()).collect();
    lay_over(playings, &names)
}

/// Reads playings held in memory; `names` stand for the files' names.
///
/// # Errors
/// As [`measure_same_tape`].
pub fn read_same_tape_samples(
    playings: &[InMemory],
    names: &[String],
    options: &ReadOptions,
) -> Result<Reading, ReadError> {
    let named = playings.iter().zip(names);
    let measured = named
        .map(|(samples, name)| measure_samples(samples, name, options))
        .collect::<Result<Vec<_>, _>>()?;
    Ok(lay_over(measured, names)?.conclude(options))
}

fn lay_over(playings: Vec<Playing>, names: &[String]) -> Result<Playing, ReadError> {
    let path = |k: usize| Path::new(names.get(k).map_or("", String::as_str)).to_owned();
    let code = |facts: &Facts| facts.recipe.as_ref().map(|recipe| recipe.code.clone());
    let mut courses = Vec::new();
    for (k, playing) in playings.iter().enumerate() {
        courses.push(playing.course.clone().ok_or_else(|| ReadError::NoFlutter { path: path(k) })?);
    }
    if let Some(k) = playings.iter().position(|playing| code(&playing.facts) != code(&playings[0].facts)) {
        return Err(ReadError::OtherRecording { path: path(k), first: path(0) });
    }
    let found = same_tape(&courses, names).map_err(|source| ReadError::SameTape { path: path(0), source })?;
    // There is at least one: fewer than two were refused.
    let mut playings = playings;
    let mut first = playings.swap_remove(0);
    first.facts.same_tape = Some(found);
    Ok(first)
}
