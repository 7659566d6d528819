//! Welch's power spectral density against scipy 1.17.1 (signal.welch), made by tests/reference/make_signal_reference.py.

use crate::{signals, tsv};
use deckproof::assert_within;
use deckproof::internals::signal::spectrum::{Density, Welch};
use std::f64::consts::TAU;

const REFERENCE: &str = include_str!("reference/welch_reference.tsv");
const RATE_HZ: u64 = 48_000;
const COUNT: usize = 131_072;

/// Three tones in noise, as a) in the head of the script says.
fn samples() -> Vec<f64> {
    let sine = |hz: u64, n: usize| (TAU * ((hz * n as u64) % RATE_HZ) as f64 / RATE_HZ as f64).sin();
    signals::noise(COUNT, 1)
        .into_iter()
        .enumerate()
        .map(|(n, noise)| 0.5 * sine(315, n) + 0.1 * sine(1000, n) + 0.05 * sine(10_000, n) + 0.01 * noise)
        .collect()
}

fn density(block: usize) -> Density {
    let samples = samples();
    signals::assert_same_beginning(&samples, REFERENCE);
    let mut welch = Welch::new(RATE_HZ as f64, 8192);
    for block in samples.chunks(block) {
        welch.feed(block);
    }
    welch.finish()
}

#[test]
fn band_powers_are_what_scipy_computes() {
    let density = density(5000);
    assert_eq!(density.segments, 2 * COUNT / 8192 - 1);
    for row in tsv::rows(REFERENCE, 5) {
        let (from, to) = (row.number("from_bin"), row.number("to_bin"));
        let want = row.number("power");
        let got: f64 = density.per_hz[from as usize..=to as usize].iter().sum::<f64>() * density.step_hz;
        // Printed with 12 significant digits: 5e-12; the rest is rounding of two transforms.
        assert_within!(got / want, 1.0, 1e-11, "relative", "{row}");
        let half = density.step_hz / 2.0;
        let between = density.power(from * density.step_hz - half, to * density.step_hz + half, |_| 1.0);
        assert_within!(between / want, 1.0, 1e-11, "relative", "between frequencies, {row}");
    }
}

#[test]
fn the_cut_into_blocks_changes_no_bit() {
    assert_eq!(density(5000), density(1));
}
