//! What is followed live is what `read` says of the same return, within its uncertainty: one code, asked at another time.

mod card;
mod survives;
mod turned;
mod uneven;

use crate::effort;
use crate::returns::{Store, of};
use deckproof::assert_within;
use deckproof::internals::capture::InMemory;
use deckproof::internals::deck::{DeckFile, EXAMPLES};
use deckproof::internals::follow::{FollowOptions, Follower};
use deckproof::internals::programme::find;
use deckproof::reading::{
    AzimuthNow, BiasNow, Circumstances, LevelNow, NoiseNow, Picture, RecordedOn, ResponseNow, Shown,
    SpeedNow, View,
};
use deckproof::{ReadOptions, Reading, read_samples};
use std::f64::consts::TAU;
use std::sync::Arc;

/// Feeds a whole return in blocks of 20 ms and takes 15 pictures a second.
fn pictures(source: &InMemory, view: Option<View>) -> Vec<Picture> {
    followed(source, FollowOptions { view, ..FollowOptions::default() })
}

fn followed(source: &InMemory, options: FollowOptions) -> Vec<Picture> {
    let mut follower = Follower::new(source.rate_hz, options);
    let block = (0.02 * source.rate_hz) as usize;
    let mut pictures = Vec::new();
    let mut next_s = 0.0;
    for (left, right) in source.channels[0].chunks(block).zip(source.channels[1].chunks(block)) {
        follower.feed([left, right]);
        // Its time begins anew where the rate was wrong.
        next_s = f64::min(next_s, follower.now_s() + 1.0 / 15.0);
        if follower.now_s() >= next_s {
            next_s += 1.0 / 15.0;
            pictures.push(follower.picture());
        }
    }
    pictures
}

fn deck(name: &str) -> DeckFile {
    let text = EXAMPLES.iter().find(|(deck, _)| *deck == name).unwrap().1;
    DeckFile::from_toml(text, name).unwrap()
}

fn returned(recipe: &str, name: &str, seed: u64) -> Arc<InMemory> {
    of(&find(recipe).unwrap(), &deck(name), seed, 48_000, Store::TwentyFour)
}

fn read(source: &InMemory) -> Reading {
    let circumstances =
        Circumstances { recorded_on: Some(RecordedOn::Calibrated), ..Circumstances::default() };
    let options = ReadOptions { circumstances, ..ReadOptions::default() };
    read_samples(&InMemory { rate_hz: source.rate_hz, channels: source.channels.clone() }, "x", &options)
        .unwrap()
}

/// Pictures taken while the part `id` played.
fn during<'a>(pictures: &'a [Picture], id: &'a str) -> impl Iterator<Item = &'a Picture> {
    pictures
        .iter()
        .filter(move |picture| picture.playing.programme.as_ref().is_some_and(|place| place.part == id))
}

fn mean(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    let values: Vec<f64> = values.into_iter().collect();
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

fn near(hz: f64, other: f64) -> bool {
    (hz / other - 1.0).abs() < 0.04
}

/// Decks that differ: a tape of another deck, worn, tilted, humming.
const DECKS: [&str; 3] = ["rehearsal", "tilted-head", "worn-portable"];

#[test]
fn level_of_a_part_is_that_of_the_reading() {
    if effort::left_to_ci() {
        return;
    }
    for (seed, name) in effort::some(DECKS.into_iter().enumerate(), 3) {
        let source = returned("playback", name, 700 + seed as u64);
        let (pictures, reading) = (pictures(&source, Some(View::Level)), read(&source));
        let mut compared = 0;
        for row in &reading.level {
            let followed: Vec<&LevelNow> = during(&pictures, &row.part)
                .filter_map(|picture| match &picture.shown {
                    Shown::Level(now) if now.hz.is_some_and(|hz| near(hz, row.hz)) => Some(now),
                    _ => None,
                })
                .collect();
            for side in 0..2 {
                let Some(want) = row.return_dbfs[side] else { continue };
                let Some(got) = mean(followed.iter().filter_map(|now| now.dbfs[side])) else {
                    panic!("{name} {}: nothing was followed", row.part)
                };
                assert_within!(got, want, row.uncertainty_db.max(0.02), "dB", "{name} {} {side}", row.part);
                compared += 1;
            }
        }
        assert!(compared >= 2, "{name}: {compared}");
    }
}

#[test]
fn phase_of_a_part_is_that_of_the_reading() {
    if effort::left_to_ci() {
        return;
    }
    for (seed, name) in effort::some(DECKS.into_iter().enumerate(), 3) {
        let source = returned("playback", name, 700 + seed as u64);
        let (pictures, reading) = (pictures(&source, Some(View::Azimuth)), read(&source));
        let azimuth = reading.azimuth.as_ref().unwrap();
        let mut compared = 0;
        // What sounded twice stands twice, and nobody says which is which.
        let once = |hz: f64| azimuth.phase.iter().filter(|point| near(point.hz, hz)).count() == 1;
        for point in azimuth.phase.iter().filter(|point| point.hz > 3000.0 && once(point.hz)) {
            // The tone of the ladder; others of its frequency are another stretch of the tape.
            let id = format!("response-{}", point.hz);
            let followed: Vec<&AzimuthNow> = during(&pictures, &id)
                .filter_map(|picture| match &picture.shown {
                    Shown::Azimuth(now) if now.hz.is_some_and(|hz| near(hz, point.hz)) => Some(now),
                    _ => None,
                })
                .collect();
            if followed.is_empty() {
                continue;
            }
            // Round the circle.
            let off = |deg: f64| (deg - point.deg + 180.0).rem_euclid(360.0) - 180.0;
            let got = mean(followed.iter().filter_map(|now| now.phase_deg).map(off)).unwrap();
            // Half a degree: the tones of one frequency are not the same stretch of tape.
            let within = (point.spread_deg / 2.0).max(0.5);
            assert_within!(got, 0.0, within, "degrees", "{name} {} Hz", point.hz);
            compared += 1;
        }
        assert!(compared >= 3, "{name}: {compared}");
        if let Some(delay_us) = azimuth.delay_us {
            let told: Vec<f64> = pictures
                .iter()
                .filter_map(|picture| match &picture.shown {
                    Shown::Azimuth(now) if now.hz.is_some_and(|hz| near(hz, 10_000.0)) => {
                        now.at_10k_deg.and(now.delay_us)
                    }
                    _ => None,
                })
                .collect();
            let got = mean(told.iter().copied()).unwrap_or_else(|| panic!("{name}: the turn was never told"));
            // Responses that differ between the channels are told apart by the reading only.
            assert_within!(got, delay_us, 4.0, "us", "{name}");
        }
    }
}

#[test]
fn speed_and_flutter_of_a_part_are_those_of_the_reading() {
    if effort::left_to_ci() {
        return;
    }
    for (seed, name) in effort::some(["rehearsal", "slipping-idler"].into_iter().enumerate(), 2) {
        let source = returned("playback", name, 710 + seed as u64);
        let (pictures, reading) = (pictures(&source, Some(View::Speed)), read(&source));
        let flutter = reading.flutter.as_ref().unwrap();
        let followed: Vec<&SpeedNow> = pictures
            .iter()
            .filter(|p| {
                p.at_s > flutter.measured_from_s.seconds() && p.at_s < flutter.measured_to_s.seconds() + 1.0
            })
            .filter_map(|picture| match &picture.shown {
                Shown::Speed(now) => Some(now),
                _ => None,
            })
            .collect();
        let speed = reading.speed.as_ref().unwrap();
        let got = mean(followed.iter().filter_map(|now| now.error_1s_percent)).unwrap();
        assert!(followed.iter().all(|now| now.nominal_is_known));
        assert_within!(got, speed.error_percent, speed.uncertainty_percent.max(0.02), "%", "{name}");
        let last = followed.iter().rev().find_map(|now| now.flutter.as_ref()).unwrap();
        let within = |figure: f64| (0.06 * figure).max(0.006);
        let want = flutter.weighted_rms_percent.unwrap();
        assert_within!(last.weighted_rms_percent.unwrap(), want, within(want), "%", "{name} weighted rms");
        let want = flutter.weighted_quasi_peak_percent.unwrap();
        assert_within!(
            last.weighted_quasi_peak_percent.unwrap(),
            want,
            2.0 * within(want),
            "%",
            "{name} quasi-peak"
        );
    }
}

#[test]
fn flutter_of_a_tone_that_is_not_3150_hz_is_followed_as_far_as_it_shows_it() {
    for (hz, to_hz) in effort::some([(315.0, Some(78.0)), (1000.0, Some(200.0)), (10_000.0, None)], 3) {
        // 0.1 % peak at 4 Hz, where the weighting is 1.
        let sample = |n: usize| {
            let t = n as f64 / 48_000.0;
            0.2 * (TAU * hz * t - hz * 0.001 / 4.0 * (TAU * 4.0 * t).cos()).sin()
        };
        let tone: Vec<f64> = (0..12 * 48_000).map(sample).collect();
        let source = InMemory { rate_hz: 48_000.0, channels: [tone.clone(), tone] };
        let pictures = pictures(&source, Some(View::Speed));
        let Some(Picture { shown: Shown::Speed(now), .. }) = pictures.last() else { panic!("{hz} Hz") };
        let flutter = now.flutter.as_ref();
        assert_eq!(flutter.map(|flutter| flutter.to_hz), to_hz, "{hz} Hz");
        if let Some(flutter) = flutter {
            assert_within!(flutter.weighted_rms_percent.unwrap(), 0.0707, 0.003, "%", "{hz} Hz");
            assert_within!(flutter.needle_percent.unwrap(), 0.1, 0.005, "%", "{hz} Hz");
        }
    }
}

#[test]
fn high_against_low_in_rounds_is_that_of_the_reading() {
    if effort::left_to_ci() {
        return;
    }
    let source = returned("record-trim", "trimmed-record", 720);
    let (pictures, reading) = (pictures(&source, Some(View::Bias)), read(&source));
    let mut compared = 0;
    for pair in &reading.bias {
        // While the last tone of the round sounded.
        let id = format!("high-15k-round-{}", pair.round);
        let followed: Vec<&BiasNow> = during(&pictures, &id)
            .filter(|picture| picture.playing.programme.as_ref().is_some_and(|place| place.left_s < 0.6))
            .filter_map(|picture| match &picture.shown {
                Shown::Bias(now) => Some(now),
                _ => None,
            })
            .collect();
        for side in 0..2 {
            let Some(want) = pair.difference_db[side] else { continue };
            let rows =
                followed.iter().filter_map(|now| now.high.iter().find(|high| near(high.hz, pair.high_hz)));
            let Some(got) = mean(rows.filter_map(|high| high.difference_db[side])) else {
                panic!("round {}: nothing was followed", pair.round)
            };
            let within = pair.uncertainty_db[side].unwrap().max(0.1);
            assert_within!(got, want, within, "dB", "round {} {} Hz {side}", pair.round, pair.high_hz);
            compared += 1;
        }
    }
    assert!(compared > 60, "{compared}");
}

#[test]
fn response_by_noise_sweep_and_steps_is_that_of_the_reading() {
    if effort::left_to_ci() {
        return;
    }
    let source = returned("noise", "rehearsal", 730);
    let (pictures, reading) = (pictures(&source, Some(View::Response)), read(&source));
    let response = reading.response.as_ref().unwrap();
    let part = "pink-low";
    let ends_s = during(&pictures, part).last().unwrap().at_s;
    let shown: Vec<(&Picture, &ResponseNow)> = pictures
        .iter()
        .filter_map(|picture| match &picture.shown {
            Shown::Response(now) => Some((picture, now)),
            _ => None,
        })
        .collect();
    // What the meter said once the part was over; until then it is followed by and by.
    let read = |(picture, now): &&(&Picture, &ResponseNow)| {
        picture.at_s > ends_s && now.over_s == 0.0 && now.points.len() > 20
    };
    let last = shown.iter().find(read).unwrap().1;
    let mut compared = 0;
    for want in response.noise.iter().filter(|want| want.hz < 16_500.0 && want.hz > 39.0) {
        let Some(got) = last.points.iter().find(|point| (point.hz / want.hz).ln().abs() < 0.03) else {
            continue;
        };
        for side in 0..2 {
            let (Some(got), Some(want_db)) = (got.db[side], want.db[side]) else { continue };
            // Hiss is not subtracted live.
            let within = 2.0 * want.uncertainty_db[side].unwrap_or(0.3).max(0.2);
            assert_within!(got, want_db, within, "dB", "{} Hz {side}", want.hz);
            compared += 1;
        }
    }
    assert!(compared > 40, "{compared}");
    // By and by it comes near to that.
    let growing = shown.iter().rev().find(|(picture, _)| picture.at_s < ends_s - 0.2).unwrap().1;
    assert!(growing.over_s > 3.0, "{}", growing.over_s);
    for want in response.noise.iter().filter(|want| want.hz < 12_600.0 && want.hz > 200.0) {
        let Some(got) = growing.points.iter().find(|point| (point.hz / want.hz).ln().abs() < 0.03) else {
            continue;
        };
        for side in 0..2 {
            // Noise by itself, over some seconds.
            assert_within!(got.db[side].unwrap(), want.db[side].unwrap(), 1.0, "dB", "{} Hz {side}", want.hz);
        }
    }
}

#[test]
fn noise_and_hum_of_a_silence_are_those_of_the_reading() {
    if effort::left_to_ci() {
        return;
    }
    let source = returned("noise", "humming", 740);
    let (pictures, reading) = (pictures(&source, Some(View::Noise)), read(&source));
    let mut compared = 0;
    for row in &reading.noise.as_ref().unwrap().parts {
        let followed: Vec<&NoiseNow> = during(&pictures, &row.part)
            .filter_map(|picture| match &picture.shown {
                Shown::Noise(now) => Some(now),
                _ => None,
            })
            .collect();
        let followed = &followed[followed.len() / 3..];
        for side in 0..2 {
            let (Some(want), Some(got)) =
                (row.a_weighted_db[side], mean(followed.iter().filter_map(|now| now.a_weighted_db[side])))
            else {
                continue;
            };
            let within = row.uncertainty_db[side].unwrap().max(0.3);
            assert_within!(got, want, within, "dB", "{} A-weighted {side}", row.part);
            compared += 1;
            if let (Some(want), Some(got)) =
                (row.hum_db[side], mean(followed.iter().filter_map(|now| now.hum_db[side])))
            {
                assert_within!(got, want, 0.5, "dB", "{} hum {side}", row.part);
            }
        }
    }
    assert!(compared >= 2, "{compared}");
}
