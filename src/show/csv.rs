//! The tables of a page as CSV (RFC 4180, point as decimal sign). A value that was not measured is an empty cell.

use super::page::{Page, Table};
use super::render::Render;
use crate::harmless::harmless;

/// CSV files, each with its name, in the order of the page.
#[derive(Default)]
pub(super) struct Csv {
    files: Vec<(&'static str, String)>,
}

impl Render for Csv {
    type Output = Vec<(&'static str, String)>;

    fn table(&mut self, table: &Table) {
        let rows = table.raw();
        if table.file.is_empty() || rows.is_empty() {
            return;
        }
        let place = match self.files.iter().position(|file| file.0 == table.file) {
            Some(place) => place,
            None => {
                self.files.push((table.file, table.keys().join(",") + "\r\n"));
                self.files.len() - 1
            }
        };
        let text = &mut self.files[place].1;
        for row in rows {
            let cells: Vec<String> = row.iter().map(|cell| quoted(cell)).collect();
            *text += &(cells.join(",") + "\r\n");
        }
    }

    fn finish(self, _page: &Page) -> Self::Output {
        self.files
    }
}

/// A cell as it is written: harmless, and no formula to a spreadsheet.
fn quoted(cell: &str) -> String {
    let mut cell = harmless(cell);
    let begins =
        cell.trim_start().starts_with(['=', '+', '-', '@', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}']);
    if begins && cell.parse::<f64>().is_err() {
        cell.insert(0, '\'');
    }
    if cell.contains([',', '"']) { format!("\"{}\"", cell.replace('"', "\"\"")) } else { cell }
}

#[cfg(test)]
mod tests {
    use super::quoted;

    #[test]
    fn a_cell_is_no_formula_and_a_number_stays_one() {
        for (cell, want) in [
            ("=1+2", "'=1+2"),
            ("\t@SUM(A1), x", "\"' @SUM(A1), x\""),
            ("-cmd|' /C calc'!A0", "'-cmd|' /C calc'!A0"),
            ("\r+1 dB", "' +1 dB"),
            ("-0.25", "-0.25"),
            ("1e-7", "1e-7"),
            ("left \"a\"\nb", "\"left \"\"a\"\" b\""),
            ("a\u{202e}b", "a\\u{202e}b"),
        ] {
            assert_eq!(quoted(cell), want);
        }
    }
}
