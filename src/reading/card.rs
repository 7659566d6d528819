//! The card of a house tape: how far its recording is off, and how often it has been played.
//!
//! A card is a JSON file of its own (`deckproof-card/1`). Keys are added, never changed in meaning; keys of others stay
//! when a pass is counted. Uncertainties are expanded uncertainties with k = 2, pairs are `[left, right]`.

use super::{Made, Pair, RecipeId, ResponsePoint, TapeType};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Value of [`Card::format`].
pub const CARD_FORMAT: &str = "deckproof-card/1";

/// What is known of one house tape.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Card {
    /// Always `deckproof-card/1`.
    pub format: String,
    /// What the workshop calls the tape.
    pub name: String,
    /// When and by what the card was made, and on which deck the tape was compared.
    pub made: Made,
    /// The calibrated tape from which the card descends.
    pub calibrated: CalibratedBy,
    /// Programme on the tape.
    pub recipe: Option<RecipeId>,
    /// Tape type; `null` when not told.
    pub tape_type: Option<TapeType>,
    /// Level of the tape's level tones.
    pub level: Vec<CardLevel>,
    /// Response of the recording.
    pub response: Option<CardResponse>,
    /// Tilt of the recording.
    pub azimuth: Option<CardAzimuth>,
    /// Speed of the recording.
    pub speed: Option<CardSpeed>,
    /// Weighted rms flutter of the tape and the deck it was compared on together, percent: the tape's own is not more.
    pub flutter_at_most_percent: Option<f64>,
    /// How often the tape had been played before those of `history`.
    pub passes_before: u32,
    /// How many of `history`, from the first, the card was made from.
    pub passes_of_making: u32,
    /// Passes since, those of the making first.
    pub history: Vec<Pass>,
    /// What must be known about the card, a sentence each.
    pub notes: Vec<String>,
    /// Keys of others.
    #[serde(flatten)]
    pub other: BTreeMap<String, serde_json::Value>,
}

/// The calibrated tape behind a card.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CalibratedBy {
    /// Which tape it was, in the words of whoever made the card.
    pub tape: Option<String>,
    /// The return from which it was read.
    pub file: String,
    /// When it was read.
    pub at: Option<String>,
    /// Fluxivity of its 0 dB as its certificate states it, nWb/m; `null` when not told.
    pub fluxivity_nwb_per_m: Option<f64>,
    /// How that is stated: `short-circuit`, `open-circuit` or `unknown`; `null` when not told.
    #[serde(default)]
    pub fluxivity_stated: Option<String>,
}

/// Level of one tone of the tape.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CardLevel {
    /// Frequency, Hz.
    pub hz: f64,
    /// Level of the tone in the programme, dB re its reference level.
    pub programme_db: f64,
    /// How far the tone lies above where it would on the calibrated tape, dB.
    pub db: Pair,
    /// Expanded uncertainty, dB.
    pub uncertainty_db: f64,
    /// Left minus right, dB.
    pub difference_db: Option<f64>,
    /// Fluxivity of the tone, nWb/m; `null` if that of the calibrated tape was not told.
    #[serde(default)]
    pub fluxivity_nwb_per_m: Pair,
}

/// Response of the recording, relative to the reference frequency. What the tape's own tilt takes from the treble is not in
/// it where `azimuth` is known, because that depends on the deck's tilt.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CardResponse {
    /// Frequency whose response is 0 dB, Hz.
    pub reference_hz: f64,
    /// From stepped tones.
    pub steps: Vec<ResponsePoint>,
    /// From the sweep, third octaves.
    pub sweep: Vec<ResponsePoint>,
    /// From noise, third octaves.
    pub noise: Vec<ResponsePoint>,
}

/// Tilt of the recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CardAzimuth {
    /// Delay of the right channel that an upright head would find at nominal tape speed, us.
    pub delay_us: f64,
    /// Expanded uncertainty, us: with what the recorder's networks, different in its channels, may add to the delay.
    pub uncertainty_us: f64,
    /// Phase of the recording, right minus left, tone by tone: tilt and networks together, as they come off another deck's
    /// phases.
    pub phase: Vec<CardPhase>,
    /// Expanded uncertainty of all of `phase` together, as a delay, us.
    pub phase_uncertainty_us: f64,
}

/// Phase of the recording at one tone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CardPhase {
    /// Frequency in the programme, Hz.
    pub hz: f64,
    /// Right minus left, unwrapped, degrees.
    pub deg: f64,
    /// Standard deviation over the tones that it comes from, degrees.
    pub spread_deg: f64,
}

/// Speed of the recording.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CardSpeed {
    /// Speed error that a deck of right speed would find, percent.
    pub error_percent: f64,
    /// Expanded uncertainty, percent.
    pub uncertainty_percent: f64,
}

/// One playing of the tape: figures as read, before the card was subtracted.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Pass {
    /// When it was read; `null` where nobody said.
    pub at: Option<String>,
    /// On which deck, in the words of whoever read it.
    pub deck: Option<String>,
    /// The return.
    pub file: String,
    /// Mark of the return's bytes (FNV-1a, 64 bit), by which it is known again; `null` if the file was not there.
    pub mark: Option<String>,
    /// Level tone left minus right, dB.
    pub difference_db: Option<f64>,
    /// Expanded uncertainty of the difference, dB.
    pub difference_uncertainty_db: Option<f64>,
    /// Frequency of the treble that is watched, Hz.
    pub treble_hz: Option<f64>,
    /// Response there, dB.
    pub treble_db: Pair,
    /// Expanded uncertainty there, dB.
    pub treble_uncertainty_db: Pair,
    /// Delay of the right channel, us.
    pub delay_us: Option<f64>,
    /// Expanded uncertainty of the delay, us.
    pub delay_uncertainty_us: Option<f64>,
    /// Speed error, percent.
    pub speed_percent: Option<f64>,
    /// Expanded uncertainty of the speed, percent.
    pub speed_uncertainty_percent: Option<f64>,
}

/// The card that was subtracted from a reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CardUsed {
    /// File as given.
    pub file: String,
    /// What the workshop calls the tape.
    pub name: String,
    /// When the card was made.
    pub made_at: String,
    /// The calibrated tape behind it.
    pub calibrated: CalibratedBy,
    /// How often the tape had been played before this return.
    pub passes: u32,
    /// What was subtracted from each level tone of the reading.
    pub level: Vec<Subtracted>,
    /// Whether a response was subtracted.
    pub response: bool,
    /// What was subtracted from the delay, us.
    pub delay_us: Option<f64>,
    /// What was subtracted from the speed error, percent.
    pub speed_percent: Option<f64>,
    /// Flutter that the tape itself may have, weighted rms, percent; it cannot be subtracted.
    #[serde(default)]
    pub flutter_at_most_percent: Option<f64>,
}

/// What was subtracted from one level tone. `gain_db` and `difference_db` of the level row are without it, `return_dbfs` is as it
/// came back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Subtracted {
    /// Identifier of the part.
    pub part: String,
    /// By how much the tone lies above where it would on the calibrated tape, dB.
    pub db: Pair,
}
