//! The tape's own values: flux, certificate, equalisation, and speed from a known pitch.

use super::tape::{options, play, read, reference_tape, tones, warned};
use crate::effort;
use deckproof::assert_within;
use deckproof::internals::job::{Recording, UnslatedOptions, measure_unslated};
use deckproof::internals::programme::TapeFile;
use deckproof::internals::trade::{FluxStatement, StatedFlux};
use deckproof::reading::{NominalBy, RecordedOn};

const TAPE: &str = r#"
name = "tape of the Lantern Lane bench (invented)"
certificate = true
track = "full"
equalisation_us = 70
reference_flux_nwb_m = 250
flux_stated = "open-circuit"
speed_error_percent = 0.2
frequency_uncertainty_percent = 0.03

[[tone]]
hz = 315
level_db = 0
uncertainty_db = 0.2

[[tone]]
hz = 3150
level_db = -10

[[tone]]
hz = 12500
level_db = -20
correction_db = -0.5
uncertainty_db = 0.4
"#;

fn tape(text: &str) -> UnslatedOptions {
    UnslatedOptions {
        tape: Some(TapeFile::parse(text, "tape.toml").unwrap()),
        deck_standard: Some(StatedFlux { nwb_m: 200.0, stated: FluxStatement::ShortCircuit }),
        ..UnslatedOptions::default()
    }
}

#[test]
fn what_the_tape_is_known_to_hold_is_taken_off() {
    if effort::left_to_ci() {
        return;
    }
    let deck = "[speed]\nerror_percent = 0.5\nrandom = { percent_rms = 0.1 }\n[tape]\nhiss = { db = -50 }";
    let (samples, _) = play(&reference_tape(2.0), deck, 48_000.0, 31);
    let bare = read(&samples, &UnslatedOptions::default()).unwrap();
    let known = read(&samples, &tape(TAPE)).unwrap();
    // A tape that was recorded 0.2 % sharp on a deck that is 0.5 % fast.
    let speed = known.speed.as_ref().unwrap();
    assert_within!(speed.error_percent, 0.3, 0.02, "%");
    assert!(speed.uncertainty_percent < 0.06, "{}", speed.uncertainty_percent);
    assert_eq!(tones(&known)[0].nominal_by, Some(NominalBy::Tape));
    // 250 nWb/m open-circuit against 200 short-circuit (which is 220 open-circuit): 20 lg(250/220) = 1.11 dB.
    assert_within!(known.level[0].programme_db, 1.11, 0.01, "dB");
    let section = known.tape.as_ref().unwrap();
    assert_within!(section.standard_dbfs[0].unwrap(), -13.11, 0.05, "dBFS");
    // 70 us on the 120 us of type I: IEC 60094-1 has 120 us treble lower by 10 lg of the squares' ratio.
    let term = |us: f64, hz: f64| 10.0 * (1.0 + (std::f64::consts::TAU * hz * us * 1e-6).powi(2)).log10();
    let brighter = |hz: f64| term(120.0, hz) - term(70.0, hz);
    let step = |reading: &deckproof::internals::judge::Reading, hz: f64| {
        let response = reading.response.as_ref().unwrap();
        let step = response.steps.iter().find(|step| step.hz == hz).unwrap();
        (step.db[0].unwrap(), step.uncertainty_db[0].unwrap())
    };
    for (hz, correction) in [(1000.0, 0.0), (12_500.0, -0.5)] {
        let want = step(&bare, hz).0 - (brighter(hz) - brighter(315.0));
        // The file has 12.5 kHz only; what lies between it and 315 Hz is led to it.
        if correction != 0.0 {
            assert_within!(step(&known, hz).0, want - correction, 0.01, "dB", "{hz} Hz");
        }
    }
    for id in ["equalisation-converted", "fringing"] {
        assert!(warned(&known, id), "{id}");
    }
    // Without a certificate the makes disagree; the file has one.
    assert!(warned(&bare, "no-certificate") && !warned(&known, "no-certificate"));
    assert!(step(&bare, 16_000.0).1 > 3.9 && step(&known, 16_000.0).1 < 1.0);
}

#[test]
fn a_tape_of_another_deck_is_no_reference() {
    let (samples, _) = play(&reference_tape(2.0), "[tape]\nhiss = { db = -50 }", 44_100.0, 32);
    let other = options(Some(RecordedOn::OtherDeck));
    let recording = Recording::Samples(&samples, "tape.wav");
    let reading = measure_unslated(recording, &other, &UnslatedOptions::default()).unwrap().conclude(&other);
    assert!(!warned(&reading, "no-certificate"));
    assert!(reading.tape.is_none());
    let speed = reading.findings.iter().find(|finding| finding.id == "speed").unwrap();
    assert!(speed.basis.contains("other deck"), "{}", speed.basis);
}
