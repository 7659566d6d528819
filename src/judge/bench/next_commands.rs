//! What is typed at a step, in the job's folder, so that it runs as it is printed.

use crate::judge::bench::step::JobEvidence;
use crate::reading::{JobSheet, TapeType};

/// What the return of a step comes from.
pub(crate) enum Play<'a> {
    Calibrated,
    House(&'a str),
    /// Recipe, whose recording, tape type.
    Programme(&'a str, &'a str, Option<TapeType>),
    /// Recordings of ordinary music.
    Music,
}

/// The very words to type at the step `id`; `state` is that of what is read.
pub(crate) fn commands(
    sheet: &JobSheet,
    evidence: &JobEvidence<'_>,
    play: &Play<'_>,
    id: &str,
    state: &str,
) -> Vec<String> {
    let mut commands = Vec::new();
    if matches!(play, Play::Music) {
        let k = free(evidence, |k| format!("music-{k}.json"));
        let tapes: Vec<String> = ["a", "b", "c"].iter().map(|tape| format!("music-{k}/{tape}.wav")).collect();
        commands.push(format!("deckproof skew {} --json music-{k}.json", tapes.join(" ")));
        commands.push(format!("deckproof bench attach {state} music-{k}.json"));
        return commands;
    }
    let k = free(evidence, |k| format!("readings/{id}-{k}"));
    let mut read = format!("deckproof read {}", return_name(evidence, id));
    let mut slated = true;
    match play {
        Play::Calibrated => {
            read += " --recorded-on calibrated --unslated";
            slated = false;
            if let Some(file) = &sheet.at_hand.calibrated_tape_file {
                read += &format!(" --tape {}", quoted(file));
            }
        }
        Play::House(card) => read += &format!(" --recorded-on house --card {}", quoted(card)),
        Play::Programme(recipe, on, tape_type) => {
            let programme = format!("{recipe}.wav");
            if !evidence.taken.contains(&programme) {
                commands.push(format!("deckproof write {recipe} --out {programme}"));
            }
            read += &format!(" --recorded-on {on}");
            slated = *on != "loopback";
            if let Some(kind) = tape_type {
                read += &format!(" --tape-type {kind:?}");
            }
        }
        Play::Music => {}
    }
    if let Some(loopback) = evidence.loopback.filter(|_| slated) {
        read += &format!(" --loopback {}", quoted(loopback));
    }
    commands.push(format!("{read} --out readings/{id}-{k}"));
    commands.push(format!("deckproof bench attach {state} readings/{id}-{k}/reading.json"));
    commands
}

/// What the return of a step is best called: a name of its own, so that no return is recorded over another.
pub(crate) fn return_name(evidence: &JobEvidence<'_>, id: &str) -> String {
    format!("{id}-{}.wav", free(evidence, |k| format!("readings/{id}-{k}")))
}

/// The first number whose name is not taken in the job's folder.
fn free(evidence: &JobEvidence<'_>, name: impl Fn(usize) -> String) -> usize {
    (1..).find(|k| !evidence.taken.contains(&name(*k))).unwrap_or(1)
}

/// A file name as a shell takes it.
fn quoted(name: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "./-_".contains(c);
    if !name.is_empty() && name.chars().all(plain) {
        return name.to_owned();
    }
    // In single quotes a shell takes everything as it is; they end, and begin again, around one of their own.
    format!("'{}'", name.replace('\'', r"'\''"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn file_names_survive_a_shell() {
        for (name, want) in [
            ("cards/tape-3.json", "cards/tape-3.json"),
            ("my tape.json", "'my tape.json'"),
            ("5$ & `x`.wav", "'5$ & `x`.wav'"),
            ("it's.wav", r"'it'\''s.wav'"),
        ] {
            assert_eq!(quoted(name), want);
        }
    }

    #[test]
    fn numbers_that_are_taken_are_passed_over_and_the_loopback_capture_goes_along() {
        let taken = ["full.wav".to_owned(), "readings/noise-1".to_owned()];
        let evidence =
            JobEvidence { taken: &taken, loopback: Some("loopback.wav"), ..JobEvidence::default() };
        let sheet = JobSheet::default();
        let play = Play::Programme("full", "this-deck", Some(TapeType::II));
        let got = commands(&sheet, &evidence, &play, "noise", "as-left");
        assert_eq!(
            got,
            [
                "deckproof read noise-2.wav --recorded-on this-deck --tape-type II --loopback loopback.wav --out readings/noise-2",
                "deckproof bench attach as-left readings/noise-2/reading.json"
            ]
        );
        // A tape without slates cannot have the card subtracted, and a loopback capture is not its own.
        for play in [Play::Calibrated, Play::Programme("noise", "loopback", None)] {
            let got = commands(&sheet, &evidence, &play, "x", "as-found");
            assert!(got.iter().all(|line| !line.contains("--loopback ")), "{got:?}");
        }
    }
}
