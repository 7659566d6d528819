//! Figures: third harmonic against level, output against input.

use super::axes::{Axis, Frame};
use super::svg::Stroke;
use super::{Plot, RINGS, judged_of, reads};
use crate::judge::Reading;
use crate::reading::figures::frequency;
use crate::reading::{Distortion, Saturation, SaturationStep};

type Points = Vec<(f64, f64)>;

const CHANNELS: [(Stroke, &str, &str); 2] = [(Stroke::Left, "left", "L"), (Stroke::Right, "right", "R")];

/// Lowest and highest of the levels, dB.
fn ends(points: &[Points]) -> Option<(f64, f64)> {
    let all = || points.iter().flatten().map(|point| point.0);
    let (low, high) = (all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max));
    (high > low).then_some((low, high))
}

/// Percent from `low` to `high`, logarithmic, marked 1-2-5.
fn percent_axis(low: f64, high: f64) -> Axis {
    let mut ticks = Vec::new();
    for decade in -4..3 {
        for step in [1.0, 2.0, 5.0] {
            let percent = step * 10f64.powi(decade);
            if percent >= 0.999 * low && percent <= 1.001 * high {
                // As many decimals as it needs, no more.
                ticks.push((percent, format!("{}", (percent * 1e4).round() / 1e4)));
            }
        }
    }
    Axis { label: "third harmonic, %".to_owned(), low, high, log: true, ticks }
}

/// Third harmonic against level, with the line at 3 %.
pub(super) fn distortion(reading: &Reading, distortion: &Distortion) -> Option<Plot> {
    let lines = [0, 1].map(|side| -> Points {
        distortion
            .steps
            .iter()
            .filter(|step| step.hz == distortion.k3_3percent_hz)
            .filter_map(|step| {
                Some((step.programme_db, step.k3_percent[side].filter(|k| k.is_finite() && *k > 0.0)?))
            })
            .collect()
    });
    let (low_db, high_db) = ends(&lines)?;
    let all = || lines.iter().flatten().map(|point| point.1);
    // Whole decades hold the line at 3 %.
    let low = 10f64.powf(all().fold(1.0, f64::min).max(1e-3).log10().floor());
    let high = 10f64.powf(all().fold(3.0, f64::max).min(100.0).log10().ceil());
    // The step that was judged is the one with the finding's value.
    let judged: Vec<_> = (0..2)
        .flat_map(|side| judged_of(reading, "distortion", side).map(move |found| (side, found)))
        .filter_map(|(side, (finding, value))| {
            let at = lines[side].iter().find(|point| point.1 == value)?;
            Some((*at, reads(finding)))
        })
        .collect();
    let caption = format!(
        "Third harmonic of {} against level: left solid with discs, right dashed with squares. Dots: 3 %.{}",
        frequency(distortion.k3_3percent_hz),
        if judged.is_empty() { "" } else { RINGS }
    );
    let mut frame = Frame::new(
        &caption,
        Axis::linear("level in the programme, dB", low_db, high_db, true),
        percent_axis(low, high),
    );
    frame.line(&[(low_db, 3.0), (high_db, 3.0)], Stroke::Limit, "3 %");
    for (points, (stroke, name, _)) in lines.iter().zip(CHANNELS) {
        frame.line(points, stroke, name);
        frame.marks(points, stroke);
    }
    for (at, reads) in judged {
        frame.ring(at, &reads);
    }
    Some(Plot { name: "distortion", caption, svg: frame.finish() })
}

/// Output against input of every ladder.
pub(super) fn saturation(saturation: &Saturation) -> Option<Plot> {
    let ladders: Vec<(f64, &[SaturationStep])> = saturation
        .hz
        .map(|hz| (hz, saturation.steps.as_slice()))
        .into_iter()
        .chain(saturation.others.iter().map(|other| (other.hz, other.steps.as_slice())))
        .collect();
    let lines: Vec<(f64, [Points; 2])> = ladders
        .into_iter()
        .map(|(hz, steps)| {
            let line = |side: usize| {
                let gain = |step: &SaturationStep| step.gain_db[side].filter(|db| db.is_finite());
                steps
                    .iter()
                    .filter_map(|step| Some((step.programme_db, step.programme_db + gain(step)?)))
                    .collect()
            };
            (hz, [line(0), line(1)])
        })
        .collect();
    let flat: Vec<Points> = lines.iter().flat_map(|(_, pair)| pair.clone()).collect();
    let (low_db, high_db) = ends(&flat)?;
    let all = || flat.iter().flatten().map(|point| point.1);
    let (bottom, top) = (all().fold(f64::INFINITY, f64::min), all().fold(high_db.min(0.0), f64::max));
    let caption = "Output against input of high tones, with the gain of each lowest step: left solid with discs, right \
                   dashed with squares. Long dashes: no compression."
        .to_owned();
    let mut frame = Frame::new(
        &caption,
        Axis::linear("input: level in the programme, dB", low_db, high_db, true),
        Axis::linear("output, dB", bottom.max(-60.0), top.max(bottom + 1.0), true),
    );
    frame.line(&[(low_db, low_db), (top.min(high_db), top.min(high_db))], Stroke::Fit, "");
    for (hz, pair) in &lines {
        for (points, (stroke, _, short)) in pair.iter().zip(CHANNELS) {
            frame.line(points, stroke, &format!("{} {short}", frequency(*hz)));
            frame.marks(points, stroke);
        }
    }
    Some(Plot { name: "saturation", caption, svg: frame.finish() })
}
