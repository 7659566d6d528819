//! `guide`: pages to read.

use super::Outcome;
use super::terminal::print;
use crate::guide;
use anyhow::{Context, ensure};
use clap::builder::PossibleValuesParser;

/// Read the guide: how to do each job, one subject a page
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  deckproof guide first-job
  deckproof guide --find azimuth")]
pub struct Typed {
    /// Page to print; without it, the list of pages
    #[arg(value_name = "PAGE", value_parser = PossibleValuesParser::new(guide::names()), hide_possible_values = true)]
    page: Option<String>,
    /// Print the lines of all pages that hold this word, with the names of their pages
    #[arg(long, value_name = "WORD", conflicts_with = "page")]
    find: Option<String>,
}

impl Typed {
    /// Prints it.
    pub fn run(self) -> anyhow::Result<Outcome> {
        print(&match (self.page, self.find) {
            (Some(name), _) => guide::page(&name).context("no such page; `deckproof guide` lists them")?,
            (None, Some(word)) => {
                ensure!(!word.trim().is_empty(), "--find: no word is given; type one, such as azimuth");
                let found = guide::find(&word);
                ensure!(!found.is_empty(), "{word}: no page holds it; `deckproof guide` lists the pages");
                found
            }
            (None, None) => format!(
                "PAGES\n{}\n`deckproof guide PAGE` prints one, `deckproof guide --find WORD` the lines that hold a word.\n",
                guide::list()
            ),
        })?;
        Ok(Outcome::Done)
    }
}
