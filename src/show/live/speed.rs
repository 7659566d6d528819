//! Speed: the frequency and how far off it is, flutter, and what turns at which rate.

use super::bar::{Around, filled, span};
use super::look::{PLAIN, STRONG, Sheet};
use super::{big, chart, said};
use crate::reading::figures::{UnitKind, frequency, given};
use crate::reading::{FlutterNow, Picture, SpeedNow};
use crate::show::remedies::KNOWN_HZ;
use crate::trade::test_tapes::{SHOW_FLUTTER_HZ, shows_flutter};

const WIDEST_HZ: &str = "8888.8";
const WIDEST_PERCENT: &str = "-8.88";
/// Reach of the bar where no limit is known, percent.
const SPAN_PERCENT: f64 = 3.0;
/// Reach of the flutter's needle where no limit is known, percent.
const NEEDLE_PERCENT: f64 = 0.4;
/// Rows that the flutter has at least.
const FLUTTER: usize = 7;

/// Draws it.
pub(super) fn draw(sheet: &mut Sheet<'_>, picture: &Picture, now: &SpeedNow) {
    let (width, height) = (sheet.width(), sheet.height());
    let verdict = picture.figure.as_ref().and_then(|figure| figure.verdict);
    let style = sheet.look.digits(verdict);
    let error = said::figure(UnitKind::SpeedPercent, now.error_1s_percent, now.uncertainty_percent)
        .filter(|_| now.nominal_is_known);
    let thick = 1 + height / 25;
    let rows = (height.saturating_sub(2 + Around::rows(thick) + FLUTTER)).max(5).min(height / 3);
    let right = width * 11 / 20;
    let size = big::size(WIDEST_HZ, right.saturating_sub(1), rows).min(big::size(
        WIDEST_PERCENT,
        width.saturating_sub(right + 2),
        rows,
    ));
    let hz = said::figure(UnitKind::Hertz, Some(now.hz_1s), None);
    sheet.text(0, 0, "Hz, mean of 1 s", STRONG);
    match hz {
        Some(hz) => big::draw(sheet, big::width(WIDEST_HZ, size), 1, &hz.number(), size, style),
        None => drop(sheet.text(0, 1, said::CANNOT_TELL, STRONG)),
    }
    if let Some(error) = error {
        sheet.text(right, 0, "% of nominal, mean of 1 s", STRONG);
        let mut part = sheet.part(right, 1, width - right, rows);
        let text = error.signed().number();
        big::draw(&mut part, big::width(WIDEST_PERCENT, size), 0, &text, size, style);
    }
    let mut y = 1 + big::height(size).max(1);
    let x = sheet.text(0, y, &against(now), STRONG);
    if let Some(figure) = picture.figure.as_ref().filter(|_| now.nominal_is_known) {
        let text = said::judged(figure);
        sheet.text(x + 2, y, &text, sheet.look.verdict(verdict));
    }
    y += 1;
    if now.nominal_is_known {
        let bar = Around {
            off: now.error_1s_percent,
            limit: now.limit_percent,
            best: None,
            span: span(now.limit_percent, SPAN_PERCENT),
            style,
        };
        bar.draw(sheet, y, thick);
        y += Around::rows(thick);
    } else {
        y = sheet.wrapped(y, 2, &guess(now), PLAIN);
    }
    let mut part = sheet.part(0, y, width, height.saturating_sub(y));
    match &now.flutter {
        Some(now) => flutter(&mut part, now),
        None => drop(part.text(0, 0, &no_flutter(now.hz_1s), PLAIN)),
    }
}

/// Nominal, and the error of ten seconds.
fn against(now: &SpeedNow) -> String {
    let over_10 =
        said::finite(now.hz_10s).map(|hz| format!("10 s: {}", said::told(UnitKind::Hertz, Some(hz), None)));
    let over_10 = over_10.unwrap_or_else(|| "10 s: not yet".to_owned());
    let Some(nominal) = now.nominal_hz.filter(|_| now.nominal_is_known) else { return over_10 };
    let error = said::finite(now.error_10s_percent)
        .map(|error| format!(", {}", said::deviation(UnitKind::SpeedPercent, Some(error), None)));
    let nominal = said::told(UnitKind::Hertz, Some(nominal), None);
    format!("nominal {nominal}; {over_10}{}", error.unwrap_or_default())
}

/// What is said where nobody told the tone's frequency.
fn guess(now: &SpeedNow) -> String {
    let untold = "the tone's frequency was not told: no error is stated";
    match said::finite(now.nominal_hz) {
        Some(hz) => {
            format!("{untold}; if it is {}, say so ({KNOWN_HZ} {})", said::hertz(hz), given(hz, 1))
        }
        None => format!("{untold}; say it ({KNOWN_HZ})"),
    }
}

/// What is said before there is flutter.
fn no_flutter(hz: f64) -> String {
    if shows_flutter(hz) {
        return "flutter: once the tone has sounded for some seconds".to_owned();
    }
    let [from_hz, to_hz] = SHOW_FLUTTER_HZ.map(frequency);
    format!("flutter: from a tone of {from_hz} to {to_hz} only")
}

/// Flutter: the needle, the figures, the spectrum, the lines.
fn flutter(sheet: &mut Sheet<'_>, now: &FlutterNow) {
    let (width, height) = (sheet.width(), sheet.height());
    let percent = |value| said::told(UnitKind::Percent, value, None);
    let head = format!("flutter {:>8} ", percent(now.needle_percent));
    let most = span(now.limit_percent.map(|limit| limit / 2.0), NEEDLE_PERCENT);
    let tail = format!(" {}", percent(Some(most)));
    let x = sheet.text(0, 0, &head, STRONG);
    let room = width.saturating_sub(x + tail.len());
    let bar = filled(said::finite(now.needle_percent), now.limit_percent, 0.0, most, room);
    let x = sheet.text(x, 0, &bar, STRONG);
    sheet.text(x, 0, &tail, PLAIN);
    let limit = said::finite(now.limit_percent).map(|limit| format!(" (limit {})", percent(Some(limit))));
    let band = if now.to_hz < chart::FLUTTER_HZ[1] {
        format!(", no faster than {}", said::hertz(now.to_hz))
    } else {
        String::new()
    };
    let figures = format!(
        "weighted quasi-peak {}{}, weighted rms {}, over {}{band}",
        percent(now.weighted_quasi_peak_percent),
        limit.unwrap_or_default(),
        percent(now.weighted_rms_percent),
        said::seconds(now.over_s)
    );
    sheet.text(0, 1, &figures, PLAIN);
    let named = named(now, width);
    let lines = named.len().min((height.saturating_sub(3) / 2).max(1));
    let rows = height.saturating_sub(2 + lines);
    chart::spectrum(&mut sheet.part(0, 2, width, rows), &now.spectrum);
    for (k, line) in named.iter().take(lines).enumerate() {
        sheet.text(0, 2 + rows + k, line, PLAIN);
    }
}

/// Lines with what may turn at that rate, as many side by side as have room.
fn named(now: &FlutterNow, width: usize) -> Vec<String> {
    let mut rows: Vec<String> = Vec::new();
    for line in &now.lines {
        let hz = said::told(UnitKind::LineHertz, Some(line.hz), None);
        let size = said::told(UnitKind::Percent, Some(line.percent_peak), None);
        let part = if line.part.is_empty() { String::new() } else { format!(": {}", line.part) };
        let text = format!("{hz} {size} peak{part}");
        match rows.last_mut() {
            Some(row) if row.chars().count() + 2 + text.chars().count() <= width => {
                *row += &format!("; {text}")
            }
            _ => rows.push(text),
        }
    }
    rows
}
