//! Units of findings, steps and causes.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Unit of a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub enum Unit {
    /// Decibel.
    #[serde(rename = "dB")]
    Db,
    /// Decibel re the rms of a full-scale sine.
    #[serde(rename = "dBFS")]
    Dbfs,
    /// Percent.
    #[serde(rename = "percent")]
    Percent,
    /// Microsecond.
    #[serde(rename = "us")]
    Us,
    /// Micrometre.
    #[serde(rename = "um")]
    Um,
    /// Hertz.
    #[serde(rename = "Hz")]
    Hz,
    /// Degree of phase.
    #[serde(rename = "degree")]
    Degree,
    /// No value, or one without a unit.
    #[serde(rename = "")]
    None,
}

impl Unit {
    /// As it stands in the JSON.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Db => "dB",
            Self::Dbfs => "dBFS",
            Self::Percent => "percent",
            Self::Us => "us",
            Self::Um => "um",
            Self::Hz => "Hz",
            Self::Degree => "degree",
            Self::None => "",
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}
