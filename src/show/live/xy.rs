//! Left against right as a picture: a line from the lower left to the upper right while the channels agree.

use super::big::block;
use super::look::{PLAIN, STRONG, Sheet};

/// Rows of the smallest picture, without its frame: 21 columns go with them. Halves of cells are as high as wide.
const ROWS: usize = 11;

/// The largest picture that takes at most so many rows with its frame: columns and rows without it.
pub(super) fn size(rows: usize) -> (usize, usize) {
    let inside = rows.saturating_sub(2).clamp(ROWS, 2 * ROWS);
    // Odd, so that zero has a cell of its own.
    let inside = inside - (1 - inside % 2);
    (2 * inside - 1, inside)
}

/// Draws it with its frame from the upper left of the sheet; points are left and right, -1 to 1.
pub(super) fn draw(sheet: &mut Sheet<'_>, points: &[[f32; 2]], (columns, rows): (usize, usize)) {
    let edge = "\u{2500}".repeat(columns);
    sheet.text(0, 0, &format!("\u{250c}{edge}\u{2510}"), PLAIN);
    sheet.text(0, rows + 1, &format!("\u{2514}{edge}\u{2518}"), PLAIN);
    let mut ink = vec![false; columns * rows * 2];
    let place = |value: f32, steps: usize| {
        // -1 to 1 becomes 0 to the last step.
        ((f64::from(value.clamp(-1.0, 1.0)) + 1.0) / 2.0 * (steps - 1) as f64).round() as usize
    };
    for [left, right] in points.iter().filter(|point| point.iter().all(|value| value.is_finite())) {
        ink[place(-right, 2 * rows) * columns + place(*left, columns)] = true;
    }
    for row in 0..rows {
        sheet.text(0, row + 1, "\u{2502}", PLAIN);
        sheet.text(columns + 1, row + 1, "\u{2502}", PLAIN);
        for column in 0..columns {
            let half = |half: usize| ink[(2 * row + half) * columns + column];
            let (text, style) = match block(half(0), half(1)) {
                // Where no point is: the axes.
                ' ' if row == rows / 2 || column == columns / 2 => ('\u{b7}', PLAIN),
                c => (c, STRONG),
            };
            sheet.text(column + 1, row + 1, text.encode_utf8(&mut [0; 4]), style);
        }
    }
}
