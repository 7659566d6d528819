//! A comparison as text, for the terminal.

use super::text::{Page, cell};
use super::words;
use crate::judge::{decimals, signed, unsigned};
use crate::reading::{ComparedRow, Comparison, FindingChange, Verdict};

/// The comparison in at most [`COLUMNS`](super::COLUMNS) columns: verdicts first, then what changed, then what did not.
///
/// Rows that did not change beyond their uncertainty are only counted; JSON and CSV have them all.
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
    let details: Vec<&str> =
        [&change.kind, &change.channel].into_iter().flatten().map(String::as_str).collect();
    if details.is_empty() { change.id.clone() } else { format!("{} ({})", change.id, details.join(", ")) }
}

pub(super) fn verdict(verdict: Option<Verdict>) -> &'static str {
    verdict.map_or("not judged", words::verdict)
}

/// A value with its uncertainty and unit, or why there is none.
pub(super) fn value(value: Option<f64>, doubt: Option<f64>, unit: &str) -> String {
    let Some(value) = value else { return "cannot tell".to_owned() };
    let digits = decimals(doubt, 3).min(4);
    let unit = short(unit);
    match doubt {
        Some(doubt) => format!("{} +- {} {unit}", unsigned(value, digits), unsigned(doubt, digits)),
        None => format!("{} {unit}", unsigned(value, digits)),
    }
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
            "{words}; {} -> {}",
            value(change.before, change.uncertainties[0], &change.unit),
            value(change.after, change.uncertainties[1], &change.unit)
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

/// What changed by more than its uncertainty, from the first reading to the last.
fn changed(page: &mut Page, comparison: &Comparison) {
    let first = comparison.readings.first().map_or("", |reading| &reading.name);
    let last = comparison.readings.last().map_or("", |reading| &reading.name);
    page.head(&format!("WHAT CHANGED, {first} -> {last}"));
    let told: Vec<&ComparedRow> = comparison.rows.iter().filter(|row| row.changed == Some(true)).collect();
    if told.is_empty() {
        page.line("  nothing by more than its uncertainty");
    } else {
        page.line(&format!(
            "  {:<48}{:>11}{:>11}{:>11}{:>9}  unit",
            "quantity", "first", "last", "change", "+-"
        ));
    }
    let mut quantity = "";
    for row in told {
        if row.quantity != quantity {
            quantity = &row.quantity;
            page.line(&format!("  {quantity}"));
        }
        let digits = decimals(row.change_uncertainty, 2).min(4);
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
    let count = |of: Option<bool>| comparison.rows.iter().filter(|row| row.changed == of).count();
    page.line("");
    let text = format!(
        "{} quantities did not change by more than the uncertainty of both readings together; {} cannot be told, because a \
         reading lacks them or no uncertainty is stated.",
        count(Some(false)),
        count(None)
    );
    page.wrapped(2, "", &text);
    if comparison.readings.len() == 2 {
        let text = "How well the deck repeats itself is not in these uncertainties: record the same programme three times \
                    without touching anything, and compare those.";
        page.wrapped(2, "", text);
    }
}

/// Units as one writes them behind a number, short enough for a column.
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
        "HOW {} READINGS SPREAD (standard deviation; the widest row of each)",
        comparison.readings.len()
    ));
    page.line(&format!("  {:<50}{:>12}{:>12}{:>12}  unit", "quantity", "spread", "lowest", "highest"));
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
        if what.chars().count() > 49 {
            what = what.chars().take(48).collect::<String>() + "~";
        }
        page.line(&format!(
            "  {what:<50}{:>12}{:>12}{:>12}  {}{real}",
            unsigned(spread, digits),
            signed(told().fold(f64::INFINITY, f64::min), digits),
            signed(told().fold(f64::NEG_INFINITY, f64::max), digits),
            short(unit),
        ));
    }
    page.line("  * more than the stated uncertainties explain: the deck, the tape or the adjustment moves.");
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{Named, compare};
    use crate::reading::Reading;
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
        assert!(text.contains("WHAT CHANGED, as found -> as left"), "{text}");
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
        assert!(none.contains("nothing by more than its uncertainty"), "{none}");
    }
}
