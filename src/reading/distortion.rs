//! Sections `distortion` and `intermodulation` of a reading.

use super::Pair;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Harmonic distortion against level.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Distortion {
    /// What the percentages are of, and after which document, in words.
    pub relative_to: String,
    /// Highest harmonic that is in `thd_percent`; the sample rate may allow fewer than 7.
    pub highest_order: u32,
    /// One row a step, by frequency and level.
    pub steps: Vec<DistortionStep>,
    /// Frequency of the ladder in which 3 % was looked for, Hz.
    pub k3_3percent_hz: f64,
    /// Level in the programme at which the third harmonic reaches 3 %, dB re its reference level, interpolated.
    pub k3_3percent_at_db: Pair,
    /// Expanded uncertainty of it, dB.
    pub k3_3percent_uncertainty_db: Pair,
    /// Returned level there against the returned reference level, dB: the maximum output level (MOL) as the trade says.
    pub k3_3percent_output_db: Pair,
    /// Why `k3_3percent_at_db` is `null`, such as `above the highest step`.
    pub k3_3percent_why: [Option<String>; 2],
}

/// Harmonics of one tone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DistortionStep {
    /// Identifier of the part.
    pub part: String,
    /// Frequency in the programme, Hz.
    pub hz: f64,
    /// Level in the programme, dB re its reference level.
    pub programme_db: f64,
    /// Level of the fundamental in the return, dBFS.
    pub level_dbfs: Pair,
    /// Second harmonic, percent; `null` where it cannot be told from noise or hum: see `k2_limit_percent`.
    pub k2_percent: Pair,
    /// Third harmonic, percent.
    pub k3_percent: Pair,
    /// Fifth harmonic, percent.
    pub k5_percent: Pair,
    /// All harmonics to `highest_order` together (rms), noise subtracted, percent.
    pub thd_percent: Pair,
    /// Expanded uncertainty, percent.
    pub k2_uncertainty_percent: Pair,
    /// Expanded uncertainty, percent.
    pub k3_uncertainty_percent: Pair,
    /// Expanded uncertainty, percent.
    pub thd_uncertainty_percent: Pair,
    /// Where there is no value: the second harmonic lies below this, percent.
    pub k2_limit_percent: Pair,
    /// Where there is no value: the third harmonic lies below this, percent.
    pub k3_limit_percent: Pair,
    /// Where there is no value: the fifth harmonic lies below this, percent.
    pub k5_limit_percent: Pair,
    /// Where there is no value: all harmonics together lie below this, percent.
    pub thd_limit_percent: Pair,
}

/// Difference-frequency distortion of two tones of equal level.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Intermodulation {
    /// What the percentages are of, and after which document, in words.
    pub relative_to: String,
    /// One row a pair of tones and level.
    pub steps: Vec<IntermodulationStep>,
}

/// Difference frequencies of one pair of tones.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct IntermodulationStep {
    /// Identifier of the part.
    pub part: String,
    /// The two frequencies in the programme, the lower first, Hz.
    pub hz: [f64; 2],
    /// Level in the programme of a sine with the same peak as both tones together, dB re the reference level; each tone
    /// lies 6.02 dB lower.
    pub programme_db: f64,
    /// Level of the sum of both tones' amplitudes in the return, dBFS.
    pub level_dbfs: Pair,
    /// Second order: the tone at f2 - f1, percent; `null` where it cannot be told from noise.
    pub second_percent: Pair,
    /// Third order: the tones at 2 f1 - f2 and 2 f2 - f1 added, percent; `null` where they cannot be told from noise.
    pub third_percent: Pair,
    /// Expanded uncertainty, percent.
    pub second_uncertainty_percent: Pair,
    /// Expanded uncertainty, percent.
    pub third_uncertainty_percent: Pair,
    /// Where there is no value: it lies below this, percent.
    pub second_limit_percent: Pair,
    /// Where there is no value: it lies below this, percent.
    pub third_limit_percent: Pair,
}
