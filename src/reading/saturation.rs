//! Behaviour near saturation.

use super::Pair;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// High levels: what the tape still takes.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Saturation {
    /// Frequency of the tones, Hz; `null` if only noise was played.
    #[serde(default)]
    pub hz: Option<f64>,
    /// Tones in steps of level.
    #[serde(default)]
    pub steps: Vec<SaturationStep>,
    /// Highest level that came back, dB re the programme's reference level.
    #[serde(default)]
    pub max_output_db: Pair,
    /// Noise at several levels, in third octaves.
    #[serde(default)]
    pub noise: Vec<SaturationNoise>,
}

/// A tone at one level.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SaturationStep {
    /// Level in the programme, dB re its reference level.
    pub programme_db: f64,
    /// Return minus programme, both in dBFS.
    pub gain_db: Pair,
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
    /// Gain of the noise in this band less the gain of the loudest level tone, hiss taken off, dB: a flat, linear deck
    /// has 0 in every band at every level.
    pub db: Pair,
    /// Expanded uncertainty, dB.
    pub uncertainty_db: Pair,
}
