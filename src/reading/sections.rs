//! All measured sections of a reading.

use super::{
    Amplifier, Azimuth, BiasPair, BiasSweep, Distortion, Dropout, Erasing, Flutter, Intermodulation, Level,
    Noise, Output, ReductionTracking, Response, Round, SameTape, Saturation, Separation, SourceStretch,
    Speed,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What was measured from one return, with uncertainties and without a verdict; times are those of the file.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Measured {
    /// One row for each level tone, in the order in which they were played.
    pub level: Vec<Level>,
    /// The level tones at the deck's output and against its mark, as far as that was told.
    #[serde(default)]
    pub output: Option<Output>,
    /// Response relative to the reference frequency.
    pub response: Option<Response>,
    /// The playback amplifier against its curve, from tones fed in without a tape.
    #[serde(default)]
    pub amplifier: Option<Amplifier>,
    /// Inter-channel delay and what follows from it.
    pub azimuth: Option<Azimuth>,
    /// Mean speed and its drift.
    pub speed: Option<Speed>,
    /// Flutter of the longest steady tone near 3 kHz.
    pub flutter: Option<Flutter>,
    /// Whose flutter it is, if several playings of one recording were read.
    #[serde(default)]
    pub same_tape: Option<SameTape>,
    /// Noise of the first silent part that serves noise, and of the others.
    pub noise: Option<Noise>,
    /// What was heard with the monitor switch at SOURCE before the rounds; then their gains are tape minus source.
    #[serde(default)]
    pub source: Option<SourceStretch>,
    /// Rounds of record level and bias, in the order of the programme.
    #[serde(default)]
    pub rounds: Vec<Round>,
    /// High against low tones of the rounds: high tone minus low tone.
    #[serde(default)]
    pub bias: Vec<BiasPair>,
    /// Sensitivity, distortion and noise at stepped bias.
    #[serde(default)]
    pub bias_sweep: Option<BiasSweep>,
    /// Response and noise with noise reduction in, against out.
    #[serde(default)]
    pub noise_reduction: Option<ReductionTracking>,
    /// Harmonic distortion against level.
    pub distortion: Option<Distortion>,
    /// Difference-frequency distortion of two high tones.
    pub intermodulation: Option<Intermodulation>,
    /// Output against input near saturation.
    pub saturation: Option<Saturation>,
    /// Leakage between the channels, one row a frequency.
    #[serde(default)]
    pub separation: Vec<Separation>,
    /// What erasing leaves of a tone.
    pub erasing: Option<Erasing>,
    /// Short losses of level found in steady tones.
    pub dropouts: Vec<Dropout>,
}
