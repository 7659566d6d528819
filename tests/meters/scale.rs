//! Loudness, sides and polarity: each changes what it is about, and nothing else.

use super::bench::{RETURN, options, read};
use crate::effort;
use deckproof::internals::capture::InMemory;
use deckproof::internals::job::read_samples;
use deckproof::internals::judge::Reading;
use deckproof::reading::Facts;
use proptest::prelude::*;
use serde_json::Value;
use std::sync::LazyLock;

static PLAIN: LazyLock<Reading> = LazyLock::new(|| read(&RETURN));

fn with(change: impl Fn([f64; 2]) -> [f64; 2]) -> InMemory {
    let [left, right] = &RETURN.channels;
    let frames: Vec<[f64; 2]> = left.iter().zip(right).map(|(&left, &right)| change([left, right])).collect();
    let channel = |side: usize| frames.iter().map(|frame| frame[side]).collect();
    InMemory { rate_hz: RETURN.rate_hz, channels: [channel(0), channel(1)] }
}

/// Places at which two readings differ: numbers by more than `tolerance` of themselves (and of 1), all else at all.
/// Warnings, findings and the work are words made of the rest and are not looked at.
fn differences(got: &Facts, want: &Facts, tolerance: f64) -> Vec<String> {
    let value = |reading: &Facts| {
        let mut value = serde_json::to_value(reading).unwrap();
        let sections = value.as_object_mut().unwrap();
        sections.remove("warnings");
        value
    };
    let mut found = Vec::new();
    compare(&value(got), &value(want), tolerance, "", &mut found);
    found
}

fn compare(got: &Value, want: &Value, tolerance: f64, place: &str, found: &mut Vec<String>) {
    match (got, want) {
        (Value::Object(a), Value::Object(b)) => {
            assert_eq!(a.len(), b.len(), "{place}");
            for (key, value) in a {
                compare(value, &b[key], tolerance, &format!("{place}.{key}"), found);
            }
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            for (k, (a, b)) in a.iter().zip(b).enumerate() {
                compare(a, b, tolerance, &format!("{place}[{k}]"), found);
            }
        }
        (Value::Number(a), Value::Number(b)) => {
            let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
            if (a - b).abs() > tolerance * b.abs().max(1.0) {
                found.push(format!("{place}: {a} {b}"));
            }
        }
        _ if got == want => {}
        _ => found.push(format!("{place}: {got} {want}")),
    }
}

/// Places only, for lists that are known.
fn places(differences: &[String]) -> Vec<&str> {
    differences.iter().filter_map(|text| text.split(": ").next()).collect()
}

fn warnings(reading: &Reading) -> Vec<&str> {
    reading.warnings.iter().map(|warning| warning.id.as_str()).collect()
}

proptest! {
    #![proptest_config(effort::cases(8))]

    /// 0 dB was the return as it is; from -20 to +8 dB it is neither too quiet nor clipped.
    #[test]
    fn louder_moves_levels_by_as_much_and_nothing_else(db in -20.0f64..8.0) {
        let gain = 10f64.powf(db / 20.0);
        let got = read(&with(|frame| frame.map(|x| gain * x)));
        let mut back = got.facts.clone();
        let shifted = |reading: &mut Facts, side: usize, db: f64| {
            for value in [
                &mut reading.capture.peak_dbfs[side],
                &mut reading.measured.noise.as_mut().unwrap().reference_dbfs[side],
            ] {
                *value = value.map(|value| value + db);
            }
            for level in &mut reading.level {
                level.return_dbfs[side] = level.return_dbfs[side].map(|value| value + db);
                level.gain_db[side] = level.gain_db[side].map(|value| value + db);
            }
        };
        shifted(&mut back, 0, -db);
        shifted(&mut back, 1, -db);
        // Rounding of sums over a million samples, which the fit of the delay makes larger.
        prop_assert_eq!(differences(&back, &PLAIN, 1e-7), Vec::<String>::new());
        prop_assert_eq!(warnings(&got), warnings(&PLAIN));
    }
}

#[test]
fn exchanged_sides_are_put_right_to_the_last_bit() {
    if effort::left_to_ci() {
        return;
    }
    let got = read(&with(|[left, right]| [right, left]));
    assert_eq!(places(&differences(&got, &PLAIN, 0.0)), [".capture.channels_swapped"]);
    assert!(got.capture.channels_swapped);
    assert_eq!(warnings(&got), ["swapped"]);
}

#[test]
fn inverted_polarity_is_put_right_to_the_last_bit() {
    if effort::left_to_ci() {
        return;
    }
    for inverted in [[true, true], [true, false], [false, true]] {
        let sign = inverted.map(|inverted| if inverted { -1.0 } else { 1.0 });
        let got = read(&with(|[left, right]| [sign[0] * left, sign[1] * right]));
        assert_eq!(got.capture.inverted, inverted);
        let places: Vec<String> = differences(&got, &PLAIN, 0.0)
            .into_iter()
            .filter(|text| !text.starts_with(".capture.inverted"))
            .collect();
        assert_eq!(places, [""; 0], "{inverted:?}");
        assert_eq!(warnings(&got), ["inverted"], "{inverted:?}");
    }
}

#[test]
fn reading_twice_gives_the_same_bits() {
    if effort::left_to_ci() {
        return;
    }
    for _ in 0..2 {
        let again = read_samples(&RETURN, "short.wav", &options()).unwrap();
        assert_eq!(again, *PLAIN);
    }
}
