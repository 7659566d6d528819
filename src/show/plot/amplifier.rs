//! Figure: the deviation of the injected playback amplifier from its curve.

use super::axes::{Axis, Frame};
use super::svg::Stroke;
use super::{Plot, Points};
use crate::reading::{Amplifier, AmplifierPosition};
use crate::show::tables::amplifier::name;

/// Deviation from the curve in every position.
pub(super) fn amplifier(amplifier: &Amplifier) -> Option<Plot> {
    let points = |position: &AmplifierPosition, side: usize| -> Vec<(f64, f64)> {
        let told = position.steps.iter();
        told.filter_map(|step| Some((step.hz, step.db[side].filter(|db| db.is_finite())?))).collect()
    };
    let lines: Vec<(String, [Points; 2])> = amplifier
        .positions
        .iter()
        .map(|position| (name(position), [points(position, 0), points(position, 1)]))
        .collect();
    let all = || lines.iter().flat_map(|line| line.1.iter().flatten().map(|point| point.1));
    all().next()?;
    let (low, high) = (all().fold(-1.0, f64::min).max(-30.0), all().fold(1.0, f64::max).min(30.0));
    let caption = "Deviation of the playback amplifier from the curve in each position: left solid with discs, right dashed \
                   with squares. A right amplifier runs along 0 dB."
        .to_owned();
    let mut frame = Frame::new(
        &caption,
        Axis::frequency("frequency, Hz", 20.0, 20_000.0),
        Axis::linear("deviation from the curve, dB", low - 0.2, high + 0.2, true),
    );
    for (name, sides) in &lines {
        let short = name.replace(" us", "");
        for ((points, stroke), letter) in sides.iter().zip([Stroke::Left, Stroke::Right]).zip(["L", "R"]) {
            frame.line(points, stroke, &format!("{short} us {letter}"));
            frame.marks(points, stroke);
        }
    }
    Some(Plot { name: "amplifier", caption, svg: frame.finish() })
}
