//! Weighting curves against scipy 1.17.1 (freqs_zpk and freqs), made by tests/reference/make_signal_reference.py.

use crate::conformance_iec_60386_flutter_weighting::network_db;
use crate::conformance_itu_r_468_weighting::weighting_db;
use crate::tsv;
use deckproof::assert_within;
use deckproof::internals::trade::a_weighting;

const REFERENCE: &str = include_str!("reference/weighting_reference.tsv");

#[test]
fn every_curve_is_what_scipy_computes() {
    // 17 flutter rows, 34 of A-weighting, 21 of BS.468.
    for row in tsv::rows(REFERENCE, 17 + 34 + 21) {
        let hz = row.number("hz");
        let got_db = match row.text("curve") {
            "flutter" => network_db(hz),
            "a" => a_weighting::a_weighting_db(hz),
            "itu468" => weighting_db(hz),
            curve => panic!("{row}: no test for curve {curve}"),
        };
        // Printed with 12 significant digits: 5e-11 dB at 70 dB, and rounding of two different orders of arithmetic.
        assert_within!(got_db, row.number("db"), 1e-9, "dB", "{row}");
    }
}
