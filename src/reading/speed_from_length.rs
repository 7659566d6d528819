//! Part `from_length` of the section `speed`.

use super::FileTime;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Absolute speed from a measured length of tape between two marks, whoever recorded it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpeedFromLength {
    /// What the marks are, in words.
    pub marks: String,
    /// Length of tape between them, mm.
    pub length_mm: f64,
    /// Expanded uncertainty of the length, mm.
    pub length_uncertainty_mm: f64,
    /// Time of the first mark, s of the return.
    pub from_s: FileTime,
    /// Time of the second mark, s of the return.
    pub to_s: FileTime,
    /// Expanded uncertainty of the time between them, clock of the sound card included, s.
    pub time_uncertainty_s: f64,
    /// Mean speed of the tape between the marks, mm/s.
    pub speed_mm_s: f64,
    /// Nominal speed, mm/s.
    pub nominal_mm_s: f64,
    /// Speed error, positive is fast, percent.
    pub error_percent: f64,
    /// Expanded uncertainty, percent.
    pub uncertainty_percent: f64,
}

impl SpeedFromLength {
    /// Time between the marks, true seconds; those of the file are others where its header names a wrong sample rate.
    pub fn time_s(&self) -> f64 {
        self.length_mm / self.speed_mm_s
    }
}
