//! Section `same_tape` of a reading: one recording played back several times, and whose flutter is whose.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The flutter that repeats with the tape (the recording's) apart from that which does not (the playback's).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SameTape {
    /// The playings, in the order given.
    pub playings: Vec<Playing>,
    /// Start of the stretch that all playings have, s of the programme.
    pub from_s: f64,
    /// Its end, s of the programme.
    pub to_s: f64,
    /// What repeats with the tape.
    pub recording: FlutterShare,
    /// What does not, mean power of all playings.
    pub playback: FlutterShare,
    /// Both in third octaves of the rate, unweighted.
    pub bands: Vec<FlutterBand>,
    /// The strongest lines, and whose they are.
    pub lines: Vec<SharedLine>,
    /// What was taken for granted, in words.
    pub assumed: Vec<String>,
}

/// One playback.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Playing {
    /// File as given.
    pub file: String,
    /// Speed of this playback against the recording, positive is fast, percent.
    pub speed_error_percent: f64,
    /// All flutter in it, recording and playback together, unweighted rms, noise subtracted, percent.
    pub all_unweighted_rms_percent: f64,
    /// What this playback alone adds.
    pub own: FlutterShare,
}

/// One share of the flutter, by kind.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FlutterShare {
    /// Unweighted rms, 0.1 to 200 Hz.
    pub unweighted_rms: SharedFigure,
    /// Weighted rms.
    pub weighted_rms: SharedFigure,
    /// Wow: unweighted rms up to 6 Hz.
    pub wow_rms: SharedFigure,
    /// Flutter: unweighted rms from 6 Hz on.
    pub flutter_rms: SharedFigure,
}

/// A figure, or what it surely lies below.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SharedFigure {
    /// Percent; `null` where it cannot be told from nothing.
    pub percent: Option<f64>,
    /// Expanded uncertainty, percent.
    pub uncertainty_percent: Option<f64>,
    /// The figure lies below this, percent.
    pub below_percent: f64,
}

/// One third octave of rates.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FlutterBand {
    /// Middle of the band, Hz.
    pub hz: f64,
    /// The recording's, rms.
    pub recording: SharedFigure,
    /// The playback's, rms.
    pub playback: SharedFigure,
}

/// A steady line of flutter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SharedLine {
    /// Rate, Hz of the programme's time.
    pub hz: f64,
    /// Peak deviation as seen, mean of all playings, percent.
    pub percent_peak: f64,
    /// Whose it is.
    pub whose: Whose,
    /// How likely chance alone makes the playings agree as well as they do, 0 to 1.
    pub by_chance: f64,
}

/// Whose a line of flutter is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Whose {
    /// It lies on the tape: the deck that recorded.
    #[serde(rename = "recording")]
    Recording,
    /// The deck that plays back.
    #[serde(rename = "playback")]
    Playback,
    /// Too few playings, or both have a share.
    #[serde(rename = "cannot tell")]
    CannotTell,
}
