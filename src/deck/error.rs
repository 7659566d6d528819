//! What can go wrong in the room `deck`.

use crate::harmless::echo;

/// Why a deck could not be had.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DeckError {
    /// The text is not TOML, or names a key that no deck has, or gives a key a value of the wrong kind.
    #[error("{place}: {found}; {remedy}")]
    Malformed {
        /// File and line.
        place: String,
        /// What was found, with the key and what was expected.
        found: String,
        /// What to do.
        remedy: String,
    },
    /// A number lies outside its range.
    #[error("{place}: `{key}` is {}, allowed is {low} to {high}; put it in the range or leave it out", echo(&value.to_string()))]
    OutOfRange {
        /// File and, if it is known, line.
        place: String,
        /// Key with its tables, such as `speed.error_percent`.
        key: String,
        /// What was found.
        value: f64,
        /// Lowest allowed value.
        low: f64,
        /// Highest allowed value.
        high: f64,
    },
    /// Two keys contradict each other.
    #[error("{place}: `{key}` {found}; {remedy}")]
    Contradiction {
        /// File and, if it is known, line.
        place: String,
        /// Key with its tables.
        key: String,
        /// What does not fit.
        found: String,
        /// What to do.
        remedy: String,
    },
    /// The programme has a sample rate that the deck cannot play.
    #[error(
        "programme: its sample rate is {rate_hz} Hz, allowed is 32000 to 192000 Hz; write it at 48000 Hz"
    )]
    ProgrammeRate {
        /// What was given.
        rate_hz: f64,
    },
}
