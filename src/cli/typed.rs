//! The words of the command line, as they were typed and as messages say them.

use super::Arguments;
use crate::harmless::{echo, harmless};
use clap::{CommandFactory, Parser};
use std::ffi::OsString;

/// Longest name of a file, bytes.
const LONGEST_NAME: usize = 255;

/// What a build without support for sound cards says of commands that need one.
pub const NO_SOUND_CARD: &str = "this build has no support for sound cards; build it with \
     `cargo install --path . --features sound-card` (see `deckproof guide sound-card`)";

/// Whether the command needs a sound card.
pub fn asks_for_a_sound_card(typed: &[OsString]) -> bool {
    let word = |at: usize| typed.get(at).and_then(|word| word.to_str());
    matches!((word(1), word(2)), (Some("play"), _) | (Some("list"), Some("devices")))
}

/// The words. `help` may be asked for help like any other command.
pub fn words() -> Vec<OsString> {
    let mut typed: Vec<OsString> = std::env::args_os().collect();
    let has_commands = |name: &OsString| {
        let command = Arguments::command();
        let command = name.to_str().and_then(|name| command.find_subcommand(name));
        command.is_some_and(clap::Command::has_subcommands)
    };
    let is_help = |at: usize| typed.get(at).is_some_and(|word| word == "help");
    if is_help(1) || typed.get(1).is_some_and(has_commands) && is_help(2) {
        typed.retain(|word| word != "--help" && word != "-h");
    }
    typed
}

/// A word as a message says it: harmless, and cut if it is longer than any file's name.
fn said(word: &str) -> String {
    harmless(&if word.len() > LONGEST_NAME { echo(word) } else { word.to_owned() })
}

/// What is wrong with the command line, with its words as messages say them.
pub fn told_of(typed: &[OsString]) -> Result<Arguments, clap::Error> {
    Arguments::try_parse_from(typed.iter().map(|word| said(&word.to_string_lossy())))
}

/// `line`, a harmless one, without the rest of words that are too long.
pub fn cut(line: String, typed: &[OsString]) -> String {
    let long = typed.iter().filter_map(|word| word.to_str()).filter(|word| word.len() > LONGEST_NAME);
    long.fold(line, |line, word| line.replace(&harmless(word), &said(word)))
}
