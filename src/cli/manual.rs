//! `manual`: the manual page, made from the definitions of the commands.
//!
//! One page holds all commands, so that one file can be installed and searched. The pieces are those of `clap_mangen`;
//! notes at the end of a help keep their lines here, which it would fill.

use super::terminal::print;
use super::{Arguments, Outcome};
use anyhow::Context;
use clap::{Command, CommandFactory};
use clap_mangen::Man;
use clap_mangen::roff::{Roff, roman};

/// Print the manual page (roff): all commands with all options
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  deckproof manual > deckproof.1
  deckproof manual | man -l -")]
pub struct Typed {}

impl Typed {
    /// Prints it.
    pub fn run(self) -> anyhow::Result<Outcome> {
        print(&page()?)?;
        Ok(Outcome::Done)
    }
}

/// No hyphens but those that are typed, and no stretched lines.
const PLAIN: &str = ".nh\n.ad l\n";

/// The manual page.
fn page() -> anyhow::Result<String> {
    let named = |command: Command| command.subcommand_value_name("COMMAND");
    let mut root = named(Arguments::command()).disable_help_subcommand(true).mut_subcommands(named);
    root.build();
    let man = Man::new(root.clone());
    let mut text = piece(|to| man.render_title(to))?;
    text += PLAIN;
    for lines in [
        piece(|to| man.render_name_section(to))?,
        piece(|to| man.render_synopsis_section(to))?,
        piece(|to| man.render_description_section(to))?,
        piece(|to| man.render_options_section(to))?,
    ] {
        text += &without_preamble(&lines);
    }
    text += ".SH COMMANDS\n";
    for command in root.get_subcommands() {
        add(&mut text, command)?;
    }
    text += ".SH NOTES\n";
    text += &notes(&root)?;
    Ok(text)
}

/// Adds a command and those below it.
fn add(text: &mut String, command: &Command) -> anyhow::Result<()> {
    let name = command.get_bin_name().unwrap_or_else(|| command.get_name()).to_owned();
    // Every command has it; it is told once.
    let has_help = command.get_arguments().any(|argument| argument.get_id() == "help");
    let told =
        if has_help { command.clone().mut_arg("help", |help| help.hide(true)) } else { command.clone() };
    let man = Man::new(told);
    *text += &format!(".SS \"{name}\"\n");
    *text += &below(&piece(|to| man.render_description_section(to))?);
    *text += ".PP\n";
    *text += &below(&piece(|to| man.render_synopsis_section(to))?);
    *text += &below(&piece(|to| man.render_options_section(to))?);
    let notes = notes(command)?;
    if !notes.is_empty() {
        *text += ".PP\n";
        *text += &notes;
    }
    command.get_subcommands().try_for_each(|inner| add(text, inner))
}

/// What stands at the end of a command's help, line by line.
fn notes(command: &Command) -> anyhow::Result<String> {
    let Some(after) = command.get_after_long_help().or_else(|| command.get_after_help()) else {
        return Ok(String::new());
    };
    let mut roff = Roff::new();
    roff.control("nf", []);
    for line in after.to_string().lines() {
        roff.text([roman(line)]);
    }
    roff.control("fi", []);
    Ok(roff.to_roff())
}

/// A piece of a page as text.
fn piece(render: impl FnOnce(&mut dyn std::io::Write) -> std::io::Result<()>) -> anyhow::Result<String> {
    let mut bytes = Vec::new();
    render(&mut bytes).context("manual: cannot be made")?;
    String::from_utf8(bytes).context("manual: not text")
}

/// Each piece begins with two lines that say what an apostrophe is; they stand at the head of the page already.
fn without_preamble(piece: &str) -> String {
    let own = |line: &&str| !line.starts_with(".ie ") && !line.starts_with(".el ");
    piece.lines().filter(own).map(|line| format!("{line}\n")).collect()
}

/// A piece below a command's heading: usual headings go, those of groups of options become lines of their own.
fn below(piece: &str) -> String {
    let mut text = String::new();
    for line in without_preamble(piece).lines() {
        match line.strip_prefix(".SH ") {
            Some("DESCRIPTION" | "SYNOPSIS" | "OPTIONS") => {}
            Some(heading) => text += &format!(".PP\n{}\n", heading.trim_matches('"')),
            None => text += &format!("{line}\n"),
        }
    }
    text
}
