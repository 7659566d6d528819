//! What ordinary music on several tapes says of azimuth (`deckproof-skew/1`).

use super::{FileTime, Made, Warning};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Value of [`SkewReading::format`].
pub const SKEW_FORMAT: &str = "deckproof-skew/1";

/// Delay between the channels of several tapes, and what they say together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SkewReading {
    /// Always `deckproof-skew/1`.
    pub format: String,
    /// When and by what it was made; `null` where nobody said.
    #[serde(default)]
    pub made: Option<Made>,
    /// One row for each recording, in the order in which they were given.
    pub tapes: Vec<SkewTape>,
    /// What the usable ones say together.
    pub consensus: SkewConsensus,
}

/// Whether a tape says something of azimuth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub enum SkewVerdict {
    /// It does.
    #[serde(rename = "usable")]
    Usable,
    /// It does not.
    #[serde(rename = "cannot tell")]
    CannotTell,
}

/// What a recording looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub enum SkewContent {
    /// One programme on both tracks, each with its own hiss: the best case.
    #[serde(rename = "mono")]
    Mono,
    /// Stereo; what is common to both channels agrees on one delay.
    #[serde(rename = "partly common")]
    PartlyCommon,
    /// Too little is common to both channels, or it does not agree on one delay.
    #[serde(rename = "wide")]
    Wide,
    /// Both channels are one track: even the hiss is the same.
    #[serde(rename = "one track doubled")]
    OneTrackDoubled,
    /// The file has one channel.
    #[serde(rename = "mono file")]
    MonoFile,
    /// One channel carries next to nothing.
    #[serde(rename = "one channel")]
    OneChannel,
    /// Next to nothing in both channels.
    #[serde(rename = "silence")]
    Silence,
    /// Too short.
    #[serde(rename = "too short")]
    TooShort,
    /// One programme on both tracks, but too noisy or too narrow in band.
    #[serde(rename = "unclear")]
    Unclear,
}

/// One tape.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SkewTape {
    /// The recording, as it was named.
    pub file: String,
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Length of the recording, s.
    pub duration_s: f64,
    /// Delay between the channels, us; positive: the right channel lags. `null` if nobody can tell.
    pub delay_us: Option<f64>,
    /// Expanded uncertainty (k = 2), us: with what a stereo production may have put in by itself, without what the tape's
    /// recorder was off (see `consensus`).
    pub uncertainty_us: Option<f64>,
    /// The angle that the delay stands for, minutes of arc.
    pub angle_arcmin: Option<f64>,
    /// `usable` or `cannot tell`.
    pub verdict: SkewVerdict,
    /// Expanded uncertainty (k = 2) of the angle, minutes of arc.
    pub angle_uncertainty_arcmin: Option<f64>,
    /// Expanded uncertainty (k = 2) of the delay of what is common, as it lies on the tape, us: without what the
    /// production may have put in.
    pub common_uncertainty_us: Option<f64>,
    /// What the recording looks like.
    pub content: SkewContent,
    /// Share of what is common to both channels that agrees on the delay, by precision, percent.
    pub agreeing_percent: Option<f64>,
    /// The channels have opposite polarity at all frequencies; undone in the delay.
    pub opposed: bool,
    /// Rms of the delay's movement along the tape, slower than 0.1 Hz, noise subtracted, us.
    pub wander_us_rms: Option<f64>,
    /// Course along the tape, stretch by stretch of 5 s.
    pub along: Vec<SkewStretch>,
    /// It stands apart from the other tapes, and the consensus leaves it out.
    pub outlier: bool,
    /// Why the verdict is so, in words.
    pub why: String,
    /// What is odd about the recording.
    pub warnings: Vec<Warning>,
}

/// Delay in one stretch of a tape.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SkewStretch {
    /// Its middle, s of the recording.
    pub at_s: FileTime,
    /// Delay, us.
    pub delay_us: f64,
    /// Expanded uncertainty (k = 2) of the delay of what is common, us.
    pub uncertainty_us: f64,
}

/// What the usable tapes say together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SkewConsensus {
    /// Delay, us; `null` if no tape is usable.
    pub delay_us: Option<f64>,
    /// Expanded uncertainty (k = 2), us: with the spread of the tapes, which is that of their recorders and productions.
    pub uncertainty_us: Option<f64>,
    /// The angle that the delay stands for, minutes of arc.
    pub angle_arcmin: Option<f64>,
    /// Expanded uncertainty (k = 2) of the angle, minutes of arc.
    pub angle_uncertainty_arcmin: Option<f64>,
    /// What that angle costs at 10 kHz in each channel, negative dB.
    pub loss_at_10k_db: Option<f64>,
    /// Tapes that count: usable and no outliers.
    pub tapes: u32,
    /// Standard deviation of their delays, us; `null` for fewer than two.
    pub spread_us: Option<f64>,
    /// Standard deviation that recorders of tapes are taken to have before the tapes show their own, us.
    pub recorders_us: f64,
    /// What that says of this deck's azimuth, in words.
    pub says: String,
    /// What to do, in words; `null` where nothing is to be done.
    pub turn: Option<String>,
}
