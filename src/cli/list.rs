//! `list`: what is built in.

use super::Outcome;
use super::terminal::print;
use super::values::{Choice, limits, one_of};
use crate::deck::{DeckFile, EXAMPLES};
use crate::job::{JOB_TEMPLATE, TRANSPORT_TEMPLATE};
use crate::judge::{BuiltIn, QUANTITIES};
use crate::programme::{TAPE_EXAMPLE, Timeline, built_in, built_in_text};
use crate::show;
use anyhow::Context;
use clap::Subcommand;
use std::fmt::Write;

/// List what is built in, or print one of it as a start for your own
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  deckproof list
  deckproof list recipe first-look > mine.toml")]
pub struct Typed {
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Print the text of a built-in recipe
    Recipe {
        /// Its name
        name: String,
    },
    /// Print the text of a built-in virtual deck
    Deck {
        /// Its name
        name: String,
    },
    /// List the inputs and outputs of the sound card
    #[cfg(feature = "sound-card")]
    Devices,
    /// Print the limits of common practice, as `read --limits` takes them
    Limits {
        /// For which decks: full-size or portable
        #[arg(default_value = "full-size", value_parser = ["full-size", "portable"])]
        deck: String,
    },
    /// Print a tape's own values, as `read --unslated --tape` takes them (invented)
    Tape,
    /// Print the numbers of a transport, as `read --transport` takes them (invented)
    Transport,
    /// Print what the file of a new job begins with (`bench new` makes it)
    Job,
    /// Print the JSON Schema of the reading, of a comparison, of `skew` or of a card
    Schema {
        /// Of what
        #[arg(default_value = "reading", value_parser = one_of(&SCHEMAS))]
        of: fn() -> String,
    },
}

/// What has a schema.
const SCHEMAS: [Choice<fn() -> String>; 4] = [
    ("reading", "", show::schema),
    ("comparison", "", show::comparison_schema),
    ("skew", "", show::skew_schema),
    ("card", "", show::card_schema),
];

impl Typed {
    /// Prints it.
    pub fn run(self) -> anyhow::Result<Outcome> {
        print(&match self.what {
            None => overview(),
            Some(What::Recipe { name }) => built_in_text(&name)
                .with_context(|| format!("{name}: no such recipe; `deckproof list` names those built in"))?
                .to_owned(),
            Some(What::Deck { name }) => EXAMPLES
                .iter()
                .find(|(deck, _)| *deck == name)
                .map(|(_, text)| (*text).to_owned())
                .with_context(|| format!("{name}: no such deck; `deckproof list` names those built in"))?,
            #[cfg(feature = "sound-card")]
            Some(What::Devices) => super::devices::list()?,
            Some(What::Limits { deck }) => limits_text(&deck)?,
            Some(What::Tape) => TAPE_EXAMPLE.to_owned(),
            Some(What::Transport) => TRANSPORT_TEMPLATE.to_owned(),
            Some(What::Job) => JOB_TEMPLATE.to_owned(),
            Some(What::Schema { of }) => of(),
        })?;
        Ok(Outcome::Done)
    }
}

/// A limits file with every key and the number that is built in; what practice does not know is left open.
fn limits_text(deck: &str) -> anyhow::Result<String> {
    let limits = limits(deck)?;
    let mut text = format!("deck = \"{deck}\"\n");
    for row in &QUANTITIES {
        for key in row.limits {
            let name = key.row().name;
            if text.lines().any(|line| line.trim_start_matches("# ").starts_with(&format!("{name} = "))) {
                continue;
            }
            // Writing to a String does not fail.
            let _ = match limits.get(*key) {
                Some(limit) => writeln!(text, "{name} = {}  # {}, {}", limit.value, row.words, limit.basis),
                None => match key.row().built_in {
                    BuiltIn::Told(what) => writeln!(text, "# {name} =   # {}: {what}", row.words),
                    _ => writeln!(text, "# {name} =   # {}: no limit is known to practice", row.words),
                },
            };
        }
    }
    text.push_str(LEVEL_TONE);
    Ok(text)
}

/// What a limits file may say besides the limits.
const LEVEL_TONE: &str = "\
# How the mark's flux is stated: short-circuit, open-circuit or unknown.
# deck_standard_stated = \"short-circuit\"
# The level tone, read at the output with a millivoltmeter, and the level that it had in the return meanwhile: from then on
# levels are known in mV, as long as the sound card's input level is not touched. One number for both channels, or [left, right].
# level_tone_mv = [580, 575]
# level_tone_dbfs = [-12.0, -12.1]
# level_tone_within_mv = 5   # what the gauge may be wrong by, if not the usual
";

fn overview() -> String {
    let mut text = String::from("RECIPES for `write` and `rehearse`\n");
    for recipe in built_in() {
        let timeline = Timeline::from(&recipe);
        let seconds = timeline.length_s.ceil() as u64;
        // Writing to a String does not fail.
        let _ =
            writeln!(text, "  {:<12} {}:{:02}  {}", recipe.name, seconds / 60, seconds % 60, recipe.title);
    }
    text.push_str("\nVIRTUAL DECKS for `rehearse` (all invented)\n");
    for (name, deck) in EXAMPLES {
        let about = DeckFile::from_toml(deck, name).map(|deck| deck.about).unwrap_or_default();
        // What comes before the last colon names the workshop, the same for all.
        let about = about.split_once(". ").map_or(about.as_str(), |(_, what)| what);
        let _ = writeln!(text, "  {name:<20} {about}");
    }
    text.push_str("\nLIMITS for `read` and `rehearse`\n");
    text.push_str("  full-size            common practice for a full-size deck worth calibrating\n");
    text.push_str("  portable             common practice for a portable or a simple deck\n");
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{LIMITS, Limits};

    #[test]
    fn limits_as_printed_are_those_built_in() {
        for (deck, built_in) in [("full-size", Limits::full_size()), ("portable", Limits::portable())] {
            let text = limits_text(deck).unwrap();
            let read = Limits::from_toml(&text, "printed.toml").unwrap();
            for row in &LIMITS {
                let value = |limits: &Limits| limits.get(row.key).map(|limit| limit.value);
                assert_eq!(value(&read), value(&built_in), "{}", row.name);
                let named = format!("{} =", row.name);
                // What has no default stands there as a comment.
                let lines = text.lines().filter(|line| line.trim_start_matches("# ").starts_with(&named));
                assert_eq!(lines.count(), 1, "{}", row.name);
            }
        }
    }
}
