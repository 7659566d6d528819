//! A comparison as files: JSON with its schema, one CSV table, one HTML page.

use super::axes::{Axis, Frame};
use super::compare::{more_of, named, rows_of, value, verdict};
use super::csv::Csv;
use super::html::{page, text};
use super::svg::Stroke;
use super::words;
use crate::judge::{decimals, signed, unsigned};
use crate::reading::{ChangeState, ComparedChannel, ComparedRow, Comparison, MeasuredBy};

/// The comparison as pretty JSON (`deckproof-comparison/1`), with a line feed at the end.
pub fn comparison_json(comparison: &Comparison) -> String {
    // Cannot fail: no map has keys other than strings, and no `Serialize` here is our own.
    serde_json::to_string_pretty(comparison).unwrap_or_default() + "\n"
}

/// JSON Schema of the comparison, pretty, with a line feed at the end.
pub fn comparison_schema() -> String {
    serde_json::to_string_pretty(&schemars::schema_for!(Comparison)).unwrap_or_default() + "\n"
}

/// Every row of the comparison, one line for each reading's value.
pub fn comparison_table(comparison: &Comparison) -> String {
    let mut csv = Csv::new(&[
        "quantity",
        "what",
        "channel",
        "unit",
        "reading",
        "value",
        "uncertainty",
        "change",
        "change_uncertainty",
        "changed",
        "really",
        "spread",
        "repeatability",
    ]);
    let number = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
    for row in &comparison.rows {
        for (k, reading) in comparison.readings.iter().enumerate() {
            let is_last = k + 1 == comparison.readings.len();
            csv.row([
                row.quantity.clone(),
                row.what.clone(),
                row.channel.map_or(String::new(), |channel| channel.to_string()),
                row.unit.clone(),
                reading.name.clone(),
                number(row.values[k]),
                number(row.uncertainties[k]),
                number(row.change.filter(|_| is_last)),
                number(row.change_uncertainty.filter(|_| is_last)),
                row.changed.filter(|_| is_last).map(|changed| changed.to_string()).unwrap_or_default(),
                row.really.filter(|_| is_last).map(|really| really.to_string()).unwrap_or_default(),
                number(row.spread.filter(|_| is_last)),
                number(row.repeatability.filter(|_| is_last)),
            ]);
        }
    }
    csv.text
}

/// The comparison as one HTML page: verdicts before and after, how the response changed, every row.
pub fn comparison_report(comparison: &Comparison) -> String {
    let names: Vec<&str> = comparison.readings.iter().map(|reading| reading.name.as_str()).collect();
    let title = format!("Comparison: {}", names.join(", "));
    let mut body = format!("<header>\n<h1>{}</h1>\n<dl>\n", text(&title));
    for reading in &comparison.readings {
        let made = reading.made.as_ref();
        let deck = made.and_then(|made| made.deck.as_deref()).map(|deck| format!("; {deck}"));
        let at = made.map(|made| format!("; read {}", made.at));
        let what = format!(
            "{}{}{}; {}",
            reading.file,
            deck.unwrap_or_default(),
            at.unwrap_or_default(),
            words::circumstances(&reading.circumstances)
        );
        body += &format!("<dt>{}</dt><dd>{}</dd>\n", text(&reading.name), text(&what));
    }
    body += "</dl>\n</header>\n";
    if !comparison.warnings.is_empty() {
        body += "<section>\n<h2>Before you trust the differences</h2>\n<ul>\n";
        for warning in &comparison.warnings {
            body += &format!("<li>{}</li>\n", text(&warning.text));
        }
        body += "</ul>\n</section>\n";
    }
    summary(&mut body, comparison);
    findings(&mut body, comparison);
    if let Some(svg) = change_of_response(comparison) {
        body += &format!(
            "<figure id=\"response-change\">\n{svg}<figcaption>{}</figcaption>\n</figure>\n",
            text(CAPTION)
        );
    }
    rows(&mut body, comparison);
    page(&title, &body)
}

/// What really changed, quantity by quantity, and what did not.
fn summary(body: &mut String, comparison: &Comparison) {
    *body += "<section>\n<h2>What really changed, most important first</h2>\n";
    let (real, rest): (Vec<_>, Vec<_>) =
        comparison.summary.iter().partition(|change| change.state == ChangeState::Changed);
    if real.is_empty() {
        *body += "<p>Nothing: no difference beyond what chance shows among so many, and large enough to matter.</p>\n";
    } else {
        *body += "<table>\n<thead><tr><th>quantity</th><th>first</th><th>last</th><th>change</th></tr></thead>\n<tbody>\n";
        for quantity in &real {
            for row in rows_of(comparison, quantity) {
                let channel = row.channel.map(|channel| format!(", {channel}")).unwrap_or_default();
                let ends = [
                    row.values.first().zip(row.uncertainties.first()),
                    row.values.last().zip(row.uncertainties.last()),
                ];
                let [first, last] = ends.map(|end| {
                    end.map_or_else(String::new, |(one, uncertainty)| value(*one, *uncertainty, &row.unit))
                });
                *body += &format!(
                    "<tr><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>\n",
                    text(&format!("{}: {}{channel}", row.quantity, row.what)),
                    text(&first),
                    text(&last),
                    text(&change(row))
                );
            }
            if let Some(more) = more_of(quantity) {
                *body += &format!("<tr><td colspan=\"4\" class=\"basis\">{}</td></tr>\n", text(&more));
            }
        }
        *body += "</tbody>\n</table>\n";
    }
    for remark in &comparison.remarks {
        *body += &format!("<p>{}</p>\n", text(remark));
    }
    for (state, words) in [
        (ChangeState::TooLittle, "Too little to matter, or chance among so many"),
        (ChangeState::NoneShown, "No change shown"),
        (ChangeState::CannotTell, "Cannot tell"),
    ] {
        let names: Vec<&str> = rest
            .iter()
            .filter(|change| change.state == state)
            .map(|change| change.quantity.as_str())
            .collect();
        if !names.is_empty() {
            *body += &format!("<p class=\"basis\">{words}: {}.</p>\n", text(&names.join(", ")));
        }
    }
    *body += "</section>\n";
}

fn findings(body: &mut String, comparison: &Comparison) {
    *body += "<section>\n<h2>Findings</h2>\n<table>\n<thead><tr><th>finding</th><th>first</th><th>verdict</th><th>last</th>\
              <th>verdict</th></tr></thead>\n<tbody>\n";
    for change in &comparison.findings {
        *body += &format!(
            "<tr><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>\n",
            text(&named(change)),
            text(&value(change.before, change.uncertainties[0], change.unit.as_str())),
            verdict(change.verdict_before),
            text(&value(change.after, change.uncertainties[1], change.unit.as_str())),
            verdict(change.verdict_after),
        );
    }
    *body += "</tbody>\n</table>\n</section>\n";
}

const CAPTION: &str = "Change of the response from the first reading to the last: left solid with discs, right dashed with squares.";

/// Change of the stepped response, or of the sweep's, against frequency.
fn change_of_response(comparison: &Comparison) -> Option<String> {
    let points = |by: MeasuredBy, side: ComparedChannel| -> Vec<(f64, f64)> {
        let ours = comparison.rows.iter().filter(|row| {
            row.quantity == "playback-response" && row.channel == Some(side) && row.by == Some(by)
        });
        ours.filter_map(|row| Some((row.hz?, row.change?))).collect()
    };
    let by = MeasuredBy::ALL.into_iter().find(|by| !points(*by, ComparedChannel::Left).is_empty())?;
    let lines = ComparedChannel::SIDES.map(|side| points(by, side));
    let values = || lines.iter().flatten().map(|point| point.1);
    let (low, high) = (values().fold(-1.0, f64::min) - 0.3, values().fold(1.0, f64::max) + 0.3);
    let hertz = Axis::frequency("frequency, Hz", 20.0, 20_000.0);
    let mut frame = Frame::new(CAPTION, hertz, Axis::linear("last minus first, dB", low, high, true));
    for (line, (stroke, name)) in lines.iter().zip([(Stroke::Left, "left"), (Stroke::Right, "right")]) {
        frame.line(line, stroke, name);
        frame.marks(line, stroke);
    }
    Some(frame.finish())
}

fn rows(body: &mut String, comparison: &Comparison) {
    let spreads = comparison.readings.len() > 2;
    *body += "<section>\n<h2>All quantities</h2>\n<table class=\"all\">\n<thead><tr><th>quantity</th><th>channel</th>";
    for reading in &comparison.readings {
        *body += &format!("<th>{}</th>", text(&reading.name));
    }
    *body += if spreads {
        "<th>change</th><th>spread</th></tr></thead>\n"
    } else {
        "<th>change</th></tr></thead>\n"
    };
    *body += "<tbody>\n";
    for row in &comparison.rows {
        *body += &format!(
            "<tr><td>{}</td><td>{}</td>",
            text(&format!("{}: {}", row.quantity, row.what)),
            text(row.channel.map_or("", ComparedChannel::as_str))
        );
        for (one, uncertainty) in row.values.iter().zip(&row.uncertainties) {
            *body += &format!("<td>{}</td>", text(&value(*one, *uncertainty, &row.unit)));
        }
        *body += &format!("<td>{}</td>", text(&change(row)));
        if spreads {
            let digits = decimals(row.spread, 2);
            let spread = row.spread.map(|spread| unsigned(spread, digits));
            let one = row.repeatability.map(|one| format!("; one +- {}", unsigned(one, digits)));
            *body +=
                &format!("<td>{}{}</td>", text(&spread.unwrap_or_default()), text(&one.unwrap_or_default()));
        }
        *body += "</tr>\n";
    }
    *body += "</tbody>\n</table>\n</section>\n";
}

fn change(row: &ComparedRow) -> String {
    let Some(by) = row.change else { return "cannot tell".to_owned() };
    let digits = decimals(row.change_uncertainty, 3).min(4);
    let uncertainty = row
        .change_uncertainty
        .map(|uncertainty| format!(" +- {}", unsigned(uncertainty, digits)))
        .unwrap_or_default();
    match row.changed {
        Some(true) if row.really == Some(false) => {
            format!("{}{uncertainty}: too little to matter, or chance", signed(by, digits))
        }
        Some(true) => format!("{}{uncertainty}: changed", signed(by, digits)),
        Some(false) => format!("{}{uncertainty}: none shown", signed(by, digits)),
        None => format!("{}{uncertainty}", signed(by, digits)),
    }
}
