//! What holds no test tones gives no figures, and says so in one line.

use super::tape::{Piece, play, read};
use crate::effort;
use deckproof::internals::capture::InMemory;
use deckproof::internals::job::{KnownPitch, ReadError, UnslatedOptions};

fn refused(samples: &InMemory, case: &str) -> String {
    match read(samples, &UnslatedOptions::default()) {
        Err(error @ ReadError::NoTones { .. }) => {
            let text = error.to_string();
            assert!(
                text.starts_with("tape.wav: no test tones were found: ") && !text.contains('\n'),
                "{case}: {text}"
            );
            assert!(error.reading().is_some_and(|reading| reading.level.is_empty()), "{case}");
            text
        }
        Err(other) => panic!("{case}: {other}"),
        Ok(reading) => panic!("{case}: {:?}", reading.found),
    }
}

#[test]
fn music_has_no_test_tones() {
    for seed in effort::some(0..6, 3) {
        let (samples, _) = play(&[Piece::Music(40.0)], "[tape]\nhiss = { db = -50 }", 44_100.0, seed);
        refused(&samples, &format!("seed {seed}"));
    }
}

#[test]
fn speech_hiss_and_silence_have_none_either() {
    for seed in 0..3 {
        let (samples, _) = play(&[Piece::Speech(20.0)], "[tape]\nhiss = { db = -46 }", 48_000.0, seed);
        refused(&samples, "speech");
        let (samples, _) = play(&[Piece::Gap(10.0)], "[tape]\nhiss = { db = -20 }", 48_000.0, seed);
        refused(&samples, "hiss");
    }
    let (samples, _) =
        play(&[Piece::Gap(10.0)], "[electronics]\nhum = { hz = 50, level_db = -30 }", 48_000.0, 1);
    refused(&samples, "hum");
    let silent = InMemory { rate_hz: 48_000.0, channels: [vec![0.0; 480_000], vec![0.0; 480_000]] };
    assert!(refused(&silent, "silence").contains("silent"));
    for frames in [0, 1, 4000] {
        let short = InMemory { rate_hz: 48_000.0, channels: [vec![0.1; frames], vec![0.1; frames]] };
        refused(&short, "too short");
    }
}

#[test]
fn a_held_note_amid_music_is_no_test_tone_unless_its_pitch_is_known() {
    if effort::left_to_ci() {
        return;
    }
    // A pure note at a usual frequency, held for three seconds.
    let pieces = [Piece::Music(15.0), Piece::Tone(1000.0, -8.0, 3.0), Piece::Music(15.0)];
    let deck = "[tape]\nhiss = { db = -50 }\n[speed]\nerror_percent = -0.8";
    let (samples, _) = play(&pieces, deck, 48_000.0, 21);
    refused(&samples, "held note");
    let known = UnslatedOptions {
        known: Some(KnownPitch { hz: 1000.0, within_percent: 0.2 }),
        ..UnslatedOptions::default()
    };
    let speed = read(&samples, &known).unwrap().speed.clone().unwrap();
    deckproof::assert_within!(speed.error_percent, -0.8, 0.02, "%");
    assert!(speed.uncertainty_percent >= 0.2);
    let elsewhere = UnslatedOptions {
        known: Some(KnownPitch { hz: 9000.0, within_percent: 0.2 }),
        ..UnslatedOptions::default()
    };
    let error = read(&samples, &elsewhere).unwrap_err().to_string();
    assert!(error.contains("9000 Hz"), "{error}");
}

#[test]
fn tones_at_unusual_frequencies_are_listed_and_not_named() {
    let pieces: Vec<Piece> = [437.0, 890.0, 1430.0, 2210.0]
        .iter()
        .flat_map(|&hz| [Piece::Tone(hz, -10.0, 4.0), Piece::Gap(1.0)])
        .collect();
    let (samples, _) = play(&pieces, "[tape]\nhiss = { db = -50 }", 48_000.0, 3);
    let text = refused(&samples, "unusual");
    assert!(text.contains("1430 Hz") && text.contains("--tape"), "{text}");
}
