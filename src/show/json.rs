//! A reading as JSON, and the schema of that JSON.

use crate::judge::Reading;

/// The reading as pretty JSON (`deckproof-reading/1`), with a line feed at the end.
///
/// NaN and infinity must have been replaced by `null` before; a debug build asserts that the JSON reads back as the
/// same reading, which fails for both.
pub fn to_json(reading: &Reading) -> String {
    // Cannot fail: no map has keys other than strings, and no `Serialize` here is our own.
    let mut json = serde_json::to_string_pretty(reading).unwrap_or_default();
    json.push('\n');
    debug_assert!(
        serde_json::from_str::<Reading>(&json).is_ok_and(|back| back == *reading),
        "a number that is not finite got into the reading"
    );
    json
}

/// JSON Schema of the reading, pretty, with a line feed at the end.
pub fn schema() -> String {
    let mut json = serde_json::to_string_pretty(&schemars::schema_for!(Reading)).unwrap_or_default();
    json.push('\n');
    json
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample() -> Reading {
        serde_json::from_str(include_str!("../../tests/readings/faulty.json")).unwrap()
    }

    #[test]
    fn reads_back_as_it_was_to_the_last_bit() {
        let mut reading = sample();
        reading.azimuth.as_mut().unwrap().delay_us = Some(0.1 + 0.2);
        let back: Reading = serde_json::from_str(&to_json(&reading)).unwrap();
        assert_eq!(back, reading);
    }

    #[test]
    #[cfg(debug_assertions)]
    #[should_panic(expected = "not finite")]
    fn nan_is_noticed() {
        let mut reading = sample();
        reading.azimuth.as_mut().unwrap().delay_us = Some(f64::NAN);
        to_json(&reading);
    }

    #[test]
    #[cfg(debug_assertions)]
    #[should_panic(expected = "not finite")]
    fn infinity_is_noticed() {
        let mut reading = sample();
        reading.speed.as_mut().unwrap().error_percent = f64::INFINITY;
        to_json(&reading);
    }
}
