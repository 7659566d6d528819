//! What is no flutter and must not read as such; channels that are weak, noisy or dead.

use super::synth::{Gauss, HISS_DB, Played, target};
use crate::effort;
use deckproof::assert_within;
use deckproof::reading::Flutter;
use rayon::prelude::*;
use std::f64::consts::TAU;

/// Every figure there is.
fn figures(found: &Flutter) -> Vec<(&'static str, f64)> {
    [
        ("quasi-peak", found.weighted_quasi_peak_percent),
        ("weighted rms", found.weighted_rms_percent),
        ("2-sigma", found.two_sigma_percent),
        ("peak", found.unweighted_peak_percent),
        ("rms", found.unweighted_rms_percent),
        ("wow", found.wow_rms_percent),
        ("flutter", found.flutter_rms_percent),
    ]
    .into_iter()
    .map(|(kind, value)| (kind, value.unwrap()))
    .collect()
}

/// Gain of dropouts (middle s, length s, depth dB): a flat bottom, raised-cosine edges of a quarter of the length.
fn dropouts(list: &[(f64, f64, f64)], t: f64) -> f64 {
    list.iter()
        .map(|(at, length, db)| {
            let share = (0.5 - ((t - at).abs() - length / 2.0) / (length / 4.0)).clamp(0.0, 1.0);
            1.0 - (1.0 - 10f64.powf(-db / 20.0)) * (0.5 - 0.5 * (std::f64::consts::PI * share).cos())
        })
        .product()
}

fn many_dropouts(depth_db: f64, seed: u64) -> Vec<(f64, f64, f64)> {
    let mut gauss = Gauss::new(900 + seed);
    (0..24)
        .map(|k| (1.0 + 1.3 * f64::from(k) + gauss.uniform(), 0.01 + 0.04 * gauss.uniform(), depth_db))
        .collect()
}

/// Rates of amplitude modulation; all of them with 6 dB, each further depth with one.
const AM_HZ: [f64; 4] = [1.0, 4.0, 10.0, 30.0];

#[test]
fn dropouts_and_amplitude_modulation_do_not_read_as_flutter() {
    if effort::left_to_ci() {
        return;
    }
    let mut cases = Vec::new();
    for (k, depth_db) in [6.0, 12.0, 20.0, 40.0].into_iter().enumerate() {
        for am_hz in AM_HZ.into_iter().skip(k).take(if k == 0 { 4 } else { 1 }) {
            for (both, hiss_db) in [(true, -100.0), (true, HISS_DB), (false, HISS_DB)] {
                cases.push((depth_db, am_hz, both, hiss_db));
            }
        }
    }
    effort::some(cases.iter().enumerate(), 3).into_par_iter().for_each(
        |(seed, &(depth_db, am_hz, both, hiss_db))| {
            let lists = [0, 1].map(|side| many_dropouts(depth_db, if both { 0 } else { side }));
            let gain =
                |side: usize, t: f64| (1.0 + 0.1 * (TAU * am_hz * t).sin()) * dropouts(&lists[side], t);
            let played = Played {
                rate_hz: 8000.0,
                gain: &gain,
                hiss_db: [hiss_db; 2],
                seed: seed as u64,
                ..Played::default()
            };
            let found = played.read();
            for (kind, percent) in figures(&found) {
                assert_within!(
                    percent,
                    0.0,
                    0.003,
                    "%",
                    "{kind}: {depth_db} dB, {am_hz} Hz, both {both}, hiss {hiss_db} dB"
                );
            }
            assert!(found.lines.is_empty(), "{:?}", found.lines);
        },
    );
}

#[test]
fn real_flutter_under_dropouts_and_amplitude_modulation_is_right() {
    if effort::left_to_ci() {
        return;
    }
    let lines = [(0.9, 0.05, 0.0), (9.3, 0.05, 1.0)];
    for depth_db in [6.0, 20.0, 60.0] {
        let lists = [0, 1].map(|_| many_dropouts(depth_db, 3));
        let gain = |side: usize, t: f64| (1.0 + 0.1 * (TAU * 4.0 * t).sin()) * dropouts(&lists[side], t);
        let found = Played { rate_hz: 8000.0, gain: &gain, lines: &lines, ..Played::default() }.read();
        let want = 0.05;
        assert_within!(found.unweighted_rms_percent.unwrap(), want, target(want), "%", "{depth_db} dB");
        assert_within!(found.unweighted_peak_percent.unwrap(), 0.1, 0.003, "%", "{depth_db} dB");
        for line in lines {
            let near = found.lines.iter().find(|found| (found.hz - line.0).abs() < 0.05);
            assert_within!(near.unwrap().percent_peak, 0.05, 0.003, "%", "{depth_db} dB");
        }
    }
}

#[test]
fn the_better_channel_makes_the_reading() {
    if effort::left_to_ci() {
        return;
    }
    let lines = [(4.0, 0.02, 0.0)];
    // Gain of the right channel and its hiss re the full tone, dB.
    let cases = [
        ("alike", 1.0, HISS_DB, 0.5),
        ("weak", 0.1, HISS_DB, 0.01),
        ("noisy", 1.0, -20.0, 0.001),
        ("dead", 0.0, HISS_DB, 0.0),
        ("dead and silent", 0.0, -300.0, 0.0),
    ];
    for (name, gain, hiss_db, share) in cases {
        for bad in [0, 1] {
            let mut hiss = [HISS_DB; 2];
            hiss[bad] = hiss_db;
            let level = |side: usize, _: f64| if side == bad { gain } else { 1.0 };
            let found =
                Played { rate_hz: 8000.0, gain: &level, lines: &lines, hiss_db: hiss, ..Played::default() }
                    .read();
            let got = found.channel_shares.unwrap()[bad];
            assert!((got - share).abs() < 0.1 * share + 0.002, "{name}: share {got}, expected about {share}");
            for (kind, want) in [
                ("quasi-peak", 0.02),
                ("2-sigma", 0.02),
                ("weighted rms", 0.0141),
                ("rms", 0.0141),
                ("peak", 0.02),
            ] {
                let got = figures(&found).into_iter().find(|figure| figure.0 == kind).unwrap().1;
                assert_within!(got, want, 0.003, "%", "{kind}, {name} {bad}");
            }
        }
    }
}

#[test]
fn one_channel_that_is_lost_for_half_the_tone_is_replaced_by_the_other() {
    let lines = [(4.0, 0.05, 0.0), (30.0, 0.02, 0.0)];
    let gain = |side: usize, t: f64| if (t < 16.0) == (side == 0) { 1.0 } else { 0.003 };
    let found = Played { rate_hz: 8000.0, gain: &gain, lines: &lines, ..Played::default() }.read();
    println!("bridged {:?}", found.bridged_percent);
    assert!(found.bridged_percent.unwrap() < 0.1, "{:?}", found.bridged_percent);
    let want = (0.05f64.hypot(0.02)) / 2f64.sqrt();
    assert_within!(found.unweighted_rms_percent.unwrap(), want, 0.003, "%");
    assert_within!(found.unweighted_peak_percent.unwrap(), 0.07, 0.003, "%");
}
