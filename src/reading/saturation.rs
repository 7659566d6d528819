//! Section `saturation` of a reading.

use super::Pair;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Output against input near saturation: tones of one high frequency in steps, and noise.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Saturation {
    /// Frequency of the main ladder (the first of the programme), Hz; `null` if only noise was played.
    pub hz: Option<f64>,
    /// Its steps, by level.
    pub steps: Vec<SaturationStep>,
    /// Highest output of the main ladder, dB; see `reference`.
    pub max_output_db: Pair,
    /// Expanded uncertainty of it, dB.
    pub max_output_uncertainty_db: Pair,
    /// Level in the programme at which the output is highest, dB re its reference level.
    pub max_output_at_db: Pair,
    /// Why `max_output_db` is `null`, such as `still rising at the highest step`.
    pub max_output_why: [Option<String>; 2],
    /// What `max_output_db` is stated against, in words.
    pub reference: String,
    /// Ladders of further frequencies.
    pub others: Vec<SaturationLadder>,
    /// Response to noise in third octaves, by level: self-erasing shows as treble that the loud noise lacks.
    pub noise: Vec<SaturationNoise>,
}

/// Output against input of one further frequency; fields as in [`Saturation`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SaturationLadder {
    /// Frequency in the programme, Hz.
    pub hz: f64,
    /// Its steps, by level.
    pub steps: Vec<SaturationStep>,
    /// Highest output, dB.
    pub max_output_db: Pair,
    /// Expanded uncertainty of it, dB.
    pub max_output_uncertainty_db: Pair,
    /// Level in the programme at which the output is highest, dB re its reference level.
    pub max_output_at_db: Pair,
    /// Why `max_output_db` is `null`.
    pub max_output_why: [Option<String>; 2],
}

/// One level of a ladder.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SaturationStep {
    /// Level in the programme, dB re its reference level.
    pub programme_db: f64,
    /// Gain against the gain of the ladder's lowest step, dB: negative where the tape compresses.
    pub gain_db: Pair,
    /// Expanded uncertainty of it, dB; `null` at the lowest step, which is 0 by definition.
    pub uncertainty_db: Pair,
    /// Level of the return, dBFS.
    pub return_dbfs: Pair,
}

/// Noise at one level, return against programme.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SaturationNoise {
    /// Identifier of the part.
    pub part: String,
    /// `white` or `pink`.
    pub colour: String,
    /// Rms level in the programme, dB re its reference level.
    pub programme_db: f64,
    /// Third octaves (IEC 61260-1 exact mid-bands), rising.
    pub bands: Vec<NoiseBand>,
}

/// One third octave of a noise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NoiseBand {
    /// Exact mid-band frequency in the programme, Hz.
    pub hz: f64,
    /// Gain of the noise in this band less the gain of the loudest level tone, hiss subtracted, dB: a flat, linear deck
    /// has 0 in every band at every level.
    pub db: Pair,
    /// Expanded uncertainty, dB.
    pub uncertainty_db: Pair,
}
