//! Recordings of real tapes that nobody here made (see tests/pilot.rs): leaders of data cassettes, and one that no tape made.
//!
//! The recordings are not part of this project. Beside each place stand scipy's figures (tests/reference/leaders.py, scipy
//! 1.17.1: 0.3 s inside the place, parabola subtracted, up to 200 Hz, raw and freed of hiss).

use super::tape::{options, tones};
use deckproof::assert_within;
use deckproof::internals::job::{KnownPitch, Recording, UnslatedOptions, measure_unslated};
use deckproof::internals::judge::Reading;
use deckproof::reading::{NominalBy, Verdict};
use std::io::Write;
use std::path::Path;

/// A leader: from, to (s), mean Hz, rms of the deviation raw and freed of hiss, percent.
type Leader = (f64, f64, f64, f64, f64);

const RECORDINGS: [(&str, &[Leader]); 4] = [
    ("data-cassette.wav", &[(2.14, 8.49, 2689.35, 0.5215, 0.5024), (12.58, 14.6, 2665.75, 0.4668, 0.4460)]),
    (
        "long-leader.wav",
        &[
            (5.09, 11.42, 2689.16, 0.5220, 0.5040),
            (15.5, 17.53, 2665.71, 0.4668, 0.4475),
            (21.54, 31.78, 2653.87, 0.5571, 0.5413),
            (35.91, 37.94, 2645.85, 0.5348, 0.5161),
        ],
    ),
    (
        "four-leaders.wav",
        &[
            (0.42, 5.36, 818.50, 0.5384, 0.5145),
            (6.42, 8.42, 815.18, 0.5368, 0.5136),
            (12.01, 16.99, 812.45, 0.5344, 0.5149),
            (18.06, 20.07, 809.45, 0.5464, 0.5208),
        ],
    ),
    ("crystal-exact.wav", &[(0.27, 6.36, 2402.2, 0.0004, 0.0004), (13.5, 18.82, 2402.2, 0.0004, 0.0004)]),
];

/// The reading of one of them; `None`, and it is said, where it is not here.
fn read(name: &str, known_hz: Option<f64>) -> Option<Reading> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/real").join(name);
    if !path.exists() {
        let words = format!("tests/unslated/real.rs was NOT RUN for {name}: no such recording here\n");
        std::io::stderr().write_all(words.as_bytes()).unwrap();
        return None;
    }
    let known = known_hz.map(|hz| KnownPitch { hz, within_percent: 0.1 });
    let unslated = UnslatedOptions { known, ..UnslatedOptions::default() };
    let playing = measure_unslated(Recording::File(&path), &options(None), &unslated);
    Some(playing.unwrap_or_else(|error| panic!("{error}")).conclude(&options(None)))
}

#[test]
fn leaders_of_real_tapes_are_found_and_their_flutter_is_scipys() {
    for (name, leaders) in RECORDINGS {
        let Some(reading) = read(name, None) else { continue };
        let found = tones(&reading);
        assert_eq!(found.len(), leaders.len(), "{name}: {found:?}");
        let (mut raw, mut freed, mut total_s) = (0.0, 0.0, 0.0);
        for (tone, &(from_s, to_s, hz, rms_raw, rms_freed)) in found.iter().zip(leaders) {
            assert_within!(tone.from_s.seconds(), from_s, 0.03, "s", "{name}: start");
            assert_within!(tone.to_s.seconds(), to_s, 0.03, "s", "{name}: end");
            assert_within!(tone.hz.unwrap(), hz, 0.0015 * hz, "Hz", "{name}");
            let length_s = to_s - from_s;
            raw += length_s * f64::powi(rms_raw, 2);
            freed += length_s * f64::powi(rms_freed, 2);
            total_s += length_s;
        }
        // A guess, or nothing: no speed.
        assert_eq!(reading.speed, None, "{name}");
        let speed = reading.findings.iter().find(|finding| finding.id == "speed").unwrap();
        assert_eq!((speed.verdict, &speed.turn), (Verdict::CannotTell, &None), "{name}");
        let rms = reading.flutter.as_ref().unwrap().unweighted_rms_percent.unwrap();
        let (freed, raw) = (f64::sqrt(freed / total_s), f64::sqrt(raw / total_s));
        assert!(rms > 0.94 * freed - 0.001 && rms < 1.06 * raw, "{name}: {rms}, scipy {freed} to {raw}");
    }
}

#[test]
fn who_knows_the_pitch_of_leaders_knows_the_speed() {
    // Who knew the leaders to be 2700 Hz would have the deck at -0.4 % first, and at -2 % at the end of the tape.
    let Some(reading) = read("long-leader.wav", Some(2700.0)) else { return };
    assert!(tones(&reading).iter().all(|tone| tone.nominal_by == Some(NominalBy::Known)));
    let speed = reading.speed.as_ref().unwrap();
    assert!(speed.error_percent > -2.0 && speed.error_percent < -0.4, "{speed:?}");
    assert!(speed.uncertainty_percent > 0.2, "the speed wanders: {speed:?}");
}
