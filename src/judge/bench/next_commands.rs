//! What is to be run at a step, in the job's folder; its words are the command line's.

use crate::judge::bench::command::Command;
use crate::judge::bench::step::JobEvidence;
use crate::reading::{JobSheet, JobState, RecordedOn, TapeType};

/// What the return of a step comes from.
pub(crate) enum Play<'a> {
    Calibrated,
    House(&'a str),
    /// Recipe, whose recording, tape type.
    Programme(&'a str, RecordedOn, Option<TapeType>),
    /// Recordings of ordinary music.
    Music,
}

/// What is to be run at the step `id`; `state` is that of what is read.
pub(crate) fn commands(
    sheet: &JobSheet,
    evidence: &JobEvidence<'_>,
    play: &Play<'_>,
    id: &str,
    state: JobState,
) -> Vec<Command> {
    let (mut commands, mut tape, mut of_card) = (Vec::new(), None, None);
    let (recorded_on, tape_type) = match *play {
        Play::Music => {
            let k = free(evidence, |k| format!("music-{k}.json"));
            let files = ["a", "b", "c"].iter().map(|tape| format!("music-{k}/{tape}.wav")).collect();
            let json = format!("music-{k}.json");
            return vec![Command::Skew { files, json: json.clone() }, Command::Attach { state, file: json }];
        }
        Play::Calibrated => {
            tape.clone_from(&sheet.at_hand.calibrated_tape_file);
            (RecordedOn::Calibrated, None)
        }
        Play::House(card) => {
            of_card = Some(card.to_owned());
            (RecordedOn::House, None)
        }
        Play::Programme(recipe, recorded_on, tape_type) => {
            let out = format!("{recipe}.wav");
            if !evidence.taken.contains(&out) {
                commands.push(Command::Write { recipe: recipe.to_owned(), out });
            }
            (recorded_on, tape_type)
        }
    };
    let slated = recorded_on != RecordedOn::Calibrated;
    // A tape without slates cannot have the sound card subtracted, and a loopback capture is not its own.
    let takes_loopback = slated && recorded_on != RecordedOn::Loopback;
    let out = format!("readings/{id}-{}", free(evidence, |k| format!("readings/{id}-{k}")));
    commands.push(Command::Read {
        file: return_name(evidence, id),
        recorded_on,
        slated,
        tape,
        card: of_card,
        tape_type,
        loopback: evidence.loopback.filter(|_| takes_loopback).map(str::to_owned),
        out,
        state,
    });
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_that_are_taken_are_passed_over_and_the_loopback_capture_goes_along() {
        let taken = ["full.wav".to_owned(), "readings/noise-1".to_owned()];
        let evidence =
            JobEvidence { taken: &taken, loopback: Some("loopback.wav"), ..JobEvidence::default() };
        let sheet = JobSheet::default();
        let play = Play::Programme("full", RecordedOn::ThisDeck, Some(TapeType::II));
        let got = commands(&sheet, &evidence, &play, "noise", JobState::AsLeft);
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
        assert_eq!(got, [read]);
        for play in [Play::Calibrated, Play::Programme("noise", RecordedOn::Loopback, None)] {
            let got = commands(&sheet, &evidence, &play, "x", JobState::AsFound);
            let takes = |command: &Command| matches!(command, Command::Read { loopback: Some(_), .. });
            assert!(!got.iter().any(takes), "{got:?}");
        }
    }
}
