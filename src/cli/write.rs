//! `write`: a programme and its running sheet.

use super::terminal::{Life, note, print};
use super::values::TypedSamples;
use super::{Outcome, one_line};
use anyhow::ensure;
use deckproof::job::{WriteOptions, write_programme};
use deckproof::programme::{Recipe, find};
use std::path::PathBuf;

/// Write a test programme as a WAV file, with its running sheet
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  deckproof write first-look --out first-look.wav
  deckproof write full --out full.wav --rate 44100 --depth 16      with full.cue, to burn on a CD")]
pub struct Typed {
    /// Built-in name (see `deckproof list`) or a recipe file
    recipe: String,
    /// The WAV file to write; FILE.sheet.txt comes beside it, and FILE.cue for 44100 Hz, 16 bit
    #[arg(long, value_name = "FILE.wav")]
    out: PathBuf,
    #[command(flatten)]
    samples: TypedSamples,
    /// Replace files that are there already
    #[arg(long)]
    force: bool,
}

impl Typed {
    /// Finds the recipe.
    pub fn meant(self) -> anyhow::Result<Job> {
        let extension = self.out.extension().map(|extension| extension.to_string_lossy().to_lowercase());
        ensure!(
            extension.as_deref() == Some("wav"),
            "{}: a programme is a WAV file; give a name that ends in .wav",
            self.out.display()
        );
        Ok(Job { recipe: find(&self.recipe)?, out: self.out, options: self.samples.meant(self.force) })
    }
}

/// A programme to be written.
pub struct Job {
    recipe: Recipe,
    out: PathBuf,
    options: WriteOptions,
}

impl Job {
    /// Writes it, and names the files.
    pub fn run(self) -> anyhow::Result<Outcome> {
        let life = Life::new();
        life.say("writing the programme");
        let programme = write_programme(&self.recipe, &self.out, &self.options)?;
        drop(life);
        let files = [Some(programme.wav), Some(programme.sheet), programme.cue];
        for file in files.into_iter().flatten() {
            print(&format!("{}\n", one_line(&file.display().to_string())))?;
        }
        note(
            "Speakers off, headphones off your ears, volume down: then play. The running sheet has the rest.",
        );
        Ok(Outcome::Done)
    }
}
