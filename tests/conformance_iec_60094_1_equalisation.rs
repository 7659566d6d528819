//! Tape equalisation against IEC 60094-1:1981 clause 15. The formula's form is from memory, the numbers are computed
//! from it independently of the crate; the printed cross-checks are the turnover frequencies and a trade article's
//! "4.5 dB" between the two equalisations at 10 kHz.

use crate::tsv;
use deckproof::assert_within;
use deckproof::internals::trade::tape_equalisation::{
    Equalisation, LOW_TIME_CONSTANT_US, amplifier_db, flux_db, flux_relative_db, turnover_hz, wrong_switch_db,
};

const TABLE: &str = include_str!("tables/iec-60094-1-equalisation.tsv");
/// Half a unit of the third decimal, which is the table's last.
const TABLE_ROUNDING_DB: f64 = 0.0005 + 1e-9;

#[test]
fn flux_meets_every_row_in_every_normalisation_formula_from_memory() {
    for row in tsv::rows(TABLE, 36) {
        let hz = row.number("hz");
        for (equalisation, name) in [(Equalisation::Us120, "120us"), (Equalisation::Us70, "70us")] {
            let want_db = row.number(&format!("flux_{name}_raw_db"));
            assert_within!(
                flux_db(equalisation, hz),
                want_db,
                TABLE_ROUNDING_DB,
                "dB",
                "MEMORY {name} raw, {row}"
            );
            for reference_hz in [315.0, 400.0, 1000.0] {
                assert_within!(
                    flux_relative_db(equalisation, hz, reference_hz),
                    row.number(&format!("flux_{name}_{reference_hz}_db")),
                    TABLE_ROUNDING_DB,
                    "dB",
                    "MEMORY {name} re {reference_hz} Hz, {row}"
                );
            }
        }
        let difference_db = flux_db(Equalisation::Us70, hz) - flux_db(Equalisation::Us120, hz);
        assert_within!(
            difference_db,
            row.number("flux_70us_minus_120us_raw_db"),
            TABLE_ROUNDING_DB,
            "dB",
            "MEMORY 70 us minus 120 us, {row}"
        );
    }
}

#[test]
fn the_amplifier_alone_is_the_playback_less_six_db_an_octave() {
    for row in tsv::rows(TABLE, 36) {
        let hz = row.number("hz");
        // Note of the table: amplifier alone = -N(f) - 20 lg f.
        let want_db = -row.number("flux_120us_1000_db") - 20.0 * (hz / 1000.0).log10();
        assert_within!(
            amplifier_db(Equalisation::Us120, hz, 1000.0),
            want_db,
            TABLE_ROUNDING_DB,
            "dB",
            "MEMORY {row}"
        );
    }
}

#[test]
fn time_constants_turn_at_the_printed_frequencies() {
    // Printed as 1326 and 2274 Hz (IEC 60094-1 clause 15.1 time constants): half a hertz.
    assert_within!(turnover_hz(Equalisation::Us120.high_time_constant_us()), 1326.0, 0.5, "Hz", "120 us");
    assert_within!(turnover_hz(Equalisation::Us70.high_time_constant_us()), 2274.0, 0.5, "Hz", "70 us");
    // 50.05 Hz is derived: half a unit of its last digit.
    assert_within!(turnover_hz(LOW_TIME_CONSTANT_US), 50.05, 0.005, "Hz", "3180 us");
}

#[test]
fn a_wrong_switch_costs_what_the_trade_says() {
    // A trade article prints 4.5 dB at 10 kHz: half a unit of its last digit, raw like the article's curves (their
    // reference is so low that both equalisations are equal there).
    let error_db = wrong_switch_db(Equalisation::Us70, Equalisation::Us120, 10_000.0, 20.0);
    assert_within!(error_db, 4.5, 0.05, "dB");
    // Asymptote 20 lg(120/70); at 1 MHz the remaining terms are below 1e-3 dB.
    let asymptote_db = flux_db(Equalisation::Us70, 1e6) - flux_db(Equalisation::Us120, 1e6);
    assert_within!(asymptote_db, 4.682, 0.001, "dB");
}
