//! Charts in characters: response, and the spectrum of flutter.

use super::big::block;
use super::look::{PLAIN, STRONG, Sheet};
use super::said::{finite, hertz};
use crate::reading::figures::given;
use crate::reading::{PointNow, ResponseNow};

/// Reaches of the response chart, dB either way: the smallest that holds all points is taken.
const REACHES_DB: [f64; 4] = [3.0, 6.0, 12.0, 24.0];
/// Columns of the numbers at the left.
const MARGIN: usize = 5;
/// Ends of the axis of response, Hz.
const RESPONSE_HZ: [f64; 2] = [20.0, 20_000.0];
/// Its marks.
const RESPONSE_MARKS_HZ: [f64; 10] =
    [31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16_000.0];
/// Ends of the axis of flutter, Hz, and its marks.
pub(super) const FLUTTER_HZ: [f64; 2] = [0.2, 200.0];
const FLUTTER_MARKS_HZ: [f64; 7] = [0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 100.0];
/// What a column of the spectrum spans, decades of density.
const DECADES: f64 = 2.0;

/// Column of `hz` among `columns`, the ends inside; `None` beyond them.
fn column(hz: f64, [from, to]: [f64; 2], columns: usize) -> Option<usize> {
    let share = (hz / from).ln() / (to / from).ln();
    ((-0.01..=1.01).contains(&share) && columns > 0)
        .then(|| (share.clamp(0.0, 1.0) * (columns - 1) as f64).round() as usize)
}

/// Frequencies below a chart, as many as have room.
fn marks(sheet: &mut Sheet<'_>, x: usize, y: usize, columns: usize, ends: [f64; 2], all: &[f64]) {
    let mut free = 0;
    for hz in all {
        let Some(at) = column(*hz, ends, columns) else { continue };
        let name = hertz(*hz);
        let from = (x + at).saturating_sub(name.len() / 2).min((x + columns).saturating_sub(name.len()));
        if from >= free {
            sheet.text(from, y, &name, PLAIN);
            free = from + name.len() + 2;
        }
    }
}

/// The response of both channels against frequency, with limits, and what was held in small letters.
pub(super) fn response(sheet: &mut Sheet<'_>, now: &ResponseNow) {
    let (columns, rows) = (sheet.width().saturating_sub(MARGIN + 1), sheet.height().saturating_sub(1));
    if rows < 3 || columns < 20 {
        return;
    }
    // What lies beyond the limits' band may leave the chart: there nobody asks for it.
    let [from, to] = [now.limit_from_hz.unwrap_or(0.0), now.limit_to_hz.unwrap_or(f64::MAX)];
    let is_asked = |point: &&PointNow| from <= 1.01 * point.hz && point.hz <= 1.01 * to;
    let all = now.points.iter().chain(&now.held).filter(is_asked);
    let all = all.flat_map(|point| point.db).filter_map(finite);
    let most = all.chain(finite(now.limit_db)).fold(0.0, |most: f64, db| most.max(db.abs()));
    let reach = REACHES_DB.into_iter().find(|reach| most <= *reach).unwrap_or(REACHES_DB[3]);
    // The highest row is `reach`, the lowest is minus `reach`.
    let row =
        |db: f64| ((reach - db.clamp(-reach, reach)) / (2.0 * reach) * (rows - 1) as f64).round() as usize;
    let zero = "\u{b7}".repeat(columns);
    sheet.text(MARGIN + 1, row(0.0), &zero, PLAIN);
    for db in [reach, reach / 2.0, 0.0, -reach / 2.0, -reach] {
        let text = format!("{}{}", if db > 0.0 { "+" } else { "" }, given(db, 1));
        sheet.text(0, row(db), &format!("{text:>MARGIN$}\u{2502}"), PLAIN);
    }
    for y in 0..rows {
        sheet.text(MARGIN, y, "\u{2502}", PLAIN);
    }
    if let (Some(limit), Some(from), Some(to)) = (finite(now.limit_db), now.limit_from_hz, now.limit_to_hz) {
        let ends = [from, to].map(|hz| column(hz, RESPONSE_HZ, columns));
        let [from, to] = [ends[0].unwrap_or(0), ends[1].unwrap_or(columns - 1)];
        let line = "\u{2500}".repeat((to + 1).saturating_sub(from));
        for db in [limit, -limit] {
            sheet.text(MARGIN + 1 + from, row(db), &line, PLAIN);
        }
    }
    let mut points = |points: &[PointNow], letters: [&str; 3], style| {
        for point in points {
            let Some(at) = column(point.hz, RESPONSE_HZ, columns) else { continue };
            let [left, right] = point.db.map(|db| finite(db).map(row));
            for (y, letter) in [(left, letters[0]), (right, letters[1])] {
                if let Some(y) = y {
                    let letter = if left == right { letters[2] } else { letter };
                    sheet.text(MARGIN + 1 + at, y, letter, style);
                }
            }
        }
    };
    points(&now.held, ["l", "r", "o"], PLAIN);
    points(&now.points, ["L", "R", "*"], STRONG);
    marks(sheet, MARGIN + 1, rows, columns, RESPONSE_HZ, &RESPONSE_MARKS_HZ);
}

/// The spectrum of flutter: columns of density on a logarithmic scale, the highest as high as the chart.
pub(super) fn spectrum(sheet: &mut Sheet<'_>, points: &[[f64; 2]]) {
    let (columns, rows) = (sheet.width(), sheet.height().saturating_sub(1));
    if rows < 1 || columns < 20 {
        return;
    }
    let mut highest = vec![0.0; columns];
    for [hz, density] in points {
        if let Some(at) = column(*hz, FLUTTER_HZ, columns)
            && finite(Some(*density)).is_some()
        {
            highest[at] = density.max(highest[at]);
        }
    }
    let most = highest.iter().copied().fold(0.0, f64::max);
    // Halves of rows that are filled; a column into which no point falls is as high as the one before.
    let mut before = 0;
    let halves: Vec<usize> = highest
        .into_iter()
        .map(|density: f64| {
            let share = 1.0 + (density / most).log10() / DECADES;
            if density > 0.0 {
                // At least a half: it was measured.
                before = ((share.clamp(0.0, 1.0) * (2 * rows) as f64).round() as usize).max(1);
            }
            before
        })
        .collect();
    for row in 0..rows {
        let below = 2 * (rows - row);
        let line: String = halves.iter().map(|&filled| block(filled >= below, filled + 1 >= below)).collect();
        sheet.text(0, row, &line, STRONG);
    }
    marks(sheet, 0, rows, columns, FLUTTER_HZ, &FLUTTER_MARKS_HZ);
}
