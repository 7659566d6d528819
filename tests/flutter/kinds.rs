//! Every kind of figure on tones known by formula, with its uncertainty.

use crate::synth::{HISS_DB, Played, smooth_noise, target};
use deckproof::assert_within;
use deckproof::reading::Flutter;
use deckproof::trade::flutter_weighting;
use rayon::prelude::*;

fn rms(lines: &[(f64, f64, f64)], pick: impl Fn(f64) -> f64) -> f64 {
    lines.iter().map(|(hz, percent, _)| (percent * pick(*hz)).powi(2) / 2.0).sum::<f64>().sqrt()
}

fn gain(hz: f64) -> f64 {
    10f64.powf(flutter_weighting::response_db(hz) / 20.0)
}

#[test]
fn a_carrier_six_percent_off_reads_the_same() {
    let lines = [(0.9, 0.08, 0.0), (7.3, 0.06, 1.0), (61.0, 0.03, 2.0)];
    for (carrier_hz, off_percent, told) in [
        (3150.0, 6.0, true),
        (3150.0, -6.0, true),
        (3000.0, 6.0, true),
        (3000.0, -6.0, false),
        (3150.0, 6.0, false),
    ] {
        let played = Played { carrier_hz, off_percent, lines: &lines, ..Played::default() };
        // Not told: the meter waits at the nominal frequency.
        let found = if told { played.read() } else { played.read_expecting(carrier_hz) };
        for (kind, got, want) in [
            ("unweighted", found.unweighted_rms_percent, rms(&lines, |_| 1.0)),
            ("weighted", found.weighted_rms_percent, rms(&lines, gain)),
            ("wow", found.wow_rms_percent, rms(&lines[..1], |_| 1.0)),
            ("flutter", found.flutter_rms_percent, rms(&lines[1..], |_| 1.0)),
        ] {
            assert_within!(got.unwrap(), want, target(want), "%", "{kind} {carrier_hz} {off_percent} {told}");
        }
    }
}

#[test]
fn drift_is_stated_and_is_no_flutter() {
    let played =
        Played { course: &|t| 0.1 + 0.3 * t / 60.0, lines: &[(4.0, 0.05, 0.0)], ..Played::default() };
    let found = played.read();
    assert_within!(found.drift_percent_per_min.unwrap(), 0.3, 0.002, "% per minute");
    assert_within!(found.wow_rms_percent.unwrap(), 0.05 / 2f64.sqrt(), 0.001, "%");
}

#[test]
fn stretches_and_their_spread_follow_a_flutter_that_changes() {
    // 4 Hz that grows evenly from 0.02 to 0.08 %.
    let course = |t: f64| (0.02 + 0.06 * t / 33.0) * (std::f64::consts::TAU * 4.0 * t).sin();
    let found = Played { course: &course, ..Played::default() }.read();
    assert_eq!(found.stretches.len(), 6);
    for stretch in &found.stretches {
        assert_within!(stretch.to_s - stretch.from_s, 5.0, 0.01, "s");
        let middle_s = (stretch.from_s + stretch.to_s) / 2.0;
        let want = (0.02 + 0.06 * middle_s / 33.0) / 2f64.sqrt();
        assert_within!(
            stretch.figures.weighted_rms_percent.unwrap(),
            want,
            target(want),
            "%",
            "{middle_s} s"
        );
    }
    let spread = found.spread.unwrap();
    let (first, last) = (&found.stretches[0].figures, &found.stretches[5].figures);
    assert_eq!(spread.lowest.weighted_rms_percent, first.weighted_rms_percent);
    assert_eq!(spread.highest.two_sigma_percent, last.two_sigma_percent);
    assert!(spread.median.weighted_quasi_peak_percent > first.weighted_quasi_peak_percent);
}

#[test]
fn a_short_tone_has_no_two_sigma_and_no_stretches() {
    let short = Played { seconds: 4.0, lines: &[(4.0, 0.1, 0.0)], ..Played::default() }.read();
    assert_eq!((short.two_sigma_percent, short.stretches.len(), short.spread), (None, 0, None));
    assert_within!(short.weighted_rms_percent.unwrap(), 0.0707, 0.003, "%");
}

/// Every figure of `found` beside the same of `want` and the stated uncertainty.
fn rows(found: &Flutter, want: &Flutter) -> [(&'static str, f64, f64, f64); 7] {
    let u = found.uncertainties;
    let row = |kind, pick: fn(&Flutter) -> Option<f64>, u: Option<f64>| {
        (kind, pick(found).unwrap(), pick(want).unwrap(), u.unwrap())
    };
    [
        row("quasi-peak", |f| f.weighted_quasi_peak_percent, u.weighted_quasi_peak_percent),
        row("weighted rms", |f| f.weighted_rms_percent, u.weighted_rms_percent),
        row("2-sigma", |f| f.two_sigma_percent, u.two_sigma_percent),
        row("peak", |f| f.unweighted_peak_percent, u.unweighted_peak_percent),
        row("rms", |f| f.unweighted_rms_percent, u.unweighted_rms_percent),
        row("wow", |f| f.wow_rms_percent, u.wow_rms_percent),
        row("flutter", |f| f.flutter_rms_percent, u.flutter_rms_percent),
    ]
}

/// In 60 trials the truth (the same speed without hiss) lies within the stated uncertainty at least nine times in ten, and
/// the uncertainty is no more than 3 times as wide as needed for 95 of 100 - or below a tenth of the target.
#[test]
fn uncertainties_are_true_in_repeated_trials() {
    for (rms, hiss_db) in [(0.05, HISS_DB), (0.1, -40.0), (0.02, -40.0), (0.0, -45.0)] {
        let trials: Vec<[(&str, f64, f64, f64); 7]> = (0..60u64)
            .into_par_iter()
            .map(|seed| {
                let noise = smooth_noise(rms, 0.3, 150.0, 13.0, 100 + seed);
                let course = |t: f64| noise[(t * 1000.0) as usize];
                let mut played =
                    Played { rate_hz: 8000.0, seconds: 13.0, course: &course, seed, ..Played::default() };
                played.hiss_db = [-140.0; 2];
                let want = played.read();
                played.hiss_db = [hiss_db; 2];
                rows(&played.read(), &want)
            })
            .collect();
        for k in 0..7 {
            let mut errors: Vec<f64> = trials.iter().map(|t| (t[k].1 - t[k].2).abs()).collect();
            let stated = trials.iter().map(|t| t[k].3).sum::<f64>() / trials.len() as f64;
            let held = trials.iter().filter(|t| (t[k].1 - t[k].2).abs() <= t[k].3).count();
            errors.sort_by(f64::total_cmp);
            let needed = errors[errors.len() * 95 / 100];
            println!(
                "{rms} {hiss_db} {}: held {held}/60, stated {stated:.5}, needed {needed:.5}, worst {:.5}, value {:.5}",
                trials[0][k].0,
                errors[errors.len() - 1],
                trials[0][k].2
            );
            assert!(held >= 54, "{} at {rms} %, {hiss_db} dB: only {held} of 60 held", trials[0][k].0);
            let small = target(trials[0][k].2) / 10.0;
            assert!(
                stated <= (3.0 * needed).max(2.0 * small),
                "{} at {rms} %, {hiss_db} dB: {stated} stated, {needed} needed",
                trials[0][k].0
            );
        }
    }
}
