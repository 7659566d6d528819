//! Where a job stands, and what comes next.

use crate::judge::{Step, StepState};
use crate::show::page::{Block, Kind, Page, Section, Tone};

/// The order of work, and all of one step: the one called `step`, or the first that is not done.
///
/// `None` if there is no such step.
pub(in crate::show) fn next_page(steps: &[Step], step: Option<&str>) -> Option<Page> {
    let width = steps.iter().map(|step| step.id.chars().count()).max().unwrap_or(0);
    let order = steps.iter().map(|step| {
        let state = match step.state {
            StepState::Done => "done",
            StepState::Turn => "TURN",
            StepState::Open => "open",
        };
        (format!("{state}  {:<width$}", step.id), step.because.clone())
    });
    let chosen = match step {
        Some(id) => Some(steps.iter().find(|step| step.id == id)?),
        None => steps.iter().find(|step| step.state != StepState::Done),
    };
    let mut page = Page::new("", "");
    page.sections.push(Section::new("Order of work").block(Block::Facts(order.collect())));
    page.sections.push(chosen.map_or_else(nothing_left, one));
    Some(page)
}

fn nothing_left() -> Section {
    Section::new("Next")
        .say("Nothing is left. Record the whole once more, attach it as-left, and print the sheet:")
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
    if !step.how.is_empty() {
        section = section.block(Block::List(step.how.to_vec()));
    }
    if !step.commands.is_empty() {
        let then = if step.turns.is_empty() { "In the job's folder:" } else { "Then, in the job's folder:" };
        section = section.say(then).say_all(Tone::Command, step.commands.iter().cloned());
    }
    if step.commands.iter().any(|command| command.contains(" NUMBER ")) {
        section = section.say("NUMBER is what you read; --within N says what the gauge may be wrong by.");
    }
    if step.state != StepState::Done {
        section =
            section.say(format!("Or leave it out, with a reason: deckproof bench done {} \"why\"", step.id));
    }
    section
}
