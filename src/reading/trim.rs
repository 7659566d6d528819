//! Sections of the jobs done in rounds: record level and bias, the bias sweep, and noise reduction in against out.

use super::{FileTime, Pair};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// One round: the tones between two turns of a trimmer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Round {
    /// Its number in the programme, from 1.
    pub round: u32,
    /// Where its first tone lies, s of the return.
    pub at_s: FileTime,
    /// Frequency of its level tone, Hz; `null` if it has none.
    pub level_hz: Option<f64>,
    /// Level of the level tone in the return, converted to 0 dB of the programme, dBFS.
    pub reference_dbfs: Pair,
    /// Gain of the level tone, dB: return minus programme, or tape minus source where [`SourceStretch`] says that the monitor
    /// was switched.
    pub level_db: Pair,
    /// Expanded uncertainty of each, dB.
    pub level_uncertainty_db: Pair,
    /// Left minus right of the gains, dB.
    pub level_difference_db: Option<f64>,
    /// Gain less that of the round before it that could be measured, dB; `null` in the first.
    pub change_db: Pair,
    /// Where a level moved while a tone sounded, s of the return; `null` if all were steady.
    ///
    /// Tones on the shorter side of it are not stated; the tone itself is stated from its steady stretch.
    pub moved_at_s: Option<FileTime>,
    /// What moved there, in words: which tone and which channel by how much; `null` if all were steady.
    pub moved: Option<String>,
    /// Third harmonic of the level tone, percent.
    #[serde(default)]
    pub k3_percent: Pair,
    /// Expanded uncertainty of each, percent.
    #[serde(default)]
    pub k3_uncertainty_percent: Pair,
}

/// A low and a high tone of one round.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BiasPair {
    /// The round, from 1.
    pub round: u32,
    /// Where the round's first tone lies, s of the return.
    pub at_s: FileTime,
    /// The low tone, Hz.
    pub low_hz: f64,
    /// The high tone, Hz.
    pub high_hz: f64,
    /// Level of both in the programme, dB re its reference level.
    pub programme_db: f64,
    /// Gain of the low tone, dB: return minus programme, or tape minus source as in [`Round`].
    pub low_db: Pair,
    /// Gain of the high tone, dB.
    pub high_db: Pair,
    /// High minus low, dB.
    pub difference_db: Pair,
    /// Expanded uncertainty of the difference, dB.
    pub uncertainty_db: Pair,
    /// The difference less that of the round before, dB; `null` in the first.
    pub change_db: Pair,
}

/// What was heard with the monitor switch at SOURCE, before the rounds at TAPE.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SourceStretch {
    /// Where its first tone lies, s of the return.
    pub at_s: FileTime,
    /// Whether the rounds behind it are off the tape.
    pub monitor: MonitorSwitch,
    /// By how much the rounds are heard later than the source, ms: the way from head to head; `null` if not measured.
    pub behind_ms: Option<f64>,
    /// A-weighted noise at SOURCE, dBFS.
    pub noise_dbfs: Pair,
    /// A-weighted noise behind the switch, dBFS.
    pub behind_noise_dbfs: Pair,
    /// The tones of the rounds at SOURCE.
    pub tones: Vec<SourceTone>,
}

/// One tone at SOURCE.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SourceTone {
    /// Where it lies, s of the return.
    pub at_s: FileTime,
    /// Frequency, Hz.
    pub hz: f64,
    /// Level in the programme, dB re its reference level.
    pub programme_db: f64,
    /// Gain, return minus programme, dB.
    pub gain_db: Pair,
    /// Expanded uncertainty of that, dB.
    pub uncertainty_db: Pair,
}

/// What the monitor switch did between the stretch at SOURCE and the rounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum MonitorSwitch {
    /// The rounds are off the tape, the stretch before them is not.
    Switched,
    /// Both are alike.
    NotSwitched,
    /// The stretch before them is off the tape, the rounds are not.
    OtherWayRound,
    /// Slates and noise do not say the same.
    CannotTell,
}

/// Sensitivity, distortion and noise against the steps of the bias trimmer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BiasSweep {
    /// Frequency of the loud tone, Hz; distortion is its third harmonic.
    pub level_hz: Option<f64>,
    /// The low tone, Hz.
    pub low_hz: f64,
    /// What noise is stated against, in words.
    pub noise_reference: String,
    /// One row a round.
    pub steps: Vec<BiasStep>,
    /// True if bias rose from round to round, false if it fell (told by the treble, which more bias erases); `null` if
    /// the rounds are alike.
    pub rising: Option<bool>,
    /// Greatest sensitivity at the low tone, then at each high one.
    pub peaks: Vec<BiasPeak>,
    /// Where each high tone comes back as strong as the low one.
    pub balance: Vec<BiasBalance>,
    /// Round of the lowest third harmonic, with a fraction; `null` if it lies outside the sweep or was not measured.
    pub lowest_k3_round: Pair,
    /// Expanded uncertainty of that, rounds.
    pub lowest_k3_uncertainty_rounds: Pair,
}

/// One step of a bias sweep. Gains are return minus programme.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BiasStep {
    /// The round, from 1.
    pub round: u32,
    /// Where the round's first tone lies, s of the return.
    pub at_s: FileTime,
    /// Gain of the loud tone, dB.
    pub level_db: Pair,
    /// Gain of the low tone, dB.
    pub low_db: Pair,
    /// Expanded uncertainty of that, dB.
    pub low_uncertainty_db: Pair,
    /// The high tones.
    pub high: Vec<BiasHigh>,
    /// Third harmonic of the loud tone, percent.
    pub k3_percent: Pair,
    /// Expanded uncertainty of that, percent.
    pub k3_uncertainty_percent: Pair,
    /// A-weighted noise, dB.
    pub noise_a_weighted_db: Pair,
    /// Expanded uncertainty of that, dB.
    pub noise_uncertainty_db: Pair,
}

/// A high tone at one step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BiasHigh {
    /// Frequency, Hz.
    pub hz: f64,
    /// Gain, dB.
    pub db: Pair,
    /// Expanded uncertainty, dB.
    pub uncertainty_db: Pair,
    /// Overbias: how far the gain has fallen from its peak, dB; positive past the peak, negative before it; `null` if
    /// the sweep does not show the peak.
    pub past_peak_db: Pair,
}

/// The peak of the sensitivity at one frequency.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BiasPeak {
    /// Frequency, Hz.
    pub hz: f64,
    /// Round with a fraction; `null` if the peak lies outside the sweep or is too flat to be placed.
    pub round: Pair,
    /// Expanded uncertainty of that, rounds.
    pub uncertainty_rounds: Pair,
    /// Gain at the peak, dB.
    pub db: Pair,
}

/// Where a high tone stands level with the low one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BiasBalance {
    /// The high tone, Hz.
    pub high_hz: f64,
    /// Round with a fraction; `null` if the sweep does not cross it.
    pub round: Pair,
    /// Expanded uncertainty of that, rounds.
    pub uncertainty_rounds: Pair,
    /// The best compromise: of the rounds whose high tone is, within the uncertainty, nearest to the low one, that with
    /// the lowest third harmonic.
    pub best_round: [Option<u32>; 2],
}

/// Response with the deck's noise reduction in, against out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReductionTracking {
    /// One row for each level and frequency that both halves have.
    pub rows: Vec<ReductionRow>,
    /// The rows by level and band.
    pub bands: Vec<ReductionBand>,
    /// A-weighted noise with it out, dBFS.
    pub noise_out_dbfs: Pair,
    /// A-weighted noise with it in, dBFS.
    pub noise_in_dbfs: Pair,
    /// By how much it lowers the noise, dB.
    pub noise_lowered_db: Pair,
    /// Expanded uncertainty of that, dB.
    pub noise_uncertainty_db: Pair,
    /// False if both halves are the same, noise included: nothing was switched; `null` if it cannot be told.
    pub switched: Option<bool>,
}

/// One tone with noise reduction out and in. Gains are return minus programme.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReductionRow {
    /// Level in the programme, dB re its reference level.
    pub programme_db: f64,
    /// Frequency in the programme, Hz.
    pub hz: f64,
    /// Gain with it out, dB.
    pub out_db: Pair,
    /// Gain with it in, dB.
    pub in_db: Pair,
    /// In minus out, dB.
    pub mistracking_db: Pair,
    /// Expanded uncertainty of that, dB.
    pub uncertainty_db: Pair,
}

/// Mistracking of one level in one band.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReductionBand {
    /// Level in the programme, dB re its reference level.
    pub programme_db: f64,
    /// Lower end of the band, Hz.
    pub from_hz: f64,
    /// Upper end of the band, Hz.
    pub to_hz: f64,
    /// Mean mistracking, dB.
    pub mean_db: Pair,
    /// Mistracking that is furthest from 0, dB.
    pub worst_db: Pair,
    /// Where that is, Hz.
    pub worst_hz: Pair,
}
