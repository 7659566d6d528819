//! The files on which the fuzz targets start, and those that one of them stumbled over: all must pass.

#[path = "../fuzz/targets.rs"]
mod targets;

use crate::effort;
use std::path::{Path, PathBuf};

fn files(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    let mut files: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    files.sort();
    files
}

#[test]
fn every_file_of_the_corpus_ends_in_figures_or_in_words() {
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus");
    for (name, target) in targets::TARGETS {
        let files = files(&corpus.join(name));
        assert!(files.len() > 1, "{name}: a corpus of {} files", files.len());
        for file in effort::some(files, 4) {
            eprintln!("{}", file.display());
            target(&std::fs::read(&file).unwrap());
        }
    }
    assert_eq!(files(&corpus).len(), targets::TARGETS.len(), "a corpus without a target");
}
