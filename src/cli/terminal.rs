//! What goes to standard output and standard error.

use super::remedies::option;
use crate::harmless::harmless;
use anyhow::Context;
use indicatif::{ProgressBar, ProgressStyle};
use std::io::{ErrorKind, IsTerminal, Write};
use std::time::Duration;

/// An error and its causes as one line; what was said already is not said twice.
pub fn said(error: &anyhow::Error) -> String {
    let mut text = error.to_string();
    for cause in error.chain().skip(1).map(ToString::to_string) {
        if !text.contains(&cause) {
            text += ": ";
            text += &cause;
        }
    }
    if let Some(option) = option(error).filter(|option| !text.contains(option)) {
        text += &format!(" ({option})");
    }
    harmless(&text)
}

/// Prints a result. A closed pipe is no error: whoever reads has read enough.
pub fn print(text: &str) -> anyhow::Result<()> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(()),
        other => other.context("standard output: cannot be written; check where it is directed to"),
    }
}

/// A line on standard error, for what is neither result nor error.
pub fn note(text: &str) {
    // Where standard error is closed there is nobody to tell.
    let _ = writeln!(std::io::stderr(), "{}", harmless(text));
}

/// Whether somebody sits there who can be asked.
pub fn can_ask() -> bool {
    std::io::stdin().is_terminal() && std::io::stderr().is_terminal()
}

/// Asks on standard error; only a plain yes is one.
pub fn asked(question: &str) -> anyhow::Result<bool> {
    let mut err = std::io::stderr().lock();
    let told = write!(err, "{question}").and_then(|()| err.flush());
    told.context("standard error: cannot be written; leave the question away with --count-pass")?;
    let mut answer = String::new();
    // End of input is no answer.
    std::io::stdin().read_line(&mut answer).context("standard input: cannot be read; use --count-pass")?;
    Ok(["y", "yes"].contains(&answer.trim().to_lowercase().as_str()))
}

/// A sign of life on standard error; nothing where that is no terminal.
pub struct Life(ProgressBar);

impl Life {
    /// Starts with nothing to say.
    pub fn new() -> Self {
        if !std::io::stderr().is_terminal() {
            return Self(ProgressBar::hidden());
        }
        let bar = ProgressBar::new_spinner();
        // A template that cannot be parsed leaves the default one.
        if let Ok(style) = ProgressStyle::with_template("{spinner} {msg} {elapsed}") {
            bar.set_style(style);
        }
        bar.enable_steady_tick(Duration::from_millis(120));
        Self(bar)
    }

    /// Says what is under way.
    pub fn say(&self, what: &str) {
        self.0.set_message(what.to_owned());
    }
}

impl Drop for Life {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cause_is_said_once() {
        let cause = std::io::Error::other("disk on fire");
        let told = anyhow::anyhow!("a.wav: cannot be read ({cause}); check the disk");
        assert_eq!(said(&told), "a.wav: cannot be read (disk on fire); check the disk");
        let untold = anyhow::Error::new(cause).context("a.wav: cannot be read");
        assert_eq!(said(&untold), "a.wav: cannot be read: disk on fire");
        let told =
            anyhow::Error::new(std::io::Error::other("disk on fire")).context("a.wav: disk on fire; check");
        assert_eq!(said(&told), "a.wav: disk on fire; check");
    }
}
