//! A table, described once: each column has a key for machines, a head for people, or both.

use super::{Cell, Shown};

/// Where a table is printed. Its CSV is written in any case, if it has a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::show) enum Printed {
    Everywhere,
    /// In the report alone: too long for a terminal.
    Report,
    /// In no page: a figure draws it, or another table has the same for people.
    Nowhere,
}

/// One table.
pub(in crate::show) struct Table {
    /// Its CSV file; tables of one file stand in it one after the other. Empty if it has none.
    pub(in crate::show) file: &'static str,
    /// What stands above it, where its section has several.
    pub(in crate::show) title: String,
    pub(in crate::show) printed: Printed,
    /// Most rows that the report shows of it.
    pub(in crate::show) most: usize,
    /// Parts of it that stand beside each other, for long and narrow ones.
    abreast: usize,
    /// Where it is too wide for the terminal, its widest column takes several lines.
    pub(in crate::show) folds: bool,
    columns: Vec<Column>,
}

struct Column {
    keys: Vec<&'static str>,
    heads: Vec<String>,
    cells: Vec<Cell>,
}

/// Rows of which the columns of a table are made one by one.
pub(in crate::show) struct Rows<'a, R> {
    rows: Vec<&'a R>,
    table: Table,
}

impl<'a, R> Rows<'a, R> {
    /// A table of `rows`, to be written to `file` (empty: to none).
    pub(in crate::show) fn of(file: &'static str, rows: impl IntoIterator<Item = &'a R>) -> Self {
        let (title, printed) = (String::new(), Printed::Everywhere);
        let table =
            Table { file, title, printed, most: usize::MAX, abreast: 1, folds: false, columns: Vec::new() };
        Self { rows: rows.into_iter().collect(), table }
    }

    pub(in crate::show) fn titled(mut self, title: impl Into<String>) -> Self {
        self.table.title = title.into();
        self
    }

    pub(in crate::show) fn printed(mut self, printed: Printed) -> Self {
        self.table.printed = printed;
        self
    }

    /// The report shows so many rows, and says how many there are.
    pub(in crate::show) fn at_most(mut self, rows: usize) -> Self {
        self.table.most = rows;
        self
    }

    pub(in crate::show) fn abreast(mut self, parts: usize) -> Self {
        self.table.abreast = parts;
        self
    }

    /// Where it is too wide for the terminal, its widest column takes several lines.
    pub(in crate::show) fn folding(mut self) -> Self {
        self.table.folds = true;
        self
    }

    /// A column (or two, of left and right) for machines under `keys` and for people under `heads`.
    pub(in crate::show) fn column<C: Into<Cell>>(
        mut self,
        keys: &[&'static str],
        heads: &[&str],
        cell: impl Fn(&'a R) -> C,
    ) -> Self {
        let cells = self.rows.iter().map(|row| cell(row).into()).collect();
        let heads = heads.iter().map(|&head| head.to_owned()).collect();
        self.table.columns.push(Column { keys: keys.to_vec(), heads, cells });
        self
    }

    /// A column for machines alone.
    pub(in crate::show) fn key<C: Into<Cell>>(self, key: &'static str, cell: impl Fn(&'a R) -> C) -> Self {
        self.column(&[key], &[], cell)
    }

    /// A column for people alone.
    pub(in crate::show) fn head<C: Into<Cell>>(self, head: &str, cell: impl Fn(&'a R) -> C) -> Self {
        self.column(&[], &[head], cell)
    }

    pub(in crate::show) fn table(self) -> Table {
        self.table
    }

    /// The table, if it has rows.
    pub(in crate::show) fn any(self) -> Option<Table> {
        (!self.rows.is_empty()).then_some(self.table)
    }
}

impl Table {
    /// Heads for people.
    pub(in crate::show) fn heads(&self) -> Vec<&str> {
        let once = || self.columns.iter().flat_map(|column| &column.heads).map(String::as_str);
        (0..self.abreast).flat_map(|_| once()).collect()
    }

    /// Rows for people, as wide as [`heads`](Self::heads).
    pub(in crate::show) fn rows(&self) -> Vec<Vec<Shown>> {
        let count = self.columns.first().map_or(0, |column| column.cells.len());
        let width = self.heads().len() / self.abreast;
        let row = |k: usize| -> Vec<Shown> {
            if k >= count {
                return vec![Shown::words(String::new()); width];
            }
            let told = self.columns.iter().filter(|column| !column.heads.is_empty());
            told.flat_map(|column| column.cells[k].shown(column.heads.len())).collect()
        };
        let down = count.div_ceil(self.abreast);
        (0..down).map(|k| (0..self.abreast).flat_map(|part| row(part * down + k)).collect()).collect()
    }

    /// Keys for machines.
    pub(in crate::show) fn keys(&self) -> Vec<&'static str> {
        self.columns.iter().flat_map(|column| &column.keys).copied().collect()
    }

    /// Rows for machines, as wide as [`keys`](Self::keys).
    pub(in crate::show) fn raw(&self) -> Vec<Vec<String>> {
        let count = self.columns.first().map_or(0, |column| column.cells.len());
        let told = || self.columns.iter().filter(|column| !column.keys.is_empty());
        (0..count)
            .map(|k| told().flat_map(|column| column.cells[k].raw(column.keys.len())).collect())
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Measured, pair};
    use super::*;
    use crate::reading::figures::UnitKind;

    #[test]
    fn one_description_serves_people_and_machines() {
        let rows = [(63.095_734, [Some(1.506), None]), (1000.0, [Some(-0.2), Some(0.0)])];
        let table = Rows::of("x.csv", &rows)
            .key("kind", |_| "steps")
            .column(&["hz"], &["tone"], |row| Cell::Tone(row.0))
            .column(
                &["left_db", "right_db", "left_uncertainty_db", "right_uncertainty_db"],
                &["left", "right"],
                |row| pair(UnitKind::Db, row.1, [Some(0.004), None]).map(|one| one.signed().sure()),
            )
            .head("both", |row| pair(UnitKind::Db, row.1, [None; 2]).map(Measured::signed))
            .table();
        assert_eq!(table.heads(), ["tone", "left", "right", "both"]);
        let lines: Vec<Vec<String>> =
            table.rows().iter().map(|row| row.iter().map(Shown::line).collect()).collect();
        assert_eq!(lines[0], ["63 Hz", "+1.51 +- 0.01", "cannot tell", "+1.5 / cannot tell"]);
        assert_eq!(
            table.keys(),
            ["kind", "hz", "left_db", "right_db", "left_uncertainty_db", "right_uncertainty_db"]
        );
        assert_eq!(table.raw()[0], ["steps", "63.095734", "1.506", "", "0.004", ""]);
    }

    #[test]
    fn long_tables_stand_abreast_and_lose_no_row() {
        let rows: Vec<u32> = (1..=7).collect();
        let table = Rows::of("", &rows).abreast(3).head("n", |n| *n).table();
        let lines: Vec<String> = table
            .rows()
            .iter()
            .map(|row| row.iter().map(|cell| cell.text.as_str()).collect::<Vec<_>>().join(","))
            .collect();
        assert_eq!((table.heads().len(), lines), (3, ["1,4,7", "2,5,", "3,6,"].map(str::to_owned).to_vec()));
    }
}
