//! Steps of the work that are done and read by hand.

use crate::judge::bench::command::Command;
use crate::judge::bench::hand_readings::{HandKind, HandRow};
use crate::judge::bench::next_words as words;
use crate::judge::bench::step::{Step, StepState, by_hand_only};
use crate::reading::{JobSheet, JobState, Verdict};

pub(crate) fn tape_path(sheet: &JobSheet) -> Step {
    let mut step = by_hand_only(
        "tape-path",
        "Clean, demagnetise, look at the tape's path",
        words::TAPE_PATH.iter().map(|how| (*how).to_owned()).collect(),
        vec![Command::SetTapePath],
    );
    step.cautions = crate::trade::CAUTIONS[2..].to_vec();
    if let Some(seen) = sheet.as_left.tape_path.as_ref().or(sheet.as_found.tape_path.as_ref()) {
        step.state = StepState::Done;
        step.because = format!("noted: {seen}");
    }
    step
}

/// A step of values read by hand.
pub(crate) fn hand_step(id: &str, title: &str, all: &[HandRow], rows: &[HandRow], how: &[&str]) -> Step {
    let mut step = by_hand_only(id, title, how.iter().map(|how| (*how).to_owned()).collect(), Vec::new());
    step.cautions = crate::trade::CAUTIONS[..3].to_vec();
    let missing: Vec<&HandRow> = rows.iter().filter(|row| row.now().is_none()).collect();
    let outside: Vec<&HandRow> =
        rows.iter().filter(|row| row.now().is_some_and(|now| now.verdict == Verdict::Outside)).collect();
    let left = all.iter().any(|row| row.as_left.is_some());
    let state = if left { JobState::AsLeft } else { JobState::AsFound };
    let set = |row: &HandRow, state, again| Command::Set {
        quantity: row.id,
        unit: unit(row),
        state,
        again,
        of: None,
    };
    for row in &missing {
        step.commands.push(set(row, state, false));
    }
    for row in &outside {
        let Some(now) = row.now() else { continue };
        step.turns.push(format!(
            "{}, {}, limit {}: {}",
            row.words,
            now.text,
            row.limit,
            now.turn.as_deref().unwrap_or("see the service manual")
        ));
        step.commands.push(set(row, JobState::AsLeft, row.as_left.is_some()));
    }
    (step.state, step.because) = if !outside.is_empty() {
        (
            StepState::Turn,
            format!("outside: {}", outside.iter().map(|row| row.words).collect::<Vec<_>>().join(", ")),
        )
    } else if missing.is_empty() {
        let of = |verdict| -> Vec<&str> {
            let so = rows.iter().filter(|row| row.now().is_some_and(|now| now.verdict == verdict));
            so.map(|row| row.words).collect()
        };
        let (marginal, open) = (of(Verdict::Marginal), of(Verdict::CannotTell));
        let mut because = if marginal.is_empty() {
            "nothing outside".to_owned()
        } else {
            format!("marginal: {}", marginal.join(", "))
        };
        if !open.is_empty() {
            because +=
                &format!("; cannot tell, the gauge is too coarse or no limit known: {}", open.join(", "));
        }
        (StepState::Done, because)
    } else {
        (
            StepState::Open,
            format!("not read: {}", missing.iter().map(|row| row.words).collect::<Vec<_>>().join("; ")),
        )
    };
    step
}

/// The unit that a value read by hand is asked for in.
fn unit(row: &HandRow) -> &'static str {
    row.kind.units()[0].0
}

/// Those of one kind.
pub(crate) fn rows_of(hand: &[HandRow], kind: HandKind) -> Vec<HandRow> {
    hand.iter().filter(|row| row.kind == kind).cloned().collect()
}

/// What asks for the level tone's millivolts while a reference tape plays and `file` is recorded: those that are not noted yet.
pub(crate) fn level_tone(sheet: &JobSheet, hand: &[HandRow], state: JobState, file: &str) -> Vec<Command> {
    let rows = rows_of(hand, HandKind::Output);
    let missing = rows.iter().filter(|row| !sheet.level_tone_told && row.now().is_none());
    let set = |row: &HandRow| Command::Set {
        quantity: row.id,
        unit: unit(row),
        state,
        again: false,
        of: Some(file.to_owned()),
    };
    missing.map(set).collect()
}

/// The deck's own meters, which show what playback level is.
pub(crate) fn meter(hand: &[HandRow]) -> Step {
    let rows = rows_of(hand, HandKind::Level);
    let mut step = hand_step("meter", "The deck's meters at the level tone", hand, &rows, words::METER);
    step.cautions = crate::trade::TRIMMER_CAUTIONS.to_vec();
    step.otherwise =
        vec![("A deck without meter trimmers", Command::Done { step: "meter", remark: "no trimmer" })];
    step
}
