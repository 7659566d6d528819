//! The sheet of a job, and what comes next, for the terminal.

use super::compare::{digits_of, finding_change, more_of, named, rows_of, short, value, verdict};
use super::text::Page;
use super::words;
use crate::judge::{BenchSheet, HandJudged, HandRow, MusicAzimuth, SheetPair, Step, StepState, signed};
use crate::reading::{
    ChangeState, ComparedRow, FindingChange, Heads, JobSheet, JobState, QuantityChange, RecordedOn, Verdict,
};
use crate::trade::CAUTIONS;

/// The sheet in at most [`COLUMNS`](super::COLUMNS) columns.
pub fn sheet_text(sheet: &BenchSheet<'_>) -> String {
    let mut page = Page::default();
    page.line("BENCH SHEET");
    for (name, text) in head(sheet.job) {
        page.wrapped(2, &format!("{name:<12}"), &text);
    }
    page.head("COMPLAINT");
    lines(&mut page, sheet.job.complaint.lines(), "not noted");
    page.head("WORK DONE");
    lines(&mut page, sheet.job.work.iter().map(String::as_str), "not noted");
    page.head("READ BY HAND");
    for row in sheet.hand.iter().filter(|row| row.now().is_some()) {
        hand(&mut page, row);
    }
    if let Some(unread) = unread(&sheet.hand) {
        page.wrapped(2, "", &unread);
    }
    for (name, seen) in tape_paths(sheet.job) {
        page.wrapped(2, &format!("tape path, {name}: "), seen);
    }
    if let Some(music) = &sheet.music {
        self::music(&mut page, music);
    }
    for pair in &sheet.pairs {
        self::pair(&mut page, pair);
    }
    if sheet.pairs.is_empty() && sheet.music.is_none() {
        page.head("READINGS");
        page.line("  none attached");
    }
    for missing in &sheet.missing {
        page.wrapped(2, "! ", missing);
    }
    let open: Vec<String> = open(&sheet.steps);
    page.head("NOT DONE");
    lines(&mut page, open.iter().map(String::as_str), "nothing is left of the order of work");
    page.head("CAUTIONS");
    for caution in CAUTIONS {
        page.wrapped(2, "", caution);
    }
    page.line("");
    page.line("  Date ____________________   Signed ________________________________________");
    page.into_text()
}

fn hand(page: &mut Page, row: &HandRow) {
    page.line(&format!("  {}", row.words));
    for (name, judged) in [("as found", &row.as_found), ("as left", &row.as_left)] {
        let Some(judged) = judged else { continue };
        page.wrapped(
            6,
            &format!("{name:<10}"),
            &format!("{}: {}; gauge: {}", judged.text, words::verdict(judged.verdict), judged.gauge),
        );
        if let Some(turn) = judged.turn.as_ref().filter(|_| Some(judged) == row.now()) {
            page.wrapped(6, "turn      ", turn);
        }
    }
    if let Some(change) = &row.change {
        page.wrapped(6, "change    ", change);
    }
    page.wrapped(6, "limit     ", &row.limit);
}

fn music(page: &mut Page, music: &MusicAzimuth) {
    page.head("AZIMUTH BY ORDINARY MUSIC (right lags: positive)");
    for (state, file, result) in &music.rows {
        page.wrapped(2, &format!("{:<10}", job_state(*state)), &format!("{result}; {file}"));
    }
    if let Some(change) = &music.change {
        page.wrapped(2, "change    ", change);
    }
    if let Some(turn) = &music.turn {
        page.wrapped(2, "turn      ", turn);
    }
}

/// One quantity that was read by hand, with its verdicts.
pub fn hand_text(row: &HandRow) -> String {
    let mut page = Page::default();
    hand(&mut page, row);
    page.into_text()
}

fn lines<'a>(page: &mut Page, texts: impl Iterator<Item = &'a str>, none: &str) {
    let mut any = false;
    for text in texts.map(str::trim).filter(|text| !text.is_empty()) {
        page.wrapped(2, "", text);
        any = true;
    }
    if !any {
        page.line(&format!("  {none}"));
    }
}

/// Names and texts of the head.
pub(super) fn head(job: &JobSheet) -> Vec<(&'static str, String)> {
    let deck = &job.deck;
    let heads = match (deck.records, deck.heads) {
        (false, _) => "plays back only",
        (true, Some(Heads::Two)) => "2 heads",
        (true, Some(Heads::Three)) => "3 heads",
        (true, None) => "heads not told",
    };
    let class = if deck.portable { "a portable or simple deck" } else { "a full-size deck" };
    let mut rows = vec![("Deck", deck.name.clone())];
    rows.extend(deck.number.clone().map(|number| ("Number", number)));
    rows.extend(deck.owner.clone().map(|owner| ("Owner", owner)));
    rows.push(("What it is", format!("{heads}; judged as {class}")));
    rows
}

/// What was not read by hand.
pub(super) fn unread(rows: &[HandRow]) -> Option<String> {
    let names: Vec<&str> = rows.iter().filter(|row| row.now().is_none()).map(|row| row.words).collect();
    (!names.is_empty()).then(|| format!("Not read: {}.", names.join("; ")))
}

/// What was seen of the tape's path, before and after.
pub(super) fn tape_paths(job: &JobSheet) -> Vec<(&'static str, &str)> {
    [("as found", &job.as_found), ("as left", &job.as_left)]
        .into_iter()
        .filter_map(|(name, readings)| Some((name, readings.tape_path.as_deref()?)))
        .collect()
}

/// Steps that are open or ask for a turn.
pub(super) fn open(steps: &[Step]) -> Vec<String> {
    let open = steps.iter().filter(|step| step.state != StepState::Done);
    open.map(|step| format!("{}: {}", step.title, step.because)).collect()
}

/// What the readings of a pair are, in one line each.
pub(super) fn sources(pair: &SheetPair) -> Vec<String> {
    pair.comparison
        .readings
        .iter()
        .map(|reading| {
            let recipe = reading.recipe.as_ref().map_or("no recipe", |recipe| recipe.name.as_str());
            let at = reading.made.as_ref().map(|made| format!(", read {}", made.at)).unwrap_or_default();
            format!(
                "{}: {recipe}{at}; {}; {}",
                reading.name,
                words::circumstances(&reading.circumstances),
                reading.file
            )
        })
        .collect()
}

/// Findings with a verdict before or after, and the names of those that have none.
pub(super) fn told(pair: &SheetPair) -> (Vec<&FindingChange>, Vec<String>) {
    let is_told = |verdict: Option<Verdict>| verdict.is_some_and(|verdict| verdict != Verdict::CannotTell);
    let (told, untold): (Vec<_>, Vec<_>) = pair
        .comparison
        .findings
        .iter()
        .partition(|change| is_told(change.verdict_before) || is_told(change.verdict_after));
    (told, untold.into_iter().map(named).collect())
}

/// What could not be told, in words.
pub(super) fn untold_words(untold: &[String]) -> Option<String> {
    let mut names: Vec<&str> = Vec::new();
    for name in untold.iter().map(|name| name.split(" (").next().unwrap_or(name)) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    (!names.is_empty()).then(|| format!("Cannot be told from these: {}.", names.join(", ")))
}

/// A finding's value in one state; what has a verdict without a value (hum that is not there) says so.
pub(super) fn finding_value(at: Option<f64>, uncertainty: Option<f64>, unit: &str) -> String {
    at.map_or_else(|| "no value".to_owned(), |_| value(at, uncertainty, unit))
}

/// What really changed, the most important first: quantities with their rows.
pub(super) fn changed(pair: &SheetPair) -> Vec<(&QuantityChange, Vec<&ComparedRow>)> {
    let real = pair.comparison.summary.iter().filter(|change| change.state == ChangeState::Changed);
    real.map(|change| (change, rows_of(&pair.comparison, change).collect())).collect()
}

/// What did not really change, in words.
pub(super) fn unchanged(pair: &SheetPair) -> Option<String> {
    let names: Vec<&str> = pair
        .comparison
        .summary
        .iter()
        .filter(|change| matches!(change.state, ChangeState::NoneShown | ChangeState::TooLittle))
        .map(|change| change.quantity.as_str())
        .collect();
    (!names.is_empty()).then(|| format!("No change that matters is shown in: {}.", names.join(", ")))
}

/// A change with its uncertainty.
pub(super) fn change(row: &ComparedRow) -> String {
    let digits = digits_of(row.change_uncertainty, 3, &row.unit);
    let uncertainty =
        row.change_uncertainty.map(|uncertainty| format!(" +- {uncertainty:.digits$}")).unwrap_or_default();
    row.change
        .map_or_else(String::new, |by| format!("{}{uncertainty} {}", signed(by, digits), short(&row.unit)))
}

/// What is changed, in words.
pub(super) fn row_name(row: &ComparedRow) -> String {
    let channel = row.channel.map(|channel| format!(", {channel}")).unwrap_or_default();
    format!("{}: {}{channel}", row.quantity, row.what)
}

fn pair(page: &mut Page, pair: &SheetPair) {
    page.head(&title(pair).to_uppercase());
    for source in sources(pair) {
        page.wrapped(2, "", &source);
    }
    for warning in &pair.comparison.warnings {
        page.wrapped(2, "! ", &warning.text);
    }
    let (told, untold) = self::told(pair);
    if pair.is_sound_card() && pair.turns.is_empty() {
        page.line("    nothing outside");
        return;
    }
    for finding in told {
        let one = |state: bool, at: Option<f64>, uncertainty: Option<f64>, is: Option<Verdict>| {
            state.then(|| {
                format!("{}: {}", finding_value(at, uncertainty, finding.unit.as_str()), verdict(is))
            })
        };
        let before = one(pair.there[0], finding.before, finding.uncertainties[0], finding.verdict_before);
        let after = one(pair.there[1], finding.after, finding.uncertainties[1], finding.verdict_after);
        let by = finding_change(finding).filter(|_| pair.there == [true, true]);
        let text = [before, after].into_iter().flatten().collect::<Vec<_>>().join("  ->  ");
        let text = by.map_or_else(|| text.clone(), |(by, said)| format!("{text}; {by}: {said}"));
        page.wrapped(4, &format!("{:<36}", named(finding)), &text);
    }
    if let Some(untold) = untold_words(&untold) {
        page.wrapped(4, "", &untold);
    }
    for (name, turn) in &pair.turns {
        page.wrapped(4, "turn  ", &format!("{name}: {turn}"));
    }
    if pair.there == [true, true] {
        page.line("  What really changed, most important first:");
        let quantities = changed(pair);
        if quantities.is_empty() {
            page.line("    nothing");
        }
        for (quantity, rows) in quantities {
            for row in rows {
                page.wrapped(4, &format!("{:<60}", clipped(&row_name(row), 59)), &change(row));
            }
            if let Some(more) = more_of(quantity) {
                page.wrapped(6, "", &more);
            }
        }
        for remark in &pair.comparison.remarks {
            page.wrapped(4, "", remark);
        }
        if let Some(unchanged) = unchanged(pair) {
            page.wrapped(4, "", &unchanged);
        }
    }
}

fn clipped(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars().take(most - 1).chain(['~']).collect()
}

/// Heading of a pair: which states, which programme, what it comes from.
pub(super) fn title(pair: &SheetPair) -> String {
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

/// Where the work stands, and all of one step: the one called `step`, or the first that is not done.
///
/// `None` if there is no such step.
pub fn next_text(steps: &[Step], step: Option<&str>) -> Option<String> {
    let mut page = Page::default();
    page.line("ORDER OF WORK");
    let width = steps.iter().map(|step| step.id.chars().count()).max().unwrap_or(0);
    for step in steps {
        let state = match step.state {
            StepState::Done => "done",
            StepState::Turn => "TURN",
            StepState::Open => "open",
        };
        page.wrapped(2, &format!("{state}  {:<width$}  ", step.id), &step.because);
    }
    let chosen = match step {
        Some(id) => Some(steps.iter().find(|step| step.id == id)?),
        None => steps.iter().find(|step| step.state != StepState::Done),
    };
    let Some(step) = chosen else {
        page.head("NEXT");
        page.wrapped(
            2,
            "",
            "Nothing is left. Record the whole once more, attach it as-left, and print the sheet:",
        );
        page.line("    deckproof bench sheet --out sheet.html");
        return Some(page.into_text());
    };
    page.head(&format!("NEXT: {} ({})", step.title, step.id));
    for caution in &step.cautions {
        page.wrapped(2, "! ", caution);
    }
    for first in &step.first {
        page.wrapped(2, "first ", &format!("{first}. What follows rests on it."));
    }
    for turn in &step.turns {
        page.wrapped(2, "turn  ", turn);
    }
    for how in &step.how {
        page.wrapped(2, "- ", how);
    }
    if !step.commands.is_empty() {
        page.line(if step.turns.is_empty() {
            "  In the job's folder:"
        } else {
            "  Then, in the job's folder:"
        });
    }
    for command in &step.commands {
        page.line(&format!("    {command}"));
    }
    if step.commands.iter().any(|command| command.contains(" NUMBER ")) {
        page.line("  NUMBER is what you read; --within N says what the gauge may be wrong by.");
    }
    if step.state != StepState::Done {
        page.wrapped(
            2,
            "",
            &format!("Or leave it out, with a reason: deckproof bench done {} \"why\"", step.id),
        );
    }
    Some(page.into_text())
}

/// `as found` or `as left`.
pub fn job_state(state: JobState) -> &'static str {
    match state {
        JobState::AsFound => "as found",
        JobState::AsLeft => "as left",
    }
}

/// A value read by hand with its verdict, for a table's cell.
pub(super) fn hand_cell(judged: Option<&HandJudged>) -> Option<(String, Verdict)> {
    judged.map(|judged| (judged.text.clone(), judged.verdict))
}
