//! The commands: arguments as typed ([`Arguments`]) become jobs as meant (`meant` in each file), which run.

mod bench;
mod clock;
mod compare;
mod house;
mod interrupt;
mod job_told;
mod list;
mod outcome;
mod read;
mod rehearse;
mod remedies;
mod skew;
mod terminal;
mod unslated;
mod values;
mod write;

use outcome::Outcome;
use terminal::said;

use crate::harmless::{echo, harmless};
use clap::{CommandFactory, Parser, Subcommand};
use std::ffi::OsString;
use std::io::Write;
use std::process::ExitCode;

/// Proves a serviced cassette deck from recordings of its own output.
#[derive(Debug, Parser)]
#[command(name = "deckproof", version, max_term_width = 100, after_help = outcome::TABLE)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Write(write::Typed),
    // Boxed: it takes far more options than the others.
    Read(Box<read::Typed>),
    Compare(compare::Typed),
    Skew(skew::Typed),
    Rehearse(rehearse::Typed),
    House(house::Typed),
    Bench(bench::Typed),
    List(list::Typed),
}

/// What was typed. `help` is asked for help like any other command.
fn typed() -> Vec<OsString> {
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

/// `text` with no more than [`echo`] gives of each word that was typed and is longer than any name of a file.
fn with_typed_cut(mut text: String, typed: &[OsString]) -> String {
    for word in typed.iter().filter_map(|word| word.to_str()) {
        let value = word.split_once('=').map_or(word, |(_, value)| value);
        if value.len() > LONGEST_NAME {
            text = text.replace(value, &echo(value));
        }
    }
    text
}

/// Longest name of a file, bytes.
const LONGEST_NAME: usize = 255;

/// Ends with what is wrong with the command line, or with the help that was asked for.
fn wrong(error: &clap::Error, typed: &[OsString]) -> ExitCode {
    let plain = error.render().to_string();
    let told = with_typed_cut(plain.clone(), typed);
    let lines: Vec<String> = told.split('\n').map(harmless).collect();
    if lines.join("\n") == plain {
        error.exit();
    }
    // Where standard error is closed there is nobody to tell.
    let _ = write!(std::io::stderr(), "{}", lines.join("\n"));
    ExitCode::from(2)
}

/// Runs the command that was typed. An error becomes one line: which file, what is wrong, what to do.
pub fn command_line() -> ExitCode {
    let typed = typed();
    let arguments = match Arguments::try_parse_from(&typed) {
        Ok(arguments) => arguments,
        Err(error) => return wrong(&error, &typed),
    };
    match run(arguments) {
        Ok(outcome) => outcome.into(),
        Err(error) => {
            eprintln!("deckproof: {}", with_typed_cut(said(&error), &typed));
            Outcome::Failed.into()
        }
    }
}

fn run(arguments: Arguments) -> anyhow::Result<Outcome> {
    interrupt::watch();
    match arguments.command {
        Command::Write(typed) => typed.meant()?.run(),
        Command::Read(typed) => (*typed).meant()?.run(),
        Command::Compare(typed) => typed.meant()?.run(),
        Command::Skew(typed) => typed.meant()?.run(),
        Command::Rehearse(typed) => typed.meant()?.run(),
        Command::House(typed) => typed.run(),
        Command::Bench(typed) => typed.run(),
        Command::List(typed) => typed.run(),
    }
}
