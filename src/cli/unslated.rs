//! Options of `read` for a tape that carries none of our slates.

use super::values::text;
use crate::job::{KnownPitch, UnslatedOptions};
use crate::programme::TapeFile;
use crate::trade::StatedFlux;
use std::path::PathBuf;

/// A tape without slates, and what is known of it.
#[derive(Debug, clap::Args)]
pub struct TypedUnslated {
    /// The tape carries no slates: its tones, sweeps and silences are found by listening
    #[arg(long)]
    unslated: bool,
    /// The tape's own values (frequencies, flux, equalisation, certificate), with --unslated
    #[arg(long, value_name = "FILE", requires = "unslated")]
    tape: Option<PathBuf>,
    /// Frequency of one tone on the tape, Hz, with --unslated: speed is told from it
    #[arg(long, value_name = "HZ", requires = "unslated", value_parser = pitch)]
    known_hz: Option<f64>,
    /// How well --known-hz is known, percent
    #[arg(long, value_name = "PERCENT", default_value = "0.1", requires = "known_hz", value_parser = within)]
    known_within: f64,
    /// Flux of the deck's 0 dB by its manual, such as 200,short-circuit or 250,open-circuit, with --unslated
    #[arg(long, value_name = "NWB_M[,STATED]", requires = "unslated", value_parser = StatedFlux::parse)]
    deck_standard: Option<StatedFlux>,
}

fn pitch(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(hz) if (20.0..=20_000.0).contains(&hz) => Ok(hz),
        _ => Err("expected a frequency from 20 to 20000 Hz, such as 440".into()),
    }
}

fn within(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(percent) if (0.0..=5.0).contains(&percent) => Ok(percent),
        _ => Err("expected 0 to 5 percent, such as 0.1".into()),
    }
}

impl TypedUnslated {
    /// Loads the tape's file; `None` without --unslated.
    pub fn meant(&self) -> anyhow::Result<Option<UnslatedOptions>> {
        if !self.unslated {
            return Ok(None);
        }
        let tape = match &self.tape {
            None => None,
            Some(path) => {
                let read = text(path, "the tape's own values, such as `deckproof list tape` prints")?;
                Some(TapeFile::parse(&read, &path.display().to_string())?)
            }
        };
        let known = self.known_hz.map(|hz| KnownPitch { hz, within_percent: self.known_within });
        Ok(Some(UnslatedOptions { tape, known, deck_standard: self.deck_standard }))
    }
}
