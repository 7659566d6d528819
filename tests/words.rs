//! The trade's words: those that are not used stand in no text that a technician reads, and in no comment.

use std::fs;
use std::path::{Path, PathBuf};

/// Words that are not used, and what is said instead.
const UNUSED: [(&str, &str); 36] = [
    ("replay", "playback"),
    ("power line", "mains"),
    ("power-line", "mains"),
    ("line hum", "hum"),
    ("hum line", "component of hum"),
    ("lines of hum", "components of hum"),
    ("line of hum", "component of hum"),
    ("spooling", "fast forward and rewind"),
    ("winding torque", "fast forward and rewind torque"),
    ("taken off", "subtracted"),
    ("direct capture", "loopback capture"),
    ("doubt", "uncertain, or cannot tell"),
    ("likeness", "what it is like"),
    ("flat top", "clipping"),
    ("flat-top", "clipping"),
    ("feeler", "tape-type sensing switch"),
    ("feels the cassette", "tape-type sensing switch"),
    ("remainder of", "residual"),
    ("course of the speed", "speed against time"),
    ("erasure", "erasing"),
    ("drop-out", "dropout"),
    ("equalization", "equalisation"),
    ("w&f", "wow and flutter, its kind named"),
    ("pinch wheel", "pinch roller"),
    // Riddles, and what a physicist would say.
    ("may be gone", "what was lost, and how to see it"),
    ("fall as", "what it is: spacing, a gap, a low-pass"),
    ("falls as", "what it is: spacing, a gap, a low-pass"),
    ("brought to the programme", "converted to 0 dB of the programme"),
    ("told was", "it was told that"),
    ("as was told", "what was told"),
    ("on it nothing", "do nothing"),
    ("the switch does not switch", "the selector does nothing"),
    ("where what lies", "places"),
    ("hum and all", "hum included"),
    ("is the reading of", "reading"),
    ("may be touched", "may be wrong"),
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// All files below `folder` with one of the `endings`.
fn files(folder: &Path, endings: &[&str]) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let (folders, files): (Vec<PathBuf>, Vec<PathBuf>) = entries.partition(|path| path.is_dir());
    let ends =
        |path: &PathBuf| endings.iter().any(|ending| path.extension().is_some_and(|own| own == *ending));
    let own = files.into_iter().filter(ends);
    own.chain(folders.iter().flat_map(|folder| self::files(folder, endings))).collect()
}

/// The words of [`UNUSED`] in `text`, each with its line. Texts that go on in the next line are read as one.
fn unused(text: &str) -> Vec<String> {
    let mut flowing = String::new();
    for line in text.lines() {
        let line = line.trim().trim_start_matches("//!").trim_start_matches("///").trim_start_matches("//");
        flowing += line.trim_start().trim_end_matches('\\');
        flowing += if line.ends_with('\\') { "" } else { " " };
    }
    let lower = flowing.to_lowercase();
    let held = |word: &&(&str, &str)| lower.contains(word.0);
    UNUSED.iter().filter(held).map(|(word, instead)| format!("{word:?}: say {instead}")).collect()
}

#[test]
fn words_that_are_not_used_stand_nowhere() {
    let mut all = files(&root().join("src"), &["rs", "md", "toml", "css"]);
    all.extend(files(&root().join("tones"), &["toml"]));
    all.extend(["README.md", "DEVELOPERS.md"].map(|name| root().join(name)));
    assert!(all.len() > 250, "{}", all.len());
    let mut wrong = Vec::new();
    for path in all {
        let text = fs::read_to_string(&path).unwrap();
        // What tests say, nobody reads.
        let text = text.split("\n#[cfg(test)]\nmod ").next().unwrap();
        let place = path.strip_prefix(root()).unwrap().display().to_string();
        wrong.extend(unused(text).into_iter().map(|word| format!("{place}: {word}")));
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn what_is_printed_of_the_samples_holds_none_of_them() {
    let snapshots = ["tests/snapshots", "tests/command_line/snapshots"].map(|folder| root().join(folder));
    let all: Vec<PathBuf> = snapshots.iter().flat_map(|folder| files(folder, &["snap"])).collect();
    assert!(all.len() > 25, "{}", all.len());
    for path in all {
        let text = fs::read_to_string(&path).unwrap();
        assert_eq!(unused(&text), [""; 0], "{}", path.display());
    }
}

#[test]
fn a_word_is_seen_across_the_end_of_a_line() {
    assert_eq!(unused("\"it was taken \\\n     off\"").len(), 1);
    assert_eq!(unused("/// a line of\n/// hum").len(), 1);
    assert_eq!(unused("hum of the mains, subtracted").len(), 0);
}
