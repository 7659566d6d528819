//! Jobs in rounds as sections of the report.

use super::html::text;
use super::rounds_text::{change_lines, digits, direction, high_tones, sweep_places, switching};
use crate::judge::Reading;
use crate::judge::{decimals, frequency, signed, unsigned};
use crate::reading::{BiasSweep, Pair, ReductionTracking};

/// Tables of the jobs in rounds; nothing if there were none.
pub(super) fn rounds(body: &mut String, reading: &Reading) {
    if !reading.rounds.is_empty() {
        round_table(body, reading);
    }
    if let Some(sweep) = &reading.bias_sweep {
        sweep_tables(body, sweep);
    }
    if let Some(found) = &reading.noise_reduction {
        reduction(body, found);
    }
}

/// A table: heads, then rows of cells; the first cell of a row is its head.
fn table(body: &mut String, heads: &[String], rows: &[Vec<String>]) {
    *body += "<table class=\"response\">\n<thead><tr>";
    for head in heads {
        *body += &format!("<th>{}</th>", text(head));
    }
    *body += "</tr></thead>\n<tbody>\n";
    for row in rows {
        for (k, cell) in row.iter().enumerate() {
            *body += &match k {
                0 => format!("<tr><th scope=\"row\">{}</th>", text(cell)),
                _ => format!("<td>{}</td>", text(cell)),
            };
        }
        *body += "</tr>\n";
    }
    *body += "</tbody>\n</table>\n";
}

fn number(value: Option<f64>, digits: usize, sign: bool) -> String {
    match value {
        Some(value) if sign => signed(value, digits),
        Some(value) => unsigned(value, digits),
        None => "cannot tell".to_owned(),
    }
}

fn both(values: Pair, digits: usize, sign: bool) -> [String; 2] {
    values.map(|value| number(value, digits, sign))
}

fn heads(names: &[&str]) -> Vec<String> {
    names.iter().map(|&name| name.to_owned()).collect()
}

fn round_table(body: &mut String, reading: &Reading) {
    *body += "<section>\n<h2>Rounds</h2>\n<p>Levels as gain, return minus programme, dB. Pairs: high tone minus low tone, \
              dB.</p>\n";
    let mut names = heads(&["round", "at, s", "level left", "level right", "left minus right"]);
    let highs = high_tones(&reading.bias);
    for (high_hz, _) in &highs {
        names.extend(["left", "right"].map(|side| format!("{} {side}", frequency(*high_hz))));
    }
    let (level_digits, _) = digits(reading.rounds.iter().map(|round| round.level_uncertainty_db));
    let (pair_digits, _) = digits(reading.bias.iter().map(|pair| pair.uncertainty_db));
    let rows: Vec<Vec<String>> = reading
        .rounds
        .iter()
        .map(|round| {
            let mut cells = vec![round.round.to_string(), unsigned(round.at_s.seconds(), 1)];
            cells.extend(both(round.level_db, level_digits, true));
            cells.push(number(round.level_difference_db, level_digits, true));
            for (high_hz, _) in &highs {
                let pair =
                    reading.bias.iter().find(|pair| pair.round == round.round && pair.high_hz == *high_hz);
                cells.extend(both(pair.map_or([None; 2], |pair| pair.difference_db), pair_digits, true));
            }
            cells
        })
        .collect();
    table(body, &names, &rows);
    let lines = change_lines(reading);
    if !lines.is_empty() {
        *body += "<h3>What each turn did</h3>\n<ul>\n";
        for line in lines {
            *body += &format!("<li>{}</li>\n", text(&line));
        }
        *body += "</ul>\n";
    }
    *body += "</section>\n";
}

fn sweep_tables(body: &mut String, sweep: &BiasSweep) {
    let tone = sweep.level_hz.map_or("the loud tone".to_owned(), frequency);
    *body += &format!(
        "<section>\n<h2>Bias sweep</h2>\n<p>Along the sweep {}. K3: third harmonic of {}, percent. Noise: A-weighted, dB against {}. \
         Overbias: dB past the peak of sensitivity, negative before it.</p>\n",
        text(direction(sweep)),
        text(&tone),
        text(&sweep.noise_reference)
    );
    let highs: Vec<f64> =
        sweep.steps.iter().take(1).flat_map(|step| step.high.iter().map(|high| high.hz)).collect();
    let sides = |values: Pair, digits: usize, sign: bool| both(values, digits, sign).join(" / ");
    let mut names = heads(&["round"]);
    names.extend(
        std::iter::once(sweep.low_hz).chain(highs.iter().copied()).map(|hz| format!("{}, dB", frequency(hz))),
    );
    let rows: Vec<Vec<String>> = sweep
        .steps
        .iter()
        .map(|step| {
            let mut cells = vec![step.round.to_string(), sides(step.low_db, 2, true)];
            cells.extend(step.high.iter().map(|high| sides(high.db, 2, true)));
            cells
        })
        .collect();
    *body += "<h3>Sensitivity, left / right</h3>\n";
    table(body, &names, &rows);
    let mut names = heads(&["round"]);
    names.extend(highs.iter().map(|&hz| format!("overbias {}, dB", frequency(hz))));
    names.extend(heads(&["K3, %", "noise, dB"]));
    let rows: Vec<Vec<String>> = sweep
        .steps
        .iter()
        .map(|step| {
            let mut cells = vec![step.round.to_string()];
            cells.extend(step.high.iter().map(|high| sides(high.past_peak_db, 1, true)));
            let (k3_digits, _) = digits(std::iter::once(step.k3_uncertainty_percent));
            cells.push(sides(step.k3_percent, k3_digits, false));
            cells.push(sides(step.noise_a_weighted_db, 1, false));
            cells
        })
        .collect();
    *body += "<h3>Overbias, distortion and noise, left / right</h3>\n";
    table(body, &names, &rows);
    let rows: Vec<Vec<String>> =
        sweep_places(sweep).into_iter().map(|(name, [left, right])| vec![name, left, right]).collect();
    *body += "<h3>Where what lies</h3>\n";
    table(body, &heads(&["", "left", "right"]), &rows);
    *body += "</section>\n";
}

fn reduction(body: &mut String, found: &ReductionTracking) {
    *body += &format!(
        "<section>\n<h2>Noise reduction, in against out</h2>\n<p>Mistracking: gain with it in minus gain with it out, dB; {}. \
         It lowers A-weighted noise by {} dB (left / right).</p>\n",
        text(switching(found)),
        text(&both(found.noise_lowered_db, 1, false).join(" / "))
    );
    let rows: Vec<Vec<String>> = found
        .rows
        .iter()
        .map(|row| {
            let side = |k: usize| {
                let digits = decimals(row.uncertainty_db[k], 2).min(2);
                let spread =
                    row.uncertainty_db[k].map(|u| format!(" +- {}", unsigned(u, digits))).unwrap_or_default();
                row.mistracking_db[k].map_or("cannot tell".to_owned(), |db| signed(db, digits) + &spread)
            };
            vec![format!("{} dB", signed(row.programme_db, 0)), frequency(row.hz), side(0), side(1)]
        })
        .collect();
    table(body, &heads(&["programme", "tone", "left", "right"]), &rows);
    let rows: Vec<Vec<String>> = found
        .bands
        .iter()
        .map(|band| {
            let mut cells = vec![
                format!("{} dB", signed(band.programme_db, 0)),
                format!("{} to {}", frequency(band.from_hz), frequency(band.to_hz)),
            ];
            cells.extend(both(band.mean_db, 2, true));
            cells.extend([0, 1].map(|k| match band.worst_db[k].zip(band.worst_hz[k]) {
                Some((db, hz)) => format!("{} at {}", signed(db, 2), frequency(hz)),
                None => "cannot tell".to_owned(),
            }));
            cells
        })
        .collect();
    table(
        body,
        &heads(&["programme", "band", "mean left", "mean right", "worst left", "worst right"]),
        &rows,
    );
    *body += "</section>\n";
}
