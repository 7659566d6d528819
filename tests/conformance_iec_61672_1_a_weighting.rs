//! A-weighting against IEC 61672-1:2013 Table 3 with the class 1 acceptance limits.

use crate::tsv;
use deckproof::assert_within;
use deckproof::internals::trade::a_weighting::a_weighting_db;

const TABLE: &str = include_str!("tables/iec-61672-1-a-weighting.tsv");

#[test]
fn the_formula_rounds_to_every_row_of_table_3() {
    for row in tsv::rows(TABLE, 34) {
        // The table prints 0.1 dB: half a unit.
        assert_within!(
            a_weighting_db(row.number("exact_hz")),
            row.number("a_db"),
            0.05,
            "dB",
            "{} Hz, {row}",
            row.text("nominal_hz")
        );
    }
}

#[test]
fn the_formula_meets_its_own_values_at_every_row_poles_from_memory() {
    for row in tsv::rows(TABLE, 34) {
        // Exact frequencies are printed to 1e-4 Hz, values to 0.001 dB: half a unit, and the slope of at most 0.03 dB
        // a percent makes the first irrelevant.
        assert_within!(
            a_weighting_db(row.number("exact_hz")),
            row.number("formula_db"),
            0.0005 + 1e-5,
            "dB",
            "MEMORY {row}"
        );
    }
}

#[test]
fn the_formula_keeps_the_class_1_limits_at_every_row() {
    for row in tsv::rows(TABLE, 34) {
        let min_db = row.number("a_db") + row.number("limit_minus_db");
        let max_db = row.number("a_db") + row.number("limit_plus_db");
        let db = a_weighting_db(row.number("exact_hz"));
        assert!(min_db <= db && db <= max_db, "{row}: {db} dB, allowed {min_db} to {max_db} dB");
    }
}

#[test]
fn exact_frequencies_are_the_base_ten_ones() {
    for row in tsv::rows(TABLE, 34) {
        let nominal = row.number("nominal_hz");
        let exact_hz = 1000.0 * 10f64.powf(((nominal / 1000.0).log10() * 10.0).round() / 10.0);
        // Printed to 1e-4 Hz.
        assert_within!(row.number("exact_hz"), exact_hz, 0.00005 + 1e-9, "Hz", "{row}");
    }
}
