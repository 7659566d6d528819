//! Room `reading`: the plain data that a reading consists of.
//!
//! `measure` fills the measured sections, `judge` the findings, `show` prints them; none of the types here computes.
//! The JSON form (`deckproof-reading/1`) is a contract with other programs: keys are added, never changed in
//! meaning. Units stand in the keys. Arrays of two are always `[left, right]`, after a detected swap was undone.
//! A value that was not measured is `null`, with a line in [`Reading::warnings`]; it is never a made-up number.
//! Uncertainties are expanded uncertainties with k = 2.

mod circumstances;
mod findings;
mod measured;

pub use circumstances::{Circumstances, Heads, NoiseReduction, RecordedOn, TapeType};
pub use findings::{Finding, Verdict, Warning};
pub use measured::{
    Azimuth, Capture, Dropout, Flutter, FlutterFigures, FlutterLine, FlutterSpread, FlutterStretch, Level,
    Mains, Noise, PhasePoint, RecipeId, Response, ResponsePoint, Speed,
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
    /// The recipe that the return was read by; `null` when no slate was found.
    pub recipe: Option<RecipeId>,
    /// The recording itself: what file, how it was wired, whether it is sound.
    pub capture: Capture,
    /// What the reader was told because no signal shows it.
    pub circumstances: Circumstances,
    /// One row for each level tone, in the order in which they were played.
    pub level: Vec<Level>,
    /// Response relative to the reference frequency.
    pub response: Option<Response>,
    /// Inter-channel delay and what follows from it.
    pub azimuth: Option<Azimuth>,
    /// Mean speed and its drift.
    pub speed: Option<Speed>,
    /// Flutter of the longest steady tone near 3 kHz.
    pub flutter: Option<Flutter>,
    /// Noise of the longest silent part.
    pub noise: Option<Noise>,
    /// Short losses of level found in steady tones.
    pub dropouts: Vec<Dropout>,
    /// Judged quantities, in the order of work.
    pub findings: Vec<Finding>,
    /// What the reader must know before trusting the figures.
    pub warnings: Vec<Warning>,
}
