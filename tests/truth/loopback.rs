//! A loopback capture subtracted: the deck's figures must come out as if a perfect sound card had recorded it.
//!
//! Deck and card are two virtual decks one behind the other; the card's has no tape, but a response, a skew between its
//! channels (an azimuth, whose loss is part of the card's response) and noise.

use super::bench::{Case, Store, options, play, play_behind};
use super::{decks, short};
use crate::effort;
use crate::returns;
use deckproof::internals::deck::DeckFile;
use deckproof::internals::judge::Reading;
use deckproof::internals::programme::Recipe;
use deckproof::reading::RecordedOn;
use std::path::Path;

/// Rolls off at both ends, differently on each channel; right late by 9.2 us; 60 dB below the reference.
const CARD: &str = "[playback]\ngain_db = [0.7, -0.4]\n\
    sections = [{ kind = \"high-pass1\", hz = 14, channel = \"left\" }, { kind = \"high-pass1\", hz = 9, channel = \"right\" }, \
    { kind = \"low-pass1\", hz = 19000, channel = \"right\" }]\n\
    [azimuth]\nangle_arcmin = 1.67\n[electronics]\nnoise_db = [-60, -57]\n";

fn card() -> DeckFile {
    DeckFile::from_toml(CARD, "card").unwrap()
}

/// The programme through the card alone, as a file.
fn direct_capture(folder: &Path, rate_hz: u32, deck: &DeckFile) -> std::path::PathBuf {
    capture(&short(), folder, rate_hz, deck)
}

/// A recipe through a card alone, as a file.
pub fn capture(recipe: &Recipe, folder: &Path, rate_hz: u32, deck: &DeckFile) -> std::path::PathBuf {
    let played = returns::of(recipe, deck, 4, rate_hz, Store::Double);
    let channels = &played.channels;
    let path = folder.join("loopback.wav");
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: rate_hz,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(&path, spec).unwrap();
    for (left, right) in channels[0].iter().zip(&channels[1]) {
        writer.write_sample(*left as f32).unwrap();
        writer.write_sample(*right as f32).unwrap();
    }
    writer.finalize().unwrap();
    path
}

fn case(name: &'static str, rate_hz: u32) -> Case {
    let text = decks::TWELVE.iter().find(|deck| deck.0 == name).unwrap().1;
    let deck = DeckFile::from_toml(text, name).unwrap();
    Case { name, deck, seed: 31, rate_hz, store: Store::TwentyFour }
}

/// A value and its stated uncertainty, `None` where there is no value.
fn delay(reading: &Reading) -> (f64, f64) {
    let azimuth = reading.azimuth.as_ref().unwrap();
    (azimuth.delay_us.unwrap(), azimuth.uncertainty_us.unwrap())
}

#[test]
fn what_the_card_does_is_taken_off() {
    let cases = [("tilted by 5'", 48_000), ("dirty left", 44_100), ("6 % fast", 96_000)];
    for (name, rate_hz) in effort::some(cases, 3) {
        let case = case(name, rate_hz);
        let folder = tempfile::tempdir().unwrap();
        let mut told = options(RecordedOn::ThisDeck);
        told.recipe = Some(short());
        // What a perfect card would have read.
        let wanted = play(&short(), &case).reading;
        let raw = play_behind(&short(), &case, &card(), &told);
        told.loopback = Some(direct_capture(folder.path(), rate_hz, &card()));
        let got = play_behind(&short(), &case, &card(), &told);
        assert!(got.capture.loopback.is_some());

        // The card must have mattered, or this proves nothing; then the targets of the deck's own figures hold.
        assert!((delay(&raw).0 - delay(&wanted).0).abs() > 4.0, "{name}");
        deckproof::assert_within!(delay(&got).0, delay(&wanted).0, 0.3, "us", "{name}");
        let (got_response, wanted_response) =
            (got.response.clone().unwrap(), wanted.response.clone().unwrap());
        let raw_response = raw.response.clone().unwrap();
        let mut worst_before: f64 = 0.0;
        for ((got, wanted), raw) in
            got_response.steps.iter().zip(&wanted_response.steps).zip(&raw_response.steps)
        {
            for channel in 0..2 {
                let wanted = wanted.db[channel].unwrap();
                worst_before = worst_before.max((raw.db[channel].unwrap() - wanted).abs());
                let at = (name, got.hz, channel);
                deckproof::assert_within!(got.db[channel].unwrap(), wanted, 0.15, "dB", "{at:?}");
            }
        }
        assert!(worst_before > 0.5, "{name}: {worst_before}");
        for (got, wanted) in got_response.sweep.iter().zip(&wanted_response.sweep) {
            for channel in 0..2 {
                let at = (name, got.hz, channel);
                let wanted = wanted.db[channel].unwrap();
                deckproof::assert_within!(got.db[channel].unwrap(), wanted, 0.3, "dB", "{at:?}");
            }
        }
        for (got, wanted) in got.level.iter().zip(&wanted.level) {
            let at = (name, &got.part);
            let wanted_db = wanted.difference_db.unwrap();
            deckproof::assert_within!(got.difference_db.unwrap(), wanted_db, 0.05, "dB", "{at:?}");
            deckproof::assert_within!(
                got.gain_db[0].unwrap(),
                wanted.gain_db[0].unwrap(),
                0.05,
                "dB",
                "{at:?}"
            );
        }
        let (got_noise, wanted_noise) = (got.noise.clone().unwrap(), wanted.noise.clone().unwrap());
        // On the left only: on the right the card's low-pass takes 0.4 dB of the hiss away, which is not made up for.
        let wanted = wanted_noise.a_weighted_db[0].unwrap();
        let before = raw.noise.as_ref().unwrap().a_weighted_db[0].unwrap();
        assert!(before - wanted > 0.3, "{name}: the card's noise must matter: {before} {wanted}");
        deckproof::assert_within!(got_noise.a_weighted_db[0].unwrap(), wanted, 0.3, "dB", "{name}");
    }
}

#[test]
fn what_drowns_in_the_card_is_not_stated() {
    if effort::left_to_ci() {
        return;
    }
    let mut case = case("plain", 48_000);
    case.deck.tape.hiss = None;
    let folder = tempfile::tempdir().unwrap();
    let mut told = options(RecordedOn::ThisDeck);
    told.recipe = Some(short());
    told.loopback = Some(direct_capture(folder.path(), 48_000, &card()));
    let reading = play_behind(&short(), &case, &card(), &told);
    assert_eq!(reading.noise.as_ref().unwrap().a_weighted_db, [None, None]);
    let warning = reading.warnings.iter().find(|warning| warning.id == "card-limited").unwrap();
    assert!(warning.text.contains("A-weighted noise on the left"), "{}", warning.text);
}

#[test]
fn a_tape_from_elsewhere_was_not_played_by_the_card() {
    if effort::left_to_ci() {
        return;
    }
    let case = case("tilted by 5'", 48_000);
    let folder = tempfile::tempdir().unwrap();
    let path = direct_capture(folder.path(), 48_000, &card());
    let [here, elsewhere] = [RecordedOn::ThisDeck, RecordedOn::Calibrated].map(|whose| {
        let mut told = options(whose);
        told.recipe = Some(short());
        told.loopback = Some(path.clone());
        play_behind(&short(), &case, &card(), &told)
    });
    assert_eq!(delay(&here).0, delay(&elsewhere).0);
    // Half of what was subtracted: 9.2 us of skew (known to about 1), and up to 8.4 us that the low-pass on the right makes.
    let wider = delay(&elsewhere).1;
    assert!((4.1..8.8).contains(&wider), "{wider}");
}

#[test]
fn a_return_through_a_deck_is_refused_as_loopback_capture() {
    if effort::left_to_ci() {
        return;
    }
    let case = case("plain", 48_000);
    let folder = tempfile::tempdir().unwrap();
    let mut told = options(RecordedOn::ThisDeck);
    told.recipe = Some(short());
    told.loopback = Some(direct_capture(folder.path(), 48_000, &case.deck));
    let error = super::bench::try_play_behind(&short(), &case, &card(), &told).unwrap_err().to_string();
    assert!(error.contains("loopback.wav: no loopback capture: its steady tone has 0."), "{error}");
}
