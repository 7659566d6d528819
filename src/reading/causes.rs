//! Physical causes of a measured response, and what they leave unexplained.

use super::{Channel, Unit};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What makes a response deviate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CauseKind {
    /// Head tilted against the recording; from the measured delay, not fitted.
    Azimuth,
    /// Tape away from the head: dirt, wear, bad contact.
    Spacing,
    /// Gap of the playback head.
    Gap,
    /// Treble time constant of the equalisation.
    TimeConstant,
    /// First-order low-pass in the treble.
    LowPass,
    /// The trimmer of the treble equalisation: a lift or a dip about one frequency.
    Equaliser,
    /// First-order high-pass in the bass: coupling capacitors.
    Coupling,
    /// Resonance in the bass.
    HeadBump,
    /// None of these was found.
    None,
}

impl CauseKind {
    /// Whether it shows in the treble (or else in the bass).
    pub fn is_treble(self) -> bool {
        !matches!(self, Self::Coupling | Self::HeadBump)
    }
}

/// One cause in one channel, or several that could not be told apart.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Cause {
    /// `left` or `right`.
    pub channel: Channel,
    /// The cause; the likeliest of several if `instead` names others.
    pub cause: CauseKind,
    /// Size of the cause in `unit`; `null` if `instead` names others, or for `none`.
    pub value: Option<f64>,
    /// Expanded uncertainty of the value (k = 2), in `unit`.
    pub uncertainty: Option<f64>,
    /// `us` of delay (azimuth) or of the time constant as it really is, `um` of spacing or of the mechanical gap, `Hz` of
    /// a corner or of the middle of a bump or an equaliser; empty for `none`.
    pub unit: Unit,
    /// Height of a head bump or an equaliser at its middle (negative: a dip), or of a low-pass's peak before it falls, dB. With a peak, a low-pass's `value` is
    /// the frequency of its resonance.
    #[serde(default)]
    pub height_db: Option<f64>,
    /// Of a low-pass: true if it is a digital one, not one of a circuit.
    #[serde(default)]
    pub digital: bool,
    /// Corner of a second coupling capacitor that counts, Hz.
    #[serde(default)]
    pub second_hz: Option<f64>,
    /// `[Hz, dB, expanded uncertainty in dB]`: what the cause (with those in `instead`, together) does to the response,
    /// relative to the reference frequency, at 40 and 100 Hz, 1, 5, 10 and 15 kHz.
    pub shares_db: Vec<[f64; 3]>,
    /// `[Hz, dB]`: the same over frequency, twenty to the decade, as far as was measured.
    #[serde(default)]
    pub curve_db: Vec<[f64; 2]>,
    /// Probability by the evidence that the cause is there (with those in `instead`: one at least of them), 0 to 1.
    #[serde(default)]
    pub probability: Option<f64>,
    /// What it may be instead of, or besides, `cause`: the response cannot tell.
    #[serde(default)]
    pub instead: Vec<Instead>,
    /// What it means and rests on, in words.
    #[serde(default)]
    pub why: String,
}

/// One of several causes that could not be told apart.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Instead {
    /// The cause.
    pub cause: CauseKind,
    /// Its size if it is there, in `unit`.
    pub value: Option<f64>,
    /// Unit as of [`Cause::unit`].
    pub unit: Unit,
    /// Probability by the evidence that it is there, 0 to 1.
    pub probability: f64,
}

/// What the causes leave of the response of one channel.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Unexplained {
    /// `left` or `right`.
    pub channel: Channel,
    /// Size (standard deviation) of the ripples that no cause explains, as estimated with the causes, dB.
    pub ripple_db: f64,
    /// Frequency of the largest of `left_db`, Hz.
    pub most_hz: f64,
    /// `[Hz, dB]`: measured response less what the causes explain.
    pub left_db: Vec<[f64; 2]>,
    /// Points that were fitted to.
    pub points: u32,
    /// Causes that may be there as well, but whose traces are too weak to say so.
    pub perhaps: Vec<Instead>,
}
