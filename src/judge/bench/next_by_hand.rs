//! Steps of the work that are done and read by hand.

use crate::judge::bench::hand_readings::{HandKind, HandRow};
use crate::judge::bench::next_words as words;
use crate::judge::bench::step::{Step, StepState, by_hand_only};
use crate::reading::{JobSheet, Verdict};

pub(crate) fn tape_path(sheet: &JobSheet) -> Step {
    let mut step = by_hand_only(
        "tape-path",
        "Clean, demagnetise, look at the tape's path",
        words::TAPE_PATH.iter().map(|how| (*how).to_owned()).collect(),
        vec!["deckproof bench set tape-path \"what was seen\"".to_owned()],
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
    let state = if all.iter().any(|row| row.as_left.is_some()) { " --as-left" } else { "" };
    for row in &missing {
        step.commands.push(format!("deckproof bench set {} NUMBER {}{state}", row.id, unit(row)));
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
        let again = if row.as_left.is_some() { " --force" } else { "" };
        step.commands.push(format!("deckproof bench set {} NUMBER {} --as-left{again}", row.id, unit(row)));
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

/// The deck's own meters, which show what playback level is.
pub(crate) fn meter(hand: &[HandRow]) -> Step {
    let rows = rows_of(hand, HandKind::Level);
    let mut step = hand_step("meter", "The deck's meters at the level tone", hand, &rows, words::METER);
    step.cautions = crate::trade::TRIMMER_CAUTIONS.to_vec();
    step
}
