//! Flutter weighting against the table of IEC 60386:1972 + A1:1988. Every value of that table is FROM MEMORY: these
//! tests prove that the code follows what we remember, not that it conforms to the document.

use crate::tsv;
use deckproof::assert_within;
use deckproof::internals::trade::flutter_weighting::{
    RESPONSE_AT_0_1_HZ_DB, TABLE as ROWS, mask_db, network_db, response_db,
};

const TABLE: &str = include_str!("tables/iec-60386-flutter-weighting.tsv");
const FIT: &str = include_str!("reference/flutter_weighting_fit.tsv");

#[test]
fn the_model_is_inside_the_tolerance_of_every_row_from_memory() {
    let mut with_tolerance = 0;
    for row in tsv::rows(TABLE, 17) {
        let hz = row.number("modulation_hz");
        let Some(plus_db) = row.number_if_any("tolerance_plus_db") else {
            assert_eq!(hz, 0.1, "MEMORY {row}: only the row at 0.1 Hz has no tolerance");
            assert_eq!(row.number("response_db"), RESPONSE_AT_0_1_HZ_DB);
            assert_eq!(mask_db(hz), None);
            continue;
        };
        with_tolerance += 1;
        let (min_db, max_db) = mask_db(hz).unwrap_or_else(|| panic!("MEMORY {row}: no mask"));
        // The same decimals added once: rounding of f64 only.
        assert_within!(max_db, row.number("response_db") + plus_db, 1e-12, "dB", "MEMORY upper, {row}");
        assert_within!(
            min_db,
            row.number("response_db") + row.number("tolerance_minus_db"),
            1e-12,
            "dB",
            "MEMORY lower, {row}"
        );
        for (form, db) in [("exact", response_db(hz)), ("network", network_db(hz))] {
            assert!(min_db <= db && db <= max_db, "MEMORY {form}, {row}: {db} dB, {min_db} to {max_db} dB");
        }
        assert_within!(response_db(hz), row.number("response_db"), 1e-12, "dB", "MEMORY exact, {row}");
    }
    assert_eq!(with_tolerance, ROWS.len());
}

#[test]
fn the_model_is_inside_the_mask_between_the_rows_from_memory() {
    for step in 0..=3000 {
        let hz = 0.2 * 10f64.powf(f64::from(step) / 1000.0);
        let Some((min_db, max_db)) = mask_db(hz) else { continue };
        for (form, db) in [("exact", response_db(hz)), ("network", network_db(hz))] {
            // The mask closes to a point at 4 Hz; 1e-12 dB is rounding there.
            assert!(
                min_db <= db + 1e-12 && db <= max_db + 1e-12,
                "MEMORY {form} {hz} Hz: {db} dB, {min_db} to {max_db} dB"
            );
        }
    }
}

#[test]
fn the_model_is_as_close_to_the_table_as_the_fit_claims_from_memory() {
    for row in tsv::rows(TABLE, 17).iter().filter(|row| row.number("modulation_hz") > 0.15) {
        // Largest residual that fit_flutter_weighting.py printed: 0.241 dB at 63 Hz.
        assert_within!(
            network_db(row.number("modulation_hz")),
            row.number("response_db"),
            0.242,
            "dB",
            "MEMORY {row}"
        );
    }
    assert_eq!(response_db(4.0), 0.0);
}

#[test]
fn the_model_is_what_scipy_computes_from_the_same_poles() {
    // tests/reference/fit_flutter_weighting.py, scipy 1.17.1 freqs_zpk, printed to 1e-9 dB.
    for row in tsv::rows(FIT, 55) {
        assert_within!(network_db(row.number("hz")), row.number("model_db"), 1e-8, "dB", "{row}");
    }
}

#[test]
fn the_shape_is_the_published_one() {
    // Abstract of AES6-2008: about 6 dB an octave above and below 4 Hz, a further drop below 0.5 Hz. "About" is read
    // as within 1 dB an octave, over the two octaves between the further drop and the clipped peak, and over the last
    // octave of the table.
    let octave_db = |hz: f64| response_db(2.0 * hz) - response_db(hz);
    assert_within!(octave_db(100.0), -6.0, 1.0, "dB/octave", "100 to 200 Hz");
    assert_within!((octave_db(0.5) + octave_db(1.0)) / 2.0, 6.0, 1.0, "dB/octave", "0.5 to 2 Hz");
    assert!(octave_db(0.2) > 12.0, "below 0.5 Hz it falls faster");
}
