//! How a remedy is typed: the words of the command line, in one place.

use crate::reading::{Finding, Remedy, Verdict};

/// The option by which a tone's frequency is told.
pub(in crate::show) const KNOWN_HZ: &str = "--known-hz";

/// The option that a remedy is given by.
pub fn option(remedy: &Remedy) -> &'static str {
    match remedy {
        Remedy::SayRecordedOn => "--recorded-on",
        Remedy::SayHeads => "--heads",
        Remedy::SayTapeType => "--tape-type",
        Remedy::NameRecipe => "--recipe",
        Remedy::GiveCard => "--card",
        Remedy::GiveLimit { .. } => "--limits",
        Remedy::GiveLoopback => "--loopback",
        Remedy::GiveTape => "--unslated --tape",
        Remedy::GivePitch => KNOWN_HZ,
        Remedy::PlaySameTapeAgain => "--same-tape",
    }
}

/// `text` with the options behind it, in brackets.
pub(in crate::show) fn with_options<'a>(
    text: &str,
    remedies: impl IntoIterator<Item = &'a Remedy>,
) -> String {
    let options: Vec<&str> = remedies.into_iter().map(option).collect();
    if options.is_empty() { text.to_owned() } else { format!("{text} ({})", options.join(", ")) }
}

/// Why, with the options by which to find out.
pub(in crate::show) fn why(finding: &Finding) -> String {
    let asked = finding.verdict == Verdict::CannotTell;
    let of_the_figure = |remedy: &&Remedy| **remedy != Remedy::GiveLoopback;
    let asked_for = |remedy: &&Remedy| asked && !of_the_basis(remedy);
    with_options(&finding.why, finding.remedies.iter().filter(asked_for).filter(of_the_figure))
}

/// The basis, with the options that would make it a better one.
pub(in crate::show) fn basis(finding: &Finding) -> String {
    with_options(&finding.basis, finding.remedies.iter().filter(|remedy| of_the_basis(remedy)))
}

/// Whether what the figure means hangs on it.
fn of_the_basis(remedy: &Remedy) -> bool {
    matches!(remedy, Remedy::SayRecordedOn | Remedy::SayHeads | Remedy::GiveCard)
}
