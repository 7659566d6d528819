//! What the slates must survive.

use super::bench::options;
use crate::effort;
use crate::returns;
use deckproof::internals::capture::InMemory;
use deckproof::internals::deck::{DeckFile, VirtualDeck};
use deckproof::internals::job::{ReadError, read_samples};
use deckproof::internals::judge::Reading;
use deckproof::internals::programme::{Recipe, built_in_by_name};
use deckproof::reading::RecordedOn;
use rayon::prelude::*;

const RATE_HZ: u32 = 44_100;

/// Plays `first-look`, without its long parts, through a deck.
fn returned(deck: &str, seed: u64) -> InMemory {
    let deck = DeckFile::from_toml(deck, "deck").unwrap();
    let deck = VirtualDeck::new(&deck, seed, f64::from(RATE_HZ)).unwrap();
    let channels = deck.play_all(&returns::programme(&slates_only(), RATE_HZ));
    InMemory { rate_hz: deck.return_rate_hz(), channels }
}

fn slates_only() -> Recipe {
    let tone = |id: &str, hz: f64| {
        format!(
            "[[part]]\nkind = \"tone\"\nid = \"{id}\"\nhz = {hz}\nlevel_db = 0\nlength_s = 2.0\nserves = \"level\"\n\
             purpose = \"x\"\n[[part]]\nkind = \"slate\"\n"
        )
    };
    let text = format!(
        "name = \"slates\"\ntitle = \"Slates\"\npurpose = \"Slates\"\nreference_hz = 400\n[[part]]\nkind = \"slate\"\n{}{}{}",
        tone("a", 400.0),
        tone("b", 1000.0),
        tone("c", 315.0)
    );
    Recipe::parse(&text, "slates").unwrap()
}

fn read(samples: &InMemory) -> Result<Reading, ReadError> {
    let mut options = options(RecordedOn::Calibrated);
    options.recipe = Some(slates_only());
    read_samples(samples, "return", &options)
}

/// What every case has besides its own fault: hiss 35 dB below the reference level, 1 % wow.
const HARD: &str = "tape.hiss = { db = -35 }\nspeed.flutter = [{ hz = 0.9, percent_peak = 1.0 }]\n";

#[test]
fn every_slate_is_read_whatever_the_deck_does() {
    let cases = [
        ("wow and hiss", ""),
        ("6 % fast", "speed.error_percent = 5\n"),
        ("6 % slow", "speed.error_percent = -5\n"),
        ("dull head", "head.dull_8k_db = 12\n"),
        ("dead left", "electronics.dead = \"left\"\n"),
        ("dead right", "electronics.dead = \"right\"\n"),
        ("swapped", "electronics.swapped = true\n"),
        ("left inverted", "electronics.inverted = [\"left\"]\n"),
        ("both inverted", "electronics.inverted = [\"left\", \"right\"]\n"),
        (
            "dropout on a slate",
            "tape.dropouts = [{ at_s = 5.6, length_ms = 250, depth_db = 40, channel = \"both\" }]\n",
        ),
        (
            "all at once",
            "speed.error_percent = 4\nhead.dull_8k_db = 12\nelectronics.swapped = true\nazimuth.angle_arcmin = 8\n",
        ),
    ];
    let jobs = effort::some(cases.iter().zip(1u64..), 5);
    jobs.into_par_iter().for_each(|((name, fault), seed)| {
        let reading = read(&returned(&format!("{HARD}{fault}"), seed))
            .unwrap_or_else(|e| panic!("{name} seed {seed}: {e}"));
        assert_eq!(reading.capture.slates_found, 4, "{name} seed {seed}");
        assert_eq!(reading.recipe.clone().unwrap().name, "slates", "{name}");
        assert_eq!(reading.capture.channels_swapped, fault.contains("swapped"), "{name} seed {seed}");
        // Wow of 1 % turns the phase of each chirp about: only that the channels are opposed is sure.
        let opposed = fault.contains("[\"left\"]");
        assert_eq!(reading.capture.inverted[0] ^ reading.capture.inverted[1], opposed, "{name} seed {seed}");
    });
}

#[test]
fn polarity_of_each_channel_is_told_on_a_deck_that_runs_evenly() {
    for (inverted, names) in
        [([true, false], "\"left\""), ([false, true], "\"right\""), ([true; 2], "\"left\", \"right\"")]
    {
        let deck = format!(
            "tape.hiss = {{ db = -45 }}\nspeed.flutter = [{{ hz = 4, percent_peak = 0.1 }}]\nelectronics.inverted = [{names}]\n"
        );
        assert_eq!(read(&returned(&deck, 8)).unwrap().capture.inverted, inverted);
    }
}

#[test]
fn the_extremes_of_speed_are_read() {
    for percent in [-6.0, 6.0] {
        let deck = format!("tape.hiss = {{ db = -35 }}\nspeed.error_percent = {percent}\n");
        let reading = read(&returned(&deck, 9)).unwrap();
        assert_eq!(reading.capture.slates_found, 4);
        // The target of the design for speed.
        deckproof::assert_within!(
            reading.speed.clone().unwrap().error_percent,
            percent,
            0.005,
            "%",
            "{percent}"
        );
    }
}

#[test]
fn five_minutes_of_something_else_before_it_do_no_harm() {
    let before = [("speech", 60.0), ("music", 300.0), ("silence", 30.0)];
    effort::some(before, 3).into_par_iter().for_each(|(kind, seconds)| {
        let deck = format!(
            "{HARD}capture.lead_in = {{ kind = \"{kind}\", seconds = {seconds}, level_dbfs = -14 }}\n"
        );
        let reading = read(&returned(&deck, 4)).unwrap_or_else(|error| panic!("{kind}: {error}"));
        assert_eq!(reading.capture.slates_found, 4, "{kind}");
        deckproof::assert_within!(
            reading.capture.first_slate_s.unwrap().seconds(),
            seconds,
            0.1,
            "s",
            "{kind}"
        );
    });
}

#[test]
fn a_missing_start_or_end_is_named_and_the_rest_is_read() {
    let reading = read(&returned(&format!("{HARD}capture.cut_start_s = 4\n"), 5)).unwrap();
    assert!(reading.warnings.iter().any(|warning| warning.id == "cut-start"));
    assert_eq!(reading.capture.slates_found, 3);
    let reading = read(&returned(&format!("{HARD}capture.cut_end_s = 4\n"), 5)).unwrap();
    assert!(reading.warnings.iter().any(|warning| warning.id == "cut-end"));
    assert_eq!(reading.capture.slates_found, 3);
}

#[test]
fn something_else_is_refused_and_not_misread() {
    // A virtual deck that plays nothing but its lead-in, cut before the programme.
    for kind in effort::some(["music", "speech", "silence"], 2) {
        for seed in effort::some([6, 7], 2) {
            let deck = format!(
                "tape.hiss = {{ db = -40 }}\ncapture.cut_end_s = 18.5\ncapture.lead_in = {{ kind = \"{kind}\", seconds = 60, level_dbfs = -14 }}\n"
            );
            match read(&returned(&deck, seed)) {
                Err(ReadError::NoSlate { reading, .. }) => {
                    assert!(reading.warnings.iter().any(|warning| warning.id == "no-slate"), "{kind}");
                    assert!(reading.level.is_empty() && reading.findings.is_empty(), "{kind}");
                }
                other => panic!("{kind}: {:?}", other.map(|reading| reading.capture.clone())),
            }
        }
    }
    // Another programme's tones without its slates.
    let programme = returns::programme(&built_in_by_name("first-look").unwrap(), RATE_HZ);
    let from = (6.0 * f64::from(RATE_HZ)) as usize;
    let to = (18.0 * f64::from(RATE_HZ)) as usize;
    let tones = [0, 1].map(|channel| programme[channel][from..to].to_vec());
    let samples = InMemory { rate_hz: f64::from(RATE_HZ), channels: tones };
    assert!(matches!(read(&samples), Err(ReadError::NoSlate { .. })));
}
