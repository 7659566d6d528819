//! The sheet of a job as one HTML page, for A4 and Letter.

use super::compare::named;
use super::html::{badge, page, text};
use super::sheet_text::{
    change, changed, finding_value, hand_cell, head, more_words, open, row_name, sources, tape_paths, title,
    told, unread,
};
use crate::judge::{BenchSheet, SheetPair};
use crate::reading::Verdict;
use crate::trade::CAUTIONS;

const STYLE: &str = "<style>\n.hand td, .pair td { font-variant-numeric: tabular-nums; }\n\
    .hand th, .pair th { font-weight: 400; }\n.hand th[scope], .pair th[scope] { width: 24%; }\n.hand thead th, .pair thead th { font-weight: 600; }\n\
    .sign { display: grid; grid-template-columns: 1fr 2fr; gap: 2rem; margin-top: 3rem; break-inside: avoid; break-before: avoid; }\n\
    .cautions { break-after: avoid; }\n    .sign p { border-top: 1px solid var(--ink); padding-top: .3rem; }\n</style>\n";

/// The sheet: deck, complaint, work, readings by hand, findings as found beside as left, what is open, cautions, signature.
pub fn sheet_html(sheet: &BenchSheet<'_>) -> String {
    let mut body = format!("{STYLE}<header>\n<h1>Bench sheet: {}</h1>\n<dl>\n", text(&sheet.job.deck.name));
    for (name, value) in head(sheet.job).into_iter().skip(1) {
        body += &format!("<dt>{name}</dt><dd>{}</dd>\n", text(&value));
    }
    body += "</dl>\n</header>\n";
    list(&mut body, "Complaint", sheet.job.complaint.lines(), "Not noted.");
    list(&mut body, "Work done", sheet.job.work.iter().map(String::as_str), "Not noted.");
    by_hand(&mut body, sheet);
    for pair in &sheet.pairs {
        readings(&mut body, pair);
    }
    if sheet.pairs.is_empty() {
        body += "<section>\n<h2>Readings</h2>\n<p>None attached.</p>\n</section>\n";
    }
    if !sheet.missing.is_empty() {
        list(&mut body, "Readings that cannot be had", sheet.missing.iter().map(String::as_str), "");
    }
    let open = open(&sheet.steps);
    list(&mut body, "Not done", open.iter().map(String::as_str), "Nothing is left of the order of work.");
    body += "<section class=\"cautions\">\n<h2>Cautions</h2>\n<ul>\n";
    for caution in CAUTIONS {
        body += &format!("<li>{}</li>\n", text(caution));
    }
    body += "</ul>\n</section>\n<section class=\"sign\">\n<p>Date</p>\n<p>Signed</p>\n</section>\n";
    page(&format!("Bench sheet: {}", sheet.job.deck.name), &body)
}

fn list<'a>(body: &mut String, name: &str, lines: impl Iterator<Item = &'a str>, none: &str) {
    *body += &format!("<section>\n<h2>{name}</h2>\n");
    let lines: Vec<&str> = lines.map(str::trim).filter(|line| !line.is_empty()).collect();
    if lines.is_empty() {
        *body += &format!("<p>{none}</p>\n</section>\n");
        return;
    }
    *body += "<ul>\n";
    for line in lines {
        *body += &format!("<li>{}</li>\n", text(line));
    }
    *body += "</ul>\n</section>\n";
}

/// A value with its badge; an empty cell says that nothing was read.
fn cell(judged: Option<(String, Option<Verdict>)>) -> String {
    match judged {
        None => "<td>not read</td>".to_owned(),
        Some((value, None)) => format!("<td>{}</td>", text(&value)),
        Some((value, Some(verdict))) => format!("<td>{} {}</td>", text(&value), badge(verdict)),
    }
}

fn by_hand(body: &mut String, sheet: &BenchSheet<'_>) {
    *body += "<section>\n<h2>Read by hand</h2>\n";
    let read: Vec<_> = sheet.hand.iter().filter(|row| row.now().is_some()).collect();
    if !read.is_empty() {
        *body += "<table class=\"hand\">\n<thead><tr><th>quantity</th><th>as found</th><th>as left</th><th>limit</th></tr></thead>\n\
                  <tbody>\n";
        for row in read {
            let one = |judged| hand_cell(judged).map(|(text, verdict)| (text, Some(verdict)));
            let turn = row.now().and_then(|now| now.turn);
            let turn = turn.map(|turn| format!("<p class=\"turn\">{}</p>", text(turn))).unwrap_or_default();
            *body += &format!(
                "<tr><th scope=\"row\">{}</th>{}{}<td>{}{turn}</td></tr>\n",
                text(row.words),
                cell(one(row.as_found.as_ref())),
                cell(one(row.as_left.as_ref())),
                text(&row.limit)
            );
        }
        *body += "</tbody>\n</table>\n";
    }
    for (name, seen) in tape_paths(sheet.job) {
        *body += &format!("<p>Tape path, {name}: {}</p>\n", text(seen));
    }
    if let Some(unread) = unread(&sheet.hand) {
        *body += &format!("<p class=\"basis\">{}</p>\n", text(&unread));
    }
    *body += "</section>\n";
}

fn readings(body: &mut String, pair: &SheetPair) {
    let title = match title(pair) {
        "AS FOUND" => "Findings as found",
        "AS LEFT" => "Findings as left",
        _ => "Findings as found and as left",
    };
    *body += &format!("<section>\n<h2>{title}</h2>\n");
    for source in sources(pair) {
        *body += &format!("<p class=\"basis\">{}</p>\n", text(&source));
    }
    for warning in &pair.comparison.warnings {
        *body += &format!("<p class=\"turn\">{}</p>\n", text(&warning.text));
    }
    let heads: Vec<&str> = ["as found", "as left"]
        .into_iter()
        .zip(pair.there)
        .filter_map(|(name, there)| there.then_some(name))
        .collect();
    *body += "<table class=\"pair\">\n<thead><tr><th>finding</th>";
    for name in heads {
        *body += &format!("<th>{name}</th>");
    }
    *body += "<th>limit</th></tr></thead>\n<tbody>\n";
    let (told, untold) = told(pair);
    for finding in told {
        *body += &format!("<tr><th scope=\"row\">{}</th>", text(&named(finding)));
        let sides = [
            (pair.there[0], finding.before, finding.uncertainties[0], finding.verdict_before),
            (pair.there[1], finding.after, finding.uncertainties[1], finding.verdict_after),
        ];
        for (_, at, doubt, verdict) in sides.into_iter().filter(|side| side.0) {
            let read = verdict.map(|_| (finding_value(at, doubt, &finding.unit), verdict));
            *body += &cell(read);
        }
        *body += &format!("<td>{}</td></tr>\n", text(finding.limit.as_deref().unwrap_or("none known")));
    }
    *body += "</tbody>\n</table>\n";
    if untold > 0 {
        *body += &format!("<p class=\"basis\">{untold} findings cannot be told from these.</p>\n");
    }
    for (name, turn) in &pair.turns {
        *body += &format!("<p class=\"turn\">{}</p>\n", text(&format!("{name}: {turn}")));
    }
    if pair.there == [true, true] {
        let (rows, more) = changed(pair);
        *body += "<h2>What changed by more than its uncertainty</h2>\n<table class=\"pair\">\n<tbody>\n";
        for row in &rows {
            *body += &format!(
                "<tr><th scope=\"row\">{}</th><td>{}</td></tr>\n",
                text(&row_name(row)),
                text(&change(row))
            );
        }
        *body += &format!("</tbody>\n</table>\n<p class=\"basis\">{}</p>\n", text(&more_words(more)));
    }
    *body += "</section>\n";
}
