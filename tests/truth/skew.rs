//! Azimuth from sound that is like speech and music, played by virtual decks with a known angle.
//!
//! The sounds are made here; none is a recording. What is true comes from the deck's description.

use crate::effort;
use deckproof::internals::capture::InMemory;
use deckproof::internals::deck::{DeckFile, VirtualDeck};
use deckproof::internals::job::{Recording, SkewOptions, skew_tapes};
use deckproof::reading::{SkewContent, SkewTape, SkewVerdict};
use std::f64::consts::TAU;

const RATE_HZ: f64 = 44_100.0;

/// Numbers between -1 and 1.
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 * 2f64.powi(-52) - 1.0
    }
}

/// Something between speech and music: notes of 0.2 s with harmonics that glide, hissing consonants, pauses.
fn voice(length_s: f64, seed: u64) -> Vec<f64> {
    let mut random = Random(seed);
    let frames = (length_s * RATE_HZ) as usize;
    let note = (0.2 * RATE_HZ) as usize;
    let mut out = Vec::with_capacity(frames);
    let mut last = 0.0;
    while out.len() < frames {
        let (kind, hz, glide) = (random.next(), 180.0 * 2f64.powf(1.2 * random.next()), 0.1 * random.next());
        let loud = 0.05 * 4f64.powf(random.next());
        for n in 0..note {
            let t = n as f64 / RATE_HZ;
            let fade = (TAU / 2.0 * n as f64 / note as f64).sin();
            let noise = random.next();
            let consonant = noise - 0.9 * last;
            last = noise;
            let phase = TAU * hz * (t + glide * t * t);
            let harmonics = || (1..30).map(|k| (f64::from(k) * phase).sin() / f64::from(k)).sum::<f64>();
            out.push(match kind {
                k if k < -0.6 => 0.0,
                k if k < 0.0 => loud * fade * consonant,
                _ => loud * fade * harmonics(),
            });
        }
    }
    out.truncate(frames);
    out
}

fn deck(angle_arcmin: f64, hiss_db: f64, more: &str) -> DeckFile {
    let text = format!(
        "[speed]\nflutter = [{{ hz = 4.1, percent_peak = 0.1 }}]\nrandom = {{ percent_rms = 0.05 }}\n[head]\n\
         spacing_um = 0.3\ngap_um = 1.4\n[tape]\nhiss = {{ db = {hiss_db} }}\nmodulation_noise = {{ db = -48 }}\n[azimuth]\n\
         angle_arcmin = {angle_arcmin}\n{more}"
    );
    DeckFile::from_toml(&text, "test").unwrap()
}

/// What `skew` says of `sound` after the deck, and the true delay, us.
fn played(sound: [Vec<f64>; 2], deck: &DeckFile, seed: u64) -> (SkewTape, f64) {
    let virtual_deck = VirtualDeck::new(deck, seed, RATE_HZ).unwrap();
    let truth_us = virtual_deck.truth().delay_us();
    (said(virtual_deck.play_all(&sound)), truth_us)
}

fn said(channels: [Vec<f64>; 2]) -> SkewTape {
    let samples = InMemory { rate_hz: RATE_HZ, channels };
    let reading =
        skew_tapes(&[Recording::Samples(&samples, "a tape")], &SkewOptions::default(), &mut |_| {}).unwrap();
    let [tape] = &reading.tapes[..] else { panic!("one tape") };
    tape.clone()
}

/// The target: within 0.5 us, and inside the stated uncertainty.
#[track_caller]
fn assert_true(tape: &SkewTape, truth_us: f64, target_us: f64) {
    let delay_us = tape.delay_us.unwrap_or_else(|| panic!("cannot tell: {}", tape.why));
    let uncertainty_us = tape.uncertainty_us.unwrap();
    eprintln!("{delay_us:.2} +- {uncertainty_us:.2} us, true {truth_us:.2} us, {:?}", tape.content);
    deckproof::assert_within!(delay_us, truth_us, target_us, "us", "{tape:?}");
    assert!(
        (delay_us - truth_us).abs() <= uncertainty_us,
        "{delay_us} +- {uncertainty_us} us, true {truth_us}"
    );
}

#[test]
fn mono_on_both_tracks_is_read_within_half_a_microsecond() {
    let sound = voice(30.0, 1);
    for (seed, angle, hiss_db, more) in [
        (1, 0.0, -52.0, ""),
        (2, 3.0, -46.0, ""),
        (3, -15.0, -52.0, ""),
        (4, 8.0, -55.0, "random_wander = { arcmin_rms = 0.2 }"),
    ] {
        let (tape, truth_us) = played([sound.clone(), sound.clone()], &deck(angle, hiss_db, more), seed);
        assert_eq!(tape.content, SkewContent::Mono, "{angle}'");
        assert!(tape.uncertainty_us.unwrap() < 1.5 && !tape.opposed, "{tape:?}");
        assert_true(&tape, truth_us, 0.5);
    }
}

#[test]
fn a_dull_channel_is_not_taken_for_tilt() {
    if effort::left_to_ci() {
        return;
    }
    let sound = voice(30.0, 5);
    let dull = "[playback]\nsections = [{ kind = \"low-pass1\", hz = 11000, channel = \"right\" }]";
    let (tape, truth_us) = played([sound.clone(), sound], &deck(2.0, -52.0, dull), 6);
    eprintln!("{:?} +- {:?} us, true {truth_us}", tape.delay_us, tape.uncertainty_us);
    // By its phase alone the low-pass would be read as some 13 us, sure to a fraction of one. Where the band is too narrow to
    // tell it from a delay, that must show.
    let inside = |delay_us: f64| (delay_us - truth_us).abs() <= tape.uncertainty_us.unwrap_or(0.0);
    assert!(tape.delay_us.is_none_or(inside), "{tape:?}, true {truth_us} us");
}

#[test]
fn opposite_polarity_is_said_and_undone() {
    let sound = voice(30.0, 2);
    let (tape, truth_us) =
        played([sound.clone(), sound], &deck(-4.0, -50.0, "[electronics]\ninverted = [\"right\"]"), 3);
    assert!(tape.opposed && tape.warnings.iter().any(|warning| warning.id == "inverted"));
    assert_true(&tape, truth_us, 0.5);
}

#[test]
fn a_voice_between_wide_instruments_is_read_with_the_production_in_its_uncertainty() {
    if effort::left_to_ci() {
        return;
    }
    let (middle, left, right) = (voice(40.0, 1), voice(40.0, 2), voice(40.0, 3));
    let mix = |own: Vec<f64>| middle.iter().zip(own).map(|(m, own)| m + 0.4 * own).collect::<Vec<f64>>();
    let (tape, truth_us) = played([mix(left), mix(right)], &deck(5.0, -52.0, ""), 4);
    assert_eq!(tape.content, SkewContent::PartlyCommon);
    assert!(tape.uncertainty_us.unwrap() > 15.0);
    assert_true(&tape, truth_us, 1.0);
}

#[test]
fn a_production_that_delays_a_channel_does_not_leave_the_interval() {
    if effort::left_to_ci() {
        return;
    }
    // Half a sample of delay in all that is common, as converters that take turns make it: 11.3 us.
    let (middle, left, right) = (voice(40.0, 1), voice(40.0, 2), voice(40.0, 3));
    let late: Vec<f64> =
        std::iter::once(0.0).chain(middle.windows(2).map(|pair| (pair[0] + pair[1]) / 2.0)).collect();
    let mix = |common: &[f64], own: Vec<f64>| {
        common.iter().zip(own).map(|(m, own)| m + 0.4 * own).collect::<Vec<_>>()
    };
    let (tape, truth_us) = played([mix(&middle, left), mix(&late, right)], &deck(0.0, -52.0, ""), 5);
    assert_true(&tape, truth_us, 16.0);
    assert!(tape.delay_us.unwrap() > 8.0, "the delay is there: {tape:?}");
}

#[test]
fn wide_and_foreign_channels_cannot_tell() {
    if effort::left_to_ci() {
        return;
    }
    let (tape, _) = played([voice(30.0, 1), voice(30.0, 2)], &deck(5.0, -52.0, ""), 1);
    assert_eq!((tape.verdict, tape.content), (SkewVerdict::CannotTell, SkewContent::Wide), "{tape:?}");
    assert_eq!((tape.delay_us, tape.uncertainty_us, tape.angle_arcmin), (None, None, None));
    // Each of many sources has a delay of its own.
    let mut channels = [vec![0.0; 30 * 44_100], vec![0.0; 30 * 44_100]];
    for (k, samples_late) in [0usize, 5, 11, 2, 17, 8].into_iter().enumerate() {
        let source = voice(30.0, 20 + k as u64);
        let [early, late] = if k % 2 == 0 { [0, 1] } else { [1, 0] };
        for n in samples_late..source.len() {
            channels[early][n] += 0.4 * source[n];
            channels[late][n] += 0.4 * source[n - samples_late];
        }
    }
    let (tape, _) = played(channels, &deck(0.0, -52.0, ""), 2);
    assert_eq!(tape.verdict, SkewVerdict::CannotTell, "{tape:?}");
}

#[test]
fn one_track_doubled_cannot_tell() {
    if effort::left_to_ci() {
        return;
    }
    let sound = voice(30.0, 1);
    let virtual_deck = VirtualDeck::new(&deck(5.0, -52.0, ""), 1, RATE_HZ).unwrap();
    let [left, _] = virtual_deck.play_all(&[sound.clone(), sound]);
    let tape = said([left.clone(), left.clone()]);
    assert_eq!((tape.verdict, tape.content), (SkewVerdict::CannotTell, SkewContent::OneTrackDoubled));
    // Through two converters, each with noise of its own 30 dB below the tape's hiss, one weaker by 1 dB.
    let mut random = Random(9);
    let mut noisy = |gain: f64| left.iter().map(|x| gain * x + 2e-5 * random.next()).collect::<Vec<f64>>();
    let tape = said([noisy(1.0), noisy(0.89)]);
    assert_eq!(
        (tape.verdict, tape.content),
        (SkewVerdict::CannotTell, SkewContent::OneTrackDoubled),
        "{tape:?}"
    );
}

#[test]
fn wander_along_the_tape_is_seen() {
    if effort::left_to_ci() {
        return;
    }
    let sound = voice(90.0, 1);
    let wandering = "wander = { hz = 0.025, arcmin_peak = 1 }";
    let (tape, truth_us) = played([sound.clone(), sound], &deck(2.0, -52.0, wandering), 1);
    // 1 minute of arc is 5.5 us; rms of the sine 3.9 us, some 3 % less over stretches of 5 s; 90 s are 2.25 periods.
    deckproof::assert_within!(tape.wander_us_rms.unwrap(), 3.8, 0.6, "us");
    let (low, high) = tape.along.iter().fold((f64::MAX, f64::MIN), |ends, stretch| {
        (ends.0.min(stretch.delay_us), ends.1.max(stretch.delay_us))
    });
    assert!(high - low > 8.0, "{low} to {high} us");
    assert!((tape.delay_us.unwrap() - truth_us).abs() < 3.0);
}

#[test]
fn silence_shortness_and_a_dead_channel_are_said() {
    let sound = voice(30.0, 1);
    let content = |channels| said(channels).content;
    assert_eq!(content([vec![0.0; 1_323_000], vec![0.0; 1_323_000]]), SkewContent::Silence);
    assert_eq!(content([sound[..300_000].to_vec(), sound[..300_000].to_vec()]), SkewContent::TooShort);
    assert_eq!(content([Vec::new(), Vec::new()]), SkewContent::TooShort);
    assert_eq!(content([sound.clone(), vec![1e-6; sound.len()]]), SkewContent::OneChannel);
    let broken: Vec<f64> = sound.iter().map(|_| f64::NAN).collect();
    assert_eq!(said([sound, broken]).verdict, SkewVerdict::CannotTell);
}
