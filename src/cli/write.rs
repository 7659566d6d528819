//! `write`: a programme and its running sheet.

use super::Outcome;
use super::terminal::{Life, note, print};
use super::values::{TypedSamples, of_recipe};
use crate::harmless::harmless;
use crate::job::{WriteOptions, write_programme};
use crate::programme::{Feed, Feeding, Recipe, Timeline, find};
use anyhow::ensure;
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
    /// The WAV file to write; beside it come FILE.sheet.txt, FILE.sheet.html, and FILE.cue for 44100 Hz, 16 bit
    #[arg(long, value_name = "FILE.wav")]
    out: PathBuf,
    #[command(flatten)]
    samples: TypedSamples,
    /// Replace files of Deckproof's that are there already
    #[arg(long)]
    force: bool,
    // Last, because its heading would stand over what comes after it.
    #[command(flatten)]
    feeding: TypedFeeding,
}

/// What is known of player and deck, for the divider or the resistors of an injection.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "For injections: resistors on the running sheet")]
struct TypedFeeding {
    /// Voltage of the player's output with the level tone, V rms
    #[arg(long, value_name = "V", value_parser = volts)]
    source_volts: Option<f64>,
    /// Voltage at the amplifier's input for the reference level (service manual), mV rms
    #[arg(long, value_name = "MV", value_parser = millivolts, requires = "source_volts", conflicts_with = "loop_milliamps")]
    input_millivolts: Option<f64>,
    /// Resistance of the amplifier's input, ohm; without it 47000 is assumed
    #[arg(long, value_name = "OHM", value_parser = ohms, requires = "input_millivolts")]
    load_ohm: Option<f64>,
    /// Current through the wire of a flux loop, mA rms
    #[arg(long, value_name = "MA", value_parser = milliamps, requires = "source_volts")]
    loop_milliamps: Option<f64>,
}

fn within(text: &str, low: f64, high: f64, unit: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if (low..=high).contains(&value) => Ok(value),
        _ => Err(format!("allowed are {low} to {high} {unit}")),
    }
}

fn volts(text: &str) -> Result<f64, String> {
    within(text, 0.01, 20.0, "V")
}

fn millivolts(text: &str) -> Result<f64, String> {
    within(text, 0.001, 1000.0, "mV")
}

fn ohms(text: &str) -> Result<f64, String> {
    within(text, 100.0, 1e7, "ohm")
}

fn milliamps(text: &str) -> Result<f64, String> {
    within(text, 0.01, 50.0, "mA")
}

impl TypedFeeding {
    /// As meant for `recipe`, which must be an injection of the right kind if anything was typed.
    fn meant(&self, recipe: &Recipe) -> anyhow::Result<Feeding> {
        let feeding = Feeding {
            source_volts: self.source_volts,
            input_millivolts: self.input_millivolts,
            load_ohm: self.load_ohm,
            loop_milliamps: self.loop_milliamps,
        };
        let name = &recipe.name;
        match Timeline::from(recipe).feed() {
            None => ensure!(
                feeding == Feeding::default(),
                "{name}: this recipe is recorded on a tape, not injected; leave --source-volts and what belongs to it away"
            ),
            Some(Feed::Amplifier) => ensure!(
                self.loop_milliamps.is_none(),
                "{name}: this recipe goes into the amplifier; give --input-millivolts, or take injection-loop"
            ),
            Some(Feed::Loop) => ensure!(
                self.input_millivolts.is_none(),
                "{name}: this recipe is for a flux loop; give --loop-milliamps, or take injection"
            ),
        }
        if let (Some(volts), Some(millivolts)) = (self.source_volts, self.input_millivolts) {
            ensure!(
                volts * 1e3 > millivolts,
                "--source-volts: {volts} V is not more than the {millivolts} mV that the input needs; turn the player up"
            );
        }
        Ok(feeding)
    }
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
        let recipe = find(&self.recipe)?;
        let feeding = self.feeding.meant(&recipe)?;
        let options = WriteOptions { feeding, ..self.samples.meant(self.force) };
        Ok(Job { typed: self.recipe, recipe, out: self.out, options })
    }
}

/// A programme to be written.
pub struct Job {
    /// The recipe as it was typed.
    typed: String,
    recipe: Recipe,
    out: PathBuf,
    options: WriteOptions,
}

impl Job {
    /// Writes it, and names the files.
    pub fn run(self) -> anyhow::Result<Outcome> {
        let life = Life::new();
        life.say("writing the programme");
        let programme = write_programme(&self.recipe, &self.out, &self.options)
            .map_err(|error| of_recipe(error.into(), &self.typed))?;
        drop(life);
        for file in [programme.wav].into_iter().chain(programme.sheets).chain(programme.cue) {
            print(&format!("{}\n", harmless(&file.display().to_string())))?;
        }
        note(
            "Speakers off, headphones off your ears, volume down: then play. The running sheet has the rest.",
        );
        Ok(Outcome::Done)
    }
}
