//! The page for the owner, which the bench sheet begins with.

use super::brief::Line;
use crate::judge::{BenchSheet, HandJudged, HandKind, HandRow, OwnersPage, OwnersVerdict};
use crate::reading::{Finding, Verdict};
use crate::show::page::{Block, Cell, Kind, Rows, Section, Tone};
use crate::show::plot::owners_response;

/// Complaint, work, verdict, what was found and left, the response, room for a signature: one page.
pub(super) fn owners_sections(sheet: &BenchSheet<'_>) -> Vec<Section> {
    let noted = |name: &str, texts: &mut dyn Iterator<Item = &str>| {
        let texts: Vec<&str> = texts.map(str::trim).filter(|text| !text.is_empty()).collect();
        (name.to_owned(), if texts.is_empty() { "not noted".to_owned() } else { texts.join("; ") })
    };
    let job = vec![
        noted("complaint", &mut sheet.job.complaint.lines()),
        noted("work done", &mut sheet.job.work.iter().map(String::as_str)),
    ];
    let mut sections = vec![
        Section::new("Complaint and work").block(Block::Facts(job)),
        verdict(&sheet.owner),
        table(&sheet.owner, &sheet.hand),
    ];
    if let Some(plot) = sheet.owner.response.as_ref().and_then(owners_response) {
        sections.push(Section { kind: Kind::Curves, ..Section::new("Response") }.block(Block::Plot(plot)));
    }
    sections.push(Section::new("Signature").block(Block::Signature));
    sections
}

fn verdict(owner: &OwnersPage<'_>) -> Section {
    let section = Section::new("Verdict");
    let section = match &owner.verdict {
        OwnersVerdict::NotReadAfter => section.say("The deck was not read after the work."),
        OwnersVerdict::InOrder(close) if close.is_empty() => {
            section.say("In order: all that was read after the work is within its limits.")
        }
        OwnersVerdict::InOrder(close) => section.say(format!(
            "In order: nothing that was read after the work is outside its limits. At the limit: {}.",
            close.join(", ")
        )),
        OwnersVerdict::NotReadAgain(names) => section.block(Block::Paragraph(
            Tone::Warning,
            format!("Cannot tell. Outside as found, and not read after the work: {}.", names.join(", ")),
        )),
        OwnersVerdict::Outside(names) => section.block(Block::Paragraph(
            Tone::Warning,
            format!("Not in order. Outside the limits: {}.", names.join(", ")),
        )),
    };
    let untold = (!owner.untold.is_empty()).then(|| format!("Not judged: {}.", owner.untold.join(", ")));
    section.say_all(Tone::Aside, untold)
}

const NOT_READ: &str = "not read";

/// A line of the table.
struct Row {
    name: &'static str,
    found: (String, Option<Verdict>),
    left: (String, Option<Verdict>),
    limit: String,
}

fn table(owner: &OwnersPage<'_>, hand: &[HandRow]) -> Section {
    let section = Section::new("As found and as left (L: left, R: right)");
    let read = owner.lines.iter().map(|line| Row {
        name: line.words,
        found: told(&line.found),
        left: told(&line.left),
        limit: line
            .left
            .iter()
            .chain(&line.found)
            .find_map(|finding| finding.allowed.clone())
            .unwrap_or_default(),
    });
    // Millivolts of the level tone are a reference, and judged as a level.
    let by_hand = hand.iter().filter(|row| row.now().is_some() && row.kind != HandKind::Output).map(|row| {
        let of = |judged: &Option<HandJudged>| {
            judged.as_ref().map_or((NOT_READ.to_owned(), None), |one| (one.text.clone(), Some(one.verdict)))
        };
        // Where a limit comes from stands on the pages behind.
        let limit = row.limit.split(" (").next().unwrap_or_default().to_owned();
        Row { name: row.words, found: of(&row.as_found), left: of(&row.as_left), limit }
    });
    let rows: Vec<Row> = read.chain(by_hand).collect();
    if rows.is_empty() {
        return section.say("Nothing was read.");
    }
    let table = Rows::of("", &rows)
        .head("", |row| row.name)
        .head("as found", |row| row.found.0.as_str())
        .head("", |row| Cell::Judged(String::new(), row.found.1))
        .head("as left", |row| row.left.0.as_str())
        .head("", |row| Cell::Judged(String::new(), row.left.1))
        .head("limit", |row| row.limit.as_str())
        .folding();
    section.table(table.table())
}

/// The figures of both channels, and the worst verdict.
fn told(findings: &[&Finding]) -> (String, Option<Verdict>) {
    if findings.is_empty() {
        return (NOT_READ.to_owned(), None);
    }
    let line = Line { of: findings.to_vec() };
    (line.reads(), Some(line.verdict()))
}
