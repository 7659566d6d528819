//! A comparison as text, for the terminal.

use super::text::{Page, cell};
use super::words;
use crate::judge::{decimals, decimals_db, frequency, signed, unsigned};
use crate::reading::{ChangeState, Channel, ComparedRow, Comparison, FindingChange, QuantityChange, Verdict};

/// The comparison in at most [`COLUMNS`](super::COLUMNS) columns: verdicts first, then what changed, then what did not.
///
/// Of what did not really change one row a quantity is named; JSON and CSV have them all.
pub fn comparison(comparison: &Comparison) -> String {
    let mut page = Page::default();
    page.line("COMPARISON");
    for reading in &comparison.readings {
        let made = reading.made.as_ref();
        let deck = made.and_then(|made| made.deck.as_deref()).map(|deck| format!("; {deck}"));
        let at = made.map(|made| format!("; read {}", made.at));
        let text = format!("{}{}{}", reading.file, deck.unwrap_or_default(), at.unwrap_or_default());
        page.wrapped(2, &format!("{}: ", reading.name), &text);
        page.wrapped(4, "", &words::circumstances(&reading.circumstances));
    }
    if !comparison.repeats.is_empty() {
        let files: Vec<&str> = comparison.repeats.iter().map(|reading| reading.file.as_str()).collect();
        page.wrapped(2, "repeats: ", &files.join(", "));
    }
    for warning in &comparison.warnings {
        page.wrapped(2, "! ", &warning.text);
    }
    verdicts(&mut page, &comparison.findings);
    if comparison.readings.len() > 2 {
        spreads(&mut page, comparison);
    }
    changed(&mut page, comparison);
    page.into_text()
}

/// A finding's name with its kind and channel.
pub(super) fn named(change: &FindingChange) -> String {
    let details = [change.kind.as_deref(), change.channel.map(Channel::as_str)];
    let details: Vec<&str> = details.into_iter().flatten().collect();
    if details.is_empty() { change.id.clone() } else { format!("{} ({})", change.id, details.join(", ")) }
}

pub(super) fn verdict(verdict: Option<Verdict>) -> &'static str {
    verdict.map_or("not judged", words::verdict)
}

/// Decimals by uncertainty, at most four, of decibels three.
pub(super) fn digits_of(uncertainty: Option<f64>, otherwise: usize, unit: &str) -> usize {
    if unit.starts_with("dB") {
        decimals_db(uncertainty, otherwise)
    } else {
        decimals(uncertainty, otherwise).min(4)
    }
}

/// A value with its uncertainty and unit, or why there is none.
pub(super) fn value(value: Option<f64>, uncertainty: Option<f64>, unit: &str) -> String {
    let Some(value) = value else { return "cannot tell".to_owned() };
    let digits = digits_of(uncertainty, 3, unit);
    let unit = short(unit);
    match uncertainty {
        Some(uncertainty) => {
            format!("{} +- {} {unit}", unsigned(value, digits), unsigned(uncertainty, digits))
        }
        None => format!("{} {unit}", unsigned(value, digits)),
    }
}

/// By how much a finding changed, and whether that is more than its uncertainty.
pub(super) fn finding_change(change: &FindingChange) -> Option<(String, &'static str)> {
    let digits = digits_of(change.change_uncertainty, 3, change.unit.as_str());
    let (by, uncertainty) = (change.change?, change.change_uncertainty?);
    let said = if change.changed == Some(true) { "changed" } else { "no change shown" };
    Some((
        format!(
            "{} +- {} {}",
            signed(by, digits),
            unsigned(uncertainty, digits),
            short(change.unit.as_str())
        ),
        said,
    ))
}

/// Verdicts that changed, or are outside still; the others are counted.
fn verdicts(page: &mut Page, findings: &[FindingChange]) {
    page.head("FINDINGS");
    let mut silent = 0;
    for change in findings {
        let still = change.verdict_before == change.verdict_after;
        if still && change.verdict_after != Some(Verdict::Outside) {
            silent += 1;
            continue;
        }
        let words = if still {
            format!("{} still", verdict(change.verdict_after))
        } else {
            format!("{} -> {}", verdict(change.verdict_before), verdict(change.verdict_after))
        };
        let text = format!(
            "{words}; {} -> {}{}",
            value(change.before, change.uncertainties[0], change.unit.as_str()),
            value(change.after, change.uncertainties[1], change.unit.as_str()),
            finding_change(change).map(|(by, said)| format!("; {by}: {said}")).unwrap_or_default()
        );
        page.wrapped(2, &format!("{:<34}", named(change)), &text);
    }
    page.line(&format!("  {silent} findings have the verdict that they had."));
}

fn heading(row: &ComparedRow) -> String {
    match &row.channel {
        Some(channel) => format!("{}, {channel}", row.what),
        None => row.what.clone(),
    }
}

/// What really changed, most important first; then what did not, in a line each.
fn changed(page: &mut Page, comparison: &Comparison) {
    let first = comparison.readings.first().map_or("", |reading| &reading.name);
    let last = comparison.readings.last().map_or("", |reading| &reading.name);
    let of = |state: ChangeState| comparison.summary.iter().filter(move |change| change.state == state);
    page.head(&format!("WHAT REALLY CHANGED, {first} -> {last}, most important first"));
    if of(ChangeState::Changed).next().is_none() {
        page.line(
            "  nothing: no difference beyond what chance shows among so many, and large enough to matter",
        );
    } else {
        page.line(&format!(
            "  {:<48}{:>11}{:>11}{:>11}{:>9}  unit",
            "quantity", "first", "last", "change", "+-"
        ));
    }
    for change in of(ChangeState::Changed) {
        page.line(&format!("  {}", change.quantity));
        for row in rows_of(comparison, change) {
            let digits = digits_of(row.change_uncertainty, 2, &row.unit);
            let mut what = heading(row);
            if what.chars().count() > 45 {
                what = what.chars().take(44).collect::<String>() + "~";
            }
            page.line(&format!(
                "    {what:<46}{}{}{}{}  {}",
                cell(row.values.first().copied().flatten(), digits, 11, false),
                cell(row.values.last().copied().flatten(), digits, 11, false),
                cell(row.change, digits, 11, true),
                cell(row.change_uncertainty, digits, 9, false),
                short(&row.unit),
            ));
        }
        if let Some(more) = more_of(change) {
            page.wrapped(4, "", &more);
        }
    }
    for remark in &comparison.remarks {
        page.wrapped(2, "", remark);
    }
    page.head("WHAT DID NOT");
    for (state, words) in [
        (ChangeState::TooLittle, "too little to matter, or chance"),
        (ChangeState::NoneShown, "no change shown"),
        (ChangeState::CannotTell, "cannot tell"),
    ] {
        for change in of(state) {
            let why = change.why.clone().unwrap_or_else(|| nearest(comparison, change));
            page.wrapped(2, &format!("{:<18}", change.quantity), &format!("{words}; {why}"));
        }
    }
    page.line("");
    let count = |of: &dyn Fn(&ComparedRow) -> bool| comparison.rows.iter().filter(|row| of(row)).count();
    let text = format!(
        "Of {} differences {} really changed, {} exceed their uncertainty and are too small to matter or chance among so many, \
         {} do not exceed it; {} cannot be told, because a reading lacks them or no uncertainty is stated. JSON and CSV have all.",
        comparison.rows.len(),
        count(&|row| row.really == Some(true)),
        count(&|row| row.changed == Some(true) && row.really != Some(true)),
        count(&|row| row.changed == Some(false)),
        count(&|row| row.changed.is_none()),
    );
    page.wrapped(2, "", &text);
    if comparison.readings.len() == 2 && comparison.repeats.is_empty() {
        let text = "How well the deck repeats itself is not in these uncertainties: record the same programme three times \
                    without touching anything, and give those with --repeats.";
        page.wrapped(2, "", text);
    }
}

/// The rows that a summary names.
pub(super) fn rows_of<'a>(
    comparison: &'a Comparison,
    change: &'a QuantityChange,
) -> impl Iterator<Item = &'a ComparedRow> {
    change.rows.iter().filter_map(|place| comparison.rows.get(*place as usize))
}

/// How many more rows are in that state, and between which frequencies; `None` if no more are.
pub(super) fn more_of(change: &QuantityChange) -> Option<String> {
    let band = match (change.from_hz, change.to_hz) {
        (Some(low), Some(high)) if high > low => {
            format!(", all from {} to {}", frequency(low), frequency(high))
        }
        _ => String::new(),
    };
    (change.more > 0).then(|| format!("and {} more{band}", change.more))
}

/// The row that comes nearest to a change, in words.
fn nearest(comparison: &Comparison, change: &QuantityChange) -> String {
    let Some(row) = rows_of(comparison, change).next() else { return "no reading has it".to_owned() };
    let Some(by) = row.change else { return format!("{}: a reading lacks it", heading(row)) };
    let digits = digits_of(row.change_uncertainty, 3, &row.unit);
    match row.change_uncertainty {
        Some(uncertainty) => {
            let most = format!(
                "{}: {} +- {} {}",
                heading(row),
                signed(by, digits),
                unsigned(uncertainty, digits),
                short(&row.unit)
            );
            if change.more > 0 { format!("nearest to one is {most}") } else { most }
        }
        None => format!("{}: no uncertainty is stated", heading(row)),
    }
}

/// Units short enough for a column.
pub(super) fn short(unit: &str) -> &str {
    match unit {
        "percent" => "%",
        "percent per minute" => "%/min",
        "minutes of arc" => "arcmin",
        other => other,
    }
}

/// How the readings spread, for three and more: the widest of each quantity.
fn spreads(page: &mut Page, comparison: &Comparison) {
    page.head(&format!(
        "HOW {} READINGS SPREAD (the widest row of each quantity)",
        comparison.readings.len()
    ));
    page.line(&format!(
        "  {:<44}{:>10}{:>10}{:>12}{:>12}  unit",
        "quantity", "st. dev.", "one +-", "lowest", "highest"
    ));
    let mut quantities: Vec<(&str, &str)> = Vec::new();
    for row in &comparison.rows {
        let key = (row.quantity.as_str(), row.unit.as_str());
        if row.spread.is_some() && !quantities.contains(&key) {
            quantities.push(key);
        }
    }
    for (quantity, unit) in quantities {
        let widest = comparison
            .rows
            .iter()
            .filter(|row| row.quantity == quantity && row.unit == unit)
            .filter_map(|row| Some((row, row.spread?)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        let Some((row, spread)) = widest else { continue };
        let digits = decimals(Some(spread), 2).min(4);
        let told = || row.values.iter().flatten().copied();
        let real = if row.spread_is_real == Some(true) { " *" } else { "" };
        let mut what = format!("{quantity}: {}", heading(row));
        if what.chars().count() > 43 {
            what = what.chars().take(42).collect::<String>() + "~";
        }
        page.line(&format!(
            "  {what:<44}{:>10}{:>10}{:>12}{:>12}  {}{real}",
            unsigned(spread, digits),
            row.repeatability.map_or_else(String::new, |most| unsigned(most, digits)),
            signed(told().fold(f64::INFINITY, f64::min), digits),
            signed(told().fold(f64::NEG_INFINITY, f64::max), digits),
            short(unit),
        ));
    }
    page.wrapped(
        2,
        "",
        "one +-: how far one reading may lie from the mean of many by this spread alone: standard deviation times Student's \
         factor for so few readings (95 %).",
    );
    page.line("  * more than the stated uncertainties explain: the deck, the tape or the adjustment moves.");
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Reading;
    use crate::judge::{Named, compare};
    use crate::show::COLUMNS;

    fn sample(text: &str) -> Reading {
        serde_json::from_str(text).unwrap()
    }

    #[test]
    fn lines_fit_and_say_what_changed() {
        let found = sample(include_str!("../../tests/readings/faulty.json"));
        let mut left = found.clone();
        left.speed.as_mut().unwrap().error_percent += 0.5;
        let again = left.clone();
        let named = |name, reading| Named { name, file: "reading.json", reading };
        let two = compare(&[named("as found", &found), named("as left", &left)]);
        let text = comparison(&two);
        assert!(text.lines().all(|line| line.chars().count() <= COLUMNS), "{text}");
        assert!(text.contains("WHAT REALLY CHANGED, as found -> as left"), "{text}");
        assert!(
            text.lines().any(|line| line.trim_start().starts_with("mean") && line.contains("+0.5")),
            "{text}"
        );
        let three = compare(&[named("1", &found), named("2", &left), named("3", &again)]);
        let text = comparison(&three);
        assert!(text.lines().all(|line| line.chars().count() <= COLUMNS), "{text}");
        assert!(text.contains("speed: mean"), "{text}");
        // Nothing moved between these two.
        let none = comparison(&compare(&[named("2", &left), named("3", &again)]));
        assert!(none.contains("  nothing: no difference beyond"), "{none}");
    }
}
