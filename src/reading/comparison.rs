//! Several readings held against each other.

use super::{Channel, Circumstances, Made, RecipeId, Unit, Verdict, Warning};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Value of [`Comparison::format`].
pub const COMPARISON_FORMAT: &str = "deckproof-comparison/1";

/// Two or more readings, quantity by quantity. Lists of values stand in the order of `readings`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Comparison {
    /// Always `deckproof-comparison/1`.
    pub format: String,
    /// What is compared; the first is "as found", the last "as left" if there are two.
    pub readings: Vec<ComparedReading>,
    /// Readings between which nothing was touched: how well the deck repeats itself.
    #[serde(default)]
    pub repeats: Vec<ComparedReading>,
    /// Quantity by quantity: what really changed, the most of its tolerance first; then what did not, in the order of work.
    #[serde(default)]
    pub summary: Vec<QuantityChange>,
    /// What follows from the figures, in words.
    #[serde(default)]
    pub remarks: Vec<String>,
    /// Every quantity that at least one reading has, in the order of work.
    pub rows: Vec<ComparedRow>,
    /// How the findings changed from the first reading to the last.
    pub findings: Vec<FindingChange>,
    /// What must be known before the differences are trusted.
    pub warnings: Vec<Warning>,
}

/// One of the readings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ComparedReading {
    /// What it is called here.
    pub name: String,
    /// The reading's file.
    pub file: String,
    /// The return that it was read from.
    pub capture: String,
    /// When, by what and for which deck.
    pub made: Option<Made>,
    /// The recipe.
    pub recipe: Option<RecipeId>,
    /// What the reader was told.
    pub circumstances: Circumstances,
}

/// How a point of a response was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum MeasuredBy {
    /// By a tone of its own.
    Steps,
    /// By a sweep.
    Sweep,
    /// By a band of noise.
    Noise,
}

impl MeasuredBy {
    /// The best first.
    pub const ALL: [Self; 3] = [Self::Steps, Self::Sweep, Self::Noise];
}

/// Of which channel a row is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum ComparedChannel {
    /// Left.
    Left,
    /// Right.
    Right,
    /// Left minus right.
    #[serde(rename = "left minus right")]
    Difference,
}

impl ComparedChannel {
    /// Left and right.
    pub const SIDES: [Self; 2] = [Self::Left, Self::Right];

    /// `left`, `right` or `left minus right`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
            Self::Difference => "left minus right",
        }
    }
}

impl fmt::Display for ComparedChannel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// One quantity in all readings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ComparedRow {
    /// Which quantity, as the findings name it, such as `playback-response`.
    pub quantity: String,
    /// Which of them, such as `10 kHz at -20 dB, steps`.
    pub what: String,
    /// `left`, `right`, `left minus right`; `null` where channels play no part.
    pub channel: Option<ComparedChannel>,
    /// Frequency of a point of the response, Hz.
    pub hz: Option<f64>,
    /// How that point was measured.
    #[serde(default)]
    pub by: Option<MeasuredBy>,
    /// Unit of all values of the row.
    pub unit: String,
    /// The values; `null` where a reading has none.
    pub values: Vec<Option<f64>>,
    /// Their expanded uncertainties (k = 2); `null` where none is stated.
    pub uncertainties: Vec<Option<f64>>,
    /// Last minus first.
    pub change: Option<f64>,
    /// Expanded uncertainty of the change: those of both values together, and how well the deck repeats itself if that was told.
    pub change_uncertainty: Option<f64>,
    /// Whether the change is larger than its uncertainty; `null` where that cannot be told.
    pub changed: Option<bool>,
    /// What is usually allowed to a full-size deck in this quantity (common practice), to weigh the change by; `null` if unknown.
    #[serde(default)]
    pub tolerance: Option<f64>,
    /// Whether it really changed: beyond what chance shows among so many rows, and by a tenth of `tolerance` at least; `null`
    /// where `changed` is.
    #[serde(default)]
    pub really: Option<bool>,
    /// Standard deviation over the readings, of three and more.
    pub spread: Option<f64>,
    /// How far one reading may lie from the mean of many, by the spread alone: standard deviation times Student's factor for
    /// so few readings (95.45 %, as k = 2).
    #[serde(default)]
    pub repeatability: Option<f64>,
    /// Whether the spread is more than the stated uncertainties explain (once in a hundred by chance).
    pub spread_is_real: Option<bool>,
}

/// Whether a quantity changed from the first reading to the last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum ChangeState {
    /// It really changed.
    #[serde(rename = "changed")]
    Changed,
    /// Beyond the uncertainty, but within what chance shows among so many rows, or too little to matter.
    #[serde(rename = "too little to matter")]
    TooLittle,
    /// No change beyond the uncertainty.
    #[serde(rename = "none shown")]
    NoneShown,
    /// A reading lacks it, or no uncertainty is stated.
    #[serde(rename = "cannot tell")]
    CannotTell,
}

/// All rows of one quantity together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct QuantityChange {
    /// Which quantity.
    pub quantity: String,
    /// Whether it changed.
    pub state: ChangeState,
    /// The rows that say so, by their place in `rows`, most important first; a choice where there are many.
    pub rows: Vec<u32>,
    /// How many more are in that state.
    pub more: u32,
    /// Lowest frequency of the rows in that state, Hz; `null` where frequency plays no part.
    pub from_hz: Option<f64>,
    /// Highest frequency of them, Hz.
    pub to_hz: Option<f64>,
    /// Why it cannot be told, where the circumstances are the reason.
    #[serde(default)]
    pub why: Option<String>,
}

/// One finding, before and after.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FindingChange {
    /// Name of the finding.
    pub id: String,
    /// Which of several of this name.
    pub kind: Option<String>,
    /// Channel, as in the finding.
    pub channel: Option<Channel>,
    /// Value of the first reading.
    pub before: Option<f64>,
    /// Value of the last reading.
    pub after: Option<f64>,
    /// Expanded uncertainties of the two.
    pub uncertainties: [Option<f64>; 2],
    /// Last minus first.
    #[serde(default)]
    pub change: Option<f64>,
    /// Expanded uncertainty of the change, of both together.
    #[serde(default)]
    pub change_uncertainty: Option<f64>,
    /// Whether the change is larger than that; `null` where it cannot be told.
    #[serde(default)]
    pub changed: Option<bool>,
    /// Unit of both.
    pub unit: Unit,
    /// Verdict of the first reading; `null` if it has no such finding.
    pub verdict_before: Option<Verdict>,
    /// Verdict of the last reading; `null` if it has no such finding.
    pub verdict_after: Option<Verdict>,
    /// The limit of the last reading that has one.
    pub limit: Option<String>,
}
