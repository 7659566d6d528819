//! Where a job stands, and what comes next.

use crate::judge::{Command, Step, StepState};
use crate::show::commands::typed;
use crate::show::page::{Block, Kind, Page, Section, Tone};

/// The order of work, and all of one step: the one called `step`, or the first that is not done.
///
/// `None` if there is no such step.
pub(in crate::show) fn next_page(steps: &[Step], step: Option<&str>) -> Option<Page> {
    let width = steps.iter().map(|step| step.id.chars().count()).max().unwrap_or(0);
    let word = |step: &Step| match step.state {
        StepState::Done => "done",
        StepState::Turn => "TURN",
        StepState::NotJudged => "read, not judged",
        StepState::Open => "open",
    };
    let words = steps.iter().map(|step| word(step).len()).max().unwrap_or(0);
    let order = steps
        .iter()
        .map(|step| (format!("{:<words$}  {:<width$}", word(step), step.id), step.because.clone()));
    let chosen = match step {
        Some(id) => Some(steps.iter().find(|step| step.id == id)?),
        None => {
            let by = |wanted: &[StepState]| steps.iter().find(|step| wanted.contains(&step.state));
            by(&[StepState::Turn, StepState::Open]).or_else(|| by(&[StepState::NotJudged]))
        }
    };
    let mut page = Page::new("", "");
    page.sections.push(Section::new("Order of work").block(Block::Facts(order.collect())));
    page.sections.push(chosen.map_or_else(nothing_left, one));
    Some(page)
}

fn nothing_left() -> Section {
    Section::new("Next")
        .say("All steps are done. Record the whole programme once more, attach it as-left, and print the sheet:")
        .block(Block::Paragraph(Tone::Command, "deckproof bench sheet --out sheet.html".to_owned()))
}

fn one(step: &Step) -> Section {
    let heading = format!("NEXT: {} ({})", step.title, step.id);
    let mut section = Section { kind: Kind::AsTyped, ..Section::new(heading) }
        .say_all(Tone::Warning, step.cautions.iter().map(|caution| (*caution).to_owned()))
        .say_all(
            Tone::Plain,
            step.first.iter().map(|first| format!("First: {first}. What follows rests on it.")),
        )
        .say_all(Tone::Turn, step.turns.iter().cloned());
    let otherwise = step.otherwise.iter().map(|(when, command)| format!("{when}: `{}`.", typed(command)));
    let how: Vec<String> = step.how.iter().cloned().chain(otherwise).collect();
    if !how.is_empty() {
        section = section.block(Block::List(how));
    }
    if let Some(follow) = &step.follow {
        section = section
            .say("Follow it live while you turn (RECORDER is your system's own: `guide follow`):")
            .block(Block::Paragraph(Tone::Command, typed(follow)));
    }
    if !step.commands.is_empty() {
        let then = if step.turns.is_empty() && step.follow.is_none() {
            "In the job's folder:"
        } else {
            "Then, in the job's folder:"
        };
        section = section.say(then).say_all(Tone::Command, step.commands.iter().map(typed));
    }
    if step.commands.iter().any(|command| matches!(command, Command::Read { slated: false, .. })) {
        section = section.say("Leave --unslated away if the tape carries slates.");
    }
    if step.commands.iter().any(|command| matches!(command, Command::Set { .. })) {
        section = section.say("NUMBER is what you read; --within N says what the gauge may be wrong by.");
    }
    if step.state != StepState::Done {
        section =
            section.say(format!("Or leave it out, with a reason: deckproof bench done {} \"why\"", step.id));
    }
    section
}
