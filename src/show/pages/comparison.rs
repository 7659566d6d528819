//! The page of a comparison: verdicts, what really changed, what did not. Every row stands in its CSV alone.

use crate::reading::figures::frequency;
use crate::reading::{
    ChangeState, Channel, ComparedChannel, ComparedRow, Comparison, FindingChange, QuantityChange, Verdict,
};
use crate::show::page::{Block, Kind, Page, Printed, Rows, Section, Table, Tone};
use crate::show::plot::response_change;
use crate::show::words;

/// Heading of what changed, on the sheet as well.
pub(in crate::show) const CHANGED: &str = "What really changed, most important first";

/// Of what did not really change one row a quantity is named; `comparison.csv` has them all.
pub(in crate::show) fn comparison_page(comparison: &Comparison) -> Page {
    let names: Vec<&str> = comparison.readings.iter().map(|reading| reading.name.as_str()).collect();
    let mut page = Page::new("Comparison of", names.join(", "));
    for reading in &comparison.readings {
        let made = reading.made.as_ref();
        let deck = made.and_then(|made| made.deck.clone());
        let at = made.map(|made| format!("read {}", made.at));
        let told = words::circumstances(&reading.circumstances);
        let text: Vec<String> =
            [reading.file.clone()].into_iter().chain(deck).chain(at).chain([told]).collect();
        page.fact(reading.name.clone(), Some(text.join("; ")));
    }
    let repeats: Vec<&str> = comparison.repeats.iter().map(|reading| reading.file.as_str()).collect();
    page.fact("repeats", (!repeats.is_empty()).then(|| repeats.join(", ")));
    let sections = &mut page.sections;
    if !comparison.warnings.is_empty() {
        let texts = comparison.warnings.iter().map(|warning| warning.text.clone());
        sections.push(Section::new("Before you trust the differences").say_all(Tone::Warning, texts));
    }
    sections.push(findings(comparison));
    let changes = Section::new(CHANGED);
    let changes = match changed(comparison) {
        Some(table) => changes.table(table).say_all(Tone::Aside, more(comparison)),
        None => changes.say("Nothing: no difference is both beyond chance and large enough to matter."),
    };
    sections.push(changes.say_all(Tone::Plain, comparison.remarks.iter().cloned()));
    sections.push(unchanged(comparison));
    if comparison.readings.len() > 2 {
        sections.push(spreads(comparison));
    }
    if let Some(plot) = response_change(comparison) {
        sections.push(Section { kind: Kind::Curves, ..Section::new("Curves") }.block(Block::Plot(plot)));
    }
    // No page prints it.
    let filed = filed(comparison);
    if let Some(last) = page.sections.last_mut() {
        last.blocks.push(Block::Table(filed));
    }
    page
}

/// A finding's name with its kind and channel.
pub(in crate::show) fn named(change: &FindingChange) -> String {
    let details = [change.kind.as_deref(), change.channel.map(Channel::as_str)];
    let details: Vec<&str> = details.into_iter().flatten().collect();
    if details.is_empty() { change.id.clone() } else { format!("{} ({})", change.id, details.join(", ")) }
}

fn verdict(verdict: Option<Verdict>) -> &'static str {
    verdict.map_or("not judged", words::verdict)
}

/// A value with its uncertainty and unit, or why there is none.
fn value(value: Option<f64>, uncertainty: Option<f64>, unit: &str, quantity: &str) -> String {
    value.map_or("cannot tell".to_owned(), |value| words::figure(value, uncertainty, unit, quantity, false))
}

/// A finding's value in one state; empty where it has a verdict without one (hum that is not there).
pub(in crate::show) fn finding_value(change: &FindingChange, is_after: bool) -> String {
    let (at, uncertainty) = if is_after {
        (change.after, change.uncertainties[1])
    } else {
        (change.before, change.uncertainties[0])
    };
    if at.is_none() { String::new() } else { value(at, uncertainty, change.unit.as_str(), &change.id) }
}

/// By how much a finding changed, and whether that is more than its uncertainty; empty if there is no change to be told.
pub(in crate::show) fn finding_change(change: &FindingChange) -> String {
    let Some((by, uncertainty)) = change.change.zip(change.change_uncertainty) else { return String::new() };
    let said = if change.changed == Some(true) { "changed" } else { "no change shown" };
    format!("{}: {said}", words::figure(by, Some(uncertainty), change.unit.as_str(), &change.id, true))
}

/// Verdicts that changed or are outside still; the others are counted.
fn findings(comparison: &Comparison) -> Section {
    let is_silent = |change: &&FindingChange| {
        change.verdict_before == change.verdict_after && change.verdict_after != Some(Verdict::Outside)
    };
    let (silent, told): (Vec<&FindingChange>, Vec<_>) = comparison.findings.iter().partition(is_silent);
    let [first, last] = ends(comparison);
    let table = Rows::of("", told)
        .head("", named)
        .head(first, |change| finding_value(change, false))
        .head(last, |change| finding_value(change, true))
        .head("change", finding_change)
        .head("verdict", |change| match (verdict(change.verdict_before), verdict(change.verdict_after)) {
            (before, after) if before == after => format!("{after} still"),
            (before, after) => format!("{before} -> {after}"),
        })
        .folding();
    Section::new("Findings")
        .tables(table.any())
        .say(format!("{} findings have the verdict that they had.", silent.len()))
}

/// Names of the first and the last reading.
fn ends(comparison: &Comparison) -> [&str; 2] {
    let readings = &comparison.readings;
    [readings.first(), readings.last()].map(|reading| reading.map_or("", |reading| reading.name.as_str()))
}

/// `speed: mean, left`.
fn row_name(row: &ComparedRow) -> String {
    let channel = row.channel.map(|channel| format!(", {channel}")).unwrap_or_default();
    format!("{}: {}{channel}", row.quantity, row.what)
}

/// A change with its uncertainty.
fn row_change(row: &ComparedRow) -> String {
    row.change.map_or("cannot tell".to_owned(), |by| {
        words::figure(by, row.change_uncertainty, of_change(&row.unit), &row.quantity, true)
    })
}

/// Unit of a difference of values in `unit`.
fn of_change(unit: &str) -> &str {
    if unit == "dBFS" { "dB" } else { unit }
}

/// The rows that a summary names.
fn rows_of<'a>(
    comparison: &'a Comparison,
    change: &'a QuantityChange,
) -> impl Iterator<Item = &'a ComparedRow> {
    change.rows.iter().filter_map(|place| comparison.rows.get(*place as usize))
}

fn of(comparison: &Comparison, state: ChangeState) -> impl Iterator<Item = &QuantityChange> {
    comparison.summary.iter().filter(move |change| change.state == state)
}

/// What really changed, the most important first, both channels in one row; `None` if nothing did.
pub(in crate::show) fn changed(comparison: &Comparison) -> Option<Table> {
    let mut groups: Vec<Vec<&ComparedRow>> = Vec::new();
    let key = |row: &ComparedRow| (row.quantity.clone(), row.what.clone(), side(row).is_some());
    for row in of(comparison, ChangeState::Changed).flat_map(|change| rows_of(comparison, change)) {
        match groups.iter_mut().find(|group| key(group[0]) == key(row)) {
            Some(group) => group.push(row),
            None => groups.push(vec![row]),
        }
    }
    groups.iter_mut().for_each(|group| group.sort_by_key(|row| side(row) == Some("R")));
    let value = |row: &ComparedRow, k: Option<usize>| {
        let value = k.and_then(|k| Some((row.values[k]?, row.uncertainties[k])));
        value.map_or("cannot tell".to_owned(), |(value, uncertainty)| {
            words::brief(value, uncertainty, &row.unit, &row.quantity)
        })
    };
    let [first, last] = ends(comparison);
    Rows::of("", &groups)
        .head("", |group| match (side(group[0]), group[0].channel) {
            (None, Some(channel)) => format!("{}: {}, {channel}", group[0].quantity, group[0].what),
            _ => format!("{}: {}", group[0].quantity, group[0].what),
        })
        .head(first, |group| both(group, |row| value(row, (!row.values.is_empty()).then_some(0))))
        .head(last, |group| both(group, |row| value(row, row.values.len().checked_sub(1))))
        .head("change", |group| both(group, row_change))
        .folding()
        .any()
}

/// The letter of a channel.
fn side(row: &ComparedRow) -> Option<&'static str> {
    match row.channel? {
        ComparedChannel::Left => Some("L"),
        ComparedChannel::Right => Some("R"),
        _ => None,
    }
}

/// What is said of each row, behind the letter of its channel.
fn both(rows: &[&ComparedRow], say: impl Fn(&ComparedRow) -> String) -> String {
    let each = rows.iter().map(|row| match side(row) {
        Some(side) => format!("{side}\u{a0}{}", say(row)),
        None => say(row),
    });
    each.collect::<Vec<_>>().join(", ")
}

/// How many more rows changed, and between which frequencies, a sentence a quantity.
pub(in crate::show) fn more(comparison: &Comparison) -> Vec<String> {
    let more = of(comparison, ChangeState::Changed).filter(|change| change.more > 0).map(|change| {
        let band = match (change.from_hz, change.to_hz) {
            (Some(low), Some(high)) if high > low => {
                format!(", all from {} to {}", frequency(low), frequency(high))
            }
            _ => String::new(),
        };
        format!("{}: and {} more{band}.", change.quantity, change.more)
    });
    more.collect()
}

/// What did not really change, in a line each.
fn unchanged(comparison: &Comparison) -> Section {
    let states = [
        (ChangeState::TooLittle, "too little to matter, or chance"),
        (ChangeState::NoneShown, "no change shown"),
        (ChangeState::CannotTell, "cannot tell"),
    ];
    let facts = states.into_iter().flat_map(|(state, said)| {
        of(comparison, state).map(move |change| {
            let why = change.why.clone().unwrap_or_else(|| nearest(comparison, change));
            (change.quantity.clone(), format!("{said}; {why}"))
        })
    });
    let count = |of: &dyn Fn(&ComparedRow) -> bool| comparison.rows.iter().filter(|row| of(row)).count();
    let section = Section::new("What did not").block(Block::Facts(facts.collect())).say(format!(
        "Of {} differences {} really changed, {} exceed their uncertainty and are too small to matter or chance among so many, \
         {} do not exceed it; {} cannot be told, because a reading lacks them or no uncertainty is stated. JSON and CSV have \
         all.",
        comparison.rows.len(),
        count(&|row| row.really == Some(true)),
        count(&|row| row.changed == Some(true) && row.really != Some(true)),
        count(&|row| row.changed == Some(false)),
        count(&|row| row.changed.is_none()),
    ));
    if comparison.readings.len() == 2 && comparison.repeats.is_empty() {
        section.say(
            "How well the deck repeats itself is not in these uncertainties: record the same programme three times without \
             touching anything, and give those with --repeats.",
        )
    } else {
        section
    }
}

/// The row that comes nearest to a change, in words.
fn nearest(comparison: &Comparison, change: &QuantityChange) -> String {
    let Some(row) = rows_of(comparison, change).next() else { return "no reading has it".to_owned() };
    let name = match row.channel {
        Some(channel) => format!("{}, {channel}", row.what),
        None => row.what.clone(),
    };
    if row.change.is_none() {
        return format!("{name}: a reading lacks it");
    }
    if row.change_uncertainty.is_none() {
        return format!("{name}: no uncertainty is stated");
    }
    let most = format!("{name}: {}", row_change(row));
    if change.more > 0 { format!("nearest to one is {most}") } else { most }
}

/// How the readings spread, for three and more: the widest of each quantity.
fn spreads(comparison: &Comparison) -> Section {
    let mut widest: Vec<(&ComparedRow, f64)> = Vec::new();
    for row in &comparison.rows {
        let Some(spread) = row.spread else { continue };
        let same =
            |other: &&mut (&ComparedRow, f64)| other.0.quantity == row.quantity && other.0.unit == row.unit;
        match widest.iter_mut().find(same) {
            Some(other) if spread >= other.1 => *other = (row, spread),
            Some(_) => {}
            None => widest.push((row, spread)),
        }
    }
    let by = |row: &ComparedRow, value: Option<f64>, spread: f64| {
        value.map_or(String::new(), |value| words::brief(value, Some(spread), &row.unit, &row.quantity))
    };
    let ends = |row: &ComparedRow, of: fn(f64, f64) -> f64| row.values.iter().flatten().copied().reduce(of);
    let table = Rows::of("", &widest)
        .head("quantity", |(row, _)| {
            format!("{}{}", row_name(row), if row.spread_is_real == Some(true) { " *" } else { "" })
        })
        .head("st. dev.", move |(row, spread)| by(row, Some(*spread), *spread))
        .head("one +-", move |(row, spread)| by(row, row.repeatability, *spread))
        .head("lowest", move |(row, spread)| by(row, ends(row, f64::min), *spread))
        .head("highest", move |(row, spread)| by(row, ends(row, f64::max), *spread));
    Section::new(format!("How {} readings spread", comparison.readings.len()))
        .say("The widest row of each quantity.")
        .table(table.table())
        .say(
            "One +-: how far one reading may lie from the mean of many by this spread alone: standard deviation times \
             Student's factor for so few readings (95 %).",
        )
        .say("* more than the stated uncertainties explain: the deck, the tape or the adjustment moves.")
}

/// `comparison.csv`: one row for each reading's value.
fn filed(comparison: &Comparison) -> Table {
    let rows: Vec<(&ComparedRow, usize)> = comparison
        .rows
        .iter()
        .flat_map(|row| (0..comparison.readings.len()).map(move |k| (row, k)))
        .collect();
    let last = comparison.readings.len().saturating_sub(1);
    let said = |is: Option<bool>| is.map(|is| is.to_string()).unwrap_or_default();
    Rows::of("comparison.csv", &rows)
        .printed(Printed::Nowhere)
        .key("quantity", |(row, _)| row.quantity.as_str())
        .key("what", |(row, _)| row.what.as_str())
        .key("channel", |(row, _)| row.channel.map_or("", ComparedChannel::as_str))
        .key("unit", |(row, _)| row.unit.as_str())
        .key("reading", |(_, k)| comparison.readings[*k].name.as_str())
        .key("value", |(row, k)| row.values[*k])
        .key("uncertainty", |(row, k)| row.uncertainties[*k])
        .key("change", |(row, k)| row.change.filter(|_| *k == last))
        .key("change_uncertainty", |(row, k)| row.change_uncertainty.filter(|_| *k == last))
        .key("changed", |(row, k)| said(row.changed.filter(|_| *k == last)))
        .key("really", |(row, k)| said(row.really.filter(|_| *k == last)))
        .key("spread", |(row, k)| row.spread.filter(|_| *k == last))
        .key("repeatability", |(row, k)| row.repeatability.filter(|_| *k == last))
        .table()
}

#[cfg(test)]
mod tests {
    use crate::judge::{Named, compare};
    use crate::show::comparison;

    #[test]
    fn lines_fit_and_say_what_changed() {
        let found = crate::show::tests::sample("faulty");
        let mut left = found.clone();
        left.speed.as_mut().unwrap().error_percent += 0.5;
        let again = left.clone();
        let named = |name, reading| Named { name, file: "reading.json", reading };
        let text = comparison(&compare(&[named("as found", &found), named("as left", &left)]));
        assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
        assert!(
            text.lines().any(|line| line.contains("speed: mean") && line.contains("+0.50 +- ")),
            "{text}"
        );
        let three = [named("1", &found), named("2", &left), named("3", &again)];
        let text = comparison(&compare(&three));
        assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
        assert!(text.contains("HOW 3 READINGS SPREAD") && text.contains("speed: mean"), "{text}");
        // Nothing moved between these two.
        let none = comparison(&compare(&[named("2", &left), named("3", &again)]));
        assert!(none.contains("Nothing: no difference is both"), "{none}");
    }
}
