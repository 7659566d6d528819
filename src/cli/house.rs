//! `house`: make and look at the card of a house tape; and what `read --card` does with one.

use super::clock::made_now;
use super::terminal::{asked, can_ask, note, print};
use super::{Outcome, values};
use crate::harmless::harmless;
use crate::job::{
    CardOptions, HouseError, Playing, ReadOptions, count_pass, counted, load_card, make_card, mark_of,
    pass_of, subtract_house,
};
use crate::judge::passes;
use crate::programme::{NewFile, Overwrite, note_input, write_text};
use crate::reading::{Card, Circumstances, Pass, RecordedOn};
use crate::show;
use crate::trade::{Medium, StatedFlux};
use anyhow::ensure;
use clap::Subcommand;
use std::path::{Path, PathBuf};

/// Make the card of a house tape from readings, or look at one
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  deckproof house make --house h.json --calibrated c.json --name \"tape 3\" --out tape-3.json
  deckproof house show tape-3.json")]
pub struct Typed {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Make a card: the house tape was read on a deck right after a calibrated tape
    #[command(after_help = "\
Examples:
  deckproof house make --house h.json --calibrated c.json --name \"tape 3\" --out tape-3.json
  deckproof house make --house h1.json h2.json h3.json --calibrated c.json --name A --out a.json")]
    Make(Make),
    /// Print a card: what is on it, how often the tape was played, whether it should be renewed
    #[command(after_help = "\
Examples:
  deckproof house show tape-3.json
  deckproof house show cards/tape-3.json")]
    Show {
        /// The card
        #[arg(value_name = "CARD")]
        card: PathBuf,
    },
}

#[derive(Debug, clap::Args)]
struct Make {
    /// Reading of the house tape (JSON of `read --recorded-on house`); several: one for each playing, the cassette taken
    /// out in between
    #[arg(long, value_name = "READING", required = true, num_args = 1..)]
    house: Vec<PathBuf>,
    /// Reading of a calibrated tape on the same deck, just before (JSON of `read --recorded-on calibrated`)
    #[arg(long, value_name = "READING")]
    calibrated: PathBuf,
    /// What is written on the house tape
    #[arg(long, value_name = "WORDS")]
    name: String,
    /// Where the card goes (JSON)
    #[arg(long, value_name = "CARD")]
    out: PathBuf,
    /// Which calibrated tape it was, in your words
    #[arg(long, value_name = "WORDS")]
    calibrated_tape: Option<String>,
    /// Fluxivity of the calibrated tape's 0 dB by its certificate, such as 250,open-circuit or 200,short-circuit
    #[arg(long, value_name = "NWB/M[,STATED]", value_parser = StatedFlux::parse)]
    fluxivity: Option<StatedFlux>,
    /// How often the house tape had been played before these readings
    #[arg(long, value_name = "N", default_value_t = 0)]
    passes_before: u32,
    /// Replace a card that is there already
    #[arg(long)]
    force: bool,
}

impl Typed {
    /// Does it.
    pub fn run(self) -> anyhow::Result<Outcome> {
        match self.what {
            What::Make(make) => make.run(),
            What::Show { card } => {
                print(&show::card_text(&load_card(&card)?, &made_now(None).at))?;
                Ok(Outcome::Done)
            }
        }
    }
}

impl Make {
    fn run(self) -> anyhow::Result<Outcome> {
        let overwrite = values::overwrite(self.force);
        self.house.iter().chain([&self.calibrated]).for_each(|reading| note_input(reading));
        drop(NewFile::create(&self.out, overwrite)?);
        let options = CardOptions {
            house: self.house,
            calibrated: self.calibrated,
            name: self.name,
            calibrated_tape: self.calibrated_tape,
            fluxivity: self.fluxivity,
            passes_before: self.passes_before,
        };
        let made = made_now(None);
        let card = make_card(&options, &made, &Medium::COMPACT_CASSETTE)?;
        write_text(&self.out, &show::card_to_json(&card), overwrite)?;
        print(&show::card_text(&card, &made.at))?;
        note(&format!("Card: {}", self.out.display()));
        Ok(Outcome::Done)
    }
}

/// A house tape that was played, with its card.
pub struct HouseTape {
    path: PathBuf,
    card: Card,
    count: bool,
}

/// Loads a card, and refuses what contradicts it.
pub fn card_told(path: &Path, told: &Circumstances) -> anyhow::Result<Card> {
    ensure!(
        told.recorded_on == Some(RecordedOn::House),
        "{}: a card goes with a house tape only; add --recorded-on house, or leave --card away",
        path.display()
    );
    Ok(load_card(path)?)
}

impl HouseTape {
    /// Loads the card, and refuses what contradicts it.
    pub fn meant(path: PathBuf, count: bool, told: &Circumstances) -> anyhow::Result<Self> {
        let card = card_told(&path, told)?;
        if count {
            drop(NewFile::create(&path, Overwrite::Renew)?);
        }
        Ok(Self { path, card, count })
    }

    /// Takes the card off; gives the pass to be counted.
    pub fn subtract(
        &self,
        playing: &mut Playing,
        file: &Path,
        options: &ReadOptions,
    ) -> anyhow::Result<Pass> {
        // A pipe that has been read to its end has no bytes left to mark.
        let mark = if file.is_file() { mark_of(file).ok() } else { None };
        let pass = pass_of(&playing.facts, mark);
        subtract_house(playing, &self.card, &self.path, &pass, &options.medium)?;
        Ok(pass)
    }

    /// Counts the pass if that was asked for, or is answered so.
    pub fn count(&self, pass: &Pass) -> anyhow::Result<()> {
        let name = harmless(&self.card.name);
        if let Some(at) = pass.mark.as_deref().and_then(|mark| counted(&self.card, mark)) {
            note(&format!("{name}: this return was counted already ({at}) and is not counted twice."));
            return Ok(());
        }
        let wanted = self.count
            || can_ask()
                && asked(&format!(
                    "{name} has been played {} times. Count this pass on the card? [y/N] ",
                    passes(&self.card)
                ))?;
        if !wanted {
            note(&format!("{name}: this pass was not counted; --count-pass counts it."));
            return Ok(());
        }
        match count_pass(&self.path, pass) {
            Ok(card) => note(&format!("{name}: pass {} counted on {}.", passes(&card), self.path.display())),
            // Counted meanwhile, by somebody else.
            Err(HouseError::Counted { at, .. }) => note(&format!("{name}: counted already ({at}).")),
            Err(error) => return Err(error.into()),
        }
        Ok(())
    }
}
