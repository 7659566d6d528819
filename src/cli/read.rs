//! `read`: what a deck returned, as findings.

use super::clock::made_now;
use super::terminal::{Life, note, print};
use super::values::{TypedCircumstances, TypedJudging, limits, overwrite, reference_dbfs};
use super::{Outcome, one_line};
use anyhow::{bail, ensure};
use deckproof::job::{ReadError, ReadOptions, check_folder, read_return, result_files, write_results};
use deckproof::programme::{NewFile, Overwrite, find, write_text};
use deckproof::reading::{Made, Reading, Verdict};
use deckproof::show;
use deckproof::trade::Medium;
use std::path::{Path, PathBuf};

/// Read what the deck returned, and say what is off
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  deckproof read return.wav --recorded-on this-deck --heads 3 --tape-type I --out as-found
  deckproof read return.wav --recorded-on calibrated --limits manual.toml --strict --json -")]
pub struct Typed {
    /// The recording of what came back: WAV, FLAC or AIFF
    #[arg(value_name = "RETURN")]
    file: PathBuf,
    /// Recipe that was played, built-in name or file; the slates say it of the built-in ones
    #[arg(long, value_name = "NAME|FILE")]
    recipe: Option<String>,
    /// Folder for the report (HTML), the reading (JSON), tables (CSV) and figures (SVG)
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// The reading as JSON in a file; `-` prints it instead of the summary
    #[arg(long, value_name = "FILE|-")]
    json: Option<PathBuf>,
    /// The programme recorded without a deck, sound card output into its input: what the card does is taken off
    #[arg(long, value_name = "DIRECT")]
    direct: Option<PathBuf>,
    /// Where 0 dB of the programme lay in its WAV, dBFS, if `write` was told another level
    #[arg(long, value_name = "DBFS", default_value = "-12", allow_hyphen_values = true, value_parser = reference_dbfs)]
    reference_dbfs: f64,
    /// Left and right in a file with more than two channels, counted from 1
    #[arg(long, value_name = "LEFT,RIGHT", value_parser = channels)]
    channels: Option<[usize; 2]>,
    /// Which deck this is, in your words (make, number, whose), for the head of the report
    #[arg(long, value_name = "WORDS")]
    deck: Option<String>,
    #[command(flatten)]
    judging: TypedJudging,
    // Last, because its heading would stand over what comes after it.
    #[command(flatten)]
    circumstances: TypedCircumstances,
}

fn channels(text: &str) -> Result<[usize; 2], String> {
    let numbers: Option<Vec<usize>> = text.split(',').map(|number| number.trim().parse().ok()).collect();
    match numbers.as_deref() {
        Some(&[left, right]) if left >= 1 && right >= 1 => Ok([left - 1, right - 1]),
        _ => Err("expected two numbers from 1, such as 1,2".into()),
    }
}

impl Typed {
    /// Loads recipe and limits, and refuses outputs that are in the way.
    pub fn meant(self) -> anyhow::Result<Job> {
        let overwrite = overwrite(self.judging.force);
        let options = ReadOptions {
            recipe: self.recipe.as_deref().map(find).transpose()?,
            reference_dbfs: self.reference_dbfs,
            channels: self.channels,
            circumstances: (&self.circumstances).into(),
            medium: Medium::COMPACT_CASSETTE,
            limits: limits(&self.judging.limits)?,
            transport: self.judging.transport()?,
            direct: self.direct,
        };
        if let Some(direct) = &options.direct {
            ensure!(
                !same_file(direct, &self.file),
                "{}: this is the return itself; give the recording that was made without a deck",
                direct.display()
            );
        }
        let json = match self.json {
            Some(path) if path == Path::new("-") => Json::Print,
            Some(path) => {
                ensure!(
                    !same_file(&path, &self.file),
                    "{}: this is the return itself; give the reading another name",
                    path.display()
                );
                drop(NewFile::create(&path, overwrite)?);
                Json::File(path)
            }
            None => Json::None,
        };
        if let Some(folder) = &self.out {
            let files = result_files(folder);
            check_folder(folder, &files, overwrite)?;
            if let Json::File(path) = &json
                && files.iter().any(|file| same_place(file, path))
            {
                bail!(
                    "{}: --out writes a file of this name; leave --json away, or give it another name",
                    path.display()
                );
            }
        }
        let made = made_now(self.deck);
        Ok(Job {
            file: self.file,
            options,
            out: self.out,
            json,
            made,
            strict: self.judging.strict,
            overwrite,
        })
    }
}

/// Whether two names mean one place, whether there is a file or not.
fn same_place(a: &Path, b: &Path) -> bool {
    let folder = |path: &Path| match path.parent() {
        Some(folder) if folder != Path::new("") => folder.to_owned(),
        _ => PathBuf::from("."),
    };
    a.file_name() == b.file_name() && same_file(&folder(a), &folder(b))
}

/// Whether two names mean one file that exists.
fn same_file(a: &Path, b: &Path) -> bool {
    matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b)
}

enum Json {
    None,
    Print,
    File(PathBuf),
}

/// A return to be read.
pub struct Job {
    file: PathBuf,
    options: ReadOptions,
    out: Option<PathBuf>,
    json: Json,
    made: Made,
    strict: bool,
    overwrite: Overwrite,
}

impl Job {
    /// Reads it, prints the summary and writes what was asked for.
    pub fn run(self) -> anyhow::Result<Outcome> {
        let life = Life::new();
        life.say("reading the return");
        let read = read_return(&self.file, &self.options);
        drop(life);
        if let Some(reading) = read.as_ref().err().and_then(ReadError::reading) {
            // Other programs get the reason as data too.
            self.give_json(&Reading { made: Some(self.made.clone()), ..reading.clone() })?;
        }
        let mut reading = read?;
        reading.made = Some(self.made.clone());
        if !matches!(self.json, Json::Print) {
            print(&show::summary(&reading))?;
        }
        self.give_json(&reading)?;
        if let Some(folder) = &self.out {
            let files = write_results(folder, &reading, &self.options.limits, self.overwrite)?;
            if let Some(report) = files.first() {
                note(&format!("Report: {} (with {} more files)", report.display(), files.len() - 1));
            }
        }
        Ok(outcome(&reading, self.strict))
    }

    fn give_json(&self, reading: &Reading) -> anyhow::Result<()> {
        match &self.json {
            Json::None => Ok(()),
            Json::Print => print(&show::to_json(reading)),
            Json::File(path) => Ok(write_text(path, &show::to_json(reading), self.overwrite)?),
        }
    }
}

/// Exit status of a reading; names on standard error what `--strict` found.
pub fn outcome(reading: &Reading, strict: bool) -> Outcome {
    let outside = reading.findings.iter().filter(|finding| finding.verdict == Verdict::Outside);
    let mut names: Vec<&str> = outside.map(|finding| finding.id.as_str()).collect();
    names.dedup();
    if !strict || names.is_empty() {
        return Outcome::Done;
    }
    note(&one_line(&format!("Outside limits: {}", names.join(", "))));
    Outcome::Outside
}
