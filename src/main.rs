//! The `deckproof` command.

mod cli;

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    match cli::run(cli::Arguments::parse()) {
        Ok(outcome) => outcome.into(),
        Err(error) => {
            eprintln!("deckproof: {}", cli::said(&error));
            cli::Outcome::Failed.into()
        }
    }
}
