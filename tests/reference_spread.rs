//! Spread of several readings against numpy and scipy, made by tests/reference/spread_reference.py.

use crate::tsv;
use deckproof::assert_within;
use deckproof::internals::judge::{Limits, Named, Reading, compare, conclude};
use deckproof::internals::trade::Medium;
use deckproof::reading::Facts;

const REFERENCE: &str = include_str!("reference/spread_reference.tsv");

#[test]
fn spread_and_what_it_says_of_one_reading_are_what_numpy_and_scipy_compute() {
    let mut sample: Facts = serde_json::from_str(include_str!("readings/faulty.json")).unwrap();
    // Speed is compared: without a response no causes are fitted.
    sample.response = None;
    for row in tsv::rows(REFERENCE, 8) {
        let readings: Vec<Reading> = row
            .text("values")
            .split(',')
            .map(|value| {
                let mut reading = sample.clone();
                let speed = reading.speed.as_mut().unwrap();
                speed.error_percent = value.parse().unwrap();
                speed.uncertainty_percent = row.number("uncertainty");
                conclude(reading, &Medium::COMPACT_CASSETTE, &Limits::full_size(), None)
            })
            .collect();
        let named: Vec<Named<'_>> =
            readings.iter().map(|reading| Named { name: "run", file: "run.json", reading }).collect();
        let comparison = compare(&named);
        let speed = comparison.rows.iter().find(|row| row.quantity == "speed" && row.what == "mean").unwrap();
        // Nine decimals in the table.
        assert_within!(speed.spread.unwrap(), row.number("deviation"), 1e-9, "%", "{row}");
        // Factors of the code have four decimals, and are at least 2.
        let want = row.number("repeatability");
        assert_within!(speed.repeatability.unwrap(), want, 0.000_05 * want, "%", "{row}");
        assert_eq!(speed.spread_is_real, Some(row.text("is_real") == "true"), "{row}");
    }
}
