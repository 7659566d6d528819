//! What can be told or given so that a return tells more.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// One thing that makes a return tell more when it is read again. How it is typed is the command line's.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum Remedy {
    /// Say whose recording it is.
    SayRecordedOn,
    /// Say how many heads the deck has.
    SayHeads,
    /// Say which tape type it is.
    SayTapeType,
    /// Say which recipe was played.
    NameRecipe,
    /// Give the card of the house tape.
    GiveCard,
    /// Give a limit, as the service manual states it.
    GiveLimit {
        /// Its key in a limits file.
        key: String,
    },
    /// Give a loopback capture of sound card and player.
    GiveLoopback,
    /// Give the tape's own values, with its flux.
    GiveTape,
    /// Say what frequency a tone on the tape has.
    GivePitch,
    /// Play the same tape back several times.
    PlaySameTapeAgain,
}
