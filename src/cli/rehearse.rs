//! `rehearse`: the whole job on a virtual deck.

use super::Outcome;
use super::clock::made_now;
use super::terminal::{Life, note, print};
use super::values::{self, TypedCircumstances, TypedJudging, TypedSamples};
use crate::deck::{DeckFile, EXAMPLES};
use crate::job::{ReadOptions, RehearsalDeck, Stage, WriteOptions, rehearse};
use crate::programme::{Feed, PlacedPart, Recipe, Serves, Signal, Timeline, find};
use crate::reading::{Circumstances, Heads, RecordedOn, TapeType};
use crate::show;
use anyhow::{Context, bail};
use std::path::{Path, PathBuf};

/// Do the whole job without hardware: write, play through a virtual deck, read, report
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Circumstances that are not given: --recorded-on calibrated --heads 2 --tape-type I; with --recorded-by: other-deck;
with a recipe that the deck itself must record: this-deck, and --heads 3 where it is trimmed meanwhile

Examples:
  deckproof rehearse
  deckproof rehearse first-look --deck worn-portable --seed 7 --out worn")]
pub struct Typed {
    /// Built-in name or a recipe file
    #[arg(default_value = "full")]
    recipe: String,
    /// Virtual deck: a built-in name (see `deckproof list`) or a deck file; without it `rehearsal`, or the one that the recipe
    /// is made for
    #[arg(long, value_name = "NAME|FILE")]
    deck: Option<String>,
    /// The virtual deck that recorded the tape, name or file; by default the deck's own record side did
    #[arg(long, value_name = "NAME|FILE")]
    recorded_by: Option<String>,
    /// Fixes everything random in the virtual deck
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Folder for all files; without it a new folder `rehearsal`, `rehearsal-2`, ...
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    samples: TypedSamples,
    #[command(flatten)]
    judging: TypedJudging,
    // Last, because its heading would stand over what comes after it.
    #[command(flatten)]
    circumstances: TypedCircumstances,
}

impl Typed {
    /// Loads recipe, deck and limits.
    pub fn meant(self) -> anyhow::Result<Job> {
        let recipe = find(&self.recipe)?;
        let (usual, whose, heads) = usual(&Timeline::from(&recipe));
        let (text, name) = deck_text(self.deck.as_deref().unwrap_or(usual))?;
        let mut deck = DeckFile::from_toml(&text, &name)?;
        let mut text = text;
        let mut deck_name = name.clone();
        if let Some(recorder) = &self.recorded_by {
            let (recorder_text, recorder_name) = deck_text(recorder)?;
            let recorder = DeckFile::from_toml(&recorder_text, &recorder_name)?;
            deck = deck.playing_tape_of(&recorder);
            deck.check(&format!("{name} with the tape of {recorder_name}"))?;
            deck_name = format!("{name} with a tape recorded by {recorder_name}");
            text = deck.to_toml();
        }
        deck.reference_dbfs = self.samples.reference_dbfs;
        let mut circumstances: Circumstances = (&self.circumstances).into();
        let whose = self.recorded_by.as_ref().map_or(whose, |_| RecordedOn::OtherDeck);
        circumstances.recorded_on.get_or_insert(whose);
        circumstances.heads.get_or_insert(heads);
        circumstances.tape_type.get_or_insert(TapeType::I);
        let made = made_now(Some(format!("virtual: {name}, seed {}", self.seed)));
        Ok(Job {
            typed: self.recipe,
            recipe,
            deck: RehearsalDeck { deck, text, seed: self.seed },
            deck_name,
            folder: self.out.map_or_else(fresh_folder, Ok)?,
            write: self.samples.meant(self.judging.force),
            read: ReadOptions {
                reference_dbfs: self.samples.reference_dbfs,
                circumstances,
                limits: self.judging.by.limits(None)?,
                transport: self.judging.by.transport(None)?,
                made: Some(made),
                ..ReadOptions::default()
            },
            strict: self.judging.strict,
            long: self.judging.long,
        })
    }
}

/// The built-in deck that a programme is made for, whose recording it is read as, and the heads.
fn usual(timeline: &Timeline) -> (&'static str, RecordedOn, Heads) {
    let own = |part: &PlacedPart| match part.serves {
        Serves::Injected(Feed::Amplifier, _) => Some(("drifted-amplifier", RecordedOn::Injected, Heads::Two)),
        Serves::Injected(Feed::Loop, _) => Some(("loop-fed", RecordedOn::Injected, Heads::Two)),
        Serves::Source => Some(("monitored-trim", RecordedOn::ThisDeck, Heads::Three)),
        Serves::Bias if part.round().is_some() => {
            Some(("trimmed-record", RecordedOn::ThisDeck, Heads::Three))
        }
        Serves::BiasSweep => Some(("stepped-bias", RecordedOn::ThisDeck, Heads::Three)),
        Serves::ReductionIn => Some(("mistracking", RecordedOn::ThisDeck, Heads::Two)),
        Serves::Erasing => Some(("erased-tape", RecordedOn::ThisDeck, Heads::Two)),
        _ => None,
    };
    let looped = |part: &PlacedPart| match (&part.signal, part.serves) {
        (Signal::Chord { .. }, _) | (_, Serves::Flutter) => {
            Some(("turned-azimuth", RecordedOn::Calibrated, Heads::Two))
        }
        (Signal::Tone { .. }, _) => Some(("turned-bias", RecordedOn::ThisDeck, Heads::Three)),
        _ => None,
    };
    let parts = &mut timeline.parts.iter();
    let usual = if timeline.looped { parts.find_map(looped) } else { parts.find_map(own) };
    // Otherwise the tape ran at the right speed and upright: what a calibrated tape is.
    usual.unwrap_or(("rehearsal", RecordedOn::Calibrated, Heads::Two))
}

/// Text of a deck and what it is called in messages.
fn deck_text(name_or_path: &str) -> anyhow::Result<(String, String)> {
    if let Some((name, text)) = EXAMPLES.iter().find(|(name, _)| *name == name_or_path) {
        return Ok(((*text).to_owned(), format!("built-in deck {name}")));
    }
    let path = Path::new(name_or_path);
    if !path.exists() {
        let names: Vec<&str> = EXAMPLES.iter().map(|(name, _)| *name).collect();
        bail!(
            "{name_or_path}: no such deck; built in are {}; or give the path of a deck file",
            names.join(", ")
        );
    }
    Ok((values::text(path, "a deck")?, name_or_path.to_owned()))
}

/// The first of `rehearsal`, `rehearsal-2`, ... that is not there.
fn fresh_folder() -> anyhow::Result<PathBuf> {
    let names = (1..10_000).map(|n| if n == 1 { "rehearsal".to_owned() } else { format!("rehearsal-{n}") });
    names
        .map(PathBuf::from)
        .find(|folder| folder.symlink_metadata().is_err())
        .context("rehearsal-9999: there already; move old rehearsals away, or give a folder with --out")
}

/// A rehearsal to be done.
pub struct Job {
    /// The recipe as it was typed.
    typed: String,
    recipe: Recipe,
    deck: RehearsalDeck,
    deck_name: String,
    folder: PathBuf,
    write: WriteOptions,
    read: ReadOptions,
    strict: bool,
    long: bool,
}

impl Job {
    /// Does it, prints the summary and names the files.
    pub fn run(mut self) -> anyhow::Result<Outcome> {
        self.read.recipe = Some(self.recipe.clone());
        let life = Life::new();
        let mut stage = |stage| {
            life.say(match stage {
                Stage::Writing => "writing the programme",
                Stage::Playing => "the virtual deck plays it",
                Stage::Reading => "reading the return",
            });
        };
        let done = rehearse(&self.recipe, &self.deck, &self.folder, &self.write, &self.read, &mut stage)
            .map_err(|error| values::of_recipe(error.into(), &self.typed))?;
        drop(life);
        let (deck, files) = (&self.deck, done.files.len());
        let (none, left) = match &done.reading {
            Some(reading) => {
                super::read::print_reading(reading, self.long)?;
                print("\n")?;
                ("Nothing above", "programme, return, reading, report, tables, curves")
            }
            None => (
                "Nothing of this",
                "programme and return; the programme is followed while something is turned, and not read",
            ),
        };
        let said = [
            format!("{none} is from a real deck: it is {}, seed {}.", self.deck_name, deck.seed),
            deck.deck.about.clone(),
            format!("{files} files in {}: {left}", self.folder.display()),
        ];
        print(&show::said("Rehearsal", said))?;
        let Some(reading) = &done.reading else { return Ok(Outcome::Done) };
        note(&format!("Report to open: {}", self.folder.join(crate::job::REPORT).display()));
        Ok(super::read::outcome(reading, self.strict))
    }
}
