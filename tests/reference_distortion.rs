//! Harmonics and difference tones under flutter against numpy 2.4.6, made by tests/reference/distortion_reference.py, which
//! knows the tape's movement; the meters must follow it.

use crate::{signals, tsv};
use deckproof::assert_within;
use deckproof::internals::measure::{
    DistortionMeter, Meter, PlayedStep, PlayedTwin, TwinToneMeter, distortion, intermodulation,
};
use std::f64::consts::TAU;

const REFERENCE: &str = include_str!("reference/distortion_reference.tsv");
const RATE_HZ: f64 = 48_000.0;
const COUNT: usize = 144_000;

/// Place on the tape at each sample, s, as the head of the script says.
fn tape(flutter: f64) -> impl Iterator<Item = f64> {
    let lines = [(0.8, 0.001, 0.3), (7.0, 0.001, 1.1), (60.0, 0.0005, 2.0)];
    (0..COUNT).map(move |n| {
        let t = n as f64 / RATE_HZ;
        let moved = |(f, a, p): (f64, f64, f64)| flutter * a / (TAU * f) * (TAU * f * t + p).sin();
        t + lines.into_iter().map(moved).sum::<f64>()
    })
}

/// The signal of a row.
fn samples(row: &tsv::Row) -> Vec<f64> {
    let hiss = signals::noise(COUNT, row.number("seed") as u64);
    let [a, b, c, f1, f2] = ["a", "b", "c", "f1_hz", "f2_hz"].map(|head| row.number(head));
    let is_ladder = row.text("signal") == "ladder";
    tape(row.number("flutter"))
        .zip(hiss)
        .map(|(place, hiss)| {
            let t1 = (TAU * f1 * place).cos();
            let clean = if is_ladder {
                let t2 = 2.0 * t1 * t1 - 1.0;
                let t3 = 2.0 * t1 * t2 - t1;
                let t4 = 2.0 * t1 * t3 - t2;
                let t5 = 2.0 * t1 * t4 - t3;
                0.25 * (t1 + a * t2 + b * t3 + c * t5)
            } else {
                let u = 0.15 * t1 + 0.15 * (TAU * f2 * place).cos();
                u + a * u * u - b * u * u * u
            };
            clean + 0.0008 * hiss
        })
        .collect()
}

/// Percent, stated uncertainty.
type Found = (f64, f64);

fn measured(row: &tsv::Row) -> Vec<(&'static str, Found)> {
    let samples = samples(row);
    let [f1, f2] = ["f1_hz", "f2_hz"].map(|head| row.number(head));
    if row.text("signal") == "ladder" {
        let mut meter = DistortionMeter::new(RATE_HZ, f1).unwrap();
        samples.chunks(4999).for_each(|block| meter.feed([block, block]));
        let harmonics = meter.finish().unwrap();
        let step = PlayedStep { part: "x", hz: f1, programme_db: 0.0, harmonics: &harmonics };
        let found = distortion(&[step], [None; 2]).unwrap().steps.remove(0);
        let (k2, k3) = (found.k2_percent[0].unwrap(), found.k3_percent[0].unwrap());
        return vec![
            ("K2", (k2, found.k2_uncertainty_percent[0].unwrap())),
            ("K3", (k3, found.k3_uncertainty_percent[0].unwrap())),
            // Not stated for the fifth; a third harmonic of that size has this one.
            ("K5", (found.k5_percent[0].unwrap(), found.k3_uncertainty_percent[0].unwrap())),
        ];
    }
    let mut meter = TwinToneMeter::new(RATE_HZ, [f1, f2]).unwrap();
    samples.chunks(4999).for_each(|block| meter.feed([block, block]));
    let twin = meter.finish();
    let step = PlayedTwin { part: "x", hz: [f1, f2], programme_db: 0.0, twin: &twin };
    let found = intermodulation(&[step]).unwrap().steps.remove(0);
    vec![
        ("second", (found.second_percent[0].unwrap(), found.second_uncertainty_percent[0].unwrap())),
        ("third", (found.third_percent[0].unwrap(), found.third_uncertainty_percent[0].unwrap())),
    ]
}

#[test]
fn harmonics_and_difference_tones_are_what_numpy_measures() {
    let rows = tsv::rows(REFERENCE, 21);
    signals::assert_same_beginning(&samples(&rows[0]), REFERENCE);
    let mut last: Option<(String, Vec<(&str, Found)>)> = None;
    for row in &rows {
        let signal = format!("{} {}", row.text("signal"), row.text("seed"));
        if last.as_ref().is_none_or(|(of, _)| *of != signal) {
            last = Some((signal, measured(row)));
        }
        let (_, found) = last.as_ref().unwrap();
        let (_, (percent, uncertainty)) =
            found.iter().find(|(quantity, _)| *quantity == row.text("quantity")).unwrap();
        let want = row.number("percent");
        // The target of the design for K3: 5 % of the value. The same noise is in both figures, but not by the same window.
        assert_within!(*percent, want, 0.05 * want, "%", "{row}");
        assert_within!(*percent, row.number("theory"), 1.5 * uncertainty, "%", "stated, {row}");
    }
}
