//! Cassette geometry and azimuth conversions against the dimensions of IEC 60094-7 / IEC 60094-1 and what follows from
//! them. Each row's own confidence (SEEN, DERIVED, MEMORY) is in its message.

use crate::tsv;
use deckproof::assert_within;
use deckproof::internals::trade::Medium;

const TABLE: &str = include_str!("tables/cassette-geometry.tsv");

/// Half a unit of the last digit that the cell prints, and a last bit for numbers that end in 5.
fn rounding(text: &str) -> f64 {
    let decimals = text.split_once('.').map_or(0, |(_, decimals)| decimals.len() as i32);
    0.5 * 10f64.powi(-decimals) + 1e-9
}

#[test]
fn the_cassette_meets_every_row_that_it_models() {
    let cassette = Medium::COMPACT_CASSETTE;
    let mut modelled = 0;
    for row in tsv::rows(TABLE, 23) {
        let got = match row.text("id") {
            "tape_speed_nominal" => cassette.speed_mm_s,
            "stereo_channel_track_width" => cassette.track_width_mm,
            "stereo_channel_gap" => cassette.pair_centre_distance_mm - cassette.track_width_mm,
            "stereo_pair_centre_distance" => cassette.pair_centre_distance_mm,
            "mono_track_width" => cassette.pair_centre_distance_mm + cassette.track_width_mm,
            "wavelength_315hz" => cassette.wavelength_um(315.0),
            "wavelength_1khz" => cassette.wavelength_um(1e3),
            "wavelength_10khz" => cassette.wavelength_um(1e4),
            "wavelength_16khz" => cassette.wavelength_um(16e3),
            "azimuth_delay_per_arcmin" => cassette.delay_us_from_arcmin(1.0),
            "azimuth_phase_per_arcmin_10khz" => cassette.phase_degrees_from_arcmin(1.0, 1e4).abs(),
            "azimuth_phase_per_arcmin_315hz" => cassette.phase_degrees_from_arcmin(1.0, 315.0).abs(),
            "azimuth_first_phase_wrap_at_10khz" => cassette.first_phase_wrap_arcmin(1e4),
            "capstan_rate_example" => cassette.rotation_hz(2.5),
            "side_length_c60" => cassette.tape_length_m(30.0 * 60.0),
            "side_length_c90" => cassette.tape_length_m(45.0 * 60.0),
            // Not part of the medium: whole tape, tolerances, archive machines, channel order.
            "tape_width"
            | "guard_band_between_sides"
            | "channel_order"
            | "speed_tolerance_domestic"
            | "speed_deviation_archive_machine"
            | "flutter_weighted_archive_machine"
            | "response_archive_machine" => continue,
            id => panic!("{row}: no test for id {id}"),
        };
        modelled += 1;
        // Half a unit of the last printed digit.
        assert_within!(
            got,
            row.number("value"),
            rounding(row.text("value")),
            row.text("unit"),
            "{} {row}",
            row.text("confidence")
        );
    }
    assert_eq!(modelled, 16);
}

#[test]
fn one_minute_of_arc_is_its_delay_both_ways() {
    let cassette = Medium::COMPACT_CASSETTE;
    // 5.4971 us, printed to 1e-4 us: 1e-5 of it.
    assert_within!(cassette.arcmin_from_delay_us(5.4971), 1.0, 1e-5, "arcmin");
}

#[test]
fn the_cassette_is_the_default_and_other_speeds_differ_in_speed_only() {
    let cassette = Medium::default();
    assert_eq!(cassette, Medium::COMPACT_CASSETTE);
    for (medium, ratio) in
        [(Medium::COMPACT_CASSETTE_HALF_SPEED, 0.5), (Medium::COMPACT_CASSETTE_DOUBLE_SPEED, 2.0)]
    {
        assert_eq!(medium.speed_mm_s, ratio * cassette.speed_mm_s, "{}", medium.name);
        assert_eq!(medium.track_width_mm, cassette.track_width_mm, "{}", medium.name);
        assert_eq!(medium.pair_centre_distance_mm, cassette.pair_centre_distance_mm, "{}", medium.name);
    }
}
