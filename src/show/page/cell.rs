//! Cells of a table: a figure, a tone, a level of the programme, words, a verdict. People and machines read the same cell.

use crate::reading::figures::{UnitKind, given, programme_level};
use crate::reading::{Pair, Verdict};
use crate::show::words::{row_frequency, verdict};

/// A value that may be missing, with its uncertainty and what it lies below.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::show) struct Measured {
    value: Option<f64>,
    uncertainty: Option<f64>,
    limit: Option<f64>,
    unit: UnitKind,
    signed: bool,
    sure: bool,
    named: bool,
    missing: &'static str,
}

impl Measured {
    pub(in crate::show) fn of(unit: UnitKind, value: Option<f64>, uncertainty: Option<f64>) -> Self {
        let (limit, missing) = (None, "cannot tell");
        Self { value, uncertainty, limit, unit, signed: false, sure: false, named: false, missing }
    }

    /// A deviation: a plus above 0.
    pub(in crate::show) const fn signed(self) -> Self {
        Self { signed: true, ..self }
    }

    /// Shows the uncertainty behind the value.
    pub(in crate::show) const fn sure(self) -> Self {
        Self { sure: true, ..self }
    }

    /// Shows the unit, where no head has it.
    pub(in crate::show) const fn named(self) -> Self {
        Self { named: true, ..self }
    }

    /// What it lies below where it is lost in noise.
    pub(in crate::show) const fn or_below(self, limit: Option<f64>) -> Self {
        Self { limit, ..self }
    }

    /// What stands where there is no value, in place of `cannot tell`.
    pub(in crate::show) const fn or_say(self, missing: &'static str) -> Self {
        Self { missing, ..self }
    }

    fn shown(&self) -> Shown {
        let unit = if self.named { self.unit.word() } else { "" };
        match (self.value, self.limit) {
            (Some(value), _) => {
                let figure = self.unit.of(value, self.uncertainty);
                let figure = if self.signed { figure.signed() } else { figure };
                Shown {
                    text: figure.number(),
                    spread: figure.spread().filter(|_| self.sure).unwrap_or_default(),
                    unit,
                    numeric: true,
                    verdict: None,
                }
            }
            (None, Some(limit)) => {
                let limit = self.unit.of(limit, None).ceiling();
                let below = if self.unit == UnitKind::Db { "better than " } else { "< " };
                Shown {
                    text: format!("{below}{limit}"),
                    unit,
                    numeric: false,
                    ..Shown::figure(String::new())
                }
            }
            (None, None) => Shown { numeric: false, ..Shown::figure(self.missing.to_owned()) },
        }
    }
}

/// Left and right of one quantity.
pub(in crate::show) fn pair(unit: UnitKind, values: Pair, uncertainties: Pair) -> [Measured; 2] {
    [0, 1].map(|k| Measured::of(unit, values[k], uncertainties[k]))
}

/// What one place of a table holds.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::show) enum Cell {
    /// One figure, or those of left and right.
    Figures(Vec<Measured>),
    /// An uncertainty in a column of its own.
    Spread(UnitKind, f64),
    /// Frequency of a tone, or mid-band of a third octave, Hz.
    Tone(f64),
    /// Level in the programme, dB.
    Programme(f64),
    /// A number without a unit, or with that of its key.
    Number(Option<f64>),
    Words(String),
    /// Words with their verdict; words may be empty.
    Judged(String, Option<Verdict>),
}

impl From<Measured> for Cell {
    fn from(figure: Measured) -> Self {
        Self::Figures(vec![figure])
    }
}

impl From<[Measured; 2]> for Cell {
    fn from(pair: [Measured; 2]) -> Self {
        Self::Figures(pair.to_vec())
    }
}

impl From<Option<f64>> for Cell {
    fn from(number: Option<f64>) -> Self {
        Self::Number(number)
    }
}

impl From<f64> for Cell {
    fn from(number: f64) -> Self {
        Self::Number(Some(number))
    }
}

impl From<u32> for Cell {
    fn from(count: u32) -> Self {
        Self::Number(Some(f64::from(count)))
    }
}

impl From<&str> for Cell {
    fn from(words: &str) -> Self {
        Self::Words(words.to_owned())
    }
}

impl From<String> for Cell {
    fn from(words: String) -> Self {
        Self::Words(words)
    }
}

/// A cell as people read it.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::show) struct Shown {
    /// Number or words.
    pub(in crate::show) text: String,
    /// The uncertainty, without its sign; empty if none is shown.
    pub(in crate::show) spread: String,
    /// The unit; empty where the head has it.
    pub(in crate::show) unit: &'static str,
    /// Whether it stands with its point under those of the column.
    pub(in crate::show) numeric: bool,
    pub(in crate::show) verdict: Option<Verdict>,
}

impl Shown {
    pub(in crate::show) fn figure(text: String) -> Self {
        Self { text, spread: String::new(), unit: "", numeric: true, verdict: None }
    }

    pub(in crate::show) fn words(text: String) -> Self {
        Self { numeric: false, ..Self::figure(text) }
    }

    /// All of it on one line.
    pub(in crate::show) fn line(&self) -> String {
        let spread = if self.spread.is_empty() { String::new() } else { format!("+- {}", self.spread) };
        let judged = self.verdict.map_or("", verdict);
        let parts = [self.text.as_str(), &spread, self.unit, judged];
        parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" ")
    }
}

impl Cell {
    /// The cell under `heads` heads: two figures have one each, or share one.
    pub(in crate::show) fn shown(&self, heads: usize) -> Vec<Shown> {
        vec![match self {
            Self::Figures(figures) => {
                let each: Vec<Shown> = figures.iter().map(Measured::shown).collect();
                if heads == each.len() {
                    return each;
                }
                let all: Vec<String> = each.iter().map(Shown::line).collect();
                Shown::words(all.join(" / "))
            }
            Self::Spread(unit, uncertainty) => {
                Shown::figure(unit.of(*uncertainty, *uncertainty).spread().unwrap_or_default())
            }
            Self::Tone(hz) => Shown::words(row_frequency(*hz)),
            Self::Programme(db) => Shown::words(programme_level(*db)),
            Self::Number(number) => Shown::figure(number.map_or(String::new(), |number| given(number, 4))),
            Self::Words(words) => Shown::words(words.clone()),
            Self::Judged(words, verdict) => Shown { verdict: *verdict, ..Shown::words(words.clone()) },
        }]
    }

    /// The cell under `keys` keys, in full precision; empty where nothing was measured. Figures give their values, then their
    /// uncertainties, then what they lie below, as far as there are keys.
    pub(in crate::show) fn raw(&self, keys: usize) -> Vec<String> {
        let number = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
        match self {
            Self::Figures(figures) => {
                let of =
                    |field: fn(&Measured) -> Option<f64>| figures.iter().map(move |one| number(field(one)));
                of(|one| one.value)
                    .chain(of(|one| one.uncertainty))
                    .chain(of(|one| one.limit))
                    .take(keys)
                    .collect()
            }
            Self::Spread(_, value) | Self::Tone(value) | Self::Programme(value) => vec![value.to_string()],
            Self::Number(value) => vec![number(*value)],
            Self::Words(words) => vec![words.clone()],
            Self::Judged(_, judged) => vec![judged.map_or("", verdict).to_owned()],
        }
    }
}

/// Digits behind the point.
fn behind(number: &str) -> usize {
    number.split_once('.').map_or(0, |(_, digits)| digits.len())
}

/// Most digits behind the point among the numbers and uncertainties of a column.
pub(in crate::show) fn most_behind(cells: &[&Shown]) -> usize {
    let numbers = cells.iter().filter(|cell| cell.numeric);
    numbers.map(|cell| behind(&cell.text).max(behind(&cell.spread))).max().unwrap_or(0)
}

/// Blanks that `number` needs behind it to stand with its point under that of one with `most` decimals.
pub(in crate::show) fn behind_point(number: &str, most: usize) -> usize {
    let digits = behind(number);
    most.saturating_sub(digits) + usize::from(digits == 0 && most > 0)
}
