//! The sheet of a job as one HTML page, for A4 and Letter.

use super::compare::{finding_change, more_of, named};
use super::html::{badge, page, text};
use super::sheet_text::{
    change, changed, finding_value, hand_cell, head, job_state, open, row_name, sources, tape_paths, title,
    told, unchanged, unread, untold_words,
};
use crate::judge::{BenchSheet, MusicAzimuth, SheetPair};
use crate::reading::Verdict;
use crate::trade::CAUTIONS;

const STYLE: &str = "<style>\n.hand th, .hand td, .pair th, .pair td, .change th, .change td { overflow-wrap: break-word; }\n\
    .hand td, .pair td, .change td { font-variant-numeric: tabular-nums; }\n.n { white-space: nowrap; }\n\
    .hand, .pair { table-layout: fixed; }\n\
    .hand th, .pair th, .change th { font-weight: 400; }\n.hand thead th, .pair thead th { font-weight: 600; width: 19.5%; }\n\
    .hand thead th:first-child, .pair thead th:first-child { width: 17%; }\n\
    .hand thead th:last-child, .pair thead th:last-child { width: auto; }\n.change th[scope] { width: 60%; }\n\
    .sign { display: grid; grid-template-columns: 1fr 2fr; gap: 2rem; margin-top: 3.5rem; break-inside: avoid; break-before: avoid; }\n\
     .cautions { break-after: avoid; }\n\
    .sign p { border-top: 1px solid var(--ink); padding-top: .3rem; }\n</style>\n";

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
    if let Some(music) = &sheet.music {
        by_music(&mut body, music);
    }
    for pair in &sheet.pairs {
        readings(&mut body, pair);
    }
    if sheet.pairs.is_empty() && sheet.music.is_none() {
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
        Some((value, None)) => format!("<td>{}</td>", unbroken(&value)),
        Some((value, Some(verdict))) => format!("<td>{} {}</td>", unbroken(&value), badge(verdict)),
    }
}

/// A number that no line end may cut; what stands in brackets behind it may go to the next line.
fn unbroken(value: &str) -> String {
    let (number, rest) = value.split_once(" (").map_or((value, None), |(number, rest)| (number, Some(rest)));
    let rest = rest.map(|rest| format!(" <span class=\"n\">({}</span>", text(rest))).unwrap_or_default();
    format!("<span class=\"n\">{}</span>{rest}", text(number))
}

/// A difference, and below it whether it is one.
fn difference(by: &str, said: &str) -> String {
    format!("<span class=\"n\">{}</span> <span class=\"n\">{said}</span>", text(by))
}

fn by_hand(body: &mut String, sheet: &BenchSheet<'_>) {
    *body += "<section>\n<h2>Read by hand</h2>\n";
    let read: Vec<_> = sheet.hand.iter().filter(|row| row.now().is_some()).collect();
    if !read.is_empty() {
        *body += "<table class=\"hand\">\n<thead><tr><th>quantity</th><th>as found</th><th>as left</th><th>difference</th><th>limit</th></tr></thead>\n\
                  <tbody>\n";
        for row in read {
            let one = |judged| hand_cell(judged).map(|(text, verdict)| (text, Some(verdict)));
            let turn = row.now().and_then(|now| now.turn.as_deref());
            let turn = turn.map(|turn| format!("<p class=\"turn\">{}</p>", text(turn))).unwrap_or_default();
            *body += &format!(
                "<tr><th scope=\"row\">{}</th>{}{}<td>{}</td><td>{}<br>gauge: {}{turn}</td></tr>\n",
                text(row.words),
                cell(one(row.as_found.as_ref())),
                cell(one(row.as_left.as_ref())),
                row.change
                    .as_deref()
                    .and_then(|change| change.split_once(": "))
                    .map(|(by, said)| difference(by, said))
                    .unwrap_or_default(),
                text(&row.limit),
                text(row.now().map_or("", |now| &now.gauge))
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

fn by_music(body: &mut String, music: &MusicAzimuth) {
    *body += "<section>\n<h2>Azimuth by ordinary music (right lags: positive)</h2>\n<dl>\n";
    for (state, file, result) in &music.rows {
        let result = format!("{result}; {file}");
        *body += &format!("<dt>{}</dt><dd>{}</dd>\n", job_state(*state), text(&result));
    }
    if let Some(change) = &music.change {
        *body += &format!("<dt>change</dt><dd>{}</dd>\n", text(change));
    }
    *body += "</dl>\n";
    if let Some(turn) = &music.turn {
        *body += &format!("<p class=\"turn\">{}</p>\n", text(turn));
    }
    *body += "</section>\n";
}

fn readings(body: &mut String, pair: &SheetPair) {
    *body += &format!("<section>\n<h2>{}</h2>\n", text(&title(pair)));
    for source in sources(pair) {
        *body += &format!("<p class=\"basis\">{}</p>\n", text(&source));
    }
    for warning in &pair.comparison.warnings {
        *body += &format!("<p class=\"turn\">{}</p>\n", text(&warning.text));
    }
    if pair.is_sound_card() && pair.turns.is_empty() {
        *body += "<p>Nothing outside.</p>\n</section>\n";
        return;
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
    let both = pair.there == [true, true];
    *body += if both { "<th>difference</th>" } else { "" };
    *body += "<th>limit</th></tr></thead>\n<tbody>\n";
    let (told, untold) = told(pair);
    for finding in told {
        *body += &format!("<tr><th scope=\"row\">{}</th>", text(&named(finding)));
        let sides = [
            (pair.there[0], finding.before, finding.uncertainties[0], finding.verdict_before),
            (pair.there[1], finding.after, finding.uncertainties[1], finding.verdict_after),
        ];
        for (_, at, uncertainty, verdict) in sides.into_iter().filter(|side| side.0) {
            let read = verdict.map(|_| (finding_value(at, uncertainty, finding.unit.as_str()), verdict));
            *body += &cell(read);
        }
        if both {
            let by = finding_change(finding).map(|(by, said)| difference(&by, said));
            *body += &format!("<td>{}</td>", by.unwrap_or_default());
        }
        *body += &format!("<td>{}</td></tr>\n", text(finding.limit.as_deref().unwrap_or("none known")));
    }
    *body += "</tbody>\n</table>\n";
    if let Some(untold) = untold_words(&untold) {
        *body += &format!("<p class=\"basis\">{}</p>\n", text(&untold));
    }
    for (name, turn) in &pair.turns {
        *body += &format!("<p class=\"turn\">{}</p>\n", text(&format!("{name}: {turn}")));
    }
    if both {
        *body += "<h2>What really changed, most important first</h2>\n";
        let quantities = changed(pair);
        if quantities.is_empty() {
            *body += "<p>Nothing.</p>\n";
        } else {
            *body += "<table class=\"change\">\n<tbody>\n";
            for (quantity, rows) in quantities {
                for row in rows {
                    *body += &format!(
                        "<tr><th scope=\"row\">{}</th><td>{}</td></tr>\n",
                        text(&row_name(row)),
                        unbroken(&change(row))
                    );
                }
                if let Some(more) = more_of(quantity) {
                    *body += &format!("<tr><td colspan=\"2\" class=\"basis\">{}</td></tr>\n", text(&more));
                }
            }
            *body += "</tbody>\n</table>\n";
        }
        for remark in &pair.comparison.remarks {
            *body += &format!("<p>{}</p>\n", text(remark));
        }
        if let Some(unchanged) = unchanged(pair) {
            *body += &format!("<p class=\"basis\">{}</p>\n", text(&unchanged));
        }
    }
    *body += "</section>\n";
}
