//! A return read together with a measured length of tape.

use super::ReadOptions;
use super::error::ReadError;
use super::read::{Playing, measure_return};
use super::recording::Recording;
use crate::measure::{MarkedLength, speed_from_length};
use crate::reading::figures::UnitKind;
use crate::reading::{RecordedOn, Warning, WarningId};

/// A length of tape that was measured, and what its ends are in the return.
#[derive(Debug, Clone, PartialEq)]
pub struct TapeLength {
    /// Length between the marks, mm.
    pub length_mm: f64,
    /// Expanded uncertainty of it (k = 2), mm.
    pub uncertainty_mm: f64,
    /// The marks.
    pub marks: Marks,
}

/// What the ends of a measured length are.
#[derive(Debug, Clone, PartialEq)]
pub enum Marks {
    /// Times in the return, s of the file, and the expanded uncertainty of each, s.
    Times([f64; 2], f64),
    /// Starts of two slates, by their numbers in the running sheet.
    Slates([u8; 2]),
}

/// Uncertainty of a slate's place, s: wow moves it by some tenths of a millisecond.
const SLATE_S: f64 = 0.001;

/// Measures a return with a measured length between two marks on its tape.
///
/// # Errors
/// As [`super::read_return`]; [`ReadError::NoMark`] if a mark is not there, [`ReadError::Length`] if no deck runs so.
pub fn measure_with_length(
    recording: Recording<'_>,
    options: &ReadOptions,
    length: &TapeLength,
) -> Result<Playing, ReadError> {
    let path = recording.path();
    let mut playing = measure_return(recording, options)?;
    let reading = &mut playing.facts;
    let missing = |what: String| ReadError::NoMark { path: path.to_owned(), what };
    if matches!(reading.circumstances.recorded_on, Some(RecordedOn::Injected | RecordedOn::Loopback)) {
        return Err(missing("no tape was in this return".to_owned()));
    }
    let (marks_s, mark_uncertainty_s, marks) = match length.marks {
        Marks::Times(times_s, uncertainty_s) => {
            let duration_s = reading.capture.duration_s;
            if let Some(late_s) = times_s.into_iter().find(|time_s| *time_s > duration_s) {
                return Err(missing(format!("{late_s} s lie behind its end ({duration_s:.2} s)")));
            }
            (
                times_s.map(|time_s| playing.clock.true_s(time_s)),
                uncertainty_s,
                "heard in the return".to_owned(),
            )
        }
        Marks::Slates(numbers) => {
            let place = |number: u8| {
                let found = playing.slates.iter().find(|slate| slate.0 == number);
                found
                    .map(|slate| slate.1)
                    .ok_or_else(|| missing(format!("slate-{number} was not found in it")))
            };
            let times_s = [place(numbers[0])?, place(numbers[1])?];
            (times_s, SLATE_S, format!("starts of slate-{} and slate-{}", numbers[0], numbers[1]))
        }
    };
    let marked = MarkedLength {
        length_mm: length.length_mm,
        length_uncertainty_mm: length.uncertainty_mm,
        marks_s,
        clock: playing.clock,
        mark_uncertainty_s,
        marks,
    };
    let found = speed_from_length(&marked, &options.medium)
        .map_err(|source| ReadError::Length { path: path.to_owned(), source })?;
    match &mut reading.speed {
        Some(speed) => speed.from_length = Some(found),
        None => reading.warnings.push(Warning::new(
            WarningId::NoSpeed,
            format!(
                "The length of tape gives {}, {} against nominal, but the return has no speed of its own to state it beside: too \
                 few slates were found.",
                UnitKind::TapeSpeed.of(found.speed_mm_s, None),
                UnitKind::SpeedPercent.of(found.error_percent, found.uncertainty_percent).signed()
            ),
        )),
    }
    Ok(playing)
}
