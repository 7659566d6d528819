//! A file whose header names a wrong sample rate: every time in the reading is one of the file.

use super::bench::{Store, options};
use super::short;
use crate::effort;
use crate::returns;
use deckproof::internals::capture::InMemory;
use deckproof::internals::deck::DeckFile;
use deckproof::internals::job::read_samples;
use deckproof::internals::show::to_json;
use deckproof::reading::RecordedOn;
use serde_json::Value;

const TRUE_RATE_HZ: u32 = 48_000;
const HEADER_RATE_HZ: f64 = 44_100.0;

/// Every time of the file in a reading: where it stands, and its seconds.
fn times(value: &Value, place: &str, found: &mut Vec<(String, f64)>) {
    match value {
        Value::Object(keys) => {
            for (key, value) in keys {
                let place = format!("{place}.{key}");
                let is_time = key.ends_with("at_s") || key.ends_with("from_s") || key.ends_with("to_s");
                match value {
                    Value::Number(seconds) if is_time || key == "first_slate_s" || key == "duration_s" => {
                        found.push((place, seconds.as_f64().unwrap()));
                    }
                    Value::Array(pieces) if key == "pieces" => {
                        found.extend(pieces.iter().map(|piece| (place.clone(), piece[0].as_f64().unwrap())));
                    }
                    _ => times(value, &place, found),
                }
            }
        }
        Value::Array(rows) => rows.iter().for_each(|row| times(row, place, found)),
        _ => {}
    }
}

#[test]
fn every_time_is_one_of_the_file_when_its_header_is_wrong() {
    if effort::left_to_ci() {
        return;
    }
    let mut told = options(RecordedOn::Calibrated);
    told.recipe = Some(short());
    let text = "tape.random_dropouts = { per_min = 20, depth_db = 15, length_ms = 30 }\nspeed.flutter = [{ hz = 0.9, percent_peak = 0.2 }]\n";
    let deck = DeckFile::from_toml(text, "deck").unwrap();
    let returned = returns::of(&short(), &deck, 3, TRUE_RATE_HZ, Store::Double);
    let read = |rate_hz: f64| {
        let samples = InMemory { rate_hz, channels: returned.channels.clone() };
        let reading = read_samples(&samples, "return", &told).unwrap();
        let json: Value = serde_json::from_str(&to_json(&reading)).unwrap();
        let mut found = Vec::new();
        times(&json, "", &mut found);
        found
    };
    let (right, wrong) = (read(f64::from(TRUE_RATE_HZ)), read(HEADER_RATE_HZ));
    assert!(right.iter().any(|time| time.0.contains("speed_against_time")) && right.len() > 50, "{right:?}");
    assert_eq!(right.len(), wrong.len());
    let ratio = f64::from(TRUE_RATE_HZ) / HEADER_RATE_HZ;
    for ((place, true_s), (same, file_s)) in right.iter().zip(&wrong) {
        assert_eq!(place, same);
        assert!(
            (file_s - true_s * ratio).abs() < 0.002,
            "{place}: {file_s} s where {} s is right",
            true_s * ratio
        );
    }
}
