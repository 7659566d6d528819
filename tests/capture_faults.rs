//! What was done to the signal on its way into the file is named, and nothing that was not done.
//!
//! The virtual deck's sketches of a compander, a gate and a codec test our code. The outside check was a trial with real codecs; what
//! came out of it stands in `src/measure/faults/lossy.rs`.

use crate::effort;
use crate::returns::{self, Store};
use deckproof::internals::capture::InMemory;
use deckproof::internals::deck::DeckFile;
use deckproof::internals::job::{ReadOptions, read_samples};
use deckproof::internals::judge::Limits;
use deckproof::internals::judge::Reading;
use deckproof::internals::programme::{Recipe, find};
use deckproof::internals::trade::Medium;
use deckproof::reading::{Circumstances, NoiseReduction, Verdict};
use std::sync::Arc;

/// Warnings that say that somebody changed the signal.
const NAMED: [&str; 5] = ["noise-reduction-on", "lossy", "time-jump", "gain-riding", "several-takes"];

const HEALTHY: &str = "
speed = { error_percent = 0.3, flutter = [{ hz = 4.1, percent_peak = 0.06 }] }
head = { spacing_um = 0.05, gap_um = 1.2, coupling_hz = 10 }
[tape]
saturation = { k3_percent_at_0db = 0.9, k2_percent_at_0db = 0.1 }
hiss = { db = -53 }
modulation_noise = { db = -48 }
[electronics]
noise_db = -66
left_into_right_db = -42
right_into_left_db = -42
";

/// Noisy, dull, overdriven, fluttering, with dropouts and wandering levels.
const BAD: &str = "
speed = { error_percent = 2.5, flutter = [{ hz = 0.9, percent_peak = 0.25 }, { hz = 6.6, percent_peak = 0.35 }] }
head = { spacing_um = 0.4, gap_um = 2.6, coupling_hz = 70, dull_8k_db = [8, 10] }
[azimuth]
angle_arcmin = -4
random_wander = { arcmin_rms = 1.2 }
[tape]
saturation = { k3_percent_at_0db = 5, k2_percent_at_0db = 0.5 }
hiss = { db = -42 }
modulation_noise = { db = -34, reach_hz = 2000 }
random_dropouts = { per_min = 20, length_ms = 80, depth_db = 20 }
level_wander = { db_rms = 0.3 }
[electronics]
noise_db = -50
hum = { hz = 50, level_db = [-42, -36], harmonics_db = [-4, -8, -18, -14] }
";

fn recipe(name: &str) -> Recipe {
    find(name).unwrap()
}

fn play(recipe: &Recipe, deck: &str, seed: u64) -> Arc<InMemory> {
    let mut deck = DeckFile::from_toml(deck, "deck").unwrap();
    deck.capture.tail_s = 1.0;
    returns::of(recipe, &deck, seed, 48_000, Store::Double)
}

fn read(samples: &InMemory, recipe: &Recipe, noise_reduction: NoiseReduction) -> Reading {
    let options = ReadOptions {
        recipe: Some(recipe.clone()),
        reference_dbfs: -12.0,
        channels: None,
        circumstances: Circumstances { noise_reduction, ..Circumstances::default() },
        medium: Medium::COMPACT_CASSETTE,
        limits: Limits::full_size(),
        loopback: None,
        transport: None,
        made: None,
    };
    read_samples(samples, "return.wav", &options).unwrap()
}

fn named(reading: &Reading) -> Vec<&str> {
    NAMED.into_iter().filter(|id| reading.warnings.iter().any(|warning| warning.id == *id)).collect()
}

fn text<'a>(reading: &'a Reading, id: &str) -> &'a str {
    &reading.warnings.iter().find(|warning| warning.id == id).unwrap_or_else(|| panic!("no {id}")).text
}

/// The named warnings of `deck` with `more` in its table `table`.
fn with(recipe: &Recipe, deck: &str, table: &str, more: &str) -> Reading {
    let deck = match deck.contains(&format!("[{table}]\n")) {
        true => deck.replace(&format!("[{table}]\n"), &format!("[{table}]\n{more}\n")),
        false => format!("{deck}\n[{table}]\n{more}\n"),
    };
    read(&play(recipe, &deck, 3), recipe, NoiseReduction::Off)
}

#[test]
fn good_and_bad_decks_alike_are_not_accused() {
    if effort::left_to_ci() {
        return;
    }
    let recipe = recipe("first-look");
    for (deck, seeds) in [(HEALTHY, 1..3), (BAD, 1..5)] {
        for seed in effort::some(seeds, 4) {
            let samples = play(&recipe, deck, seed);
            let reading = read(&samples, &recipe, NoiseReduction::Off);
            assert_eq!(named(&reading), Vec::<&str>::new(), "seed {seed}: {:?}", reading.warnings);
        }
    }
}

#[test]
fn noise_reduction_left_on_in_playback_is_named_unless_it_was_told() {
    if effort::left_to_ci() {
        return;
    }
    let recipe = recipe("first-look");
    for deck in effort::some([HEALTHY, BAD], 2) {
        let deck =
            deck.replace("[electronics]\n", "[electronics]\nnoise_reduction = { on = \"playback-only\" }\n");
        let samples = play(&recipe, &deck, 3);
        let reading = read(&samples, &recipe, NoiseReduction::Off);
        assert_eq!(named(&reading), ["noise-reduction-on"], "{:?}", reading.warnings);
        assert!(text(&reading, "noise-reduction-on").contains("weaker"));
        assert_eq!(named(&read(&samples, &recipe, NoiseReduction::On)), Vec::<&str>::new());
    }
}

#[test]
fn noise_suppression_of_the_sound_card_is_named() {
    if effort::left_to_ci() {
        return;
    }
    let gate = "noise_suppression = { below_dbfs = -45, most_db = 15 }";
    let reading = with(&recipe("first-look"), HEALTHY, "capture", gate);
    assert_eq!(named(&reading), ["noise-reduction-on"], "{:?}", reading.warnings);
    assert!(text(&reading, "noise-reduction-on").contains("suppresses"));
}

#[test]
fn lossy_compression_is_named_by_its_wall_and_by_its_holes() {
    if effort::left_to_ci() {
        return;
    }
    let recipe = recipe("first-look");
    let reading = with(&recipe, HEALTHY, "capture", "lossy = { low_pass_hz = 16000, masking_db = 30 }");
    assert_eq!(named(&reading), ["lossy"], "{:?}", reading.warnings);
    assert!(text(&reading, "lossy").contains("wall at 1"), "{}", text(&reading, "lossy"));
    let reading = with(&recipe, HEALTHY, "capture", "lossy = { low_pass_hz = 22000, masking_db = 10 }");
    assert_eq!(named(&reading), ["lossy"], "{:?}", reading.warnings);
    assert!(!text(&reading, "lossy").contains("wall"), "{}", text(&reading, "lossy"));
    // As a file of 8 kHz ends that was resampled: nothing is said of the deck's treble.
    let reading = with(&recipe, HEALTHY, "capture", "lossy = { low_pass_hz = 4000, masking_db = 60 }");
    assert_eq!(named(&reading), ["lossy"], "{:?}", reading.warnings);
    let response = reading.response.as_ref().unwrap();
    let points =
        [&response.steps, &response.sweep, &response.noise, &response.combined].into_iter().flatten();
    let sure = points.filter(|point| point.uncertainty_db != [None; 2]);
    let highest_hz = sure.map(|point| point.hz).fold(0.0, f64::max);
    assert!((1000.0..3500.0).contains(&highest_hz), "{highest_hz}");
    let outside = reading.findings.iter().filter(|finding| finding.verdict == Verdict::Outside);
    assert_eq!(outside.map(|finding| finding.id.as_str()).collect::<Vec<_>>(), ["capture"]);
    // A codec's overshoot is clipped: the wall is still told, holes are not.
    for (low_pass_hz, masking_db, told) in effort::some([(16_000, 30, true), (22_000, 10, false)], 2) {
        let codec = format!(
            "{HEALTHY}\n[capture]\nlossy = {{ low_pass_hz = {low_pass_hz}, masking_db = {masking_db} }}"
        );
        let mut samples = InMemory::clone(&play(&recipe, &codec, 3));
        samples.channels.iter_mut().flatten().for_each(|x| *x = x.clamp(-0.24, 0.24));
        let reading = read(&samples, &recipe, NoiseReduction::Off);
        assert!(reading.warnings.iter().any(|warning| warning.id == "clipped"), "{:?}", reading.warnings);
        assert_eq!(named(&reading).contains(&"lossy"), told, "{:?}", reading.warnings);
    }
}

#[test]
fn lost_samples_are_named_and_leave_the_speed_alone() {
    let recipe = recipe("first-look");
    let whole = play(&recipe, HEALTHY, 1);
    let before = read(&whole, &recipe, NoiseReduction::Off);
    // In the steps, in the flutter tone (95 turns and a half of it), and so much that a stretch cannot be measured.
    let cases = [(12.0, 0.1, Some(100)), (36.0, 0.03023, None), (12.0, 2.0, Some(2000))];
    for (at_s, lost_s, named_ms) in effort::some(cases, 3) {
        let mut samples = InMemory::clone(&whole);
        let from = (at_s * 48_000.0) as usize;
        for channel in &mut samples.channels {
            channel.drain(from..from + (lost_s * 48_000.0) as usize);
        }
        let reading = read(&samples, &recipe, NoiseReduction::Off);
        assert_eq!(named(&reading), ["time-jump"], "{at_s}: {:?}", reading.warnings);
        let text = text(&reading, "time-jump");
        if let Some(ms) = named_ms {
            let near = (ms - 6..=ms + 6).any(|ms| text.contains(&format!("about {ms} ms are missing")));
            assert!(near, "{text}");
        }
        let speed = |reading: &Reading| reading.speed.as_ref().unwrap().error_percent;
        // What is left of the programme is shorter: wow that has not come full circle counts more.
        assert!((speed(&reading) - speed(&before)).abs() < 0.02, "{} {}", speed(&reading), speed(&before));
        for row in &reading.level {
            let was = before.level.iter().find(|level| level.part == row.part).unwrap();
            let moved = row.gain_db[0].unwrap() - was.gain_db[0].unwrap();
            assert!(moved.abs() < 0.1, "{}: {moved}", row.part);
        }
    }
}

#[test]
fn a_tape_that_stops_inside_the_flutter_tone_is_named_and_read_while_it_runs() {
    if effort::left_to_ci() {
        return;
    }
    let recipe = recipe("first-look");
    let whole = play(&recipe, HEALTHY, 1);
    let before = read(&whole, &recipe, NoiseReduction::Off).flutter.clone().unwrap();
    let mut samples = InMemory::clone(&whole);
    for channel in &mut samples.channels {
        // Nothing but the sound card's hiss after 42 s.
        let mut state = 9u32;
        for x in &mut channel[42 * 48_000..] {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *x = 2e-5 * (f64::from(state) / f64::from(u32::MAX) - 0.5);
        }
    }
    let reading = read(&samples, &recipe, NoiseReduction::Off);
    assert!(text(&reading, "tape-not-running").contains("and 4"), "{:?}", reading.warnings);
    assert_eq!(named(&reading), Vec::<&str>::new(), "{:?}", reading.warnings);
    // The sound card's hiss is not the tape's.
    assert!(reading.noise.is_none());
    let flutter = reading.flutter.as_ref().unwrap();
    assert!((38.0..42.0).contains(&flutter.measured_to_s.seconds()), "{:?}", flutter.measured_to_s);
    // Half as long, a wow of 4 Hz: the rest of the uncertainty is the state of its turn.
    let rms = (flutter.unweighted_rms_percent.unwrap(), before.unweighted_rms_percent.unwrap());
    assert!((rms.0 - rms.1).abs() < 0.003, "{rms:?}");
}

#[test]
fn a_slow_automatic_gain_is_named() {
    if effort::left_to_ci() {
        return;
    }
    let gain = "automatic_gain = { attack_ms = 300, release_s = 12, target_dbfs = -6, most_db = 30 }";
    let reading = with(&recipe("first-look"), HEALTHY, "capture", gain);
    assert!(named(&reading).contains(&"gain-riding"), "{:?}", reading.warnings);
}

#[test]
fn noise_reduction_left_on_while_recording_is_named_where_the_recipe_can_tell() {
    if effort::left_to_ci() {
        return;
    }
    let text_of = "
name = 'pink-and-tones'
title = 'x'
purpose = 'x'
reference_hz = 400
[[part]]
kind = 'silence'
length_s = 1.0
serves = 'nothing'
[[part]]
kind = 'slate'
[[part]]
kind = 'tone'
id = 'level-400'
hz = 400
level_db = 0
length_s = 3.0
serves = 'level'
[[part]]
kind = 'steps'
id = 'response'
hz = [400, 500, 630, 800, 1000, 3150, 4000, 5000, 6300, 8000, 10000]
level_db = -20
length_s = 1.2
[[part]]
kind = 'tone'
id = 'flutter'
hz = 3150
level_db = 0
length_s = 8.0
serves = 'flutter'
[[part]]
kind = 'slate'
[[part]]
kind = 'silence'
id = 'noise'
length_s = 5.0
serves = 'noise'
[[part]]
kind = 'noise'
id = 'pink'
colour = 'pink'
seed = 1
level_db = -20
length_s = 6.0
[[part]]
kind = 'slate'
";
    let recipe = Recipe::parse(text_of, "pink-and-tones").unwrap();
    let on = "noise_reduction = { on = \"record-only\" }";
    let reading = with(&recipe, HEALTHY, "electronics", on);
    assert_eq!(named(&reading), ["noise-reduction-on"], "{:?}", reading.warnings);
    assert!(text(&reading, "noise-reduction-on").contains("stronger"));
    // Recorded and played back with it, nothing can be seen, and nothing is said; nor of a tape that saturates.
    let both = with(&recipe, HEALTHY, "electronics", "noise_reduction = { on = \"both\" }");
    assert_eq!(named(&both), Vec::<&str>::new(), "{:?}", both.warnings);
    let overdriven = HEALTHY.replace("k3_percent_at_0db = 0.9", "k3_percent_at_0db = 4");
    let overdriven = read(&play(&recipe, &overdriven, 1), &recipe, NoiseReduction::Off);
    assert_eq!(named(&overdriven), Vec::<&str>::new(), "{:?}", overdriven.warnings);
}
