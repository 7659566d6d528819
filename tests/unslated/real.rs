//! The pilot of a real data cassette (see tests/pilot.rs): steady, but pulses and not near any usual frequency.

use super::tape::{options, tones};
use deckproof::assert_within;
use deckproof::internals::job::{KnownPitch, ReadError, Recording, UnslatedOptions, measure_unslated};
use std::io::Write;
use std::path::{Path, PathBuf};

fn recording() -> Option<PathBuf> {
    if let Some(path) = std::env::var_os("DECKPROOF_PILOT") {
        return Some(path.into());
    }
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/real/data-cassette.wav");
    beside.exists().then_some(beside)
}

#[test]
fn pulses_and_data_are_no_test_tones_but_a_known_pitch_gives_the_speed() {
    let Some(path) = recording() else {
        let words =
            "tests/unslated/real.rs was NOT RUN: no pilot recording here; set DECKPROOF_PILOT to its path";
        writeln!(std::io::stderr(), "{words}").unwrap();
        return;
    };
    let error =
        measure_unslated(Recording::File(&path), &options(None), &UnslatedOptions::default()).unwrap_err();
    assert!(matches!(error, ReadError::NoTones { .. }), "{error}");
    let text = error.to_string();
    assert!(text.contains("harmonics") && text.contains("--known-hz"), "{text}");
    // scipy has 2698.7 Hz for the pilot from 2.5 to 5.5 s (tests/reference/pilot_demodulation.py). Who knew it to be 2700 Hz
    // would have the deck at -0.05 %.
    let known = UnslatedOptions {
        known: Some(KnownPitch { hz: 2700.0, within_percent: 0.1 }),
        ..UnslatedOptions::default()
    };
    let reading =
        measure_unslated(Recording::File(&path), &options(None), &known).unwrap().conclude(&options(None));
    let pilots = tones(&reading);
    assert!(pilots[0].from_s.seconds() < 2.6 && pilots[0].to_s.seconds() > 5.0, "{:?}", pilots[0]);
    // The first pilot is followed by data of about the same frequency: where it is cut moves its mean by some tenths of a
    // percent, which the speed's uncertainty must hold.
    assert_within!(pilots[0].hz.unwrap(), 2698.7, 0.004 * 2698.7, "Hz");
    // The second one runs slower: 2665.2 Hz from 12.7 to 14.5 s, measured with scipy 1.17.1 as the first was.
    assert_within!(pilots[1].hz.unwrap(), 2665.2, 0.001 * 2665.2, "Hz");
    let speed = reading.speed.clone().unwrap();
    assert_within!(speed.error_percent, -0.05, speed.uncertainty_percent, "%", "as stated");
    assert!(speed.uncertainty_percent < 0.8, "{}", speed.uncertainty_percent);
}
