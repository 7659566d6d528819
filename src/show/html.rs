//! One HTML file that holds findings, figures, warnings and cautions: no script, nothing fetched.

use super::svg::escaped;
use super::text::depth;
use super::{
    Figure, amplifier, causes, found, meanings, noise_bands, nonlinear, plots, rounds_html, rounds_text,
    same_tape, words, work,
};
use crate::judge::Reading;
use crate::judge::{Limits, decimals, decimals_db, frequency, signed, unsigned};
use crate::reading::{Finding, Verdict, WarningId};
use crate::trade::CAUTIONS;

/// Dropouts that the report names one by one: a bad tape has hundreds.
const MOST_DROPOUTS: usize = 30;
const STYLE: &str = include_str!("report.css");

/// The report of a reading as one HTML page, with the figures inside. `limits` gives the figures their limit lines.
///
/// Prints on A4 and Letter; follows the viewer's choice of light or dark.
pub fn report(reading: &Reading, limits: Option<&Limits>) -> String {
    let mut body = String::new();
    heading(&mut body, reading, limits);
    what_to_do(&mut body, reading);
    findings(&mut body, &reading.findings);
    warnings(&mut body, reading);
    curves(&mut body, &plots(reading, limits));
    figures(&mut body, reading);
    for table in found::tables(reading) {
        nonlinear_table(&mut body, &table);
    }
    response(&mut body, reading);
    let tables = causes::table(reading)
        .into_iter()
        .chain(amplifier::tables(reading))
        .chain(same_tape::tables(reading))
        .chain(noise_bands::table(reading));
    for table in tables {
        nonlinear_table(&mut body, &table);
    }
    saturation(&mut body, reading);
    for table in nonlinear::tables(reading) {
        nonlinear_table(&mut body, &table);
    }
    rounds_html::rounds(&mut body, reading);
    dropouts(&mut body, reading);
    meanings(&mut body, reading);
    body += "<section class=\"cautions\">\n<h2>Cautions</h2>\n<ul>\n";
    for caution in
        CAUTIONS.iter().chain(rounds_text::trimmer_cautions(reading)).chain(amplifier::cautions(reading))
    {
        body += &format!("<li>{}</li>\n", text(caution));
    }
    body += "</ul>\n</section>\n<p class=\"basis\">Deckproof made this report from one recording.</p>\n";
    page(&format!("Reading of {}", reading.capture.file), &body)
}

/// The plots, under one heading; nothing if there are none.
fn curves(body: &mut String, plots: &[Figure]) {
    if plots.is_empty() {
        return;
    }
    *body += "<section class=\"curves\">\n<h2>Curves</h2>\n";
    for figure in plots {
        *body += &format!(
            "<figure id=\"{}\">\n{}<figcaption>{}</figcaption>\n</figure>\n",
            figure.name,
            figure.svg,
            text(&figure.caption)
        );
    }
    *body += "</section>\n";
}

fn meanings(body: &mut String, reading: &Reading) {
    *body += "<section>\n<h2>What each figure can mean, measured or not</h2>\n<table class=\"meanings\">\n<tbody>\n";
    for (quantity, meaning) in meanings::rows(reading) {
        *body += &format!("<tr><th scope=\"row\">{quantity}</th><td>{}</td></tr>\n", text(&meaning));
    }
    *body += "</tbody>\n</table>\n</section>\n";
}

/// A whole page: `title` as anywhere, `body` as HTML.
pub(super) fn page(title: &str, body: &str) -> String {
    let title = text(title);
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n<title>{title}</title>\n\
         <style>\n{STYLE}</style>\n</head>\n<body>\n<main>\n{body}</main>\n</body>\n</html>\n"
    )
}

/// Text from anywhere, made safe, with typographic signs, and numbers bound to their units.
pub(super) fn text(raw: &str) -> String {
    escaped(&words::with_signs(&words::bound(&words::sanitised(raw))))
}

fn heading(body: &mut String, reading: &Reading, limits: Option<&Limits>) {
    let capture = &reading.capture;
    *body += &format!("<header>\n<h1>Reading of {}</h1>\n<dl>\n", text(&capture.file));
    let peaks = capture.peak_dbfs.map(|peak| peak.map_or("no signal".to_owned(), |peak| unsigned(peak, 1)));
    let mut row = |name: &str, value: &str| *body += &format!("<dt>{name}</dt><dd>{}</dd>\n", text(value));
    // A reader who stops at the first screen must not take it for a deck's.
    if let Some(rehearsal) = reading.warnings.iter().find(|warning| warning.id == WarningId::Rehearsal) {
        row("Rehearsal", &rehearsal.text);
    }
    if let Some(deck) = words::deck(reading) {
        row("Deck", deck);
    }
    if let Some(made) = words::made(reading) {
        row("Read", &made);
    }
    if let Some(job) = words::job(reading) {
        row("Job", job);
    }
    row("Recipe", &words::recipe(reading));
    row("Circumstances", &words::circumstances(&reading.circumstances));
    row(
        "Capture",
        &format!(
            "{} Hz, {}, {} s; peak left / right {} dBFS; slates found: {}",
            capture.rate_hz,
            depth(&capture.depth),
            unsigned(capture.duration_s, 1),
            peaks.join(" / "),
            capture.slates_found
        ),
    );
    if let Some(limits) = limits {
        row("Limits", &limits.name);
    }
    if let Some(loopback) = &capture.loopback {
        row("Loopback capture", &format!("{loopback} (subtracted)"));
    }
    if let Some(card) = &reading.circumstances.card {
        row("Card", &meanings::card(card));
    }
    *body += "</dl>\n</header>\n";
}

/// Verdict as a badge; the word and the frame tell as much as the colour.
pub(super) fn badge(verdict: Verdict) -> String {
    let class = match verdict {
        Verdict::Within => "within",
        Verdict::Marginal => "marginal",
        Verdict::Outside => "outside",
        Verdict::CannotTell => "cannot",
    };
    format!("<span class=\"badge {class}\">{}</span>", words::verdict(verdict))
}

fn what_to_do(body: &mut String, reading: &Reading) {
    *body += "<section class=\"work\">\n<h2>What to do, in this order</h2>\n";
    let lines = work::lines(reading);
    if !lines.is_empty() {
        *body += "<ol>\n";
        for line in lines {
            *body += &format!(
                "<li value=\"{}\"><p>{}</p><p class=\"basis\">For: {}.</p></li>\n",
                line.number,
                text(&line.text),
                text(&line.because)
            );
        }
        *body += "</ol>\n";
    }
    *body += &format!("<p>{}</p>\n</section>\n", text(work::note(reading)));
}

fn findings(body: &mut String, findings: &[Finding]) {
    *body += "<section>\n<h2>Findings, in the order of work</h2>\n";
    if findings.is_empty() {
        *body += "<p>None.</p>\n</section>\n";
        return;
    }
    *body += &format!(
        "<p>{}. Before anything is turned: read the cautions at the end.</p>\n",
        text(&words::tally(findings))
    );
    *body += "<table class=\"findings\">\n<thead><tr><th>quantity</th><th>verdict</th><th>value</th>\
              <th>why, and what to turn</th></tr></thead>\n<tbody>\n";
    for group in words::grouped(findings) {
        let finding = group[0];
        if group.len() > 1 {
            *body += &format!(
                "<tr><th scope=\"row\">{}</th><td>{}</td><td class=\"number\">no value</td><td><p>{}.</p></td></tr>\n",
                text(&words::names(&group)).replace(", ", ",<br>"),
                badge(finding.verdict),
                text(&capitalised(&finding.why))
            );
            continue;
        }
        let side = match finding.channel {
            Some(side) if side.is_side() => format!("<br>{side}"),
            _ => String::new(),
        };
        let kind =
            finding.kind.as_ref().map(|kind| format!("<br><span class=\"kind\">{}</span>", text(kind)));
        let value = words::value(finding).unwrap_or_else(|| "no value".to_owned());
        // A break before the uncertainty keeps the column narrow.
        let value = text(&value).replacen("\u{a0}\u{b1}", "<br>\u{b1}", 1);
        *body += &format!(
            "<tr><th scope=\"row\">{}{}{side}</th><td>{}</td><td class=\"number\">{value}</td><td><p>{}.</p>",
            text(&finding.id),
            kind.unwrap_or_default(),
            badge(finding.verdict),
            text(&capitalised(&finding.why))
        );
        if let Some(turn) = &finding.turn {
            *body += &format!("<p class=\"turn\"><strong>Turn:</strong> {}.</p>", text(turn));
        }
        if !finding.rests_on.is_empty() {
            *body += &format!(
                "<p>First: {}, which is outside too: this rests on it.</p>",
                text(&finding.rests_on.join(", "))
            );
        }
        let limit =
            finding.limit.as_ref().map(|limit| format!("Limit: {}. ", text(limit))).unwrap_or_default();
        *body += &format!("<p class=\"basis\">{limit}Basis: {}.</p></td></tr>\n", text(&finding.basis));
    }
    *body += "</tbody>\n</table>\n</section>\n";
}

fn capitalised(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map(|first| first.to_uppercase().chain(chars).collect()).unwrap_or_default()
}

fn warnings(body: &mut String, reading: &Reading) {
    if reading.warnings.is_empty() {
        return;
    }
    *body += "<section>\n<h2>Warnings</h2>\n<ul>\n";
    for warning in &reading.warnings {
        *body +=
            &format!("<li><strong>{}</strong>: {}</li>\n", text(warning.id.as_str()), text(&warning.text));
    }
    *body += "</ul>\n</section>\n";
}

/// The figures that need no plot, in a table of name and number.
fn figures(body: &mut String, reading: &Reading) {
    let mut rows: Vec<(String, String)> = Vec::new();
    let mut add = |name: &str, value: Option<String>| {
        rows.push((name.to_owned(), value.unwrap_or_else(|| "cannot tell".to_owned())));
    };
    for level in &reading.level {
        let digits = decimals_db(Some(level.uncertainty_db), 2);
        let [left, right] = level
            .return_dbfs
            .map(|level| level.map_or("cannot tell".to_owned(), |level| unsigned(level, digits)));
        add(
            &format!("Level {} ({}), left / right", level.part, frequency(level.hz)),
            Some(format!("{left} / {right} dBFS +- {} dB", unsigned(level.uncertainty_db, digits))),
        );
    }
    if let Some(response) = &reading.response {
        let ends = |pair: [Option<f64>; 2]| {
            pair.map(|hz| hz.map_or("not reached".to_owned(), frequency)).join(" / ")
        };
        add("Down 3 dB at the low end, left / right", Some(ends(response.low_3db_hz)));
        add("Down 3 dB at the high end, left / right", Some(ends(response.high_3db_hz)));
    }
    if let Some(azimuth) = &reading.azimuth {
        let digits = decimals(azimuth.uncertainty_us, 2);
        let spread =
            azimuth.uncertainty_us.map(|u| format!(" +- {}", unsigned(u, digits))).unwrap_or_default();
        add(
            "Delay (positive: right lags)",
            azimuth.delay_us.map(|us| format!("{}{spread} us", signed(us, digits))),
        );
        add("Head tilt", azimuth.angle_arcmin.map(|angle| format!("{} minutes of arc", signed(angle, 2))));
        add(
            "Wander of the delay, 0.1 to 10 Hz",
            azimuth.wander_us_rms.map(|us| format!("{} us rms", unsigned(us, 2))),
        );
        add(
            "Response at 10 kHz by this tilt",
            azimuth.loss_at_10k_db.map(|db| format!("{} dB", signed(db, 2))),
        );
    }
    if let Some(speed) = &reading.speed {
        let digits = decimals(Some(speed.uncertainty_percent), 4);
        add(
            "Speed error (positive: fast)",
            Some(format!(
                "{} +- {} %",
                signed(speed.error_percent, digits),
                unsigned(speed.uncertainty_percent, digits)
            )),
        );
        if let Some(length) = &speed.from_length {
            add("Speed from a length", Some(words::speed_from_length(length)));
        }
        add("Drift", speed.drift_percent_per_min.map(|drift| format!("{} % per minute", signed(drift, 4))));
    }
    if let Some(flutter) = &reading.flutter {
        let [low, split, high] = flutter.band_hz.map(frequency);
        let percent = |value: Option<f64>| value.map(|value| format!("{} %", unsigned(value, 4)));
        add("Flutter, weighted rms", percent(flutter.weighted_rms_percent));
        add("Flutter, weighted 2-sigma", percent(flutter.two_sigma_percent));
        add("Flutter, weighted quasi-peak", percent(flutter.weighted_quasi_peak_percent));
        add(&format!("Flutter, unweighted peak, {low} to {high}"), percent(flutter.unweighted_peak_percent));
        add(&format!("Flutter, unweighted rms, {low} to {high}"), percent(flutter.unweighted_rms_percent));
        add(&format!("Wow, unweighted rms, {low} to {split}"), percent(flutter.wow_rms_percent));
        add(&format!("Flutter, unweighted rms, {split} to {high}"), percent(flutter.flutter_rms_percent));
        if let Some(spread) = &flutter.spread {
            let range = spread.lowest.weighted_rms_percent.zip(spread.highest.weighted_rms_percent);
            add(
                &format!("Flutter, weighted rms, range of stretches of {} s", spread.stretch_s),
                range.map(|(low, high)| format!("{} to {} %", unsigned(low, 4), unsigned(high, 4))),
            );
        }
        add("Flutter, notes", Some(words::flutter_notes(flutter).join(" ")));
        add(
            "Flutter measured",
            Some(format!(
                "from {} s to {} s of the return",
                unsigned(flutter.measured_from_s.seconds(), 1),
                unsigned(flutter.measured_to_s.seconds(), 1)
            )),
        );
    }
    if let Some(noise) = &reading.noise {
        let pair = |pair: [Option<f64>; 2]| {
            let side = |k: usize| {
                pair[k]
                    .map_or("cannot tell".to_owned(), |db| unsigned(db, decimals(noise.uncertainty_db[k], 1)))
            };
            format!("{} / {} dB", side(0), side(1))
        };
        add("Noise is stated against", Some(noise.reference.clone()));
        add("Noise, unweighted, left / right", Some(pair(noise.unweighted_db)));
        add("Noise, A-weighted, left / right", Some(pair(noise.a_weighted_db)));
        if noise.itu468_db != [None; 2] {
            add("Noise, ITU-R 468 quasi-peak, left / right", Some(pair(noise.itu468_db)));
        }
        match &noise.mains {
            Some(mains) => {
                add(&format!("Hum ({}), left / right", frequency(mains.hz)), Some(pair(mains.hum_db)));
                add(
                    "Noise, A-weighted, hum subtracted, left / right",
                    Some(pair(noise.a_weighted_without_hum_db)),
                );
                add("The hum", Some(words::origin(mains.origin).to_owned()));
            }
            None => add("Hum, left / right", Some("none stands out".to_owned())),
        }
    }
    if rows.is_empty() {
        *body += "<section>\n<h2>Figures</h2>\n<p>Nothing was measured.</p>\n</section>\n";
        return;
    }
    *body += "<section>\n<h2>Figures</h2>\n<table class=\"figures\">\n<tbody>\n";
    for (name, value) in rows {
        *body += &format!("<tr><th scope=\"row\">{}</th><td>{}</td></tr>\n", text(&name), text(&value));
    }
    *body += "</tbody>\n</table>\n</section>\n";
}

/// Table of the stepped tones (or the sweep, or noise, if there are none).
fn response(body: &mut String, reading: &Reading) {
    let Some(response) = &reading.response else { return };
    let kinds = [
        ("stepped tones", &response.steps),
        ("sweep, third octaves", &response.sweep),
        ("noise, third octaves", &response.noise),
    ];
    let Some((kind, rows)) = kinds.into_iter().find(|kind| !kind.1.is_empty()) else { return };
    *body += &format!(
        "<section>\n<h2>Response, {kind}</h2>\n<p>In dB against {}; difference of the gains, left minus right.</p>\n\
         <table class=\"response\">\n<thead><tr><th>tone</th><th colspan=\"2\">left</th>\
         <th colspan=\"2\">right</th><th>difference</th></tr></thead>\n\
         <tbody>\n",
        text(&frequency(response.reference_hz))
    );
    let digits = rows.iter().map(|row| row.uncertainty_db.map(|u| decimals_db(u, 2)));
    let most = digits.clone().flatten().max().unwrap_or(0);
    // Blanks as wide as a digit and as a point keep the points under each other.
    let padded = |number: String, digits: usize| {
        let blanks = words::behind_point(digits, most);
        let point = if digits == 0 && blanks > 0 { "\u{2008}" } else { "" };
        let digits = "\u{2007}".repeat(blanks - usize::from(!point.is_empty()));
        format!("{}{point}{digits}", text(&number))
    };
    for (row, digits) in rows.iter().zip(digits) {
        let side = |k: usize| match row.db[k] {
            Some(db) => {
                let spread = row.uncertainty_db[k]
                    .map(|u| padded(format!("+- {}", unsigned(u, digits[k])), digits[k]))
                    .unwrap_or_default();
                format!(
                    "<td>{}</td><td class=\"spread\">{spread}</td>",
                    padded(signed(db, digits[k]), digits[k])
                )
            }
            None => "<td colspan=\"2\">cannot tell</td>".to_owned(),
        };
        let both = digits[0].min(digits[1]);
        let difference =
            row.difference_db.map_or("cannot tell".to_owned(), |db| padded(signed(db, both), both));
        *body += &format!(
            "<tr><th scope=\"row\">{}</th>{}{}<td>{difference}</td></tr>\n",
            text(&words::row_frequency(row.hz)),
            side(0),
            side(1)
        );
    }
    *body += "</tbody>\n</table>\n</section>\n";
}

/// Table of the noise at high levels, one column a level.
fn saturation(body: &mut String, reading: &Reading) {
    let rows: Vec<_> = reading.saturation.iter().flat_map(|saturation| &saturation.noise).collect();
    for colour in ["white", "pink"] {
        let levels: Vec<_> = rows.iter().filter(|row| row.colour == colour).take(4).collect();
        let Some(first) = levels.first() else { continue };
        let heads: String =
            levels.iter().map(|row| format!("<th>{} dB</th>", text(&signed(row.programme_db, 0)))).collect();
        *body += &format!(
            "<section>\n<h2>Noise at high levels, {colour}</h2>\n<p>Return against programme, in dB against the gain of the \
             level tone, left / right. What falls from column to column is what the tape no longer takes.</p>\n\
             <table class=\"response\">\n<thead><tr><th>band</th>{heads}</tr></thead>\n<tbody>\n"
        );
        for band in &first.bands {
            let cells: String = levels
                .iter()
                .map(|row| {
                    let same = row.bands.iter().find(|other| (other.hz / band.hz - 1.0).abs() < 1e-6);
                    let side = |k: usize| {
                        same.and_then(|band| band.db[k]).map_or("cannot tell".to_owned(), |db| signed(db, 1))
                    };
                    format!("<td>{} / {}</td>", text(&side(0)), text(&side(1)))
                })
                .collect();
            *body +=
                &format!("<tr><th scope=\"row\">{}</th>{cells}</tr>\n", text(&words::row_frequency(band.hz)));
        }
        *body += "</tbody>\n</table>\n</section>\n";
    }
}

fn nonlinear_table(body: &mut String, table: &nonlinear::Table) {
    *body += &format!("<section>\n<h2>{}</h2>\n", text(&table.title));
    for note in &table.notes {
        *body += &format!("<p>{}</p>\n", text(note));
    }
    *body += "<table class=\"response\">\n<thead><tr>";
    for head in &table.heads {
        *body += &format!("<th>{}</th>", text(head));
    }
    *body += "</tr></thead>\n<tbody>\n";
    for row in &table.rows {
        for (k, cell) in row.iter().enumerate() {
            let (open, close) = if k == 0 { ("<tr><th scope=\"row\">", "</th>") } else { ("<td>", "</td>") };
            // A sign stands at the start of a cell.
            let cell = text(&format!(" {cell}"));
            *body += &format!("{open}{}{close}", cell.trim_start());
        }
        *body += "</tr>\n";
    }
    *body += "</tbody>\n</table>\n";
    for line in &table.below {
        *body += &format!("<p>{}</p>\n", text(&capitalised(line)));
    }
    *body += "</section>\n";
}

fn dropouts(body: &mut String, reading: &Reading) {
    if reading.dropouts.is_empty() {
        return;
    }
    *body += "<section>\n<h2>Dropouts in steady tones</h2>\n<ul>\n";
    for dropout in reading.dropouts.iter().take(MOST_DROPOUTS) {
        *body += &format!(
            "<li>at {} s, {}: {} dB for {} ms, {}</li>\n",
            unsigned(dropout.at_s.seconds(), 2),
            text(&dropout.part),
            unsigned(dropout.depth_db, 1),
            unsigned(dropout.length_ms, 0),
            dropout.channel
        );
    }
    *body += "</ul>\n";
    if reading.dropouts.len() > MOST_DROPOUTS {
        *body += &format!("<p>And {} more: dropouts.csv.</p>\n", reading.dropouts.len() - MOST_DROPOUTS);
    }
    *body += "</section>\n";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_from_outside_is_escaped_everywhere() {
        let mut reading: Reading =
            serde_json::from_str(include_str!("../../tests/readings/faulty.json")).unwrap();
        let evil = "<script>alert('x')</script>&\"\u{1b}";
        reading.capture.file = evil.to_owned();
        reading.capture.loopback = Some(evil.to_owned());
        reading.recipe.as_mut().unwrap().name = evil.to_owned();
        reading.level[0].part = evil.to_owned();
        reading.dropouts[0].part = evil.to_owned();
        reading.warnings[0].text = evil.to_owned();
        reading.warnings[0].id = WarningId::Other(evil.to_owned());
        reading.noise.as_mut().unwrap().reference = evil.to_owned();
        reading.flutter.as_mut().unwrap().lines[0].part = Some(evil.to_owned());
        reading = crate::judge::conclude(
            reading.into_facts(),
            &crate::trade::Medium::COMPACT_CASSETTE,
            &Limits::full_size(),
            None,
        );
        reading.findings[0].why = evil.to_owned();
        reading.findings[0].id = evil.to_owned();
        let page = report(&reading, None);
        assert!(!page.contains("<script") && !page.contains('\u{1b}'));
        assert!(page.matches("&lt;script&gt;").count() >= 12);
    }

    #[test]
    fn nothing_is_fetched_and_the_page_is_well_formed() {
        for reading in [
            include_str!("../../tests/readings/healthy.json"),
            include_str!("../../tests/readings/faulty.json"),
            include_str!("../../tests/readings/empty.json"),
            include_str!("../../tests/readings/rounds.json"),
        ] {
            let reading: Reading = serde_json::from_str(reading).unwrap();
            let page = report(&reading, Some(&Limits::full_size()));
            for bad in ["src=", "href=", "url(", "@import", "<script", "javascript:", "NaN"] {
                assert!(!page.contains(bad), "{bad}");
            }
            // Void elements closed, the rest is XML already.
            let xml = page
                .replace("<!DOCTYPE html>\n", "")
                .replace("<br>", "<br/>")
                .lines()
                .filter(|line| !line.starts_with("<meta"))
                .collect::<Vec<_>>()
                .join("\n");
            roxmltree::Document::parse(&xml).unwrap();
            for caution in CAUTIONS {
                assert!(page.contains(caution), "{caution}");
            }
        }
    }
}
