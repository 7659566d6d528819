//! Bias: high tones against the low one, how far past their peaks, and which way they move.

use super::look::{PLAIN, STRONG, Sheet};
use super::{big, said};
use crate::reading::figures::{UnitKind, given};
use crate::reading::{BiasNow, HighNow, Picture};

const WIDEST: &str = "-88.88";
/// Rows of the table with its head, above which the digits grow.
const TABLE: usize = 9;

/// Draws it.
pub(super) fn draw(sheet: &mut Sheet<'_>, picture: &Picture, now: &BiasNow) {
    let (width, height) = (sheet.width(), sheet.height());
    let half = width / 2;
    let verdict = picture.figure.as_ref().and_then(|figure| figure.verdict);
    let style = sheet.look.digits(verdict);
    let first = now.high.first();
    let name = first.map_or("no high tone yet".to_owned(), |high| {
        format!("{} against {}", said::hertz(high.hz), said::hertz(now.low_hz))
    });
    for (channel, side) in ["left", "right"].into_iter().enumerate() {
        sheet.part(channel * half, 0, half, 1).text(0, 0, &format!("{side}: {name}, dB"), STRONG);
    }
    let number = |channel: usize| {
        let high = first?;
        let figure = said::figure(UnitKind::Db, high.difference_db[channel], high.uncertainty_db[channel])?;
        Some(figure.signed().number())
    };
    let rows = height.saturating_sub(1 + TABLE);
    let mut y = big::pair(sheet, 1, rows, &[number(0), number(1)], WIDEST, style);
    if let Some(figure) = &picture.figure {
        sheet.text(0, y, &said::turned_and_judged(figure), sheet.look.verdict(verdict));
        y += 1;
    }
    let basis = if now.against_source { "tape minus source" } else { "levels of what comes back" };
    // Beside the figure that is judged it stands already.
    let limit = said::finite(now.limit_db).filter(|_| picture.figure.is_none());
    let limit = limit.map(|limit| format!("; limit +-{} dB", given(limit, 2)));
    sheet.text(0, y, &format!("{basis}{}", limit.unwrap_or_default()), PLAIN);
    let last = height.saturating_sub(2);
    y += 1;
    for high in &now.high {
        if y + 2 > last {
            break;
        }
        for channel in 0..2 {
            sheet.text(0, y + channel, &row(high, channel), PLAIN);
        }
        y += 2;
    }
    let level = if now.against_source { UnitKind::Db } else { UnitKind::Dbfs };
    let low = said::both(now.low_db, |value| said::told(level, value, None));
    sheet.text(0, last, &format!("{}: {low}", said::hertz(now.low_hz)), PLAIN);
    if let Some(hz) = now.k3_hz {
        let k3 = said::both(now.k3_percent, |value| said::told(UnitKind::Percent, value, None));
        sheet.text(0, last + 1, &format!("third harmonic of {}: {k3}", said::hertz(hz)), PLAIN);
    }
}

/// A high tone of one channel in one row.
fn row(high: &HighNow, channel: usize) -> String {
    let (name, side) = if channel == 0 { (said::hertz(high.hz), "left") } else { (String::new(), "right") };
    let uncertainty = high.uncertainty_db[channel];
    let difference = said::deviation_in_full(UnitKind::Db, high.difference_db[channel], uncertainty);
    let age = if channel == 0 { said::seconds(high.ago_s) + " old" } else { String::new() };
    format!(
        "{name:8} {side:5} {difference:>16}  {:21} {:14} {age:>8}",
        past(high, channel),
        way(high, channel)
    )
}

/// How far below the highest that was passed.
pub(super) fn past(high: &HighNow, channel: usize) -> String {
    match said::figure(UnitKind::Db, high.past_peak_db[channel], None) {
        Some(past) if past.number() == "0.0" => "at the peak".to_owned(),
        Some(past) => format!("{past} past the peak"),
        None => "no peak passed yet".to_owned(),
    }
}

/// Which way it moves.
fn way(high: &HighNow, channel: usize) -> String {
    match said::figure(UnitKind::Db, high.change_db[channel].map(f64::abs), None) {
        Some(change) if change.number() == "0.0" => "steady".to_owned(),
        Some(change) => {
            let way = if high.change_db[channel] > Some(0.0) { "rising" } else { "falling" };
            format!("{way} {change}")
        }
        None => String::new(),
    }
}
