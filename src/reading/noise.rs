//! Noise and hum of the silent parts.

use super::Pair;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Noise of the first silent part that serves noise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Noise {
    /// What the noise is stated against, in words.
    pub reference: String,
    /// The return's level of that reference, dBFS.
    pub reference_dbfs: Pair,
    /// Rms from 22.4 Hz to 22.4 kHz against the reference, dB.
    pub unweighted_db: Pair,
    /// A-weighted rms (IEC 61672-1) against the reference, dB.
    pub a_weighted_db: Pair,
    /// ITU-R BS.468-4 weighted, quasi-peak, against the reference, dB: the mean of what the meter shows once it has
    /// settled. `null` if the silent part is too short for that.
    #[serde(default)]
    pub itu468_db: Pair,
    /// Standard deviation of what the quasi-peak meter shows about that mean, dB: how restless its needle is.
    #[serde(default)]
    pub itu468_spread_db: Pair,
    /// Expanded uncertainty of the unweighted and the A-weighted figure, dB.
    pub uncertainty_db: Pair,
    /// Expanded uncertainty of the quasi-peak figure, dB; that other meters may differ is not in it.
    #[serde(default)]
    pub itu468_uncertainty_db: Pair,
    /// As `unweighted_db`, with the components of mains hum subtracted: hiss alone, dB.
    #[serde(default)]
    pub unweighted_without_hum_db: Pair,
    /// As `a_weighted_db`, with the components of mains hum subtracted: hiss alone, dB.
    #[serde(default)]
    pub a_weighted_without_hum_db: Pair,
    /// Mains hum; `null` if none stands out.
    pub mains: Option<Mains>,
    /// Every silent part that serves noise, this one included, in the order of the programme.
    #[serde(default)]
    pub parts: Vec<SilentPart>,
    /// Third octaves of this silent part, 20 Hz to 20 kHz, rising; those that the sample rate cannot hold whole are absent.
    #[serde(default)]
    pub bands: Vec<SilenceBand>,
}

/// Noise of a silent part in one third octave, hum included.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SilenceBand {
    /// Exact mid-band frequency in the return, Hz (IEC 61260-1).
    pub hz: f64,
    /// Rms in the band against the reference of [`Noise`], dB.
    pub db: Pair,
    /// Expanded uncertainty, dB: of hiss by its own chance in so short a time, and of the reference.
    pub uncertainty_db: Pair,
}

/// Mains hum in a silent part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Mains {
    /// Its fundamental frequency as it stands in the return, Hz.
    pub hz: f64,
    /// Expanded uncertainty of the frequency, Hz.
    #[serde(default)]
    pub uncertainty_hz: Option<f64>,
    /// The mains nominal frequency, 50 or 60 Hz.
    #[serde(default)]
    pub nominal_hz: Option<f64>,
    /// Where the hum gets in.
    #[serde(default)]
    pub origin: Origin,
    /// What says so, in words.
    #[serde(default)]
    pub origin_why: String,
    /// Fundamental and harmonics together against the reference, dB.
    pub hum_db: Pair,
    /// Expanded uncertainty of the hum, dB.
    #[serde(default)]
    pub uncertainty_db: Pair,
    /// `[Hz, left dB, right dB]` for each line that stands out.
    pub lines: Vec<(f64, Option<f64>, Option<f64>)>,
}

/// Where hum gets in.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Origin {
    /// After the head: playback head, playback amplifier, leads, sound card. It keeps to the mains frequency.
    #[serde(rename = "playback")]
    Playback,
    /// It lies on the tape: recording amplifier, player and its leads, or another deck. It moves with the tape.
    #[serde(rename = "recorded")]
    Recorded,
    /// The return does not tell.
    #[default]
    #[serde(rename = "cannot tell")]
    CannotTell,
}

/// Noise of one silent part, against the same reference as the others.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SilentPart {
    /// Identifier of the part.
    pub part: String,
    /// What it is for, in the words of the recipe.
    pub purpose: String,
    /// Rms from 22.4 Hz to 22.4 kHz, dB.
    pub unweighted_db: Pair,
    /// A-weighted rms, dB.
    pub a_weighted_db: Pair,
    /// ITU-R BS.468-4 weighted, quasi-peak, dB.
    pub itu468_db: Pair,
    /// Expanded uncertainty of the unweighted and the A-weighted figure, dB.
    pub uncertainty_db: Pair,
    /// Mains hum of this part, all lines, dB; `null` if none stands out.
    pub hum_db: Pair,
}
