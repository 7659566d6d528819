//! Files that are read: nothing that is written replaces one of them, whatever it is called there.

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

/// The name by which the file at `path` is read; `None` if it is not, or is not there. Links and hard links are the file that
/// they lead to.
pub(super) fn input_at(path: &Path) -> Option<PathBuf> {
    // Comparing opens both, and a pipe that is opened waits for a writer.
    let same = |input: &&PathBuf| input.is_file() && same_file::is_same_file(input, path).unwrap_or(false);
    if path.is_file() { inputs().iter().find(same).cloned() } else { None }
}
