//! Several playings of one recording: whose flutter it is.

use super::ReadOptions;
use super::copies::first_copy;
use super::error::ReadError;
use super::read::{Playing, measure_return};
use super::recording::Recording;
use crate::measure::same_tape;
use crate::reading::Facts;
use std::path::Path;

/// Measures every playing; the first carries what all of them say of the flutter.
///
/// # Errors
/// As [`super::read_return`] for each, [`ReadError::OneCapture`] if two are of one capture, and [`ReadError::SameTape`] if they cannot be laid over each other.
pub fn measure_same_tape(recordings: &[Recording<'_>], options: &ReadOptions) -> Result<Playing, ReadError> {
    let measured = recordings.iter().map(|recording| measure_return(*recording, options));
    let mut playings = measured.collect::<Result<Vec<_>, _>>()?;
    let path = |k: usize| recordings.get(k).map_or(Path::new(""), |recording| recording.path()).to_owned();
    let names: Vec<String> = (0..recordings.len()).map(|k| path(k).display().to_string()).collect();
    let code = |facts: &Facts| facts.recipe.as_ref().map(|recipe| recipe.code.clone());
    let mut courses = Vec::new();
    for (k, playing) in playings.iter().enumerate() {
        courses.push(playing.course.clone().ok_or_else(|| ReadError::NoFlutter { path: path(k) })?);
    }
    if let Some(k) = playings.iter().position(|playing| code(&playing.facts) != code(&playings[0].facts)) {
        return Err(ReadError::OtherRecording { path: path(k), first: path(0) });
    }
    if let Some([first, copy]) = first_copy(&playings, is_copy) {
        return Err(ReadError::OneCapture { path: path(copy), first: path(first) });
    }
    let found =
        same_tape(&courses, &names).map_err(|source| ReadError::SameTape { path: path(0), source })?;
    // There is at least one: fewer than two were refused.
    let mut first = playings.swap_remove(0);
    first.facts.same_tape = Some(found);
    Ok(first)
}

/// Slates of two playings of one tape lie at the same distances to within this only if they are of one capture, s: flutter moves them
/// by tens of microseconds and more.
const SAME_S: f64 = 3e-6;

/// Whether two playings are one.
fn is_copy(a: &Playing, b: &Playing) -> bool {
    let distances =
        |of: &Playing| of.slates.windows(2).map(|pair| pair[1].1 - pair[0].1).collect::<Vec<f64>>();
    let (one, other) = (distances(a), distances(b));
    let alike = one.iter().zip(&other).all(|(a, b)| (a - b).abs() < SAME_S);
    one.len() == other.len() && !one.is_empty() && alike
}
