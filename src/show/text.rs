//! A page as plain text, in lines of at most [`COLUMNS`] characters, or of [`PAPER`] to print.

use super::page::{
    Entry, Judged, Kind, Page, Printed, Section, Shown, Table, Tone, behind_point, most_behind,
};
use super::render::Render;
use super::words::{self, UNITS};
use crate::harmless::harmless;

/// Widest line of a terminal, in characters.
const COLUMNS: usize = 100;
/// Widest line on A4 at ten characters an inch.
const PAPER: usize = 80;

/// Where text under a name starts.
const INDENT: usize = 6;
/// Room for the name of an entry and for its verdict.
const NAME: usize = 31;
const VERDICT: usize = 12;

/// Plain text that grows, harmless: a file name may hold sequences that drive a terminal.
pub(super) struct Text {
    text: String,
    columns: usize,
    /// Curves cannot be shown: their section is left out.
    is_silent: bool,
}

impl Default for Text {
    fn default() -> Self {
        Self { text: String::new(), columns: COLUMNS, is_silent: false }
    }
}

impl Text {
    /// Text to print.
    pub(super) fn on_paper() -> Self {
        Self { columns: PAPER, ..Self::default() }
    }

    fn line(&mut self, line: &str) {
        if self.is_silent {
            return;
        }
        // A terminal does not break lines at its spaces, and whoever searches the text types plain ones.
        self.text += harmless(&line.replace('\u{a0}', " ")).trim_end();
        self.text.push('\n');
    }

    /// `label` and `text` from column `indent` on, further lines under the start of the text.
    fn wrapped(&mut self, indent: usize, label: &str, text: &str) {
        let start = indent + label.chars().count();
        let room = self.columns.saturating_sub(start).max(20);
        let mut line = format!("{:indent$}{label}", "");
        let mut used = 0;
        for word in words::bound(&harmless(text)).split(' ') {
            let mut word: Vec<char> = word.chars().collect();
            if used > 0 && used + 1 + word.len() > room {
                self.line(&line);
                line = " ".repeat(start);
                used = 0;
            }
            if used > 0 {
                line.push(' ');
                used += 1;
            }
            // A word wider than the room (a long file name) is cut into lines.
            while used == 0 && word.len() > room {
                let rest = word.split_off(room);
                line.extend(word);
                self.line(&line);
                line = " ".repeat(start);
                word = rest;
            }
            used += word.len();
            line.extend(word);
        }
        self.line(&line);
    }

    /// Rows of cells of one width a column; the widest columns take as many lines as they need.
    fn folded(&mut self, columns: &[Vec<String>]) {
        let mut widths: Vec<usize> = columns.iter().map(|cells| cells[0].chars().count()).collect();
        let whole: Vec<usize> = widths.clone();
        while widths.iter().map(|width| 2 + width).sum::<usize>() > self.columns {
            let Some(widest) = widths.iter_mut().max().filter(|width| **width > 1) else { break };
            *widest -= 1;
        }
        for row in 0..columns[0].len() {
            let cells: Vec<Vec<String>> = columns
                .iter()
                .enumerate()
                .map(|(k, cells)| match widths[k] == whole[k] {
                    true => vec![cells[row].clone()],
                    false => folded(cells[row].trim(), widths[k]),
                })
                .collect();
            for line in 0..cells.iter().map(Vec::len).max().unwrap_or(0) {
                let cell = |k: usize| cells[k].get(line).map_or("", String::as_str);
                self.line(
                    &(0..cells.len()).map(|k| format!("  {:<1$}", cell(k), widths[k])).collect::<String>(),
                );
            }
        }
    }

    fn named<'a>(&mut self, indent: usize, facts: impl Iterator<Item = (&'a str, &'a str)> + Clone) {
        let width = facts.clone().map(|fact| fact.0.chars().count()).max().unwrap_or(0) + 2;
        for (name, text) in facts {
            self.wrapped(indent, &format!("{name:width$}"), text);
        }
    }
}

/// `text` in lines of at most `room` characters, broken at spaces where it can; one line at least.
fn folded(text: &str, room: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in words::bound(text).split(' ') {
        let letters: Vec<char> = word.chars().collect();
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + letters.len() <= room => {
                line.push(' ');
                line.push_str(word);
            }
            _ if letters.is_empty() => lines.push(String::new()),
            _ => lines.extend(letters.chunks(room).map(|piece| piece.iter().collect::<String>())),
        }
    }
    lines
}

/// A heading in capitals; units stay as they are written.
fn capitals(heading: &str) -> String {
    let word = |word: &str| {
        let is_unit = UNITS.contains(&word.trim_matches(['(', ')', ',']));
        if is_unit { word.to_owned() } else { word.to_uppercase() }
    };
    heading.split(' ').map(word).collect::<Vec<_>>().join(" ")
}

impl Render for Text {
    type Output = String;

    fn open(&mut self, page: &Page) {
        let title = Some((page.title.0, page.title.1.as_str())).filter(|title| !title.0.is_empty());
        let head = page.head.iter().map(|(name, text)| (name.as_str(), text.as_str()));
        self.named(0, title.into_iter().chain(head));
    }

    fn open_section(&mut self, section: &Section) {
        self.is_silent = section.kind == Kind::Curves;
        if !self.text.is_empty() {
            self.line("");
        }
        let is_typed = section.kind == Kind::AsTyped;
        self.line(&if is_typed { section.heading.clone() } else { capitals(&section.heading) });
    }

    fn paragraph(&mut self, tone: Tone, text: &str) {
        match tone {
            Tone::Plain | Tone::Aside => self.wrapped(2, "", text),
            Tone::Warning => self.wrapped(2, "! ", text),
            Tone::Turn => self.wrapped(2, "turn  ", text),
            Tone::Command => self.line(&format!("    {text}")),
        }
    }

    fn facts(&mut self, facts: &[(String, String)]) {
        self.named(2, facts.iter().map(|(name, text)| (name.as_str(), text.as_str())));
    }

    fn list(&mut self, items: &[String]) {
        items.iter().for_each(|item| self.wrapped(2, "- ", item));
    }

    fn steps(&mut self, steps: &[(u32, String, String)]) {
        for (number, text, because) in steps {
            self.wrapped(2, &format!("{number:>2}  "), text);
            if !because.is_empty() {
                self.wrapped(INDENT, "for  ", because);
            }
        }
    }

    fn entries(&mut self, entries: &[Entry]) {
        for (k, entry) in entries.iter().enumerate() {
            if k > 0 {
                self.line("");
            }
            match entry.figures.as_slice() {
                [] => self.wrapped(2, "", &entry.name),
                figures => {
                    let mut name = entry.name.as_str();
                    if name.chars().count() > NAME {
                        self.wrapped(2, "", name);
                        name = "";
                    }
                    for Judged { side, verdict, value } in figures {
                        let verdict = words::verdict(*verdict);
                        let side = if side.is_empty() { String::new() } else { format!("{side:<5}  ") };
                        self.wrapped(2, &format!("{name:<NAME$} {verdict:<VERDICT$} {side}"), value);
                        name = "";
                    }
                }
            }
            self.named(INDENT, entry.lines.iter().map(|(label, _, text)| (*label, text.as_str())));
        }
    }

    fn table(&mut self, table: &Table) {
        if table.printed != Printed::Everywhere {
            return;
        }
        if !table.title.is_empty() {
            self.line(&format!("  {}", table.title));
        }
        let (heads, rows) = (table.heads(), table.rows());
        let columns: Vec<Vec<String>> = (0..heads.len()).map(|k| column(heads[k], &rows, k)).collect();
        let width: usize = columns.iter().map(|cells| 2 + cells[0].chars().count()).sum();
        if width <= self.columns {
            for k in 0..=rows.len() {
                self.line(&columns.iter().map(|cells| format!("  {}", cells[k])).collect::<String>());
            }
            return;
        }
        if table.folds {
            return self.folded(&columns);
        }
        // Too wide for the terminal: a row becomes a paragraph, its first cell the name.
        for row in &rows {
            let Some((name, cells)) = row.split_first() else { continue };
            self.wrapped(2, "", &name.line());
            let cells: Vec<(&str, String)> =
                heads[1..].iter().copied().zip(cells.iter().map(Shown::line)).collect();
            self.named(INDENT, cells.iter().map(|(head, cell)| (*head, cell.as_str())));
        }
    }

    fn signature(&mut self) {
        self.line("");
        self.line("  Date ____________________   Signed ________________________________________");
    }

    fn finish(self, _page: &Page) -> String {
        self.text
    }
}

/// Head and cells of one column, all of one width; numbers with their points under each other.
fn column(head: &str, rows: &[Vec<Shown>], k: usize) -> Vec<String> {
    let cells: Vec<&Shown> = rows.iter().map(|row| &row[k]).collect();
    let is_words = !cells.iter().any(|cell| cell.numeric && !cell.text.is_empty());
    let most = most_behind(&cells);
    let number = |cell: &Shown| cell.text.clone() + &" ".repeat(behind_point(&cell.text, most));
    let widest = |of: &dyn Fn(&Shown) -> usize| cells.iter().map(|cell| of(cell)).max().unwrap_or(0);
    let numeric = |cell: &Shown, of: usize| if cell.numeric { of } else { 0 };
    let number_width = widest(&|cell| numeric(cell, number(cell).chars().count()));
    let spread_width = widest(&|cell| cell.spread.chars().count());
    let unit_width = widest(&|cell| cell.unit.chars().count());
    let whole = |cell: &Shown| {
        if !cell.numeric {
            return cell.line();
        }
        let mut text = format!("{:>number_width$}", number(cell));
        if spread_width > 0 {
            let sign = if cell.spread.is_empty() { "  " } else { "+-" };
            text += &format!(" {sign} {:>spread_width$}", cell.spread);
        }
        if unit_width > 0 {
            text += &format!(" {:<unit_width$}", cell.unit);
        }
        text
    };
    // A head stands over the numbers, not over their units.
    let head = if unit_width > 0 { format!("{head}{:unit_width$} ", "") } else { head.to_owned() };
    let texts: Vec<String> = [head].into_iter().chain(cells.iter().map(|cell| whole(cell))).collect();
    let width = texts.iter().map(|text| text.chars().count()).max().unwrap_or(0);
    let is_left = is_words && (k == 0 || is_prose(&texts[1..]));
    let aligned = |text: &String| {
        if is_left { format!("{text:<width$}") } else { format!("{text:>width$}") }
    };
    texts.iter().map(aligned).collect()
}

/// Whether a column of words is one of sentences and names rather than of figures such as `63 Hz` or `cannot tell`.
fn is_prose(texts: &[String]) -> bool {
    let is_figure = |text: &String| {
        text.is_empty() || text.starts_with(|c: char| c.is_ascii_digit() || "+-<".contains(c))
    };
    !texts.iter().all(|text| is_figure(text) || text == "cannot tell")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::show::page::Rows;

    fn lines(table: &Table) -> Vec<String> {
        let mut text = Text::default();
        text.table(table);
        text.text.lines().map(str::to_owned).collect()
    }

    #[test]
    fn points_stand_under_each_other_and_words_at_the_edge() {
        use crate::reading::figures::UnitKind::Db;
        use crate::show::page::Measured;
        let rows =
            [(Some(-0.48), Some(0.09)), (Some(12.0), Some(1.4)), (Some(3.0), Some(30.0)), (None, None)];
        let table = Rows::of("", &rows)
            .head("left, dB", |row: &(Option<f64>, Option<f64>)| {
                Measured::of(Db, row.0, row.1).signed().sure()
            })
            .table();
        assert_eq!(
            lines(&table),
            [
                "        left, dB",
                "   -0.48 +- 0.09",
                "  +12.0  +-  1.4",
                "   +3    +-   30",
                "     cannot tell"
            ]
        );
    }

    #[test]
    fn a_table_that_is_too_wide_becomes_paragraphs() {
        let rows = ["a".repeat(60), "b".repeat(60)];
        let table =
            Rows::of("", &rows).head("what", |row| row.as_str()).head("why", |row| row.as_str()).table();
        let lines = lines(&table);
        assert!(lines.iter().all(|line| line.chars().count() <= COLUMNS));
        assert!(lines[1].starts_with("      why  aaa"), "{lines:?}");
    }

    #[test]
    fn units_of_a_heading_keep_their_letters() {
        assert_eq!(capitals("Saturation at 10 kHz"), "SATURATION AT 10 kHz");
    }
}
