//! Third-octave levels of noise against numpy 2.4.6 and scipy 1.17.1, made by tests/reference/make_signal_reference.py.

use crate::{signals, tsv};
use deckproof::assert_within;
use deckproof::internals::signal::spectrum::Welch;
use deckproof::internals::trade::octave_bands::third_octave;
use std::f64::consts::TAU;

const REFERENCE: &str = include_str!("reference/third_octave_reference.tsv");
const RATE_HZ: f64 = 48_000.0;

/// Noise that falls 3 dB an octave, as d) in the head of the script says.
fn samples() -> Vec<f64> {
    let mut samples = signals::noise(524_288, 3);
    for k in 0..6 {
        let pole_hz = 5.0 * 4f64.powi(k);
        let (zero, pole) = ((-TAU * 2.0 * pole_hz / RATE_HZ).exp(), (-TAU * pole_hz / RATE_HZ).exp());
        let (mut x, mut y) = (0.0, 0.0);
        for sample in &mut samples {
            y = *sample - zero * x + pole * y;
            x = std::mem::replace(sample, y);
        }
    }
    samples
}

#[test]
fn band_levels_are_what_scipy_computes() {
    let samples = samples();
    signals::assert_same_beginning(&samples, REFERENCE);
    let mut welch = Welch::new(RATE_HZ, 32_768);
    welch.feed(&samples);
    let density = welch.finish();
    for row in tsv::rows(REFERENCE, 28) {
        let band = third_octave(row.number("x") as i32);
        let power = density.power(band.lower_hz, band.upper_hz, |_| 1.0);
        // Printed with 12 significant digits: 5e-11 dB at 17 dB; the rest is rounding of transforms and recursions.
        assert_within!(10.0 * power.log10(), row.number("level_db"), 1e-10, "dB", "{row}");
        assert_within!(band.mid_hz / row.number("mid_hz"), 1.0, 1e-11, "relative", "{row}");
    }
}
