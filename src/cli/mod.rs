//! The commands: arguments as typed ([`Arguments`]) become jobs as meant (`meant` in each file), which run.

mod bench;
mod clock;
mod compare;
mod completions;
#[cfg(feature = "sound-card")]
mod devices;
mod follow;
mod guide;
mod house;
mod interrupt;
mod job_told;
mod list;
// Until `follow` opens it, only tests do.
mod live_screen;
mod manual;
mod outcome;
#[cfg(feature = "sound-card")]
mod play;
mod read;
mod rehearse;
mod remedies;
mod skew;
mod terminal;
mod typed;
mod unslated;
mod values;
mod write;

#[cfg(feature = "internals")]
pub use interrupt::watch as watch_for_interrupts;
#[cfg(feature = "internals")]
pub use live_screen::LiveScreen;
use outcome::Outcome;
use terminal::{note, said};

use clap::{Parser, Subcommand};
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
    // Boxed: it takes many options.
    Follow(Box<follow::Typed>),
    Skew(skew::Typed),
    Rehearse(rehearse::Typed),
    #[cfg(feature = "sound-card")]
    Play(play::Typed),
    House(house::Typed),
    Bench(bench::Typed),
    List(list::Typed),
    Guide(guide::Typed),
    Completions(completions::Typed),
    Manual(manual::Typed),
}

/// Runs the command that was typed. An error becomes one line: which file, what is wrong, what to do.
pub fn command_line() -> ExitCode {
    let typed = typed::words();
    if cfg!(not(feature = "sound-card")) && typed::asks_for_a_sound_card(&typed) {
        note(&format!("deckproof: {}", typed::NO_SOUND_CARD));
        return Outcome::Failed.into();
    }
    let arguments = match Arguments::try_parse_from(&typed) {
        Ok(arguments) => arguments,
        Err(error) => typed::told_of(&typed).err().unwrap_or(error).exit(),
    };
    match run(arguments) {
        Ok(outcome) => outcome.into(),
        Err(error) => {
            note(&format!("deckproof: {}", typed::cut(said(&error), &typed)));
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
        Command::Follow(typed) => (*typed).meant()?.run(),
        Command::Skew(typed) => typed.meant()?.run(),
        Command::Rehearse(typed) => typed.meant()?.run(),
        #[cfg(feature = "sound-card")]
        Command::Play(typed) => typed.meant()?.run(),
        Command::House(typed) => typed.run(),
        Command::Bench(typed) => typed.run(),
        Command::List(typed) => typed.run(),
        Command::Guide(typed) => typed.run(),
        Command::Completions(typed) => typed.run(),
        Command::Manual(typed) => typed.run(),
    }
}
