//! Several readings held against each other.

use super::{Circumstances, Made, RecipeId, Verdict, Warning};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Value of [`Comparison::format`].
pub const COMPARISON_FORMAT: &str = "deckproof-comparison/1";

/// Two or more readings, quantity by quantity. Lists of values stand in the order of `readings`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Comparison {
    /// Always `deckproof-comparison/1`.
    pub format: String,
    /// What is compared; the first is "as found", the last "as left" if there are two.
    pub readings: Vec<ComparedReading>,
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

/// One quantity in all readings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ComparedRow {
    /// Which quantity, as the findings name it, such as `replay-response`.
    pub quantity: String,
    /// Which of them, such as `10 kHz at -20 dB, steps`.
    pub what: String,
    /// `left`, `right`, `left minus right`; `null` where channels play no part.
    pub channel: Option<String>,
    /// Frequency of a point of the response, Hz.
    pub hz: Option<f64>,
    /// Unit of all values of the row.
    pub unit: String,
    /// The values; `null` where a reading has none.
    pub values: Vec<Option<f64>>,
    /// Their expanded uncertainties (k = 2); `null` where none is stated.
    pub uncertainties: Vec<Option<f64>>,
    /// Last minus first.
    pub change: Option<f64>,
    /// Expanded uncertainty of the change: those of both values together.
    pub change_uncertainty: Option<f64>,
    /// Whether the change is larger than its uncertainty; `null` where that cannot be told.
    pub changed: Option<bool>,
    /// Standard deviation over the readings, of three and more.
    pub spread: Option<f64>,
    /// Whether the spread is more than the stated uncertainties explain (once in a hundred by chance).
    pub spread_is_real: Option<bool>,
}

/// One finding, before and after.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FindingChange {
    /// Name of the finding.
    pub id: String,
    /// Which of several of this name.
    pub kind: Option<String>,
    /// Channel, as in the finding.
    pub channel: Option<String>,
    /// Value of the first reading.
    pub before: Option<f64>,
    /// Value of the last reading.
    pub after: Option<f64>,
    /// Expanded uncertainties of the two.
    pub uncertainties: [Option<f64>; 2],
    /// Unit of both.
    pub unit: String,
    /// Verdict of the first reading; `null` if it has no such finding.
    pub verdict_before: Option<Verdict>,
    /// Verdict of the last reading; `null` if it has no such finding.
    pub verdict_after: Option<Verdict>,
    /// The limit of the last reading that has one.
    pub limit: Option<String>,
}
