//! Room `reading`: the plain data that a reading consists of.
//!
//! `measure` fills the measured sections, `judge` the findings, `show` prints them; none of the types here computes.
//! The JSON form (`deckproof-reading/1`) is a contract with other programs: keys are added, never changed in
//! meaning. Units stand in the keys. Arrays of two are always `[left, right]`, after a detected swap was undone.
//! A value that was not measured is `null`, with a line in [`Reading::warnings`]; it is never a made-up number.
//! Uncertainties are expanded uncertainties with k = 2.

mod amplifier;
mod card;
mod causes;
mod circumstances;
mod comparison;
mod distortion;
pub mod figures;
mod findings;
mod found;
mod job_sheet;
mod measured;
mod noise;
mod same_tape;
mod saturation;
mod separation;
mod skew;
mod speed_from_length;
mod trim;

pub use amplifier::{Amplifier, AmplifierPosition, FedInto};
pub use card::{
    CARD_FORMAT, CalibratedBy, Card, CardAzimuth, CardLevel, CardPhase, CardResponse, CardSpeed, CardUsed,
    Pass, Subtracted,
};
pub use causes::{Cause, CauseKind, Instead, Unexplained};
pub use circumstances::{Circumstances, Heads, NoiseReduction, RecordedOn, TapeType};
pub use comparison::{
    COMPARISON_FORMAT, ChangeState, ComparedReading, ComparedRow, Comparison, FindingChange, QuantityChange,
};
pub use distortion::{Distortion, DistortionStep, Intermodulation, IntermodulationStep};
pub use findings::{Adjustment, Finding, TurnStep, Verdict, Warning, Way, WorkStep};
pub use found::{Found, FoundKind, NominalBy, TapeSection};
pub use job_sheet::{
    AtHand, AttachedReading, HandLimit, HandReadings, HandValue, JOB_FORMAT, JobCircumstances, JobDeck,
    JobSheet, JobState,
};
pub use measured::{
    Azimuth, Capture, Dropout, Flutter, FlutterFigures, FlutterLine, FlutterSpread, FlutterStretch, Level,
    Made, PhasePoint, RecipeId, Response, ResponsePoint, Speed, SpeedAgainstTime,
};
pub use noise::{Mains, Noise, Origin, SilenceBand, SilentPart};
pub use same_tape::{FlutterBand, FlutterShare, Playing, SameTape, SharedFigure, SharedLine, Whose};
pub use saturation::{NoiseBand, Saturation, SaturationLadder, SaturationNoise, SaturationStep};
pub use separation::{Erasing, Separation};
pub use skew::{SKEW_FORMAT, SkewConsensus, SkewContent, SkewReading, SkewStretch, SkewTape, SkewVerdict};
pub use speed_from_length::SpeedFromLength;
pub use trim::{
    BiasBalance, BiasHigh, BiasPair, BiasPeak, BiasStep, BiasSweep, ReductionBand, ReductionRow,
    ReductionTracking, Round,
};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// `[left, right]`; `null` where a channel could not be measured.
pub type Pair = [Option<f64>; 2];

/// Value of [`Reading::format`].
pub const FORMAT: &str = "deckproof-reading/1";

/// Everything that was measured from one return.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Reading {
    /// Always `deckproof-reading/1`.
    pub format: String,
    /// When, by what and for which deck; `null` where nobody said.
    #[serde(default)]
    pub made: Option<Made>,
    /// The recipe that the return was read by; `null` when no slate was found.
    pub recipe: Option<RecipeId>,
    /// The recording itself: what file, how it was wired, whether it is sound.
    pub capture: Capture,
    /// What the reader was told because no signal shows it.
    pub circumstances: Circumstances,
    /// What was found in a return without slates, in the order of time; empty for one that was read by its slates.
    #[serde(default)]
    pub found: Vec<Found>,
    /// What was told of a tape that carries no slates.
    #[serde(default)]
    pub tape: Option<TapeSection>,
    /// One row for each level tone, in the order in which they were played.
    pub level: Vec<Level>,
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
    /// Rounds of record level and bias, in the order of the programme.
    #[serde(default)]
    pub rounds: Vec<Round>,
    /// High against low tones of the rounds: high tone minus low tone, return minus programme.
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
    /// What makes the response as it is, one row a cause and channel; empty where a response tells nothing.
    #[serde(default)]
    pub causes: Vec<Cause>,
    /// What the causes leave of the response, one row a channel.
    #[serde(default)]
    pub unexplained: Vec<Unexplained>,
    /// Judged quantities, in the order of work.
    pub findings: Vec<Finding>,
    /// What is to be done, in the order of work; empty where nothing is outside its limit.
    #[serde(default)]
    pub work: Vec<WorkStep>,
    /// What the reader must know before trusting the figures.
    pub warnings: Vec<Warning>,
}
