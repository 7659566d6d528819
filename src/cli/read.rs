//! `read`: what a deck returned, as findings.

use super::Outcome;
use super::clock::made_now;
use super::house::HouseTape;
use super::job_told::{TypedReadJob, take_level_tone, told_by};
use super::terminal::{Life, note, print};
use super::unslated::TypedUnslated;
use super::values::{TypedCircumstances, TypedJudging, overwrite, reference_dbfs};
use crate::job::{
    JobFile, Marks, READING, ReadError, ReadOptions, Recording, TapeLength, UnslatedOptions, check_folder,
    measure_return, measure_same_tape, measure_unslated, measure_with_length, result_files, write_results,
};
use crate::judge::Reading;
use crate::programme::{NewFile, Overwrite, find, note_input, write_text};
use crate::reading::{JobState, Verdict};
use crate::show;
use crate::trade::Medium;
use anyhow::{bail, ensure};
use std::path::{Path, PathBuf};

/// Read what the deck returned, and say what is off
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  deckproof read return.wav --recorded-on this-deck --heads 3 --tape-type I --out as-found
  deckproof read return.wav --recorded-on calibrated --limits manual.toml --strict --json -")]
pub struct Typed {
    /// The recording of what came back: WAV, FLAC or AIFF; several only with --same-tape
    #[arg(value_name = "RETURN", required = true, num_args = 1..)]
    files: Vec<PathBuf>,
    /// Recipe that was played, built-in name or file; the slates say it of the built-in ones
    #[arg(long, value_name = "NAME|FILE", conflicts_with = "unslated")]
    recipe: Option<String>,
    /// Folder for the report (HTML), the reading (JSON), tables (CSV) and figures (SVG)
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// The reading as JSON in a file; `-` prints it instead of the summary
    #[arg(long, value_name = "FILE|-")]
    json: Option<PathBuf>,
    /// The programme recorded without a deck, sound card output into its input: what the card does is subtracted
    #[arg(long, value_name = "LOOPBACK", conflicts_with = "unslated")]
    loopback: Option<PathBuf>,
    /// Card of the house tape that was played (`house make`): what its recording is off is subtracted
    #[arg(long, value_name = "CARD", conflicts_with_all = ["unslated", "same_tape", "between_marks_mm"])]
    card: Option<PathBuf>,
    /// Count this pass on the card without asking
    #[arg(long, requires = "card")]
    count_pass: bool,
    /// Where 0 dB of the programme lay in its WAV, dBFS, if `write` was told another level
    #[arg(long, value_name = "DBFS", default_value = "-12", allow_hyphen_values = true, value_parser = reference_dbfs)]
    reference_dbfs: f64,
    /// Left and right in a file with more than two channels, counted from 1
    #[arg(long, value_name = "LEFT,RIGHT", value_parser = channels)]
    channels: Option<[usize; 2]>,
    /// Which deck this is, in your words (make, number, whose), for the head of the report
    #[arg(long, value_name = "WORDS")]
    deck: Option<String>,
    /// All are playings of one and the same recording: whose flutter it is, the recording's or the playback's
    #[arg(long, conflicts_with = "unslated")]
    same_tape: bool,
    /// Measured length of tape between two marks, mm: gives the absolute speed
    #[arg(long, value_name = "MM", value_parser = length_mm, conflicts_with_all = ["same_tape", "unslated"])]
    between_marks_mm: Option<f64>,
    /// What that length may be wrong by, mm (k = 2)
    #[arg(long, value_name = "MM", default_value = "1", value_parser = ruler_mm, requires = "between_marks_mm")]
    ruler_mm: f64,
    /// When the two marks are heard in the return, s of the file
    #[arg(long, value_name = "FIRST,SECOND", value_parser = mark_times, requires = "between_marks_mm")]
    mark_s: Option<[f64; 2]>,
    /// What each of these times may be wrong by, s (k = 2)
    #[arg(long, value_name = "S", default_value = "0.02", value_parser = mark_uncertainty_s, requires = "mark_s")]
    mark_uncertainty_s: f64,
    /// Two slates as marks, by the numbers of the running sheet
    #[arg(long, value_name = "FIRST,SECOND", value_parser = mark_slates, requires = "between_marks_mm", conflicts_with = "mark_s")]
    mark_slates: Option<[u8; 2]>,
    #[command(flatten)]
    unslated: TypedUnslated,
    #[command(flatten)]
    job: TypedReadJob,
    #[command(flatten)]
    judging: TypedJudging,
    // Last, because its heading would stand over what comes after it.
    #[command(flatten)]
    circumstances: TypedCircumstances,
}

/// Two channels, counted from 1, as indices.
pub fn channels(text: &str) -> Result<[usize; 2], String> {
    let numbers: Option<Vec<usize>> = text.split(',').map(|number| number.trim().parse().ok()).collect();
    match numbers.as_deref() {
        Some(&[left, right]) if left >= 1 && right >= 1 => Ok([left - 1, right - 1]),
        _ => Err("expected two numbers from 1, such as 1,2".into()),
    }
}

fn ranged(text: &str, low: f64, high: f64, unit: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(value) if (low..=high).contains(&value) => Ok(value),
        _ => Err(format!("allowed are {low} to {high} {unit}")),
    }
}

fn length_mm(text: &str) -> Result<f64, String> {
    ranged(text, 50.0, 500_000.0, "mm")
}

fn ruler_mm(text: &str) -> Result<f64, String> {
    ranged(text, 0.01, 1000.0, "mm")
}

fn mark_uncertainty_s(text: &str) -> Result<f64, String> {
    ranged(text, 0.0001, 10.0, "s")
}

fn mark_times(text: &str) -> Result<[f64; 2], String> {
    let times: Vec<f64> =
        text.split(',').map(|time| ranged(time, 0.0, 36_000.0, "s")).collect::<Result<_, _>>()?;
    match times[..] {
        [first, second] if second - first >= 1.0 => Ok([first, second]),
        _ => Err("expected two times at least 1 s apart, the earlier first, such as 12.30,72.41".into()),
    }
}

fn mark_slates(text: &str) -> Result<[u8; 2], String> {
    let numbers: Option<Vec<u8>> = text.split(',').map(|number| number.trim().parse().ok()).collect();
    match numbers.as_deref() {
        Some(&[first, second]) if first < second => Ok([first, second]),
        _ => Err("expected the numbers of two slates, the earlier first, such as 0,3".into()),
    }
}

/// What is done with the returns.
enum What {
    One,
    SameTape,
    Length(TapeLength),
}

impl Typed {
    /// One return, several of one tape, or one with a length.
    fn what(&self) -> anyhow::Result<What> {
        let first = self.files[0].display();
        if self.same_tape {
            ensure!(
                self.files.len() >= 2,
                "{first}: one playback says nothing of what repeats; give two or more playings of the recording"
            );
            for (k, file) in self.files.iter().enumerate() {
                if let Some(twice) = self.files[..k].iter().find(|other| same_file(other, file)) {
                    bail!("{}: given twice; give different playings, each started anew", twice.display());
                }
            }
            return Ok(What::SameTape);
        }
        ensure!(
            self.files.len() == 1,
            "{}: more than one return; read each by itself, or give --same-tape if all are playings of one recording",
            self.files[1].display()
        );
        let Some(length_mm) = self.between_marks_mm else { return Ok(What::One) };
        let marks = match (self.mark_s, self.mark_slates) {
            (Some(times_s), _) => Marks::Times(times_s, self.mark_uncertainty_s),
            (None, Some(numbers)) => Marks::Slates(numbers),
            (None, None) => bail!(
                "--between-marks-mm: say where the marks are, with --mark-s FIRST,SECOND (s of the return) or --mark-slates \
                 FIRST,SECOND (numbers of the running sheet)"
            ),
        };
        Ok(What::Length(TapeLength { length_mm, uncertainty_mm: self.ruler_mm, marks }))
    }

    /// Loads recipe and limits, and refuses outputs that are in the way.
    pub fn meant(self) -> anyhow::Result<Job> {
        let overwrite = overwrite(self.judging.force);
        self.files.iter().chain(&self.loopback).chain(&self.card).for_each(|file| note_input(file));
        let what = self.what()?;
        let job = self.job.find()?;
        let attach = match (self.job.attach, &job) {
            (Some(_), None) => {
                bail!("--attach: no job here; stand in the folder of one, or name it with --job DIR")
            }
            (attach, job) => attach.zip(job.as_ref().map(|job| job.path.clone())),
        };
        let (circumstances, made) = match &job {
            Some(job) => told_by(job, &self.circumstances, &self.judging.by, self.deck),
            None => ((&self.circumstances).into(), made_now(self.deck)),
        };
        let mut limits = self.judging.by.limits(job.as_ref().and_then(|job| job.limits.as_ref()))?;
        if let Some(job) = &job {
            take_level_tone(job, &self.files[0], &mut limits);
        }
        let options = ReadOptions {
            recipe: self.recipe.as_deref().map(find).transpose()?,
            reference_dbfs: self.reference_dbfs,
            channels: self.channels,
            circumstances,
            medium: Medium::COMPACT_CASSETTE,
            limits,
            transport: self.judging.by.transport(job.as_ref().and_then(JobFile::transport))?,
            loopback: self.loopback,
            made: Some(made),
        };
        let unslated = self.unslated.meant()?;
        if let Some(loopback) = &options.loopback {
            ensure!(
                !self.files.iter().any(|file| same_file(loopback, file)),
                "{}: this is the return itself; give the recording that was made without a deck",
                loopback.display()
            );
        }
        let house = self
            .card
            .map(|path| HouseTape::meant(path, self.count_pass, &options.circumstances))
            .transpose()?;
        let json = match self.json {
            Some(path) if path == Path::new("-") => Json::Print,
            Some(path) => {
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
        Ok(Job {
            files: self.files,
            what,
            options,
            unslated,
            out: self.out,
            json,
            house,
            strict: self.judging.strict,
            long: self.judging.long,
            attach,
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
pub fn same_file(a: &Path, b: &Path) -> bool {
    matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b)
}

enum Json {
    None,
    Print,
    File(PathBuf),
}

/// A return to be read.
pub struct Job {
    files: Vec<PathBuf>,
    what: What,
    options: ReadOptions,
    unslated: Option<UnslatedOptions>,
    out: Option<PathBuf>,
    json: Json,
    house: Option<HouseTape>,
    strict: bool,
    long: bool,
    /// As what the reading is attached, and to which job.
    attach: Option<(JobState, PathBuf)>,
    overwrite: Overwrite,
}

impl Job {
    /// Reads it, prints the summary and writes what was asked for.
    pub fn run(self) -> anyhow::Result<Outcome> {
        let life = Life::new();
        life.say("reading the return");
        let recordings: Vec<Recording> = self.files.iter().map(|file| Recording::File(file)).collect();
        let (file, recording) = (&self.files[0], recordings[0]);
        let playing = match (&self.unslated, &self.what) {
            (Some(unslated), _) => measure_unslated(recording, &self.options, unslated),
            (None, What::One) => measure_return(recording, &self.options),
            (None, What::SameTape) => measure_same_tape(&recordings, &self.options),
            (None, What::Length(length)) => measure_with_length(recording, &self.options, length),
        };
        drop(life);
        if let Some(reading) = playing.as_ref().err().and_then(ReadError::reading) {
            // Other programs get the reason as data too.
            self.give_json(reading)?;
        }
        let mut playing = playing?;
        let pass = match &self.house {
            Some(house) => Some(house.subtract(&mut playing, file, &self.options)?),
            None => None,
        };
        let reading = playing.conclude(&self.options);
        if !matches!(self.json, Json::Print) {
            print_reading(&reading, self.long)?;
            if self.out.is_none() && !self.long {
                print("\nWhy, and all figures: --long. A report with curves: --out FOLDER.\n")?;
            }
        }
        self.give_json(&reading)?;
        if let Some(folder) = &self.out {
            let files = write_results(folder, &reading, &self.options.limits, self.overwrite)?;
            if let Some(report) = files.first() {
                note(&format!("Report: {} (with {} more files)", report.display(), files.len() - 1));
            }
        }
        if let Some((state, job)) = &self.attach {
            // It may have been edited meanwhile.
            let job = JobFile::load(job)?;
            let (job, attached) = match &self.out {
                Some(folder) => job.attach(*state, &[folder.join(READING)])?,
                None => job.attach_new(*state, show::to_json(&reading))?,
            };
            let state = show::job_state(*state);
            note(&format!("{}: attached {state}: {}", job.path.display(), attached.join(", ")));
        }
        if let (Some(house), Some(pass)) = (&self.house, &pass) {
            house.count(pass)?;
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

/// Prints the first screen of a reading, or all of it.
pub fn print_reading(reading: &Reading, long: bool) -> anyhow::Result<()> {
    print(&if long { show::summary(reading) } else { show::brief(reading) })
}

/// Exit status of a reading; names on standard error what `--strict` found.
pub fn outcome(reading: &Reading, strict: bool) -> Outcome {
    let outside = reading.findings.iter().filter(|finding| finding.verdict == Verdict::Outside);
    let mut names: Vec<&str> = outside.map(|finding| finding.id.as_str()).collect();
    names.dedup();
    if !strict || names.is_empty() {
        return Outcome::Done;
    }
    note(&format!("Outside limits: {}", names.join(", ")));
    Outcome::Outside
}
