//! A recording as a job is given it: a file, or samples in memory.

use crate::capture::{CaptureError, InMemory, ReturnFile, Source, check_rate};
use std::path::{Path, PathBuf};

/// Where a recording is.
#[derive(Debug, Clone, Copy)]
pub enum Recording<'a> {
    /// In a file.
    File(&'a Path),
    /// In memory; the name stands for the file's.
    Samples(&'a InMemory, &'a str),
}

/// An open recording.
pub(super) enum Opened<'a> {
    File(ReturnFile),
    Samples(&'a InMemory),
}

impl Opened<'_> {
    pub(super) fn source(&self) -> &dyn Source {
        match self {
            Self::File(file) => file,
            Self::Samples(samples) => *samples,
        }
    }
}

/// What only the file knows.
#[derive(Debug, Clone)]
pub(super) struct FileFacts {
    pub path: PathBuf,
    pub name: String,
    pub depth: String,
    pub mono_file: bool,
    pub cut_short: bool,
}

impl<'a> Recording<'a> {
    /// Path or name of it.
    pub(super) fn path(self) -> &'a Path {
        match self {
            Self::File(path) => path,
            Self::Samples(_, name) => Path::new(name),
        }
    }

    /// Opens it; `channels` are left and right of a file with more than two, from 0.
    pub(super) fn open(self, channels: Option<[usize; 2]>) -> Result<(Opened<'a>, FileFacts), CaptureError> {
        let path = self.path();
        let facts = |depth: &str, mono_file: bool, cut_short: bool| FileFacts {
            path: path.to_owned(),
            name: path.display().to_string(),
            depth: depth.to_owned(),
            mono_file,
            cut_short,
        };
        match self {
            Self::File(path) => {
                let file = ReturnFile::open(path, channels)?;
                let facts = facts(file.depth(), file.is_mono_file(), file.is_cut_short());
                Ok((Opened::File(file), facts))
            }
            Self::Samples(samples, _) => {
                check_rate(path, samples.rate_hz)?;
                Ok((Opened::Samples(samples), facts("float", false, false)))
            }
        }
    }
}
