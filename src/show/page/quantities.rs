//! Single figures, each under its name: a table for people, and rows of `figures.csv`.

use super::{Cell, Measured, Printed, Rows, Table};

/// The figures of a section.
#[derive(Default)]
pub(in crate::show) struct Quantities {
    rows: Vec<Quantity>,
}

struct Quantity {
    name: String,
    /// Unit as machines read it.
    unit: &'static str,
    figures: Vec<Measured>,
    remark: String,
    filed_only: bool,
}

impl Quantities {
    /// A figure that no channel plays a part in, with what must be said of it.
    pub(in crate::show) fn one(
        &mut self,
        name: &str,
        unit: &'static str,
        figure: Measured,
        remark: impl Into<String>,
    ) {
        self.add(name, unit, vec![figure.sure().named()], remark.into(), false);
    }

    /// Left and right of a figure.
    pub(in crate::show) fn pair(&mut self, name: &str, unit: &'static str, pair: [Measured; 2]) {
        self.add(name, unit, pair.map(Measured::sure).to_vec(), String::new(), false);
    }

    /// A figure for `figures.csv` alone: people read it elsewhere.
    pub(in crate::show) fn filed(&mut self, name: &str, unit: &'static str, figure: Measured) {
        self.add(name, unit, vec![figure], String::new(), true);
    }

    /// Left and right for `figures.csv` alone.
    pub(in crate::show) fn filed_pair(&mut self, name: &str, unit: &'static str, pair: [Measured; 2]) {
        self.add(name, unit, pair.to_vec(), String::new(), true);
    }

    fn add(
        &mut self,
        name: &str,
        unit: &'static str,
        figures: Vec<Measured>,
        remark: String,
        filed_only: bool,
    ) {
        self.rows.push(Quantity { name: name.to_owned(), unit, figures, remark, filed_only });
    }

    /// The table for people, and the rows of `figures.csv`.
    pub(in crate::show) fn tables(self) -> [Table; 2] {
        let told = || self.rows.iter().filter(|row| !row.filed_only);
        let pairs = told().any(|row| row.figures.len() == 2);
        let people = Rows::of("", told()).head("quantity", |row| row.name.as_str());
        let values = |row: &Quantity| Cell::Figures(row.figures.clone());
        let people = if pairs {
            people.column(&[], &["left", "right"], values).head("unit", |row| word(row.unit))
        } else if told().any(|row| !row.remark.is_empty()) {
            people.head("value", values).head("", |row| row.remark.as_str())
        } else {
            people.head("value", values)
        };
        let channels: Vec<(&Quantity, &str, Measured)> = self
            .rows
            .iter()
            .flat_map(|row| {
                let names: &[&str] = if row.figures.len() == 2 { &["left", "right"] } else { &[""] };
                names.iter().zip(&row.figures).map(move |(name, figure)| (row, *name, *figure))
            })
            .collect();
        let filed = Rows::of("figures.csv", &channels)
            .printed(Printed::Nowhere)
            .key("quantity", |(row, ..)| row.name.as_str())
            .key("channel", |(_, channel, _)| *channel)
            .column(&["value", "uncertainty"], &[], |(.., figure)| *figure)
            .key("unit", |(row, ..)| row.unit);
        [people.table(), filed.table()]
    }
}

/// Unit for people.
fn word(unit: &'static str) -> &'static str {
    if unit == "percent" { "%" } else { unit }
}
