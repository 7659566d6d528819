//! The tables of a page as CSV (RFC 4180, point as decimal sign). A value that was not measured is an empty cell.

use super::page::{Page, Table};
use super::render::Render;

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
            let cells: Vec<String> = row.into_iter().map(quoted).collect();
            *text += &(cells.join(",") + "\r\n");
        }
    }

    fn finish(self, _page: &Page) -> Self::Output {
        self.files
    }
}

fn quoted(cell: String) -> String {
    if cell.contains([',', '"', '\r', '\n']) { format!("\"{}\"", cell.replace('"', "\"\"")) } else { cell }
}
