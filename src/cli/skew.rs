//! `skew`: azimuth from ordinary music on several tapes.

use super::Outcome;
use super::clock::made_now;
use super::job_told::{TypedReadJob, made_for};
use super::read::{channels, same_file};
use super::terminal::{Life, print};
use super::values::overwrite;
use crate::harmless::harmless;
use crate::job::{Recording, SkewOptions, skew_tapes};
use crate::programme::{NewFile, Overwrite, note_input, write_text};
use crate::reading::Made;
use crate::show;
use crate::trade::Medium;
use anyhow::ensure;
use std::path::{Path, PathBuf};

/// Tell azimuth from ordinary music: the delay between the channels of several recorded tapes
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  deckproof skew talk.wav songs.wav choir.flac
  deckproof skew *.wav --json skew.json")]
pub struct Typed {
    /// Recordings of what the deck played back, one a tape: WAV, FLAC or AIFF, a minute or more of each
    #[arg(value_name = "MUSIC", required = true)]
    files: Vec<PathBuf>,
    /// The result as JSON in a file; `-` prints it instead of the text
    #[arg(long, value_name = "FILE|-")]
    json: Option<PathBuf>,
    /// Left and right in files with more than two channels, counted from 1
    #[arg(long, value_name = "LEFT,RIGHT", value_parser = channels)]
    channels: Option<[usize; 2]>,
    /// Replace a result of Deckproof's that is there already
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    job: TypedReadJob,
}

impl Typed {
    /// Refuses recordings that are given twice, and outputs that are in the way.
    pub fn meant(self) -> anyhow::Result<Job> {
        for (k, file) in self.files.iter().enumerate() {
            ensure!(
                !self.files[..k].iter().any(|other| same_file(other, file)),
                "{}: given twice; one tape must not count as two, name each recording once",
                file.display()
            );
        }
        self.files.iter().for_each(|file| note_input(file));
        let overwrite = overwrite(self.force);
        if let Some(path) = self.json.as_deref().filter(|path| *path != Path::new("-")) {
            drop(NewFile::create(path, overwrite)?);
        }
        let options = SkewOptions { channels: self.channels, medium: Medium::COMPACT_CASSETTE };
        let made = self.job.find()?.map_or_else(|| made_now(None), |job| made_for(&job, None));
        Ok(Job { files: self.files, json: self.json, options, made, overwrite })
    }
}

/// Recordings to be read.
pub struct Job {
    files: Vec<PathBuf>,
    json: Option<PathBuf>,
    options: SkewOptions,
    made: Made,
    overwrite: Overwrite,
}

impl Job {
    /// Reads them and prints what they say.
    pub fn run(self) -> anyhow::Result<Outcome> {
        let life = Life::new();
        let mut under_way = |path: &Path| life.say(&harmless(&format!("reading {}", path.display())));
        let recordings: Vec<Recording> = self.files.iter().map(|file| Recording::File(file)).collect();
        let mut reading = skew_tapes(&recordings, &self.options, &mut under_way)?;
        drop(life);
        reading.made = Some(self.made);
        let json = show::skew_to_json(&reading);
        match self.json.as_deref() {
            Some(path) if path == Path::new("-") => print(&json)?,
            Some(path) => {
                print(&show::skew_summary(&reading))?;
                write_text(path, &json, self.overwrite)?;
            }
            None => print(&show::skew_summary(&reading))?,
        }
        Ok(Outcome::Done)
    }
}
