//! Room `reading`: the plain data that a reading consists of.
//!
//! `measure` fills the measured sections, `judge` the findings, `show` prints them; none of the types here computes.
//! The JSON form (`deckproof-reading/1`) is a contract with other programs: keys are added, never changed in
//! meaning. Units stand in the keys. Arrays of two are always `[left, right]`, after a detected swap was undone.
//! A value that was not measured is `null`, with a line in [`Facts::warnings`]; it is never a made-up number.
//! Uncertainties are expanded uncertainties with k = 2.

mod amplifier;
mod card;
mod causes;
mod channel;
mod circumstances;
mod comparison;
mod distortion;
pub mod figures;
mod file_time;
mod findings;
mod found;
mod job_sheet;
mod level_tone;
mod live;
mod measured;
mod noise;
mod output;
mod remedy;
mod same_tape;
mod saturation;
mod sections;
mod separation;
mod skew;
mod speed_from_length;
mod trim;
mod unit;
mod warning;

pub use amplifier::{Amplifier, AmplifierPosition, FedInto};
pub use card::{
    CARD_FORMAT, CalibratedBy, Card, CardAzimuth, CardLevel, CardPhase, CardResponse, CardSpeed, CardUsed,
    Pass, Subtracted,
};
pub use causes::{Cause, CauseKind, Instead, Unexplained};
pub use channel::Channel;
pub use circumstances::{Circumstances, Heads, NoiseReduction, RecordedOn, TapeType};
pub use comparison::{
    COMPARISON_FORMAT, ChangeState, ComparedChannel, ComparedReading, ComparedRow, Comparison, FindingChange,
    MeasuredBy, QuantityChange,
};
pub use distortion::{Distortion, DistortionStep, Intermodulation, IntermodulationStep};
pub use file_time::{FileClock, FileTime};
pub use findings::{
    Adjustment, Finding, NotJudged, QuantityMeaning, Settled, TurnStep, UncertainFrom, UncertaintyPart,
    Untold, Verdict, Way, WorkStep,
};
pub use found::{Found, FoundKind, NominalBy, TapeSection};
pub use job_sheet::{
    AtHand, AttachedReading, FollowedReading, HandLimit, HandReadings, HandValue, JOB_FORMAT,
    JobCircumstances, JobDeck, JobSheet, JobState, Workshop,
};
pub use level_tone::{dead_channels, level_tone};
pub use live::{
    AzimuthNow, BestPassed, BiasNow, Figure, FlutterNow, HeardNow, HighNow, LIVE_FORMAT, LevelNow, LineNow,
    LiveKey, Meters, NoiseNow, PhaseTurn, Picture, PointNow, ProgrammePlace, ResponseNow, Shown, Sound,
    SpeedNow, View,
};
pub use measured::{
    Azimuth, Capture, Dropout, Flutter, FlutterFigures, FlutterLine, FlutterSpread, FlutterStretch, Level,
    Made, MeanSpeed, PhasePoint, RecipeId, Response, ResponsePoint, Served, Speed, SpeedAgainstTime,
};
pub use noise::{Mains, Noise, Origin, SilenceBand, SilentPart};
pub use output::{Output, OutputLevel};
pub use remedy::Remedy;
pub use same_tape::{FlutterBand, FlutterShare, Playing, SameTape, SharedFigure, SharedLine, Whose};
pub use saturation::{NoiseBand, Saturation, SaturationLadder, SaturationNoise, SaturationStep};
pub use sections::Measured;
pub use separation::{Erasing, Separation};
pub use skew::{SKEW_FORMAT, SkewConsensus, SkewContent, SkewReading, SkewStretch, SkewTape, SkewVerdict};
pub use speed_from_length::SpeedFromLength;
pub use trim::{
    BiasBalance, BiasHigh, BiasPair, BiasPeak, BiasStep, BiasSweep, MonitorSwitch, ReductionBand,
    ReductionRow, ReductionTracking, Round, SourceStretch, SourceTone,
};

pub use unit::Unit;
pub use warning::{Warning, WarningId};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::ops::{Deref, DerefMut};

/// `[left, right]`; `null` where a channel could not be measured.
pub type Pair = [Option<f64>; 2];

/// `a` minus `b`, where both are known.
pub(crate) fn minus(a: Pair, b: Pair) -> Pair {
    [0, 1].map(|channel| Some(a[channel]? - b[channel]?))
}

/// Value of [`Facts::format`].
pub const FORMAT: &str = "deckproof-reading/1";

/// What is known of one return: what was captured, what was measured, and what must be known before it is trusted.
///
/// Nothing in it is judged. Corrections (sound card, house tape, marks, several playings) lead from facts to facts;
/// what follows from them stands in [`Reading`](crate::judge::Reading) alone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Facts {
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
    /// What was measured.
    #[serde(flatten)]
    pub measured: Measured,
    /// What the reader must know before trusting the figures.
    pub warnings: Vec<Warning>,
}

/// The measured sections stand beside the others, as they do in the JSON.
impl Deref for Facts {
    type Target = Measured;

    fn deref(&self) -> &Measured {
        &self.measured
    }
}

impl DerefMut for Facts {
    fn deref_mut(&mut self) -> &mut Measured {
        &mut self.measured
    }
}
