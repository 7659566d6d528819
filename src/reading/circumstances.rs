//! What the reader is told because no signal shows it.

use super::card::CardUsed;
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
    Loopback,
}

/// Number of heads that take part in recording and playback.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(into = "u8", try_from = "u8")]
#[schemars(with = "u8", extend("enum" = [2, 3]))]
pub enum Heads {
    /// One head records and plays back.
    Two,
    /// Separate record and playback heads: the return comes off the tape while recording.
    Three,
}

impl From<Heads> for u8 {
    fn from(heads: Heads) -> Self {
        match heads {
            Heads::Two => 2,
            Heads::Three => 3,
        }
    }
}

impl TryFrom<u8> for Heads {
    type Error = String;

    fn try_from(heads: u8) -> Result<Self, String> {
        match heads {
            2 => Ok(Self::Two),
            3 => Ok(Self::Three),
            _ => Err(format!("heads: found {heads}, expected 2 or 3")),
        }
    }
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
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum NoiseReduction {
    /// Off, as almost every measurement wants it.
    #[default]
    Off,
    /// On.
    On,
}

/// The circumstances of one return.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Circumstances {
    /// Whose recording; `null` when not told.
    pub recorded_on: Option<RecordedOn>,
    /// Heads of the deck; `null` when not told.
    pub heads: Option<Heads>,
    /// Tape type; `null` when not told.
    pub tape_type: Option<TapeType>,
    /// Noise reduction; off unless told otherwise.
    pub noise_reduction: NoiseReduction,
    /// The card of the house tape that was subtracted; `null` if none.
    #[serde(default)]
    pub card: Option<CardUsed>,
}
