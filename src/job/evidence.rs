//! What is attached to a job, loaded from its files.

use super::compare::{Loaded, load, loaded};
use super::{CompareError, JobFile};
use crate::judge::Reading;
use crate::reading::{JobState, RecordedOn, SkewReading};
use std::path::Path;

/// What is known of a job besides its sheet.
#[derive(Debug, Clone, Default)]
pub struct Attached {
    /// Readings with their files, in the order in which they were attached.
    pub readings: Vec<(JobState, String, Reading)>,
    /// Results of `skew`, likewise.
    pub skews: Vec<(JobState, String, SkewReading)>,
    /// Files that cannot be had, each with the reason.
    pub missing: Vec<String>,
    /// The loopback capture that the job names, or the newest that one of its readings was made from, if it is still there.
    pub loopback: Option<String>,
    /// Names in the job's folder, and in `readings` below it, with that folder.
    pub taken: Vec<String>,
}

impl JobFile {
    /// Loads what is attached.
    pub fn attached(&self) -> Attached {
        let mut attached = Attached { taken: names(self.folder()), ..Attached::default() };
        for there in &self.sheet.readings {
            let (state, file) = (there.state, there.file.clone());
            match load(&self.folder().join(&there.file)) {
                Ok(Loaded::Reading(reading)) => attached.readings.push((state, file, *reading)),
                Ok(Loaded::Skew(skew)) => attached.skews.push((state, file, *skew)),
                Err(error) => attached.missing.push(error.to_string()),
            }
        }
        let loopback = attached.readings.iter().rev().find_map(|(_, _, reading)| {
            let is_loopback = reading.circumstances.recorded_on == Some(RecordedOn::Loopback);
            let file = &reading.capture.file;
            (is_loopback && self.folder().join(file).is_file()).then(|| file.clone())
        });
        attached.loopback = self.sheet.at_hand.loopback.clone().or(loopback);
        attached
    }
}

fn names(folder: &Path) -> Vec<String> {
    let of = |folder: &Path, before: &str| -> Vec<String> {
        let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
        entries.map(|entry| format!("{before}{}", entry.file_name().to_string_lossy())).collect()
    };
    let mut names = of(folder, "");
    names.extend(of(&folder.join("readings"), "readings/"));
    names
}

/// Whether the file at `path`, with this text, can be attached, and what it is called in a name that is made for its copy.
///
/// # Errors
/// If it is neither a reading nor a result of `skew`.
pub(super) fn kind_of(path: &Path, text: &str) -> Result<String, CompareError> {
    Ok(match loaded(path, text)? {
        Loaded::Reading(reading) => {
            reading.recipe.as_ref().map_or("reading".to_owned(), |recipe| recipe.name.clone())
        }
        Loaded::Skew(_) => "azimuth-by-music".to_owned(),
    })
}
