//! A recording that nobody here made: the speed wander of a real cassette's pilot tone against scipy's figures.
//!
//! The recording is not part of this project (see tests/reference/pilot_demodulation.py, which names it and measured
//! it). `DECKPROOF_PILOT` says where it is; without that it is looked for in `../shared/real`. Where it is missing, the
//! test says that it was not run, and passes.

use crate::tsv;
use deckproof::assert_within;
use deckproof::internals::capture::{ReturnFile, Source};
use deckproof::internals::signal::baseband::Baseband;
use deckproof::internals::signal::fm::{demodulate, filter_by_response};
use num_complex::Complex64;
use std::io::Write;
use std::path::{Path, PathBuf};

const REFERENCE: &str = include_str!("reference/pilot_demodulation.tsv");

fn recording() -> Option<PathBuf> {
    if let Some(path) = std::env::var_os("DECKPROOF_PILOT") {
        // Whoever names a file wants it read: a wrong path must fail.
        return Some(path.into());
    }
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/real/data-cassette.wav");
    beside.exists().then_some(beside)
}

fn reference(quantity: &str) -> f64 {
    let rows = tsv::rows(REFERENCE, 13);
    let row = rows.iter().find(|row| row.text("quantity") == quantity);
    row.unwrap_or_else(|| panic!("no row {quantity}")).number("value")
}

#[test]
fn the_pilot_of_a_real_cassette_wanders_as_scipy_says() {
    let Some(path) = recording() else {
        // Straight to the stream: what a passing test prints by macro is not shown.
        let words = "tests/pilot.rs was NOT RUN: no pilot recording here; set DECKPROOF_PILOT to its path";
        writeln!(std::io::stderr(), "{words}").unwrap();
        return;
    };
    let file = ReturnFile::open(&path, None).unwrap();
    // The same recording as scipy read: mono, 44.1 kHz, 16 bit, 18.1 s.
    assert_eq!((file.rate_hz(), file.depth(), file.is_mono_file()), (44_100.0, "16", true));
    assert_within!(file.frames() as f64 / file.rate_hz(), 18.1, 0.05, "s");
    // Nothing is subtracted: slow drift belongs to wander, and so does what hiss makes of the phase. The band is wide enough
    // for the demodulator's derivative to be right to 0.5 % up to the corner.
    let (expected_hz, corner_hz) = (2700.0, 250.0);
    let flat_hz = 2.5 * corner_hz + 60.0 + 0.02 * expected_hz;
    let mut filter = Baseband::new(file.rate_hz(), expected_hz, flat_hz, 0.4 * flat_hz);
    let frame = |s: f64| (s * file.rate_hz()) as u64;
    let (from, to) = (frame(2.5 - filter.margin_s()), frame(5.5 + filter.margin_s()) + 1);
    file.read(from, to, &mut |block| filter.feed(block[0])).unwrap();
    let band = filter.finish();
    let tone = demodulate(&band.samples, band.rate_hz).expect("there is a tone");
    // What a fourth-order Butterworth does when it is run forwards and backwards.
    let low_pass = |hz: f64| Complex64::new(1.0 / (1.0 + (hz / corner_hz).powi(8)), 0.0);
    let course_hz = filter_by_response(&tone.deviation_hz, band.rate_hz, low_pass);
    let mean = |values: &mut dyn Iterator<Item = f64>| values.sum::<f64>() / course_hz.len() as f64;
    let offset_hz = mean(&mut course_hz.iter().copied());
    let found_hz = band.centre_hz + tone.mean_hz + offset_hz;
    let found_percent =
        100.0 * mean(&mut course_hz.iter().map(|hz| (hz - offset_hz).powi(2))).sqrt() / found_hz;
    println!("mean {found_hz} Hz, rms {found_percent} %");
    let (mean_hz, rms_percent) = (reference("mean_hz"), reference("deviation_rms"));
    // scipy filters before the demodulation, the library behind it: the same to first order. A corner of 300 instead of
    // 250 Hz would read 4.7 % more.
    assert_within!(found_percent, rms_percent, 0.01 * rms_percent, "%");
    // The course begins and ends up to one of its values (0.4 ms) beside the stretch, where the tone is up to 62 Hz off
    // its mean: 2 * 62 Hz * 0.4 ms / 3 s = 0.016 Hz.
    assert_within!(found_hz, mean_hz, 0.016, "Hz");
    assert_eq!(tone.bridged, 0.0);
}
