//! `compare`: readings against each other.

use super::Outcome;
use super::terminal::{note, print};
use super::values::overwrite;
use crate::job::{check_folder, compare_files};
use crate::programme::{NewFile, Overwrite, note_input, write_text};
use crate::show;
use anyhow::ensure;
use std::path::{Path, PathBuf};

/// Hold readings against each other: as found and as left, tape and tape, run and run
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  deckproof compare as-found/reading.json as-left/reading.json --out before-after
  deckproof compare before.json after.json --repeats run-1.json run-2.json run-3.json")]
pub struct Typed {
    /// Readings (JSON), in the order of time; three and more also show how well the deck repeats itself
    #[arg(value_name = "READING", num_args = 2.., required = true)]
    files: Vec<PathBuf>,
    /// What to call a reading, once for each in order; two are called `as found` and `as left` by default
    #[arg(long = "name", value_name = "WORDS")]
    names: Vec<String>,
    /// Three or more readings of the deck between which nothing was touched: how well it repeats itself goes into the
    /// uncertainty of every change
    #[arg(long, value_name = "READING", num_args = 3..)]
    repeats: Vec<PathBuf>,
    /// Folder for the page (HTML), the comparison (JSON), its table (CSV) and the summary
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// The comparison as JSON in a file; `-` prints it instead of the summary
    #[arg(long, value_name = "FILE|-")]
    json: Option<PathBuf>,
    /// Replace files of Deckproof's that are there
    #[arg(long)]
    force: bool,
}

/// Files of the folder.
const FILES: [&str; 4] = ["comparison.html", "comparison.json", "comparison.csv", "summary.txt"];

/// Readings to be compared.
pub struct Job {
    files: Vec<PathBuf>,
    names: Vec<String>,
    repeats: Vec<PathBuf>,
    out: Option<PathBuf>,
    json: Option<PathBuf>,
    overwrite: Overwrite,
}

impl Typed {
    /// Names the readings, and refuses outputs that are in the way.
    pub fn meant(self) -> anyhow::Result<Job> {
        let count = self.files.len();
        ensure!(
            self.names.is_empty() || self.names.len() == count,
            "--name was given {} times for {count} readings; give it once for each, or not at all",
            self.names.len()
        );
        self.files.iter().chain(&self.repeats).for_each(|file| note_input(file));
        let overwrite = overwrite(self.force);
        let names = match (self.names.is_empty(), count) {
            (false, _) => self.names,
            (true, 2) => vec!["as found".to_owned(), "as left".to_owned()],
            (true, _) => (1..=count).map(|k| format!("reading {k}")).collect(),
        };
        if let Some(json) = self.json.as_deref().filter(|path| *path != Path::new("-")) {
            drop(NewFile::create(json, overwrite)?);
        }
        if let Some(folder) = &self.out {
            let files: Vec<PathBuf> = FILES.iter().map(|name| folder.join(name)).collect();
            check_folder(folder, &files, overwrite)?;
        }
        Ok(Job { files: self.files, names, repeats: self.repeats, out: self.out, json: self.json, overwrite })
    }
}

impl Job {
    /// Compares, prints the summary and writes what was asked for.
    pub fn run(self) -> anyhow::Result<Outcome> {
        let comparison = compare_files(&self.files, &self.names, &self.repeats)?;
        let json = show::comparison_json(&comparison);
        let summary = show::comparison(&comparison);
        match self.json.as_deref() {
            Some(path) if path == Path::new("-") => print(&json)?,
            Some(path) => {
                print(&summary)?;
                write_text(path, &json, self.overwrite)?;
            }
            None => print(&summary)?,
        }
        if let Some(folder) = &self.out {
            std::fs::create_dir_all(folder)?;
            let table = show::comparison_table(&comparison);
            let report = show::comparison_report(&comparison);
            for (name, text) in FILES.iter().zip([report, json, table, summary]) {
                write_text(&folder.join(name), &text, self.overwrite)?;
            }
            note(&format!("Page: {} (with 3 more files)", folder.join(FILES[0]).display()));
        }
        Ok(Outcome::Done)
    }
}
