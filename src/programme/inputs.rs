//! Files that are read: nothing that is written replaces one of them, whatever it is called there.

use std::fs::File;
use std::io::{Error, ErrorKind, Read, Result};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Names of all files that this process reads.
static INPUTS: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

fn inputs() -> MutexGuard<'static, Vec<PathBuf>> {
    INPUTS.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Notes that the file at `path` is read, now or later: from now on it is not replaced.
pub fn note_input(path: &Path) {
    let mut inputs = inputs();
    if !inputs.iter().any(|known| known == path) {
        inputs.push(path.to_owned());
    }
}

/// Most of a file that people write, bytes.
pub const BY_HAND_BYTES: u64 = 1 << 20;
/// Most of a reading or a card, bytes: they have some hundred kB.
pub const DATA_BYTES: u64 = 64 << 20;

/// The text of the file at `path`, or out of a pipe, which is noted as read.
///
/// # Errors
/// If it cannot be read, has more than `most` bytes, is no UTF-8, or says nothing: it is blank or has only comments (`#`).
pub fn read_text(path: &Path, most: u64) -> Result<String> {
    note_input(path);
    bounded_text(path, most)
}

/// The same, of a file that may be replaced.
pub(crate) fn bounded_text(path: &Path, most: u64) -> Result<String> {
    let mut bytes = Vec::new();
    // Devices and pipes have no size to ask for, and some no end.
    File::open(path)?.take(most + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > most {
        return Err(Error::other(format!("it has more than {} MiB", most >> 20)));
    }
    let text =
        String::from_utf8(bytes).map_err(|_| Error::new(ErrorKind::InvalidData, "it is no UTF-8 text"))?;
    let blank = |line: &str| line.is_empty() || line.starts_with('#');
    if text.lines().all(|line| blank(line.trim_start_matches('\u{feff}').trim_start())) {
        return Err(Error::other("it is empty"));
    }
    Ok(text)
}

/// The name by which the file at `path` is read; `None` if it is not, or is not there. Links and hard links are the file that
/// they lead to.
pub(super) fn input_at(path: &Path) -> Option<PathBuf> {
    // Comparing opens both, and a pipe that is opened waits for a writer.
    let same = |input: &&PathBuf| input.is_file() && same_file::is_same_file(input, path).unwrap_or(false);
    if path.is_file() { inputs().iter().find(same).cloned() } else { None }
}
