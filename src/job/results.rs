//! A folder with everything that one reading gives: JSON, report, tables and figures.

use crate::judge::Limits;
use crate::judge::Reading;
use crate::programme::{
    DATA_BYTES, NewFile, Overwrite, ProgrammeError, bounded_text, remove_own, write_text,
};
use crate::show;
use std::path::{Path, PathBuf};

/// Name of the reading in the folder.
pub const READING: &str = "reading.json";
/// Name of the report in the folder.
pub const REPORT: &str = "report.html";

/// Name of the printed summary in the folder.
const SUMMARY: &str = "summary.txt";

/// Every file that [`write_results`] may write into `folder`; what a reading cannot fill is not written.
pub fn result_files(folder: &Path) -> Vec<PathBuf> {
    let texts = [READING, REPORT, SUMMARY].into_iter().chain(show::TABLES).map(str::to_owned);
    texts.chain(show::FIGURES.map(figure_file)).map(|name| folder.join(name)).collect()
}

fn figure_file(name: &str) -> String {
    format!("{name}.svg")
}

/// Refuses, before any long work, a folder that cannot be written to or holds one of `files` already.
///
/// # Errors
/// [`ProgrammeError::Exists`] if one is there and `overwrite` does not allow it, [`ProgrammeError::Unwritable`].
pub fn check_folder(folder: &Path, files: &[PathBuf], overwrite: Overwrite) -> Result<(), ProgrammeError> {
    let there = folder.ancestors().find(|path| *path == Path::new("") || path.symlink_metadata().is_ok());
    let nearest = there.filter(|path| *path != Path::new("")).unwrap_or(Path::new("."));
    let unwritable = |source| ProgrammeError::Unwritable { file: folder.into(), source };
    if !nearest.is_dir() {
        let reason = format!("{} is no folder", nearest.display());
        return Err(unwritable(std::io::Error::other(reason)));
    }
    if !folder.is_dir() {
        // Something has to be made in there.
        return NewFile::create(&nearest.join(".deckproof-try"), Overwrite::Force).map(drop).map_err(
            |error| match error {
                ProgrammeError::Unwritable { source, .. } => unwritable(source),
                other => other,
            },
        );
    }
    for file in files {
        drop(NewFile::create(file, overwrite)?);
    }
    Ok(())
}

/// The files in `folder` that an older reading there says it has written; none if there is no such reading.
fn files_of_older(folder: &Path) -> Vec<PathBuf> {
    let text = bounded_text(&folder.join(READING), DATA_BYTES).unwrap_or_default();
    let Ok(older) = serde_json::from_str::<Reading>(&text) else { return Vec::new() };
    let tables = show::tables(&older).into_iter().map(|(name, _)| name.to_owned());
    let figures = show::plots(&older, None).into_iter().map(|figure| figure_file(figure.name));
    tables.chain(figures).map(|name| folder.join(name)).collect()
}

/// Writes `reading` into `folder`, which is made if it is not there; returns the files, the report first. Of an older reading that
/// it replaces nothing is left.
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
        (folder.join(SUMMARY), show::summary(reading)),
    ];
    files.extend(show::tables(reading).into_iter().map(|(name, text)| (folder.join(name), text)));
    let figures = show::plots(reading, Some(limits));
    files.extend(figures.into_iter().map(|figure| (folder.join(figure_file(figure.name)), figure.svg)));
    make_folder(folder)?;
    let places: Vec<PathBuf> = files.iter().map(|(path, _)| path.clone()).collect();
    check_folder(folder, &places, overwrite)?;
    let older = if overwrite == Overwrite::Force { files_of_older(folder) } else { Vec::new() };
    for (path, text) in &files {
        write_text(path, text, overwrite)?;
    }
    older.iter().filter(|path| !places.contains(path)).for_each(|path| remove_own(path));
    Ok(places)
}

/// Makes `folder` and what it lies in.
pub(super) fn make_folder(folder: &Path) -> Result<(), ProgrammeError> {
    std::fs::create_dir_all(folder)
        .map_err(|source| ProgrammeError::Unwritable { file: folder.into(), source })
}
