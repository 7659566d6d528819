//! The sheet of a job: what was complained of, done and read, as found beside as left.

use super::comparison::{CHANGED, changed, finding_change, finding_value, more, named};
use super::owner::owners_sections;
use crate::judge::{BenchSheet, HandKind, HandRow, MusicAzimuth, SheetPair, Step, StepState};
use crate::reading::{ChangeState, FindingChange, FollowedReading, Heads, JobState, RecordedOn, Verdict};
use crate::show::page::{Block, Cell, Entry, Judged, Kind, Page, Rows, Section, Tone};
use crate::show::words;
use crate::trade::CAUTIONS;

/// The page for the owner; then readings by hand, findings as found beside as left, what is open, cautions.
pub(in crate::show) fn sheet_page(sheet: &BenchSheet<'_>) -> Page {
    let mut page = Page::new("Bench sheet:", sheet.job.deck.name.clone());
    head(&mut page, sheet);
    let sections = &mut page.sections;
    sections.extend(owners_sections(sheet));
    sections.push(Section { kind: Kind::NewPage, ..by_hand(sheet) });
    sections.extend(followed(sheet));
    sections.extend(sheet.music.as_ref().map(by_music));
    sections.extend(sheet.pairs.iter().map(readings));
    if sheet.pairs.is_empty() && sheet.music.is_none() {
        sections.push(Section::new("Readings").say("None attached."));
    }
    if !sheet.missing.is_empty() {
        let missing = sheet.missing.iter().cloned();
        sections.push(Section::new("Readings that cannot be had").say_all(Tone::Warning, missing));
    }
    let open = open(&sheet.steps);
    sections.push(Section::new("Not done").list_or(open, "Every step of the order of work is done."));
    sections.push(Section::cautions(&CAUTIONS));
    page
}

fn head(page: &mut Page, sheet: &BenchSheet<'_>) {
    let deck = &sheet.job.deck;
    let heads = match (deck.records, deck.heads) {
        (false, _) => "plays back only",
        (true, Some(Heads::Two)) => "2 heads",
        (true, Some(Heads::Three)) => "3 heads",
        (true, None) => "heads not told",
    };
    let class = if deck.portable { "a portable or simple deck" } else { "a full-size deck" };
    page.fact(
        "Workshop",
        sheet.workshop.map(|workshop| {
            [&workshop.name].into_iter().chain(&workshop.lines).cloned().collect::<Vec<_>>().join("; ")
        }),
    );
    page.fact("Date", Some(sheet.date.clone()).filter(|date| !date.is_empty()));
    page.fact("Number", deck.number.clone());
    page.fact("Owner", deck.owner.clone());
    page.fact("Reference", deck.reference.clone());
    page.fact("What it is", Some(format!("{heads}; judged as {class}")));
}

/// One quantity that was read by hand, with its verdicts.
pub(in crate::show) fn hand(row: &HandRow) -> Entry {
    let mut entry = Entry::new(row.words);
    // Millivolts of the level tone are noted here, and judged in a reading.
    let is_noted = |verdict: Verdict| row.kind == HandKind::Output && verdict == Verdict::CannotTell;
    let verdict = row.now().map(|now| now.verdict).filter(|verdict| !is_noted(*verdict));
    entry.figures.extend(verdict.map(|verdict| Judged { side: "", verdict, value: String::new() }));
    for (name, judged) in [("as found", &row.as_found), ("as left", &row.as_left)] {
        let Some(judged) = judged else { continue };
        let verdict = match judged.verdict {
            verdict if is_noted(verdict) => String::new(),
            verdict => format!(": {}", words::verdict(verdict)),
        };
        entry.line(name, Tone::Plain, Some(format!("{}{verdict}; gauge: {}", judged.text, judged.gauge)));
        let turn = judged.turn.clone().filter(|_| Some(judged) == row.now());
        entry.line("turn", Tone::Turn, turn);
    }
    entry.line("change", Tone::Plain, row.change.clone());
    entry.line("limit", Tone::Aside, Some(row.limit.clone()));
    entry
}

fn by_hand(sheet: &BenchSheet<'_>) -> Section {
    let (read, unread): (Vec<&HandRow>, Vec<&HandRow>) =
        sheet.hand.iter().partition(|row| row.now().is_some());
    let mut section = Section::new("Read by hand");
    if !read.is_empty() {
        section = section.block(Block::Entries(read.into_iter().map(hand).collect()));
    }
    for (name, seen) in [("as found", &sheet.job.as_found), ("as left", &sheet.job.as_left)] {
        if let Some(seen) = &seen.tape_path {
            section = section.say(format!("Tape path, {name}: {seen}"));
        }
    }
    let unread: Vec<&str> = unread.into_iter().map(|row| row.words).collect();
    let unread = (!unread.is_empty()).then(|| format!("Not read: {}.", unread.join("; ")));
    section.say_all(Tone::Aside, unread)
}

/// What was kept while a screw was turned.
fn followed(sheet: &BenchSheet<'_>) -> Option<Section> {
    let rows = &sheet.job.followed;
    let fact = |kept: &FollowedReading| {
        (job_state(kept.state).to_owned(), format!("{}: {} ({})", kept.view, kept.reads, kept.at))
    };
    let facts = rows.iter().map(fact).collect();
    (!rows.is_empty()).then(|| Section::new("Followed at the screw").block(Block::Facts(facts)))
}

fn by_music(music: &MusicAzimuth) -> Section {
    let rows = music
        .rows
        .iter()
        .map(|(state, file, result)| (job_state(*state).to_owned(), format!("{result}; {file}")));
    let change = music.change.iter().map(|change| ("change".to_owned(), change.clone()));
    Section::new("Azimuth by ordinary music (right lags: positive)")
        .block(Block::Facts(rows.chain(change).collect()))
        .say_all(Tone::Turn, music.turn.clone())
}

/// `as found` or `as left`.
pub(in crate::show) fn job_state(state: JobState) -> &'static str {
    match state {
        JobState::AsFound => "as found",
        JobState::AsLeft => "as left",
    }
}

/// Steps that are open or ask for a turn.
fn open(steps: &[Step]) -> Vec<String> {
    let open = steps.iter().filter(|step| step.state != StepState::Done);
    open.map(|step| format!("{}: {}", step.title, step.because)).collect()
}

/// Readings of one programme, before and after.
fn readings(pair: &SheetPair) -> Section {
    let comparison = &pair.comparison;
    let warnings = comparison.warnings.iter().map(|warning| warning.text.clone());
    let section =
        Section::new(title(pair)).say_all(Tone::Aside, sources(pair)).say_all(Tone::Warning, warnings);
    if pair.is_sound_card() && pair.turns.is_empty() {
        return section.say("Nothing outside.");
    }
    let is_told = |verdict: Option<Verdict>| verdict.is_some_and(|verdict| verdict != Verdict::CannotTell);
    let (told, untold): (Vec<&FindingChange>, Vec<&FindingChange>) = comparison
        .findings
        .iter()
        .partition(|change| is_told(change.verdict_before) || is_told(change.verdict_after));
    let mut table = Rows::of("", told).head("finding", named);
    for (name, is_there, is_after) in [("as found", pair.there[0], false), ("as left", pair.there[1], true)] {
        if is_there {
            table = table.head(name, move |change| {
                let verdict = if is_after { change.verdict_after } else { change.verdict_before };
                let value = verdict.map_or("not read".to_owned(), |_| finding_value(change, is_after));
                Cell::Judged(value, verdict)
            });
        }
    }
    let both = pair.there == [true, true];
    if both {
        table = table.head("difference", finding_change);
    }
    let table = table.head("limit", |change| {
        let limit = change.limit.as_deref().unwrap_or("none known");
        // Where it comes from stands in the report.
        limit.split(" (").next().unwrap_or_default().to_owned()
    });
    let turns = pair.turns.iter().map(|(name, turn)| format!("{name}: {turn}"));
    let section = section
        .table(table.folding().table())
        .say_all(
            Tone::Aside,
            names("Cannot be told from these", untold.into_iter().map(|change| change.id.as_str())),
        )
        .say_all(Tone::Turn, turns);
    if !both {
        return section;
    }
    let section = match changed(comparison) {
        Some(mut table) => {
            table.title = CHANGED.to_owned();
            section.table(table).say_all(Tone::Aside, more(comparison))
        }
        None => section.say(format!("{CHANGED}: nothing.")),
    };
    let same = comparison
        .summary
        .iter()
        .filter(|change| matches!(change.state, ChangeState::NoneShown | ChangeState::TooLittle))
        .map(|change| change.quantity.as_str());
    section
        .say_all(Tone::Plain, comparison.remarks.iter().cloned())
        .say_all(Tone::Aside, names("No change that matters is shown in", same))
}

/// Names, each once, in a sentence; `None` if there are none.
fn names<'a>(said: &str, all: impl Iterator<Item = &'a str>) -> Option<String> {
    let mut names: Vec<&str> = Vec::new();
    for name in all {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    (!names.is_empty()).then(|| format!("{said}: {}.", names.join(", ")))
}

/// What the readings of a pair are, in one line each.
fn sources(pair: &SheetPair) -> Vec<String> {
    let line = |reading: &crate::reading::ComparedReading| {
        let recipe = reading.recipe.as_ref().map_or("no recipe", |recipe| recipe.name.as_str());
        let at = reading.made.as_ref().map(|made| format!(", read {}", made.at)).unwrap_or_default();
        let told = words::circumstances(&reading.circumstances);
        format!("{}: {recipe}{at}; {told}; {}", reading.name, reading.file)
    };
    pair.comparison.readings.iter().map(line).collect()
}

/// Heading of a pair: which states, which programme, what it comes from.
fn title(pair: &SheetPair) -> String {
    let states = match pair.there {
        [true, true] => "As found and as left",
        [true, false] => "As found",
        _ => "As left",
    };
    if pair.is_sound_card() {
        return "The sound card alone, no deck".to_owned();
    }
    let Some(reading) = pair.comparison.readings.last() else { return states.to_owned() };
    let recipe = reading.recipe.as_ref().map_or("a tape without slates", |recipe| recipe.name.as_str());
    let on = match reading.circumstances.recorded_on {
        Some(RecordedOn::Calibrated) => ", calibrated tape",
        Some(RecordedOn::House) => ", house tape",
        Some(RecordedOn::OtherDeck) => ", another deck's tape",
        Some(RecordedOn::ThisDeck) => ", recorded on this deck",
        Some(RecordedOn::Injected) => ", fed in without a tape",
        Some(RecordedOn::Loopback) | None => "",
    };
    let kind =
        reading.circumstances.tape_type.map(|kind| format!(", tape type {kind:?}")).unwrap_or_default();
    format!("{states}: {recipe}{on}{kind}")
}
