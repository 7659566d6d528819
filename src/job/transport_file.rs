//! The file with the technician's numbers of a transport.

use crate::harmless::{echo, echoes};
use crate::measure::TransportNumbers;
use thiserror::Error;

/// A file to start from, of an invented transport.
pub const TRANSPORT_TEMPLATE: &str = include_str!("transport_template.toml");

/// Why the numbers of a transport could not be had.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum TransportError {
    /// The file with a transport's numbers is not TOML, or holds a key or a value that is not known.
    #[error("{place}: {message}; expected lines such as `capstan_mm = 2.5`; correct the line")]
    Malformed {
        /// Name of the file.
        place: String,
        /// What the parser found, with the line.
        message: String,
    },
    /// A number that no transport has.
    #[error("{place}: `{key}` is {}, allowed are {low} to {high}; correct the number", echo(&found.to_string()))]
    OutOfRange {
        /// Name of the file.
        place: String,
        /// Key of the number.
        key: &'static str,
        /// Number in the file.
        found: f64,
        /// Least that is allowed.
        low: f64,
        /// Most that is allowed.
        high: f64,
    },
}

impl TransportNumbers {
    /// Numbers from a TOML file's text; `place` is the file's name for messages.
    ///
    /// # Errors
    ///
    /// `Malformed` if the text is not TOML or has an unknown key,
    /// `OutOfRange` for a number that no cassette deck has.
    pub fn from_toml(text: &str, place: &str) -> Result<Self, TransportError> {
        let numbers: Self = toml::from_str(text).map_err(|error| TransportError::Malformed {
            place: place.to_owned(),
            message: format!(
                "line {}: {}",
                text.bytes()
                    .take(error.span().map_or(0, |span| span.start))
                    .filter(|byte| *byte == b'\n')
                    .count()
                    + 1,
                echoes(error.message())
            ),
        })?;
        let within = |key, found: Option<f64>, low: f64, high: f64| match found {
            Some(found) if !(found >= low && found <= high) => {
                Err(TransportError::OutOfRange { place: place.to_owned(), key, found, low, high })
            }
            _ => Ok(()),
        };
        within("capstan_mm", numbers.capstan_mm, 0.5, 20.0)?;
        within("flywheel_mm", numbers.flywheel_mm, 5.0, 300.0)?;
        within("pinch_roller_mm", numbers.pinch_roller_mm, 2.0, 60.0)?;
        within("motor_pulley_mm", numbers.motor_pulley_mm, 1.0, 100.0)?;
        within("motor_rpm", numbers.motor_rpm, 10.0, 20_000.0)?;
        within("belt_mm", numbers.belt_mm, 20.0, 2000.0)?;
        within("idler_mm", numbers.idler_mm, 1.0, 100.0)?;
        within("idler_runs_on_mm", numbers.idler_runs_on_mm, 1.0, 300.0)?;
        within("hub_mm", numbers.hub_mm, 10.0, 40.0)?;
        within("tape_um", numbers.tape_um, 4.0, 60.0)?;
        for other in &numbers.others {
            within("part.hz", Some(other.hz), 0.01, 1000.0)?;
        }
        Ok(numbers)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_no_deck_has_is_refused_in_one_line() {
        for (text, words) in [
            ("capstan_mm = 250", "`capstan_mm` is 250, allowed are 0.5 to 20"),
            ("belt_mm = nan", "`belt_mm` is NaN"),
            ("capstan = 2.5", "unknown field `capstan`"),
            ("[[part]]\nname = \"x\"\nhz = -1", "`part.hz` is -1"),
            ("idler_runs_on = \"air\"", "unknown variant"),
        ] {
            let error = TransportNumbers::from_toml(text, "deck.toml").unwrap_err().to_string();
            assert!(
                error.starts_with("deck.toml: ") && error.contains(words) && !error.contains('\n'),
                "{error}"
            );
        }
    }
}
