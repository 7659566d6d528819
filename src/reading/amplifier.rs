//! Section `amplifier` of a reading: the playback amplifier against its curve, from tones that no tape carried.

use super::{Pair, ResponsePoint};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The playback amplifier in each position of its equalisation switch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Amplifier {
    /// Where the tones were fed in.
    pub fed_into: FedInto,
    /// One entry for each equalisation that was played, in the order 120 us, 70 us.
    pub positions: Vec<AmplifierPosition>,
    /// Whether the two positions differ: false if the switch does nothing; `null` if it cannot be told.
    pub switched: [Option<bool>; 2],
}

/// Where tones were fed in that come from no tape.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FedInto {
    /// Into the input of the amplifier, in place of the head's voltage.
    AmplifierInput,
    /// As flux into the head, by a wire before its gap.
    FluxLoop,
}

/// One position of the switch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AmplifierPosition {
    /// High-frequency time constant of the curve that was asked for (IEC 60094-1), us.
    pub equalisation_us: f64,
    /// Low-frequency time constant of that curve, us.
    pub low_equalisation_us: f64,
    /// Frequency whose deviation is 0 dB, Hz.
    pub reference_hz: f64,
    /// Level of the tone there in the programme, dB re its reference level.
    pub programme_db: f64,
    /// Gain at that frequency, return minus programme, dB.
    pub gain_db: Pair,
    /// Deviation from the curve, dB: a right amplifier has 0 everywhere. In a loopback capture the sound card's own response.
    pub steps: Vec<ResponsePoint>,
    /// High-frequency time constant that the amplifier really has, us; `null` where it cannot be told: see `why`.
    pub high_us: Pair,
    /// Expanded uncertainty, us.
    pub high_uncertainty_us: Pair,
    /// Low-frequency time constant that it really has, us.
    pub low_us: Pair,
    /// Expanded uncertainty, us.
    pub low_uncertainty_us: Pair,
    /// What the time constants, a coupling capacitor and the amplifier's bandwidth leave unexplained, dB rms.
    pub rest_db: Pair,
    /// `[lowest, highest]` frequency that the time constants were fitted to, Hz.
    pub fitted_hz: [Option<[f64; 2]>; 2],
    /// Why there is no time constant, in words.
    pub why: [Option<String>; 2],
}
