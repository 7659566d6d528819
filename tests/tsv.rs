//! Reads the tab-separated tables of `tests/tables` and `tests/reference`: `#` lines are source notes, the first other
//! line is the head.

/// One row: its cells under their heads, and how to name it in a message.
pub struct Row {
    heads: Vec<&'static str>,
    cells: Vec<&'static str>,
    line: usize,
}

impl Row {
    /// The cell under `head`, trimmed; empty if the row ends before it.
    pub fn text(&self, head: &str) -> &'static str {
        let at = self.heads.iter().position(|h| *h == head).unwrap_or_else(|| panic!("no column {head}"));
        self.cells.get(at).copied().unwrap_or("").trim()
    }

    /// The number under `head`; `-inf` is read as such.
    pub fn number(&self, head: &str) -> f64 {
        let text = self.text(head);
        text.parse().unwrap_or_else(|_| panic!("{self}: {text:?} under {head} is no number"))
    }

    /// The number under `head`, or `None` for an empty cell.
    pub fn number_if_any(&self, head: &str) -> Option<f64> {
        (!self.text(head).is_empty()).then(|| self.number(head))
    }
}

impl std::fmt::Display for Row {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(out, "line {}: {}", self.line, self.cells.join(" | "))
    }
}

/// All rows of `table`, of which there must be `count`: a table that shrank must not pass by having nothing to check.
pub fn rows(table: &'static str, count: usize) -> Vec<Row> {
    let mut lines =
        table.lines().enumerate().filter(|(_, text)| !text.starts_with('#') && !text.trim().is_empty());
    let heads: Vec<_> = lines.next().expect("a table has a head").1.split('\t').map(str::trim).collect();
    let rows: Vec<_> = lines
        .map(|(n, text)| Row { heads: heads.clone(), cells: text.split('\t').collect(), line: n + 1 })
        .collect();
    assert_eq!(rows.len(), count, "rows of the table");
    rows
}
