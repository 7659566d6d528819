//! A reading for the terminal: findings first, then the figures.

use super::{
    amplifier, causes, found, meanings, noise_bands, nonlinear, rounds_text, same_tape, words, work,
};
use crate::judge::Reading;
use crate::judge::{decimals, decimals_db, frequency, part_words, signed, unsigned};
use crate::reading::{
    Finding, Flutter, FlutterFigures, Level, Noise, Response, ResponsePoint, SaturationNoise,
};
use crate::trade::CAUTIONS;

/// Widest line of [`summary`], in characters.
pub const COLUMNS: usize = 100;

/// Where text under a heading of a finding starts.
const INDENT: usize = 6;

/// The reading in plain text, lines of at most [`COLUMNS`] characters.
///
/// Text from outside (file and part names) has its control characters replaced by U+FFFD.
pub fn summary(reading: &Reading) -> String {
    let mut page = Page::default();
    heading(&mut page, reading);
    what_to_do(&mut page, reading);
    findings(&mut page, &reading.findings);
    page.head("WHAT EACH FIGURE CAN MEAN, measured or not");
    for (quantity, meaning) in meanings::rows(reading) {
        page.wrapped(2, &format!("{quantity:<23}"), &meaning);
    }
    warnings(&mut page, reading);
    for table in found::tables(reading) {
        nonlinear_table(&mut page, &table);
    }
    levels(&mut page, reading);
    match &reading.response {
        Some(response) => response_table(&mut page, response),
        None => missing(&mut page, "RESPONSE"),
    }
    for table in causes::table(reading).into_iter().chain(amplifier::tables(reading)) {
        nonlinear_table(&mut page, &table);
    }
    azimuth(&mut page, reading);
    speed(&mut page, reading);
    match &reading.flutter {
        Some(flutter) => flutter_table(&mut page, flutter),
        None => missing(&mut page, "FLUTTER"),
    }
    for table in same_tape::tables(reading) {
        nonlinear_table(&mut page, &table);
    }
    match &reading.noise {
        Some(noise) => noise_table(&mut page, noise),
        None => missing(&mut page, "NOISE"),
    }
    if let Some(table) = noise_bands::table(reading) {
        nonlinear_table(&mut page, &table);
    }
    if let Some(rows) =
        reading.saturation.as_ref().map(|saturation| &saturation.noise).filter(|rows| !rows.is_empty())
    {
        saturation(&mut page, rows);
    }
    for table in nonlinear::tables(reading) {
        nonlinear_table(&mut page, &table);
    }
    rounds_text::rounds(&mut page, reading);
    dropouts(&mut page, reading);
    page.head("CAUTIONS");
    for caution in
        CAUTIONS.iter().chain(rounds_text::trimmer_cautions(reading)).chain(amplifier::cautions(reading))
    {
        page.wrapped(2, "", caution);
    }
    page.text
}

#[derive(Default)]
pub(super) struct Page {
    text: String,
}

impl Page {
    /// The finished page.
    pub(super) fn into_text(self) -> String {
        self.text
    }

    pub(super) fn line(&mut self, line: &str) {
        // A terminal does not break lines at its spaces, and whoever searches the text types plain ones.
        self.text += words::sanitised(&line.replace('\u{a0}', " ")).trim_end();
        self.text.push('\n');
    }

    pub(super) fn head(&mut self, title: &str) {
        self.text.push('\n');
        self.line(title);
    }

    /// `label` and `text` from column `indent` on, further lines under the start of the text.
    pub(super) fn wrapped(&mut self, indent: usize, label: &str, text: &str) {
        let start = indent + label.chars().count();
        let room = COLUMNS - start;
        let mut line = format!("{:indent$}{label}", "");
        let mut used = 0;
        for word in words::bound(text).split(' ') {
            let mut word: Vec<char> = word.chars().collect();
            if used > 0 && used + 1 + word.len() > room {
                self.line(&line);
                line = " ".repeat(start);
                used = 0;
            }
            if used > 0 {
                line.push(' ');
                used += 1;
            }
            // A word wider than the room (a long file name) is cut into lines.
            while used == 0 && word.len() > room {
                let rest = word.split_off(room);
                line.extend(word);
                self.line(&line);
                line = " ".repeat(start);
                word = rest;
            }
            used += word.len();
            line.extend(word);
        }
        self.line(&line);
    }
}

/// Number right-aligned, or the words for no number.
pub(super) fn cell(value: Option<f64>, digits: usize, width: usize, sign: bool) -> String {
    let text = match value {
        Some(value) if sign => signed(value, digits),
        Some(value) => unsigned(value, digits),
        None => "cannot tell".to_owned(),
    };
    format!("{text:>width$}")
}

/// As [`cell`], but with the point where a number with `most` decimals has it; words end at the edge.
fn pointed(value: Option<f64>, digits: usize, most: usize, width: usize, sign: bool) -> String {
    let behind = if value.is_some() { words::behind_point(digits, most) } else { 0 };
    format!("{}{:behind$}", cell(value, digits, width - behind, sign), "")
}

fn missing(page: &mut Page, title: &str) {
    page.head(title);
    page.line("  not measured");
}

fn heading(page: &mut Page, reading: &Reading) {
    let capture = &reading.capture;
    page.wrapped(0, "Reading of     ", &capture.file);
    let peaks = match capture.peak_dbfs {
        [None, None] => "silent".to_owned(),
        [left, right] => format!("peak {} / {} dBFS", cell(left, 1, 0, false), cell(right, 1, 0, false)),
    };
    page.wrapped(
        0,
        "Capture        ",
        &format!(
            "{} Hz, {}, {} s, {peaks}, slates found: {}",
            capture.rate_hz,
            depth(&capture.depth),
            unsigned(capture.duration_s, 1),
            capture.slates_found
        ),
    );
    if let Some(deck) = words::deck(reading) {
        page.wrapped(0, "Deck           ", deck);
    }
    if let Some(made) = words::made(reading) {
        page.wrapped(0, "Read           ", &made);
    }
    if let Some(job) = words::job(reading) {
        page.wrapped(0, "Job            ", job);
    }
    page.wrapped(0, "Recipe         ", &words::recipe(reading));
    page.wrapped(0, "Circumstances  ", &words::circumstances(&reading.circumstances));
    if let Some(loopback) = &capture.loopback {
        page.wrapped(0, "Loopback capture ", &format!("{loopback} (subtracted)"));
    }
    if let Some(card) = &reading.circumstances.card {
        page.wrapped(0, "Card           ", &meanings::card(card));
    }
}

/// Sample format in words.
pub(super) fn depth(depth: &str) -> String {
    if depth == "float" { "float".to_owned() } else { format!("{depth} bit") }
}

fn what_to_do(page: &mut Page, reading: &Reading) {
    page.head("WHAT TO DO, in this order");
    for line in work::lines(reading) {
        page.wrapped(2, &format!("{:>2}  ", line.number), &line.text);
        page.wrapped(INDENT, "for  ", &line.because);
    }
    page.wrapped(2, "", work::note(reading));
}

fn findings(page: &mut Page, findings: &[Finding]) {
    page.head("FINDINGS, in the order of work");
    if findings.is_empty() {
        page.line("  none");
        return;
    }
    page.line(&format!("  {}", words::tally(findings)));
    for group in words::grouped(findings) {
        page.text.push('\n');
        let finding = group[0];
        if group.len() > 1 {
            page.wrapped(2, "", &format!("{}: {}", words::names(&group), words::verdict(finding.verdict)));
            page.wrapped(INDENT, "why    ", &finding.why);
            continue;
        }
        let name = match finding.channel {
            Some(side) if side.is_side() => format!("{} {side}", finding.id),
            _ => finding.id.clone(),
        };
        let value: Vec<String> = words::value(finding).into_iter().chain(finding.kind.clone()).collect();
        let verdict = words::verdict(finding.verdict);
        page.wrapped(2, &format!("{name:<25} {verdict:<12} "), &value.join(", "));
        page.wrapped(INDENT, "why    ", &finding.why);
        if let Some(turn) = &finding.turn {
            page.wrapped(INDENT, "turn   ", turn);
        }
        if !finding.rests_on.is_empty() {
            let first = format!("{}: outside, and this rests on it", finding.rests_on.join(", "));
            page.wrapped(INDENT, "first  ", &first);
        }
        if let Some(limit) = &finding.limit {
            page.wrapped(INDENT, "limit  ", limit);
        }
        page.wrapped(INDENT, "basis  ", &finding.basis);
    }
}

fn warnings(page: &mut Page, reading: &Reading) {
    page.head("WARNINGS");
    if reading.warnings.is_empty() {
        page.line("  none");
    }
    for warning in &reading.warnings {
        page.wrapped(2, &format!("{:<20} ", warning.id), &warning.text);
    }
}

fn levels(page: &mut Page, reading: &Reading) {
    if reading.level.is_empty() {
        return missing(page, "LEVEL");
    }
    page.head("LEVEL (return in dBFS: 0 is the rms of a full-scale sine; difference: left minus right)");
    page.line(&format!(
        "  {:<20}{:>10}{:>12}{:>14}{:>14}{:>14}{:>8}",
        "part", "tone", "programme", "left", "right", "difference", "+-"
    ));
    let digits_of = |row: &Level| decimals_db(Some(row.uncertainty_db), 2);
    let most = reading.level.iter().map(digits_of).max().unwrap_or(0);
    for row in &reading.level {
        let digits = digits_of(row);
        let part: String = row.part.chars().take(19).collect();
        page.line(&format!(
            "  {part:<20}{:>10}{:>9} dB{} {} {}{}",
            frequency(row.hz),
            signed(row.programme_db, 1),
            pointed(row.return_dbfs[0], digits, most, 14, false),
            pointed(row.return_dbfs[1], digits, most, 13, false),
            pointed(row.difference_db, digits, most, 13, true),
            pointed(Some(row.uncertainty_db), digits, most, 8, false),
        ));
    }
}

fn response_table(page: &mut Page, response: &Response) {
    let kinds: [(&str, &[ResponsePoint]); 3] = [
        ("stepped tones", &response.steps),
        ("sweep, third octaves", &response.sweep),
        ("noise, third octaves", &response.noise),
    ];
    for (kind, rows) in kinds.into_iter().filter(|kind| !kind.1.is_empty()) {
        page.head(&format!(
            "RESPONSE, {kind} (dB re {}, at {} dB; difference of gains: left minus right)",
            frequency(response.reference_hz),
            signed(response.programme_db, 0)
        ));
        page.line(&format!(
            "  {:>10}{:>14}{:>8}{:>14}{:>8}{:>14}",
            "tone", "left", "+-", "right", "+-", "difference"
        ));
        let digits_of = |row: &ResponsePoint| row.uncertainty_db.map(|u| decimals_db(u, 2));
        let most = rows.iter().flat_map(digits_of).max().unwrap_or(0);
        for row in rows {
            let digits = digits_of(row);
            page.line(&format!(
                "  {:>10}{}{}{}{}{}",
                words::row_frequency(row.hz),
                pointed(row.db[0], digits[0], most, 14, true),
                spread(row.uncertainty_db[0], digits[0], most),
                pointed(row.db[1], digits[1], most, 14, true),
                spread(row.uncertainty_db[1], digits[1], most),
                pointed(row.difference_db, digits[0].min(digits[1]), most, 14, true),
            ));
        }
    }
    let ends =
        |pair: [Option<f64>; 2]| pair.map(|hz| hz.map_or("not reached".to_owned(), frequency)).join(" / ");
    page.line(&format!(
        "  down 3 dB, left / right: low end {}, high end {}",
        ends(response.low_3db_hz),
        ends(response.high_3db_hz)
    ));
}

/// Uncertainty in its column; blank where there is no value to be sure of.
fn spread(uncertainty: Option<f64>, digits: usize, most: usize) -> String {
    match uncertainty {
        Some(_) => pointed(uncertainty, digits, most, 8, false),
        None => " ".repeat(8),
    }
}

/// A named figure on a line of its own.
fn figure(page: &mut Page, name: &str, value: Option<String>, unit: &str) {
    match value {
        Some(value) => page.line(&format!("  {name:<34}{value:>12} {unit}")),
        None => page.line(&format!("  {name:<34}{:>12}", "cannot tell")),
    }
}

fn azimuth(page: &mut Page, reading: &Reading) {
    let Some(azimuth) = &reading.azimuth else { return missing(page, "AZIMUTH") };
    page.head("AZIMUTH (delay positive: right lags)");
    let digits = decimals(azimuth.uncertainty_us, 2);
    let delay = azimuth.delay_us.map(|delay| signed(delay, digits));
    let unit = azimuth.uncertainty_us.map_or("us".to_owned(), |u| format!("us +- {}", unsigned(u, digits)));
    figure(page, "delay", delay, &unit);
    figure(page, "head tilt", azimuth.angle_arcmin.map(|angle| signed(angle, 2)), "minutes of arc");
    figure(
        page,
        "wander of the delay, 0.1 to 10 Hz",
        azimuth.wander_us_rms.map(|us| unsigned(us, 2)),
        "us rms",
    );
    figure(page, "response at 10 kHz by this tilt", azimuth.loss_at_10k_db.map(|db| signed(db, 2)), "dB");
}

fn speed(page: &mut Page, reading: &Reading) {
    let Some(speed) = &reading.speed else { return missing(page, "SPEED") };
    // Without slates no player is in the chain, and the card's clock is in the uncertainty.
    page.head(if reading.found.is_empty() {
        "SPEED (positive: fast; clocks of player and sound card not included)"
    } else {
        "SPEED (positive: fast; the sound card's clock and what is known of the tones are included)"
    });
    let digits = decimals(Some(speed.uncertainty_percent), 4);
    figure(
        page,
        "error",
        Some(signed(speed.error_percent, digits)),
        &format!("% +- {}", unsigned(speed.uncertainty_percent, digits)),
    );
    if let Some(length) = &speed.from_length {
        page.wrapped(2, "", &words::speed_from_length(length));
    }
    figure(page, "drift", speed.drift_percent_per_min.map(|drift| signed(drift, 4)), "% per minute");
}

fn flutter_table(page: &mut Page, flutter: &Flutter) {
    page.head(&format!(
        "FLUTTER (tone {}, measured from {} s to {} s of the return)",
        frequency(flutter.carrier_hz),
        unsigned(flutter.measured_from_s.seconds(), 1),
        unsigned(flutter.measured_to_s.seconds(), 1)
    ));
    let [low, split, high] = flutter.band_hz.map(frequency);
    let u = &flutter.uncertainties;
    let spread = flutter.spread.as_ref();
    let row = |page: &mut Page,
               name: &str,
               value: Option<f64>,
               kind: fn(&FlutterFigures) -> Option<f64>,
               band: &str| {
        let uncertainty = kind(u).or(flutter.uncertainty_percent);
        let digits = decimals(uncertainty, 4);
        let sure = uncertainty.map_or(String::new(), |u| format!(" +- {}", unsigned(u, digits)));
        let along = spread
            .and_then(|spread| Some((kind(&spread.lowest)?, kind(&spread.highest)?)))
            .map_or(String::new(), |(low, high)| format!(", {} to {}", unsigned(low, 4), unsigned(high, 4)));
        figure(page, name, value.map(|value| unsigned(value, digits)), &format!("%{sure}{along}{band}"));
    };
    row(page, "weighted rms", flutter.weighted_rms_percent, |f| f.weighted_rms_percent, "");
    row(page, "weighted 2-sigma", flutter.two_sigma_percent, |f| f.two_sigma_percent, "");
    row(
        page,
        "weighted quasi-peak",
        flutter.weighted_quasi_peak_percent,
        |f| f.weighted_quasi_peak_percent,
        "",
    );
    let band = format!("; {low} to {high}");
    row(page, "unweighted peak", flutter.unweighted_peak_percent, |f| f.unweighted_peak_percent, &band);
    row(page, "unweighted rms", flutter.unweighted_rms_percent, |f| f.unweighted_rms_percent, &band);
    row(
        page,
        "wow, unweighted rms",
        flutter.wow_rms_percent,
        |f| f.wow_rms_percent,
        &format!("; {low} to {split}"),
    );
    let fast = format!("; {split} to {high}");
    row(page, "flutter, unweighted rms", flutter.flutter_rms_percent, |f| f.flutter_rms_percent, &fast);
    if let Some(drift) = flutter.drift_percent_per_min {
        figure(page, "drift, subtracted", Some(signed(drift, 3)), "% per minute");
    }
    if let Some(spread) = spread {
        let words =
            format!("lowest and highest of {} stretches of {} s", flutter.stretches.len(), spread.stretch_s);
        page.wrapped(2, "the range after each figure: ", &words);
    }
    for line in words::flutter_notes(flutter) {
        page.wrapped(2, "", &line);
    }
    for line in &flutter.lines {
        let part = part_words(line);
        let moves =
            line.width_hz.map_or(String::new(), |hz| format!("; moves, smeared over {} Hz", unsigned(hz, 2)));
        let drifts = words::line_drift(line).map_or(String::new(), |drift| format!("; {drift}"));
        figure(
            page,
            &format!("line at {}", frequency(line.hz)),
            Some(unsigned(line.percent_peak, 4)),
            &format!("% peak, {part}{moves}{drifts}"),
        );
    }
}

fn noise_table(page: &mut Page, noise: &Noise) {
    page.head("NOISE");
    page.wrapped(2, "dB against ", &noise.reference);
    page.line(&format!("  {:<34}{:>14}{:>14}", "", "left", "right"));
    let digits = noise.uncertainty_db.map(|u| decimals(u, 1));
    // Levels below their reference: a plus would only be noise.
    let mut row = |name: &str, pair: [Option<f64>; 2]| {
        page.line(&format!(
            "  {name:<34}{}{}",
            cell(pair[0], digits[0], 14, false),
            cell(pair[1], digits[1], 14, false)
        ));
    };
    row("the reference itself, dBFS", noise.reference_dbfs);
    row("unweighted, 22.4 Hz to 22.4 kHz", noise.unweighted_db);
    row("A-weighted", noise.a_weighted_db);
    row("uncertainty (k = 2)", noise.uncertainty_db);
    if noise.itu468_db != [None; 2] {
        row("ITU-R 468, quasi-peak", noise.itu468_db);
        row("uncertainty (k = 2)", noise.itu468_uncertainty_db);
        row("its needle moves by (rms)", noise.itu468_spread_db);
    }
    match &noise.mains {
        None => page.line("  no mains hum stands out"),
        Some(mains) => {
            row("mains hum, all components", mains.hum_db);
            for &(hz, left, right) in &mains.lines {
                row(&format!("  line at {}", frequency(hz)), [left, right]);
            }
            row("unweighted, hum subtracted", noise.unweighted_without_hum_db);
            row("A-weighted, hum subtracted", noise.a_weighted_without_hum_db);
            let origin = words::origin(mains.origin);
            let digits = decimals(mains.uncertainty_hz, 2).max(2);
            page.line(&format!("  hum at {} Hz: {origin}", unsigned(mains.hz, digits)));
            page.wrapped(4, "", &mains.origin_why);
        }
    }
    if noise.parts.len() > 1 {
        page.line("  silent parts, left / right (dB against the same reference)");
        page.line(&format!(
            "  {:<16}{:>16}{:>16}{:>16}{:>16}",
            "", "unweighted", "A-weighted", "ITU-R 468", "hum"
        ));
        for part in &noise.parts {
            let both = |pair: [Option<f64>; 2]| {
                let side = |k: usize| pair[k].map_or("none".to_owned(), |db| unsigned(db, 1));
                format!("{:>16}", format!("{} / {}", side(0), side(1)))
            };
            let name: String = part.part.chars().take(15).collect();
            page.line(&format!(
                "  {name:<16}{}{}{}{}",
                both(part.unweighted_db),
                both(part.a_weighted_db),
                both(part.itu468_db),
                both(part.hum_db)
            ));
        }
    }
}

fn saturation(page: &mut Page, rows: &[SaturationNoise]) {
    page.head("NOISE AT HIGH LEVELS, return against programme (dB re the level tone's gain, left / right)");
    for colour in ["white", "pink"] {
        let levels: Vec<&SaturationNoise> = rows.iter().filter(|row| row.colour == colour).take(4).collect();
        let Some(first) = levels.first() else { continue };
        let heads: String = levels
            .iter()
            .map(|row| format!("{:>16}", format!("{} dB", signed(row.programme_db, 0))))
            .collect();
        page.line(&format!("  {:<10}{heads}", format!("{colour}:")));
        for band in &first.bands {
            let cells: String = levels
                .iter()
                .map(|row| {
                    let same = row.bands.iter().find(|other| (other.hz / band.hz - 1.0).abs() < 1e-6);
                    let side = |k: usize| {
                        same.and_then(|band| band.db[k]).map_or("?".to_owned(), |db| signed(db, 1))
                    };
                    format!("{:>16}", format!("{} / {}", side(0), side(1)))
                })
                .collect();
            page.line(&format!("  {:>10}{cells}", words::row_frequency(band.hz)));
        }
    }
}

fn nonlinear_table(page: &mut Page, table: &nonlinear::Table) {
    page.head(
        &table
            .title
            .to_uppercase()
            .replace(" HZ", " Hz")
            .replace("KHZ", "kHz")
            .replace("DB", "dB")
            .replace(" US", " us"),
    );
    for note in &table.notes {
        page.wrapped(2, "", note);
    }
    let rows = || {
        std::iter::once(table.heads.iter().map(|head| (*head).to_owned()).collect()).chain(table.rows.clone())
    };
    let width = |column: usize| rows().map(|row: Vec<String>| row[column].chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..table.heads.len()).map(width).collect();
    for row in rows() {
        let cells = row.iter().zip(&widths).map(|(cell, width)| format!("  {cell:>width$}"));
        page.line(&cells.collect::<String>());
    }
    for line in &table.below {
        page.wrapped(2, "", line);
    }
}

fn dropouts(page: &mut Page, reading: &Reading) {
    page.head("DROPOUTS in steady tones");
    if reading.dropouts.is_empty() {
        page.line("  none found");
    }
    for dropout in &reading.dropouts {
        page.wrapped(
            2,
            &format!("at {:>8} s  ", unsigned(dropout.at_s.seconds(), 2)),
            &format!(
                "{}: {} dB for {} ms, {}",
                dropout.part,
                unsigned(dropout.depth_db, 1),
                unsigned(dropout.length_ms, 0),
                dropout.channel
            ),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn readings() -> Vec<Reading> {
        [
            include_str!("../../tests/readings/healthy.json"),
            include_str!("../../tests/readings/faulty.json"),
            include_str!("../../tests/readings/empty.json"),
            include_str!("../../tests/readings/rounds.json"),
        ]
        .map(|text| serde_json::from_str(text).unwrap())
        .to_vec()
    }

    #[test]
    fn no_line_is_too_wide_and_no_dashes_stand_for_numbers() {
        for mut reading in readings() {
            reading.capture.file = "a".repeat(300) + " and then " + &"b".repeat(40);
            if let Some(response) = &mut reading.response {
                response.steps[0].db = [None, None];
                response.steps[0].uncertainty_db = [None, None];
                response.steps[0].difference_db = None;
            }
            let text = summary(&reading);
            for line in text.lines() {
                assert!(line.chars().count() <= COLUMNS, "{line}");
                assert_eq!(line, line.trim_end());
                assert!(!line.contains(" --- ") && !line.ends_with("--") && !line.contains(" -- "), "{line}");
            }
            assert!(!text.contains("NaN") && !text.contains("None"));
        }
    }

    #[test]
    fn control_characters_in_a_file_name_never_reach_the_terminal() {
        let mut reading = readings().remove(1);
        reading.capture.file = "evil\u{1b}[2J\u{7}\u{202e}name.wav".to_owned();
        reading.level[0].part = "le\u{9b}vel".to_owned();
        let text = summary(&reading);
        assert!(text.chars().all(|c| c == '\n' || !c.is_control()), "{text}");
        assert!(text.contains("evil\u{fffd}[2J\u{fffd}\u{fffd}name.wav"));
    }

    #[test]
    fn small_percentages_keep_their_digits() {
        let text = summary(&readings()[0]);
        assert!(text.contains("0.0456 %"), "{text}");
    }
}
