//! Large digits, made of blocks that every font of a terminal has: readable from two metres.

use super::look::Sheet;
use super::said::CANNOT_TELL;
use ratatui_core::style::Style;

/// Rows of a digit, before it is enlarged.
const ROWS: usize = 5;
/// Largest size: what is larger is read no better.
const LARGEST: usize = 8;

/// A sign of three columns or one, the top row first; `#` is ink.
fn sign(c: char) -> [&'static str; ROWS] {
    match c {
        '0' => ["###", "# #", "# #", "# #", "###"],
        '1' => [" # ", "## ", " # ", " # ", "###"],
        '2' => ["###", "  #", "###", "#  ", "###"],
        '3' => ["###", "  #", "###", "  #", "###"],
        '4' => ["# #", "# #", "###", "  #", "  #"],
        '5' => ["###", "#  ", "###", "  #", "###"],
        '6' => ["###", "#  ", "###", "# #", "###"],
        '7' => ["###", "  #", "  #", "  #", "  #"],
        '8' => ["###", "# #", "###", "# #", "###"],
        '9' => ["###", "# #", "###", "  #", "###"],
        '+' => ["   ", " # ", "###", " # ", "   "],
        '-' => ["   ", "   ", "###", "   ", "   "],
        '.' => [" ", " ", " ", " ", "#"],
        _ => ["   "; ROWS],
    }
}

/// Columns between two signs of this size.
fn gap(size: usize) -> usize {
    size.div_ceil(2)
}

/// The largest size at which `widest` fits into so many columns and rows; 0 where none does.
///
/// Asked for the widest text that may come, it keeps the digits' size while the figure moves.
pub(super) fn size(widest: &str, width: usize, rows: usize) -> usize {
    (1..=LARGEST).rev().find(|&size| self::width(widest, size) <= width && height(size) <= rows).unwrap_or(0)
}

/// Rows of a text of this size. A row is twice as high as a column is wide.
pub(super) fn height(size: usize) -> usize {
    (ROWS * size).div_ceil(2)
}

/// Columns of `text` at this size.
pub(super) fn width(text: &str, size: usize) -> usize {
    text.chars().map(|c| sign(c)[0].len() * size + gap(size)).sum::<usize>().saturating_sub(gap(size))
}

/// Draws `text` so that it ends at the column `right` of the sheet, from row `y` on; smaller if it is too wide for that.
pub(super) fn draw(sheet: &mut Sheet<'_>, right: usize, y: usize, text: &str, size: usize, style: Style) {
    let size = (1..=size).rev().find(|&size| width(text, size) <= right).unwrap_or(0);
    let mut x = right.saturating_sub(width(text, size));
    for c in text.chars() {
        let rows = sign(c);
        let has_ink = |column: usize, half: usize| {
            rows.get(half / size.max(1)).is_some_and(|row| row.as_bytes()[column / size.max(1)] == b'#')
        };
        let columns = rows[0].len() * size;
        for row in 0..height(size) {
            let line: String = (0..columns)
                .map(|column| block(has_ink(column, 2 * row), has_ink(column, 2 * row + 1)))
                .collect();
            sheet.text(x, y + row, &line, style);
        }
        x += columns + gap(size);
    }
}

/// A cell whose upper and lower halves are filled or not.
pub(super) fn block(upper: bool, lower: bool) -> char {
    match (upper, lower) {
        (true, true) => '\u{2588}',
        (true, false) => '\u{2580}',
        (false, true) => '\u{2584}',
        (false, false) => ' ',
    }
}

/// Left and right in large digits side by side, as large as `rows` allow; returns the row below them.
///
/// `widest` is the widest text that may come.
pub(super) fn pair(
    sheet: &mut Sheet<'_>,
    y: usize,
    rows: usize,
    texts: &[Option<String>; 2],
    widest: &str,
    style: Style,
) -> usize {
    let half = sheet.width() / 2;
    let size = size(widest, half.saturating_sub(2), rows);
    for (channel, text) in texts.iter().enumerate() {
        let mut part = sheet.part(channel * half, y, half, height(size).max(1));
        match text {
            Some(text) if size > 0 => draw(&mut part, width(widest, size), 0, text, size, style),
            Some(text) => drop(part.text(0, 0, text, style)),
            None => drop(part.text(0, 0, CANNOT_TELL, style)),
        }
    }
    y + height(size).max(1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::show::live::look::{Colours, Look, PLAIN};
    use ratatui_core::buffer::Buffer;
    use ratatui_core::layout::Rect;

    fn drawn(text: &str, columns: u16, rows: u16, size: usize) -> Vec<String> {
        let area = Rect::new(0, 0, columns, rows);
        let mut buffer = Buffer::empty(area);
        let mut sheet = Sheet::new(&mut buffer, area, Look { colours: Colours::Off });
        draw(&mut sheet, columns.into(), 0, text, size, PLAIN);
        (0..rows).map(|y| (0..columns).map(|x| buffer[(x, y)].symbol()).collect()).collect()
    }

    #[test]
    fn digits_end_at_the_right_and_none_looks_like_another() {
        let all: Vec<_> = "0123456789+-.".chars().map(|c| drawn(&c.to_string(), 6, 5, 2)).collect();
        for (k, digit) in all.iter().enumerate() {
            assert!(!all[..k].contains(digit), "{digit:?}");
        }
        assert_eq!(
            drawn("-1", 9, 3, 1),
            ["      ▄█ ", "  ▀▀▀  █ ", "      ▀▀▀"].map(|row| row.chars().collect::<String>())
        );
    }

    #[test]
    fn the_size_is_the_largest_that_fits_and_what_is_too_wide_is_made_smaller() {
        for (width, rows, want) in
            [(51, 8, 3), (100, 8, 3), (46, 8, 2), (34, 5, 2), (16, 9, 0), (9999, 9999, LARGEST)]
        {
            assert_eq!(size("-88.8", width, rows), want, "{width} by {rows}");
        }
        assert!(width("-88.8", 3) <= 51 && height(3) == 8);
        // Twice as wide as there is room for: still there, within the room.
        assert!(
            drawn("888", 12, 3, 9).iter().all(|row| row.contains('\u{2588}') || row.contains('\u{2580}'))
        );
    }
}
