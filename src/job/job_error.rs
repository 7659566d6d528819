//! Why the file of a job could not be had or changed.

use super::CompareError;
use crate::judge::JudgeError;
use crate::programme::ProgrammeError;
use std::path::PathBuf;
use thiserror::Error;

/// What is wrong with a job's folder, its file, or what shall go into it.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum JobError {
    /// There is no job here.
    #[error(
        "{}: no job here or above (no job.toml); make one with `deckproof bench new DIR --deck \"...\"`, or name its folder with --job",
        folder.display()
    )]
    NoJob {
        /// Where the search began.
        folder: PathBuf,
    },
    /// The file cannot be read.
    #[error("{}: cannot be read ({source}); give a folder with a job.toml", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// The user's settings cannot be read.
    #[error("{}: cannot be read ({source}); put its rights right, or take it away: it holds the workshop's name", path.display())]
    Settings {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// The file is no UTF-8.
    #[error("{}: no UTF-8 text; save it as UTF-8 in your editor", path.display())]
    NoText {
        /// The file.
        path: PathBuf,
    },
    /// A file or a folder of the job cannot be changed.
    #[error("{}: cannot be changed ({source}); nothing was lost: free space, allow writing, or copy the folder elsewhere", path.display())]
    Unwritable {
        /// The file or the folder.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// The file is no text of a job.
    #[error("{}: line {line}: {found}; correct the line", path.display())]
    Malformed {
        /// The file.
        path: PathBuf,
        /// Where.
        line: usize,
        /// What is wrong there.
        found: String,
    },
    /// Its limits cannot serve.
    #[error(transparent)]
    Limits(#[from] JudgeError),
    /// Somebody else changed the file since it was read.
    #[error("{}: changed by somebody else meanwhile; nothing was written, do it again", path.display())]
    Changed {
        /// The file.
        path: PathBuf,
    },
    /// A value is there already.
    #[error("{}: {there} stands there already; --force replaces it and keeps the old one as a comment", path.display())]
    Taken {
        /// The file.
        path: PathBuf,
        /// The key and its value.
        there: String,
    },
    /// What was typed does not serve.
    #[error("{typed}: {why}")]
    Typed {
        /// What was typed.
        typed: String,
        /// What is wrong, and what to do.
        why: String,
    },
    /// A reading cannot be loaded.
    #[error(transparent)]
    Reading(#[from] CompareError),
    /// A file cannot be written.
    #[error(transparent)]
    Programme(#[from] ProgrammeError),
}
