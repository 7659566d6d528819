//! The first screen of a reading: what to do, one line a finding, and what could not be judged.

use super::reading::captured;
use crate::judge::Reading;
use crate::reading::{Channel, Finding, NotJudged, Verdict, WarningId};
use crate::show::page::{Block, Cell, Page, Rows, Section};
use crate::show::tables::findings::{find_out, names, steps_and_note, together, value};
use crate::show::words::{self, sentence};

/// The first screen of `reading`.
pub(in crate::show) fn brief_page(reading: &Reading) -> Page {
    let mut page = Page::new("Reading of", reading.capture.file.clone());
    let rehearsed = reading.warnings.iter().any(|warning| warning.id == WarningId::Rehearsal);
    page.fact(
        "Rehearsal",
        rehearsed.then(|| "Nothing here is from a real deck: a virtual one played.".to_owned()),
    );
    page.fact("Deck", reading.made.as_ref().and_then(|made| made.deck.clone()));
    page.fact(
        "Recipe",
        Some(format!("{}; {}", words::recipe(reading), words::circumstances(&reading.circumstances))),
    );
    page.fact("Capture", Some(captured(reading)));
    page.fact("Loopback", reading.capture.loopback.as_ref().map(|file| format!("{file} (subtracted)")));
    page.fact(
        "Card",
        reading.circumstances.card.as_ref().map(|card| format!("{} ({}, subtracted)", card.name, card.file)),
    );
    let steps = reading.work.iter().map(|work| (work.number, sentence(&work.step.text), String::new()));
    page.sections.push(steps_and_note(reading, steps.collect()));
    page.sections.push(findings(&reading.findings));
    page.sections.extend(not_judged(&reading.not_judged));
    page.sections.extend(warnings(reading));
    page
}

/// Findings of one name and kind, left before right.
pub(super) struct Line<'a> {
    pub(super) of: Vec<&'a Finding>,
}

impl Line<'_> {
    pub(super) fn verdict(&self) -> Verdict {
        self.of
            .iter()
            .map(|finding| finding.verdict)
            .max_by_key(|verdict| verdict.rank())
            .unwrap_or(Verdict::CannotTell)
    }

    /// The worst verdict, and the channel that has it where the other has a better one.
    fn judged(&self) -> Cell {
        let worst = self.verdict();
        let sides: Vec<Channel> = self
            .of
            .iter()
            .filter(|finding| finding.verdict == worst)
            .filter_map(|finding| finding.channel)
            .collect();
        let side = sides.first().filter(|side| sides.len() < self.of.len() && side.is_side());
        Cell::Judged(side.map(|side| letter(*side).to_owned()).unwrap_or_default(), Some(worst))
    }

    /// `L -3.4 +- 0.4, R -0.5 +- 0.4 dB at 15 kHz`, and which of several figures of that name.
    fn reads_as(&self) -> String {
        let kind = self.of[0].kind.clone().filter(|_| self.of[0].value.is_some());
        [Some(self.reads()), kind].into_iter().flatten().collect::<Vec<_>>().join(", ")
    }

    /// `L -3.4 +- 0.4, R -0.5 +- 0.4 dB at 15 kHz`.
    pub(super) fn reads(&self) -> String {
        let each: Vec<(String, String)> = self.of.iter().map(|finding| reads(finding)).collect();
        let one = |finding: &Finding, (figure, place): &(String, String)| {
            let side = finding.channel.filter(|channel| channel.is_side()).map(letter).unwrap_or_default();
            let told = joined(&[figure, place]);
            // The letter stays with its figure.
            if side.is_empty() { told } else { format!("{side}\u{a0}{told}") }
        };
        match (each.as_slice(), self.of.as_slice()) {
            ([left, right], [of_left, of_right])
                if left == right && of_left.value.is_none() && of_right.value.is_none() =>
            {
                joined(&[&left.0, &left.1])
            }
            ([left, right], [of_left, of_right])
                if left.1 == right.1 && of_left.value.is_some() && of_right.value.is_some() =>
            {
                // Unit and place once.
                let figure =
                    left.0.rsplit_once(' ').filter(|(_, unit)| right.0.ends_with(&format!(" {unit}")));
                let figure = figure.map_or(left.0.as_str(), |(figure, _)| figure);
                format!("{}, {}", one(of_left, &(figure.to_owned(), String::new())), one(of_right, right))
            }
            _ => self
                .of
                .iter()
                .zip(&each)
                .map(|(finding, figure)| one(finding, figure))
                .collect::<Vec<_>>()
                .join(", "),
        }
    }
}

/// The figure as the trade reads it, and where it was taken.
fn reads(finding: &Finding) -> (String, String) {
    let figure = match (&finding.reads, value(finding)) {
        (Some(reads), Some(value)) => format!("{reads} ({value})"),
        (Some(reads), None) => reads.clone(),
        (None, Some(value)) => value,
        (None, None) => finding.why.clone(),
    };
    (figure, finding.place.clone().unwrap_or_default())
}

/// Those that are not empty, with blanks between.
fn joined(parts: &[&str]) -> String {
    parts.iter().copied().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" ")
}

fn letter(side: Channel) -> &'static str {
    match side {
        Channel::Left => "L",
        Channel::Right => "R",
        Channel::Both => "",
    }
}

/// One line a finding.
pub(super) fn findings(findings: &[Finding]) -> Section {
    let lines: Vec<Line<'_>> = together(findings)
        .into_iter()
        .map(|of| of.into_iter().filter(|finding| finding.verdict != Verdict::CannotTell).collect::<Vec<_>>())
        .filter(|of| !of.is_empty())
        .map(|of| Line { of })
        .collect();
    let section = Section::new("Findings");
    if lines.is_empty() {
        return section.say("None.");
    }
    let table = Rows::of("", &lines)
        .head("", |line| line.of[0].id.as_str())
        .head("reads", Line::reads_as)
        .head("verdict", Line::judged)
        .head("limit", |line| line.of.iter().find_map(|finding| finding.allowed.clone()).unwrap_or_default())
        .folding()
        .table();
    section.table(table)
}

/// One line a reason, and one for all that the programme holds nothing for.
fn not_judged(groups: &[NotJudged]) -> Option<Section> {
    let short = |findings: &[String]| names(findings).replace(" left and right", "").replace("; ", ", ");
    let mut lines: Vec<(String, Vec<String>)> = Vec::new();
    let (lacking, open): (Vec<&NotJudged>, Vec<&NotJudged>) =
        groups.iter().partition(|group| group.in_programme == Some(false));
    for group in open {
        let told = format!("{} {}", sentence(&group.untold.because), find_out(group));
        match lines.iter_mut().find(|(known, _)| *known == told) {
            Some((_, findings)) => findings.extend_from_slice(&group.findings),
            None => lines.push((told, group.findings.clone())),
        }
    }
    let mut all: Vec<String> =
        lines.iter().map(|(told, findings)| format!("{}: {told}", short(findings))).collect();
    if !lacking.is_empty() {
        let findings: Vec<String> = lacking.iter().flat_map(|group| group.findings.clone()).collect();
        all.push(format!("Not in this programme: {}. See `deckproof list` for others.", short(&findings)));
    }
    (!all.is_empty()).then(|| Section::new("Not judged, and what it takes").block(Block::List(all)))
}

/// The first sentence of each.
fn warnings(reading: &Reading) -> Option<Section> {
    let told = reading.warnings.iter().filter(|warning| warning.id != WarningId::Rehearsal);
    let facts: Vec<(String, String)> = told
        .map(|warning| {
            let first = warning.text.split_inclusive(". ").next().unwrap_or_default();
            (warning.id.to_string(), first.trim_end().to_owned())
        })
        .collect();
    (!facts.is_empty()).then(|| Section::new("Warnings").block(Block::Facts(facts)))
}
