//! Third-octave bands against IEC 61260-1:2014 (equations 1 to 5) and the nominal values of ISO 266 R10.

use crate::tsv;
use deckproof::assert_within;
use deckproof::internals::trade::octave_bands::{third_octave, third_octaves};

const TABLE: &str = include_str!("tables/iec-61260-1-third-octave-bands.tsv");

#[test]
fn every_band_has_its_nominal_value_mid_band_and_edges() {
    for row in tsv::rows(TABLE, 31) {
        let band = third_octave(row.number("x") as i32);
        assert_eq!(band.nominal_hz, row.number("nominal_hz"), "{row}");
        for (got_hz, column) in
            [(band.mid_hz, "exact_hz"), (band.lower_hz, "lower_edge_hz"), (band.upper_hz, "upper_edge_hz")]
        {
            // Printed to 1e-4 Hz: half a unit.
            assert_within!(got_hz, row.number(column), 0.00005 + 1e-9, "Hz", "{column}, {row}");
        }
    }
}

#[test]
fn the_iterator_walks_the_table() {
    let want: Vec<f64> = tsv::rows(TABLE, 31).iter().map(|row| row.number("nominal_hz")).collect();
    let got: Vec<f64> = third_octaves(20.0, 20_000.0).map(|band| band.nominal_hz).collect();
    assert_eq!(got, want);
}
