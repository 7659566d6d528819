//! Judged quantities and warnings.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How a value stands to its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub enum Verdict {
    /// Inside the limit by more than its uncertainty.
    #[serde(rename = "within")]
    Within,
    /// Closer to the limit than its uncertainty.
    #[serde(rename = "near")]
    Near,
    /// Outside the limit by more than its uncertainty.
    #[serde(rename = "outside")]
    Outside,
    /// The circumstances or the recording do not allow a verdict.
    #[serde(rename = "cannot tell")]
    CannotTell,
}

/// One judged quantity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    /// Stable name, such as `azimuth`; the list stands in the order of work.
    pub id: String,
    /// Which of several findings of this name, such as `weighted rms`; `null` where there is only one (a channel).
    #[serde(default)]
    pub kind: Option<String>,
    /// `left`, `right`, `both`, or `null` where channels play no part.
    pub channel: Option<String>,
    /// The value in `unit`; `null` where it was not measured.
    pub value: Option<f64>,
    /// Expanded uncertainty (k = 2) in `unit`.
    pub uncertainty: Option<f64>,
    /// Unit in words, such as `dB`, `us`, `percent`.
    pub unit: String,
    /// The limit in words with its number, and where it comes from.
    pub limit: Option<String>,
    /// How the value stands to the limit.
    pub verdict: Verdict,
    /// `absolute`, `relative to ...`, or why it cannot be told, in words.
    pub basis: String,
    /// Why the verdict is so, in words a technician can act on.
    pub why: String,
    /// Which adjustment, which way, about how much; `null` where nothing is to be turned.
    pub turn: Option<String>,
}

/// Something odd about the return.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Warning {
    /// Stable name, such as `clipped`.
    pub id: String,
    /// What was found and what to do, in words.
    pub text: String,
}

impl Warning {
    /// A warning with the stable name `id`.
    pub fn new(id: &str, text: impl Into<String>) -> Self {
        Self { id: id.to_owned(), text: text.into() }
    }
}
