//! A folder to work in, the command run there, and the returns that the tests share.

use super::containers::stereo;
use crate::returns;
use deckproof::internals::programme::{Recipe, built_in_by_name};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use tempfile::TempDir;

/// A recipe of 13 s, known to no reader that is not told.
pub const SHORT: &str = r#"name = "short"
title = "Short"

[[part]]
kind = "slate"

[[part]]
kind = "tone"
id = "level"
hz = 315
level_db = 0
length_s = 1.5

[[part]]
kind = "steps"
id = "response"
hz = [400, 1000, 3150, 10000]
level_db = -20
length_s = 1.2

[[part]]
kind = "slate"
"#;

/// Frames `[left, right]` of a programme at 48 kHz, 0 dB at -12 dBFS.
pub type Frames = Vec<[f64; 2]>;

/// The frames of [`SHORT`].
pub fn short() -> &'static Frames {
    static FRAMES: OnceLock<Frames> = OnceLock::new();
    FRAMES.get_or_init(|| frames(&Recipe::parse(SHORT, "short.toml").unwrap()))
}

/// The frames of the built-in recipe `first-look`.
pub fn first_look() -> &'static Frames {
    static FRAMES: OnceLock<Frames> = OnceLock::new();
    FRAMES.get_or_init(|| frames(&built_in_by_name("first-look").unwrap()))
}

fn frames(recipe: &Recipe) -> Frames {
    let programme = returns::programme(recipe, 48_000);
    programme[0].iter().zip(&programme[1]).map(|(left, right)| [*left, *right]).collect()
}

/// A folder of its own.
pub struct Bench {
    folder: TempDir,
}

impl Bench {
    pub fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    /// With a return of the recipe [`SHORT`] and the recipe itself: `return.wav` and `short.toml`.
    pub fn with_short_return() -> Self {
        let bench = Self::new();
        bench.put("short.toml", SHORT);
        bench.put("return.wav", stereo(short()));
        bench
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn put(&self, name: &str, bytes: impl AsRef<[u8]>) {
        std::fs::write(self.path(name), bytes).unwrap();
    }

    /// The same in a folder, which is made.
    pub fn put_in(&self, folder: &str, name: &str, bytes: impl AsRef<[u8]>) {
        std::fs::create_dir_all(self.path(folder)).unwrap();
        self.put(&format!("{folder}/{name}"), bytes);
    }

    pub fn text(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    /// Names of all files, those in folders with their folder, sorted.
    pub fn files(&self) -> Vec<String> {
        fn add(folder: &Path, before: &str, names: &mut Vec<String>) {
            for entry in std::fs::read_dir(folder).unwrap().map(Result::unwrap) {
                let name = format!("{before}{}", entry.file_name().to_string_lossy());
                if entry.file_type().unwrap().is_dir() {
                    add(&entry.path(), &format!("{name}/"), names);
                } else {
                    names.push(name);
                }
            }
        }
        let mut names = Vec::new();
        add(self.folder.path(), "", &mut names);
        names.sort();
        names
    }

    /// The command, to be run in this folder.
    pub fn command(&self) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_deckproof"));
        // Width of help, colours and traces must not depend on who runs the tests.
        for variable in ["COLUMNS", "CLICOLOR_FORCE", "FORCE_COLOR", "RUST_BACKTRACE"] {
            command.env_remove(variable);
        }
        // The settings of who runs the tests are not those of the tests.
        for variable in ["XDG_CONFIG_HOME", "APPDATA"] {
            command.env(variable, self.path("settings"));
        }
        // Two readings of one return are compared byte for byte.
        command.env("SOURCE_DATE_EPOCH", "1735689600");
        command.current_dir(self.folder.path());
        command
    }

    /// Runs the command line `words`, which are parted by blanks.
    pub fn run(&self, words: &str) -> Ran {
        self.run_words(&words.split_whitespace().collect::<Vec<_>>())
    }

    pub fn run_words(&self, words: &[&str]) -> Ran {
        let output = self.command().args(words).output().unwrap();
        let text = |bytes| String::from_utf8(bytes).unwrap();
        let ran = Ran {
            line: words.join(" "),
            status: output.status.code().expect("ended by itself"),
            out: text(output.stdout),
            err: text(output.stderr),
        };
        for stream in [&ran.out, &ran.err] {
            for word in ["panicked", "RUST_BACKTRACE", "src/"] {
                assert!(!stream.contains(word), "{}: {word} in\n{stream}", ran.line);
            }
        }
        ran
    }
}

/// What a command line did.
pub struct Ran {
    line: String,
    pub status: i32,
    pub out: String,
    pub err: String,
}

impl Ran {
    /// Done: status 0.
    #[track_caller]
    pub fn done(self) -> Self {
        assert_eq!(self.status, 0, "{}\n{}", self.line, self.err);
        self
    }

    /// Could not be done: status 1 and one line on standard error that has all of `words`.
    #[track_caller]
    pub fn failed(self, words: &[&str]) -> Self {
        assert_eq!(self.status, 1, "{}\n{}", self.line, self.err);
        let one_line = self.err.matches('\n').count() == 1 && self.err.ends_with('\n');
        assert!(one_line, "{}: not one line\n{}", self.line, self.err);
        assert!(self.err.starts_with("deckproof: "), "{}\n{}", self.line, self.err);
        for word in words {
            assert!(self.err.contains(word), "{}: {word:?} is missing\n{}", self.line, self.err);
        }
        self
    }

    /// As [`Ran::failed`], with nothing on standard output.
    #[track_caller]
    pub fn refused(self, words: &[&str]) {
        let ran = self.failed(words);
        assert_eq!(ran.out, "", "{}", ran.line);
    }

    /// The command line is wrong: status 2, nothing on standard output, and standard error has all of `words`.
    #[track_caller]
    pub fn wrong(self, words: &[&str]) {
        assert_eq!(self.status, 2, "{}\n{}", self.line, self.err);
        assert_eq!(self.out, "", "{}", self.line);
        for word in words {
            assert!(self.err.contains(word), "{}: {word:?} is missing\n{}", self.line, self.err);
        }
    }

    /// The JSON on standard output.
    #[track_caller]
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{}: {error}\n{}", self.line, self.out))
    }
}

/// Ids of the warnings of a reading.
pub fn warnings(reading: &serde_json::Value) -> Vec<&str> {
    let warnings = reading["warnings"].as_array().unwrap();
    warnings.iter().map(|warning| warning["id"].as_str().unwrap()).collect()
}
