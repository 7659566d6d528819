//! Sections `separation` and `erasing` of a reading.

use super::{FileTime, Pair};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Leakage between the channels at one frequency, measured selectively.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Separation {
    /// Frequency in the programme, Hz.
    pub hz: f64,
    /// Level in the programme, dB re its reference level.
    pub programme_db: f64,
    /// Right against left with only the left channel driven, dB; `null` where it cannot be told from noise: then it lies
    /// below `left_into_right_limit_db`.
    pub left_into_right_db: Option<f64>,
    /// Left against right with only the right channel driven, dB.
    pub right_into_left_db: Option<f64>,
    /// Expanded uncertainty, dB.
    pub left_into_right_uncertainty_db: Option<f64>,
    /// Expanded uncertainty, dB.
    pub right_into_left_uncertainty_db: Option<f64>,
    /// `[left into right, right into left]`: leakage below this cannot be told from noise, dB.
    pub noise_limit_db: Pair,
}

/// How far a recorded tone goes down when it is erased.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Erasing {
    /// Frequency of the tone in the programme, Hz.
    pub hz: f64,
    /// Level of the tone in the programme, dB re its reference level.
    pub programme_db: f64,
    /// Start of the erased stretch that was measured, s of the return; `null` if nothing was erased.
    pub erased_from_s: Option<FileTime>,
    /// Its end, s of the return.
    pub erased_to_s: Option<FileTime>,
    /// Residual of the tone against the tone before erasing, dB, negative; `null` where it cannot be told from noise:
    /// then it lies below `noise_limit_db`.
    pub residual_db: Pair,
    /// Expanded uncertainty, dB.
    pub uncertainty_db: Pair,
    /// A residual below this cannot be told from noise, dB.
    pub noise_limit_db: Pair,
    /// Why nothing can be told, in words; `null` if something was measured.
    pub why: Option<String>,
}
