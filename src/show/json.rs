//! Data for other programs: JSON, and the schema of each.

use crate::harmless::acts;
use crate::judge::{Concluded, Reading};
use crate::reading::{Card, Comparison, SkewReading};
use schemars::{JsonSchema, schema_for};
use serde::{Serialize, de::DeserializeOwned};

/// Pretty JSON with a line feed at the end; text in it is harmless, and the same when it is read.
///
/// NaN and infinity must have been replaced by `null` before; a debug build asserts that the JSON reads back as the same
/// data, which fails for both.
fn json<T: Serialize + DeserializeOwned + PartialEq>(data: &T) -> String {
    // Cannot fail: no map has keys other than strings, and no `Serialize` here is our own.
    let plain = serde_json::to_string_pretty(data).unwrap_or_default() + "\n";
    let json = harmless_json(&plain);
    debug_assert!(
        serde_json::from_str::<T>(&json).is_ok_and(|back| back == *data),
        "a number that is not finite got into the data"
    );
    json
}

/// JSON whose texts act on nothing that shows them; they read back as they were.
pub(in crate::show) fn harmless_json(plain: &str) -> String {
    let mut json = String::with_capacity(plain.len());
    for c in plain.chars() {
        // Outside of texts JSON has none that act but line feeds.
        if c != '\n' && acts(c) {
            c.encode_utf16(&mut [0; 2]).iter().for_each(|unit| json += &format!("\\u{unit:04x}"));
        } else {
            json.push(c);
        }
    }
    json
}

fn schema_of<T: JsonSchema>() -> String {
    serde_json::to_string_pretty(&schema_for!(T)).unwrap_or_default() + "\n"
}

/// The reading as pretty JSON (`deckproof-reading/1`), with a line feed at the end. No number may be NaN or infinite.
pub fn to_json(reading: &Reading) -> String {
    json(reading)
}

/// JSON Schema of the reading, pretty, with a line feed at the end.
pub fn schema() -> String {
    // The type behind the reading: a wrapper of one name with it would only point at itself.
    schema_of::<Concluded>()
}

/// The comparison as pretty JSON (`deckproof-comparison/1`), with a line feed at the end.
pub fn comparison_json(comparison: &Comparison) -> String {
    json(comparison)
}

/// JSON Schema of the comparison, pretty, with a line feed at the end.
pub fn comparison_schema() -> String {
    schema_of::<Comparison>()
}

/// What ordinary music says of azimuth as pretty JSON (`deckproof-skew/1`), with a line feed at the end.
pub fn skew_to_json(reading: &SkewReading) -> String {
    json(reading)
}

/// JSON Schema of [`skew_to_json`], pretty, with a line feed at the end.
pub fn skew_schema() -> String {
    schema_of::<SkewReading>()
}

/// The card as pretty JSON (`deckproof-card/1`), with a line feed at the end.
pub fn card_to_json(card: &Card) -> String {
    json(card)
}

/// JSON Schema of the card, pretty, with a line feed at the end.
pub fn card_schema() -> String {
    schema_of::<Card>()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::show::tests::sample;

    #[test]
    fn reads_back_as_it_was_to_the_last_bit() {
        let mut reading = sample("faulty");
        reading.azimuth.as_mut().unwrap().delay_us = Some(0.1 + 0.2);
        let back: Reading = serde_json::from_str(&to_json(&reading)).unwrap();
        assert_eq!(back, reading);
    }

    #[test]
    fn text_is_harmless_and_reads_back_as_it_was() {
        let mut reading = sample("faulty");
        reading.capture.file = "a\u{202e}\u{7f}\u{9b}\u{1b}\u{e0041}.wav".to_owned();
        let json = to_json(&reading);
        assert!(json.contains(r"a\u202e\u007f\u009b\u001b\udb40\udc41.wav"), "{json}");
        assert_eq!(serde_json::from_str::<Reading>(&json).unwrap(), reading);
    }

    #[test]
    #[cfg(debug_assertions)]
    #[should_panic(expected = "not finite")]
    fn nan_is_noticed() {
        let mut reading = sample("faulty");
        reading.azimuth.as_mut().unwrap().delay_us = Some(f64::NAN);
        to_json(&reading);
    }

    #[test]
    #[cfg(debug_assertions)]
    #[should_panic(expected = "not finite")]
    fn infinity_is_noticed() {
        let mut reading = sample("faulty");
        reading.speed.as_mut().unwrap().error_percent = f64::INFINITY;
        to_json(&reading);
    }
}
