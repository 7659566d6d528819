//! What goes wrong while a deck is followed: gaps, levels that jump, clipping, silence. It is said, and measuring goes on.

use super::{pictures, returned};
use crate::effort;
use deckproof::assert_within;
use deckproof::internals::capture::InMemory;
use deckproof::internals::follow::{FollowOptions, Follower};
use deckproof::reading::{Picture, Shown, Sound, View};
use std::f64::consts::TAU;

const RATE_HZ: f64 = 48_000.0;

/// A follower that is played to, second by second.
struct Played {
    follower: Follower,
    /// Gain of the right channel.
    right: f64,
    n: u64,
    noise: u64,
    next_s: f64,
    pictures: Vec<Picture>,
}

impl Played {
    fn new(view: View) -> Self {
        let options = FollowOptions { view: Some(view), ..FollowOptions::default() };
        let follower = Follower::new(RATE_HZ, options);
        Self { follower, right: 0.99, n: 0, noise: 1, next_s: 0.0, pictures: Vec::new() }
    }

    /// `seconds` of a tone of 1 kHz of this level, dBFS, with hiss 100 dB down; cut off at `top`.
    fn tone(&mut self, seconds: f64, dbfs: f64, top: f64) -> &mut Self {
        let amplitude = 10f64.powf(dbfs / 20.0);
        self.play(seconds, |t, noise| (amplitude * (TAU * 1000.0 * t).sin() + 1e-5 * noise).clamp(-top, top))
    }

    fn play(&mut self, seconds: f64, sample: impl Fn(f64, f64) -> f64) -> &mut Self {
        let blocks = (seconds * 50.0).round() as usize;
        for _ in 0..blocks {
            let block: Vec<f64> = (0..960)
                .map(|_| {
                    self.noise = self
                        .noise
                        .wrapping_mul(6_364_136_223_846_793_005)
                        .wrapping_add(1_442_695_040_888_963_407);
                    let noise = (self.noise >> 11) as f64 * 2f64.powi(-52) - 1.0;
                    let x = sample(self.n as f64 / RATE_HZ, noise);
                    self.n += 1;
                    x
                })
                .collect();
            let right: Vec<f64> = block.iter().map(|x| self.right * x).collect();
            self.follower.feed([&block, &right]);
            if self.follower.now_s() >= self.next_s {
                self.next_s += 1.0 / 15.0;
                self.pictures.push(self.follower.picture());
            }
        }
        self
    }

    fn last(&self) -> &Picture {
        self.pictures.last().unwrap()
    }

    /// Level of the tone on the last picture, dBFS.
    #[track_caller]
    fn level(&self) -> f64 {
        match &self.last().shown {
            Shown::Level(now) if now.hz.is_some() => now.dbfs[0].unwrap(),
            other => panic!("{other:?}"),
        }
    }
}

#[test]
fn a_level_that_jumps_by_60_db_is_followed_within_a_second() {
    let mut played = Played::new(View::Level);
    for dbfs in [-8.0, -68.0, -8.0, -50.0] {
        played.tone(1.2, dbfs, 1.0);
        assert_within!(played.level(), dbfs, 0.1, "dBFS");
    }
}

#[test]
fn gaps_and_silence_end_a_figure_and_the_tone_brings_it_back() {
    let mut played = Played::new(View::Level);
    played.tone(2.0, -20.0, 1.0).play(1.5, |_, _| 0.0);
    assert_eq!(played.last().playing.sound, Sound::Nothing);
    assert!(
        !matches!(&played.last().shown, Shown::Level(now) if now.hz.is_some()),
        "{:?}",
        played.last().shown
    );
    played.tone(1.5, -20.0, 1.0);
    assert_within!(played.level(), -20.0, 0.02, "dBFS");
    // Gaps of 5 ms, ten a second, as a recorder leaves them: the level between them is still read.
    played.play(3.0, |t, noise| {
        if (t * 10.0).fract() < 0.05 { 0.0 } else { 0.1 * (TAU * 1000.0 * t).sin() + 1e-5 * noise }
    });
    assert_within!(played.level(), -20.0, 1.0, "dBFS");
}

#[test]
fn clipping_is_said_and_forgotten_when_it_is_over() {
    let mut played = Played::new(View::Level);
    played.tone(2.0, 6.0, 0.9);
    assert_eq!(played.last().meters.clipped, [true; 2]);
    assert!(played.last().troubles[0].contains("Clipped on both channels"), "{:?}", played.last().troubles);
    played.tone(4.0, -12.0, 1.0);
    assert_eq!(played.last().meters.clipped, [false; 2]);
    assert!(played.last().troubles.is_empty(), "{:?}", played.last().troubles);
    assert_within!(played.level(), -12.0, 0.02, "dBFS");
}

#[test]
fn one_signal_on_both_channels_tells_nothing_between_them() {
    for view in [View::Azimuth, View::Level] {
        let mut played = Played::new(view);
        played.right = 1.0;
        played.tone(3.0, -12.0, 1.0);
        let picture = played.last();
        assert!(picture.meters.one_signal && picture.figure.is_none(), "{picture:?}");
        match &picture.shown {
            Shown::Nothing { why } => assert!(why.contains("one signal") && view == View::Azimuth, "{why}"),
            Shown::Level(now) => assert!(now.difference_db.is_none() && now.dbfs[0].is_some(), "{now:?}"),
            other => panic!("{other:?}"),
        }
        played.right = 0.99;
        played.tone(3.0, -12.0, 1.0);
        assert!(!played.last().meters.one_signal && played.last().figure.is_some());
    }
}

#[test]
fn a_wrong_rate_is_said_and_the_right_one_taken() {
    if effort::left_to_ci() {
        return;
    }
    let right = returned("turn-speed", "turned-azimuth", 7);
    let wrong = InMemory { rate_hz: 44_100.0, channels: right.channels.clone() };
    let [right, wrong] = [&right, &wrong].map(|source| pictures(source, Some(View::Speed)));
    let said = "The rate is not 44100 Hz: the slate fits 48000 Hz";
    assert!(wrong.iter().flat_map(|picture| &picture.troubles).any(|trouble| trouble.starts_with(said)));
    let last = |pictures: &[Picture]| {
        let told = pictures.iter().rev().find_map(|picture| match &picture.shown {
            Shown::Speed(now) => now.error_1s_percent,
            _ => None,
        });
        told.unwrap()
    };
    assert_within!(last(&wrong), last(&right), 0.03, "%");
}

#[test]
fn a_tone_that_lasts_is_no_tone_in_turn() {
    let mut played = Played::new(View::Level);
    for _ in 0..3 {
        for hz in [1000.0, 2500.0] {
            played.play(1.0, |t, noise| 0.1 * (TAU * hz * t).sin() + 1e-4 * noise);
        }
    }
    assert_eq!(played.last().playing.sound, Sound::InTurn);
    played.play(8.0, |t, noise| 0.1 * (TAU * 2500.0 * t).sin() + 1e-4 * noise);
    assert_eq!(played.last().playing.sound, Sound::Tone);
}

#[test]
fn hum_alone_is_measured_where_nothing_louder_was_ever_heard() {
    let hum =
        |t: f64, noise: f64| 0.004 * (TAU * 50.0 * t).sin() + 0.001 * (TAU * 150.0 * t).sin() + 5e-4 * noise;
    let mut played = Played::new(View::Noise);
    played.play(5.0, hum);
    let Shown::Noise(now) = &played.last().shown else { panic!("{:?}", played.last().shown) };
    // 0 dBFS is a sine of full scale.
    assert_within!(now.hum_db[0].unwrap(), 10.0 * (0.004f64.powi(2) + 0.001f64.powi(2)).log10(), 0.1, "dBFS");
    assert_eq!(now.unit().word(), "dBFS");
}

#[test]
fn every_view_makes_pictures_of_anything() {
    for view in View::ALL {
        let mut played = Played::new(view);
        played
            .play(0.7, |_, _| 0.0)
            .play(1.0, |_, noise| 0.3 * noise)
            .tone(1.0, -20.0, 1.0)
            // One direction only, the largest there is, and single pulses.
            .play(0.5, |_, _| 0.99)
            .play(0.5, |_, _| 1000.0)
            .play(0.5, |t, _| f64::from(u8::from((t * 100.0).fract() < 0.001)))
            .play(0.5, |t, _| (TAU * 23_900.0 * t).sin())
            .tone(1.0, -40.0, 1.0);
        assert!(played.pictures.len() > 80);
        for picture in &played.pictures {
            assert!(serde_json::to_string(picture).is_ok());
            assert!(picture.at_s.is_finite());
        }
    }
}
