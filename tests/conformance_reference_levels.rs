//! Fluxivities and their ratios against the published values; each row's own confidence (SEEN, DERIVED, MEMORY) is in
//! its message. Service-manual rows are examples of practice and are not constants of the crate.

use crate::tsv;
use deckproof::assert_within;
use deckproof::internals::trade::reference_levels::*;

const TABLE: &str = include_str!("tables/reference-levels.tsv");
/// Half a unit of the third decimal, which is the table's last.
const TABLE_ROUNDING_DB: f64 = 0.0005 + 1e-9;

/// Reference fluxivity of the compact cassette, nWb/m, and 0 dB of the most common deck meters.
const IEC_CASSETTE_NWB_M: f64 = 250.0;
const METER_ZERO_NWB_M: f64 = 160.0;

#[test]
fn fluxivities_and_ratios_meet_their_rows() {
    let mut checked = 0;
    for row in tsv::rows(TABLE, 36) {
        let confidence = row.text("confidence");
        if let Some(nwb_m) = row.text("id").starts_with("fluxivity_").then(|| row.number("value")) {
            assert_within!(
                level_db(nwb_m, IEC_CASSETTE_NWB_M),
                row.number("level_db"),
                TABLE_ROUNDING_DB,
                "dB",
                "{confidence} {row}"
            );
            checked += 1;
        }
        let ratio_db = match row.text("id") {
            "ratio_200_250" => level_db(NOISE_REDUCTION_NWB_M, IEC_CASSETTE_NWB_M),
            "ratio_160_200" => level_db(METER_ZERO_NWB_M, NOISE_REDUCTION_NWB_M),
            "ratio_160_250" => level_db(METER_ZERO_NWB_M, IEC_CASSETTE_NWB_M),
            "ratio_185_250" => level_db(185.0, IEC_CASSETTE_NWB_M),
            "ratio_open_short" => level_db(OPEN_OVER_SHORT_CIRCUIT * 200.0, 200.0),
            _ => continue,
        };
        assert_within!(ratio_db, row.number("value"), TABLE_ROUNDING_DB, "dB", "{confidence} {row}");
        checked += 1;
    }
    assert_eq!(checked, 11);
}

#[test]
fn the_noise_reduction_mark_sits_where_meters_print_it() {
    let rows = tsv::rows(TABLE, 36);
    let printed =
        |id: &str| rows.iter().find(|row| row.text("id") == id).map(|row| row.number("value")).unwrap();
    let mark_db = |meter_nwb_m| level_db(NOISE_REDUCTION_OPEN_NWB_M, meter_nwb_m);
    // Printed to 0.1 dB: half a unit.
    assert_within!(
        mark_db(METER_ZERO_NWB_M),
        printed("noise_reduction_level_on_160_meter"),
        0.05,
        "dB",
        "160"
    );
    // 20 lg(220/250) is -1.11 and the scale prints -1.2, which 218 nWb/m (from memory) gives: -1.19.
    assert_within!(
        level_db(218.0, IEC_CASSETTE_NWB_M),
        printed("noise_reduction_level_on_250_meter"),
        0.05,
        "dB",
        "MEMORY 250"
    );
}

#[test]
fn a_service_manuals_worked_example_comes_out() {
    // 0.42 V level tone over 0.003 V noise: 20 lg 140, printed as 43 dB and here as 42.923.
    assert_within!(level_db(0.42, 0.003), 42.923, TABLE_ROUNDING_DB, "dB", "playback_noise_example");
    // -4 dB re 0.775 V is printed as 0.49 V.
    assert_within!(fluxivity_nwb_m(-4.0, 0.775), 0.49, 0.005, "V", "line_output_level");
}
