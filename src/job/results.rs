//! A folder with everything that one reading gives: JSON, report, tables and figures.

use crate::judge::Limits;
use crate::programme::{Overwrite, ProgrammeError, write_text};
use crate::reading::Reading;
use crate::show;
use std::path::{Path, PathBuf};

/// Name of the reading in the folder.
pub const READING: &str = "reading.json";
/// Name of the report in the folder.
pub const REPORT: &str = "report.html";

/// Refuses a folder that holds an earlier reading or report, before any long work.
///
/// # Errors
/// [`ProgrammeError::Exists`] if one is there and `overwrite` does not allow it.
pub fn check_results_folder(folder: &Path, overwrite: Overwrite) -> Result<(), ProgrammeError> {
    refuse_existing([READING, REPORT].map(|name| folder.join(name)), overwrite)
}

/// Writes `reading` into `folder`, which is made if it is not there; returns the files, the report first.
///
/// # Errors
/// If a file exists (nothing is written then) or cannot be written.
pub fn write_results(
    folder: &Path,
    reading: &Reading,
    limits: &Limits,
    overwrite: Overwrite,
) -> Result<Vec<PathBuf>, ProgrammeError> {
    let mut files = vec![
        (folder.join(REPORT), show::report(reading, Some(limits))),
        (folder.join(READING), show::to_json(reading)),
        (folder.join("summary.txt"), show::summary(reading)),
    ];
    files.extend(show::tables(reading).into_iter().map(|(name, text)| (folder.join(name), text)));
    let figures = show::plots(reading, Some(limits));
    files.extend(figures.into_iter().map(|figure| (folder.join(format!("{}.svg", figure.name)), figure.svg)));
    make_folder(folder)?;
    refuse_existing(files.iter().map(|(path, _)| path.clone()), overwrite)?;
    for (path, text) in &files {
        write_text(path, text, overwrite)?;
    }
    Ok(files.into_iter().map(|(path, _)| path).collect())
}

/// Makes `folder` and what it lies in.
pub(super) fn make_folder(folder: &Path) -> Result<(), ProgrammeError> {
    std::fs::create_dir_all(folder)
        .map_err(|source| ProgrammeError::Unwritable { file: folder.into(), source })
}

fn refuse_existing(
    paths: impl IntoIterator<Item = PathBuf>,
    overwrite: Overwrite,
) -> Result<(), ProgrammeError> {
    match paths.into_iter().find(|path| path.symlink_metadata().is_ok()) {
        Some(file) if overwrite == Overwrite::Refuse => Err(ProgrammeError::Exists { file }),
        _ => Ok(()),
    }
}
