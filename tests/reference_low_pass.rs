//! Kaiser low-passes against scipy 1.17.1 (firwin, freqz), made by tests/reference/make_signal_reference.py.

use crate::tsv;
use deckproof::assert_within;
use deckproof::internals::signal::fir::low_pass;
use std::f64::consts::TAU;

const REFERENCE: &str = include_str!("reference/low_pass_reference.tsv");

/// Real gain of symmetrical taps at `hz`, by the definition of the transform.
fn gain(taps: &[f64], hz: f64, rate_hz: f64) -> f64 {
    let half = taps.len() as f64 / 2.0 - 0.5;
    taps.iter().enumerate().map(|(n, tap)| tap * (TAU * hz / rate_hz * (n as f64 - half)).cos()).sum()
}

#[test]
fn gains_and_lengths_are_what_scipy_computes() {
    // 6 designs at 13 frequencies.
    for row in tsv::rows(REFERENCE, 6 * 13) {
        let rate_hz = row.number("rate_hz");
        let taps = low_pass(
            rate_hz,
            row.number("flat_hz"),
            row.number("transition_hz"),
            row.number("attenuation_db"),
        );
        assert_eq!(taps.len() as f64, row.number("taps"), "{row}");
        // Gains near 1 are printed with 12 significant digits: 5e-12; the rest is rounding of two thousand terms.
        assert_within!(gain(&taps, row.number("hz"), rate_hz), row.number("gain"), 1e-11, "", "{row}");
    }
}

/// The length comes from Kaiser's estimate, so a stop band may miss the attenuation asked for by 2 dB; a pass band gets
/// the ripple of both edges. The script finds the same of scipy's own designs.
#[test]
fn pass_and_stop_bands_keep_what_low_pass_promises() {
    // Every 13th row begins another design.
    for row in tsv::rows(REFERENCE, 6 * 13).iter().step_by(13) {
        let (rate_hz, attenuation_db) = (row.number("rate_hz"), row.number("attenuation_db"));
        let (flat_hz, transition_hz) = (row.number("flat_hz"), row.number("transition_hz"));
        let taps = low_pass(rate_hz, flat_hz, transition_hz, attenuation_db);
        let ripple = 10f64.powf(-attenuation_db / 20.0);
        let stop_hz = flat_hz + transition_hz;
        for k in 0..=1000 {
            let share = f64::from(k) / 1000.0;
            let pass = gain(&taps, share * flat_hz, rate_hz);
            assert_within!(pass, 1.0, 2.0 * ripple, "", "{share} of the pass band, {row}");
            let stop = gain(&taps, stop_hz + share * (rate_hz / 2.0 - stop_hz), rate_hz);
            assert_within!(stop, 0.0, ripple * 10f64.powf(2.0 / 20.0), "", "{share} of the stop band, {row}");
        }
    }
}
