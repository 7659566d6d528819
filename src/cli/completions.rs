//! `completions`: what a shell needs to complete the command line, made from the definitions of the commands.

use super::terminal::print;
use super::{Arguments, Outcome};
use anyhow::Context;
use clap::CommandFactory;
use clap_complete::Shell;

/// Print what your shell needs to complete commands and options
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  deckproof completions bash > ~/.local/share/bash-completion/completions/deckproof
  deckproof completions fish > ~/.config/fish/completions/deckproof.fish")]
pub struct Typed {
    /// Your shell
    #[arg(value_name = "SHELL")]
    shell: Shell,
}

impl Typed {
    /// Prints it.
    pub fn run(self) -> anyhow::Result<Outcome> {
        let mut script = Vec::new();
        clap_complete::generate(self.shell, &mut Arguments::command(), "deckproof", &mut script);
        print(&String::from_utf8(script).context("completions: not text")?)?;
        Ok(Outcome::Done)
    }
}
