//! Noise: A-weighted in large digits, unweighted, and the components of hum as bars.

use super::bar::filled;
use super::look::{PLAIN, STRONG, Sheet};
use super::{big, said};
use crate::reading::figures::UnitKind;
use crate::reading::{NoiseNow, Pair, Picture};

const WIDEST: &str = "-88.88";
/// Rows below the digits.
const BELOW: usize = 10;
/// Ends of the bars of hum, dB.
const QUIETEST_DB: f64 = -100.0;
const LOUDEST_DB: f64 = -20.0;

/// Draws it.
pub(super) fn draw(sheet: &mut Sheet<'_>, picture: &Picture, now: &NoiseNow) {
    let (width, height) = (sheet.width(), sheet.height());
    let verdict = picture.figure.as_ref().and_then(|figure| figure.verdict);
    let style = sheet.look.digits(verdict);
    let half = width / 2;
    for (channel, side) in ["left", "right"].into_iter().enumerate() {
        sheet.part(channel * half, 0, half, 1).text(
            0,
            0,
            &format!("{side}, A-weighted, {}", now.unit().word()),
            STRONG,
        );
    }
    let number = |channel: usize| {
        let figure = said::figure(now.unit(), now.a_weighted_db[channel], now.uncertainty_db[channel])?;
        Some(figure.number())
    };
    let rows = height.saturating_sub(1 + BELOW);
    let mut y = big::pair(sheet, 1, rows, &[number(0), number(1)], WIDEST, style);
    let mut line = |sheet: &mut Sheet<'_>, text: &str, style| {
        sheet.text(0, y, text, style);
        y += 1;
    };
    let db = |value| said::told(now.unit(), value, None);
    let limits =
        |limit: Option<f64>| said::finite(limit).map_or(String::new(), |_| format!("; limit {}", db(limit)));
    if let Some(figure) = &picture.figure {
        line(sheet, &said::turned_and_judged(figure), sheet.look.verdict(verdict));
    }
    line(sheet, &format!("{}{}", now.reference, limits(now.limit_db)), PLAIN);
    line(sheet, &format!("lowest A-weighted: {}", said::both(now.lowest_db, db)), PLAIN);
    line(sheet, &format!("unweighted: {}", said::both(now.unweighted_db, db)), PLAIN);
    let mains = said::finite(now.mains_hz)
        .map(|hz| format!(" of {} mains", said::told(UnitKind::LineHertz, Some(hz), None)));
    let hum = format!(
        "hum{}: {}{}",
        mains.unwrap_or_default(),
        said::both(now.hum_db, db),
        limits(now.hum_limit_db)
    );
    line(sheet, &hum, STRONG);
    for component in now.lines.iter().take(height.saturating_sub(y)) {
        hum_bar(&mut sheet.part(0, y, width, 1), component.hz, component.db, now.unit());
        y += 1;
    }
}

/// A component of hum: both channels in one row.
fn hum_bar(sheet: &mut Sheet<'_>, hz: f64, levels: Pair, unit: UnitKind) {
    let name = said::told(UnitKind::LineHertz, Some(hz), None);
    let mut x = sheet.text(0, 0, &format!("{name:>9} "), PLAIN);
    let half = sheet.width().saturating_sub(x) / 2;
    for (side, level) in ["L", "R"].into_iter().zip(levels) {
        let head = format!("{side} {:>9} ", said::told(unit, level, None));
        let bar =
            filled(said::finite(level), None, QUIETEST_DB, LOUDEST_DB, half.saturating_sub(head.len() + 1));
        sheet.text(x, 0, &format!("{head}{bar}"), PLAIN);
        x += half;
    }
}
