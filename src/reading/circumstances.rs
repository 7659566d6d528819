//! What the reader is told because no signal shows it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Whose recording is on the tape.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RecordedOn {
    /// A calibration tape with a certificate.
    Calibrated,
    /// The workshop's own tape, characterised once, with its card.
    House,
    /// Another deck recorded the tape.
    OtherDeck,
    /// The deck on the bench recorded it.
    ThisDeck,
    /// No tape: tones injected at the head amplifier or through a flux loop.
    Injected,
    /// No deck: the sound card's output straight into its input.
    Direct,
}

/// Number of heads that take part in recording and replay.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub enum Heads {
    /// One head records and replays.
    #[serde(rename = "2")]
    Two,
    /// Separate record and replay heads: the return is taken off the tape while recording.
    #[serde(rename = "3")]
    Three,
}

/// Tape type as the trade numbers it (IEC 60094).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub enum TapeType {
    /// Ferric, 120 us.
    I,
    /// Chrome position, 70 us.
    II,
    /// Double layer, 70 us.
    III,
    /// Metal, 70 us.
    IV,
}

/// Whether the deck's noise reduction was on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum NoiseReduction {
    /// Off, as almost every measurement wants it.
    Off,
    /// On.
    On,
}

/// The circumstances of one return.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Circumstances {
    /// Whose recording; `null` when not told.
    pub recorded_on: Option<RecordedOn>,
    /// Heads of the deck; `null` when not told.
    pub heads: Option<Heads>,
    /// Tape type; `null` when not told.
    pub tape_type: Option<TapeType>,
    /// Noise reduction; off unless told otherwise.
    pub noise_reduction: NoiseReduction,
}
