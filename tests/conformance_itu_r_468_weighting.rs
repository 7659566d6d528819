//! Noise weighting against Recommendation ITU-R BS.468-4 Table 1 (clause 1).

use crate::tsv;
use deckproof::assert_within;
use deckproof::internals::trade::itu_r_468::{AES17_SHIFT_DB, TABLE as ROWS, mask_db, weighting_db};

const TABLE: &str = include_str!("tables/itu-r-468-weighting.tsv");

#[test]
fn the_network_meets_its_own_values_at_every_row() {
    for row in tsv::rows(TABLE, 21) {
        // Printed to 0.001 dB: half a unit.
        assert_within!(
            weighting_db(row.number("hz")),
            row.number("network_db"),
            0.0005 + 1e-9,
            "dB",
            "{row}"
        );
    }
}

#[test]
fn the_mask_is_the_table_and_the_network_keeps_it() {
    for row in tsv::rows(TABLE, 21) {
        let hz = row.number("hz");
        let response_db = row.number("response_db");
        let (min_db, max_db) = mask_db(hz).unwrap_or_else(|| panic!("no mask at {row}"));
        // The same decimals added once: rounding of f64 only.
        assert_within!(max_db, response_db + row.number("tolerance_plus_db"), 1e-12, "dB", "upper, {row}");
        if row.number("tolerance_minus_db").is_finite() {
            assert_within!(
                min_db,
                response_db + row.number("tolerance_minus_db"),
                1e-12,
                "dB",
                "lower, {row}"
            );
        } else {
            assert_eq!(min_db, f64::NEG_INFINITY, "lower, {row}");
        }
        let db = weighting_db(hz);
        // At 6.3 kHz the tolerance is 0 and the table prints 0.1 dB: what is asked for there is half a unit of it.
        let rounding_db = if hz == 6300.0 { 0.05 } else { 0.0 };
        assert!(
            min_db - rounding_db <= db && db <= max_db + rounding_db,
            "{row}: {db} dB, allowed {min_db} to {max_db} dB"
        );
    }
    assert_eq!(ROWS.len(), 21);
}

#[test]
fn the_peak_is_at_6300_hz_and_aes17_is_zero_at_2_khz() {
    for hz in [5000.0, 5800.0, 6800.0, 7100.0] {
        assert!(weighting_db(hz) < weighting_db(6300.0), "{hz} Hz");
    }
    // AES17-2015 clause 5.2.7: 0 dB at 2 kHz; the shift is printed to 0.01 dB.
    assert_within!(weighting_db(2000.0) + AES17_SHIFT_DB, 0.0, 0.005, "dB");
}
