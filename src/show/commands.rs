//! The very words to type at a step of a job.

use crate::judge::Command;
use crate::reading::{JobState, RecordedOn};

/// What is typed, in the job's folder, so that it runs as it is printed.
pub(in crate::show) fn typed(command: &Command) -> String {
    match command {
        Command::Write { recipe, out } => format!("deckproof write {recipe} --out {out}"),
        Command::Read { file, recorded_on, slated, tape, card, tape_type, loopback, out, state } => {
            let mut words = format!("deckproof read {file} --recorded-on {}", origin(*recorded_on));
            if !slated {
                words += " --unslated";
            }
            for (option, value) in [("--tape", tape), ("--card", card)] {
                if let Some(value) = value {
                    words += &format!(" {option} {}", quoted(value));
                }
            }
            if let Some(kind) = tape_type {
                words += &format!(" --tape-type {kind:?}");
            }
            if let Some(loopback) = loopback {
                words += &format!(" --loopback {}", quoted(loopback));
            }
            format!("{words} --out {out} --attach {}", state_word(*state))
        }
        Command::Follow { view, recorded_on, card, tape_type } => {
            let card = card.as_ref().map_or(String::new(), |card| format!(" --card {}", quoted(card)));
            let tape_type = tape_type.map_or(String::new(), |kind| format!(" --tape-type {kind:?}"));
            let origin = origin(*recorded_on);
            format!(
                "RECORDER | deckproof follow - --show {} --recorded-on {origin}{card}{tape_type}",
                view.as_str()
            )
        }
        Command::Skew { files, json } => format!("deckproof skew {} --json {json}", files.join(" ")),
        Command::Attach { state, file } => format!("deckproof bench attach {} {file}", state_word(*state)),
        Command::Done { step, remark } => format!("deckproof bench done {step} \"{remark}\""),
        Command::Set { quantity, unit, state, again, of } => {
            let left = if *state == JobState::AsLeft { " --as-left" } else { "" };
            let force = if *again { " --force" } else { "" };
            let of = of.as_ref().map_or(String::new(), |of| format!(" --return {}", quoted(of)));
            format!("deckproof bench set {quantity} NUMBER {unit}{of}{left}{force}")
        }
        Command::SetTapePath => "deckproof bench set tape-path \"what was seen\"".to_owned(),
        Command::MakeCard => "deckproof house make".to_owned(),
        Command::ReadBetweenMarks => "read --between-marks-mm".to_owned(),
        Command::ReadSameTape => "read --same-tape".to_owned(),
    }
}

fn state_word(state: JobState) -> &'static str {
    match state {
        JobState::AsFound => "as-found",
        JobState::AsLeft => "as-left",
    }
}

fn origin(recorded_on: RecordedOn) -> &'static str {
    match recorded_on {
        RecordedOn::Calibrated => "calibrated",
        RecordedOn::House => "house",
        RecordedOn::OtherDeck => "other-deck",
        RecordedOn::ThisDeck => "this-deck",
        RecordedOn::Injected => "injected",
        RecordedOn::Loopback => "loopback",
    }
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
    use crate::reading::TapeType;

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
    fn a_read_is_typed_with_all_that_it_is_told() {
        let read = Command::Read {
            file: "noise-2.wav".into(),
            recorded_on: RecordedOn::ThisDeck,
            slated: true,
            tape: None,
            card: None,
            tape_type: Some(TapeType::II),
            loopback: Some("loopback.wav".into()),
            out: "readings/noise-2".into(),
            state: JobState::AsLeft,
        };
        assert_eq!(
            typed(&read),
            "deckproof read noise-2.wav --recorded-on this-deck --tape-type II --loopback loopback.wav --out readings/noise-2 \
             --attach as-left"
        );
    }
}
