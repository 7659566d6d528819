//! Response: both channels as a chart, and the worst point in words.

use super::look::{PLAIN, STRONG, Sheet};
use super::{big, chart, said};
use crate::reading::figures::{UnitKind, given};
use crate::reading::{Figure, Picture, ResponseNow};
use crate::show::words;

const WIDEST: &str = "-88.8";
/// Rows of the chart, above which the worst point stands in large digits as well.
const CHART: usize = 14;

/// Draws it.
pub(super) fn draw(sheet: &mut Sheet<'_>, picture: &Picture, now: &ResponseNow) {
    let (width, height) = (sheet.width(), sheet.height());
    let verdict = picture.figure.as_ref().and_then(|figure| figure.verdict);
    sheet.text(0, 0, &worst(now, picture.figure.as_ref()), sheet.look.verdict(verdict));
    let mut y = 1;
    let size = big::size(WIDEST, width, height.saturating_sub(CHART + 2).min(height / 3));
    if let Some((_, db, _)) = now.worst
        && let Some(figure) = said::figure(UnitKind::Db, Some(db), None)
        && size > 1
    {
        let style = sheet.look.digits(verdict);
        let right = big::width(WIDEST, size);
        big::draw(sheet, right, y, &figure.signed().number(), size, style);
        y += big::height(size);
        sheet.text(right + 1, y - 1, UnitKind::Db.word(), STRONG);
    }
    chart::response(&mut sheet.part(0, y, width, height.saturating_sub(y + 1)), now);
    let against = if now.against_source { "tape minus source, " } else { "" };
    let held = if now.held.is_empty() { "" } else { "; held: l left, r right, o both" };
    let key = format!(
        "L left, R right, * both{held}; {against}dB re {}, over {}",
        said::hertz(now.reference_hz),
        said::seconds(now.over_s)
    );
    sheet.text(0, height.saturating_sub(1), &key, PLAIN);
}

/// The point that is off most.
fn worst(now: &ResponseNow, figure: Option<&Figure>) -> String {
    let band = match (said::finite(now.limit_db), now.limit_from_hz, now.limit_to_hz) {
        (Some(limit), Some(from), Some(to)) => {
            format!("limit +-{} dB, {} to {}", given(limit, 2), said::hertz(from), said::hertz(to))
        }
        _ => "no limit told".to_owned(),
    };
    let Some((_, db, _)) = now.worst else { return format!("no worst point yet; {band}") };
    let uncertainty = figure.and_then(|figure| figure.uncertainty);
    let db = said::deviation_in_full(UnitKind::Db, Some(db), uncertainty);
    let verdict = figure.and_then(|figure| figure.verdict);
    let verdict = verdict.map_or(String::new(), |verdict| format!(": {}", words::verdict(verdict)));
    format!("worst {db} {}{verdict}; {band}", place(now))
}

/// Where the worst point is: `at 16 kHz, left`.
pub(super) fn place(now: &ResponseNow) -> String {
    let Some((hz, _, channel)) = now.worst else { return String::new() };
    format!("at {}, {}", said::hertz(hz), if channel == 0 { "left" } else { "right" })
}
