//! Plot: the noise of a silent part in third octaves, with the components of hum on top.

use super::axes::{Axis, Frame, TOP};
use super::svg::{Anchor, Stroke};
use super::{Plot, hertz_axis};
use crate::reading::Noise;
use crate::reading::figures::UnitKind::LineHertz;

/// From the middle of a third octave to its edge, as a ratio: 10^(1/20) (IEC 61260-1).
const HALF_BAND: f64 = 1.122_018_454_301_963_4;
/// Width of a character in a figure, about.
const CHARACTER: f64 = 7.2;

/// Third octaves of both channels, and hum.
pub(super) fn noise(noise: &Noise) -> Option<Plot> {
    let bands = [0, 1].map(|side| -> Vec<(f64, f64)> {
        let known = noise.bands.iter().filter_map(|band| Some((band.hz, band.db[side]?)));
        known.filter(|point| point.0.is_finite() && point.1.is_finite()).collect()
    });
    let hum: Vec<(f64, f64)> = noise
        .mains
        .iter()
        .flat_map(|mains| &mains.lines)
        .filter_map(|&(hz, left, right)| {
            let both = [left, right].into_iter().flatten().filter(|db| db.is_finite());
            Some((hz, both.reduce(f64::max)?))
        })
        .filter(|point| (20.0..=20_000.0).contains(&point.0))
        .collect();
    let all = || bands.iter().flatten().map(|point| point.1);
    let low = all().reduce(f64::min)?;
    let high = all().chain(hum.iter().map(|line| line.1)).reduce(f64::max)?;
    if bands.iter().all(|points| points.len() < 2) {
        return None;
    }
    let words =
        if hum.is_empty() { "No hum stands out." } else { "Upright: components of hum, the louder channel." };
    let caption = format!(
        "Noise of the silent part in third octaves, against {}: left solid with discs, right dashed with squares. {words}",
        noise.reference
    );
    // Room above for the names of the lines.
    let room = if hum.is_empty() { 0.0 } else { 0.12 * (high - low).max(10.0) };
    let axis = Axis::linear("level re reference, dB", low - 1.0, high + room, true);
    let bottom = axis.low;
    let mut frame = Frame::new(&caption, hertz_axis(), axis);
    for &(hz, db) in &hum {
        frame.line(&[(hz, bottom), (hz, db)], Stroke::Axis, "");
    }
    for (points, (stroke, name)) in bands.iter().zip([(Stroke::Left, "left"), (Stroke::Right, "right")]) {
        frame.line(&steps(points), stroke, name);
        frame.marks(points, stroke);
    }
    name_lines(&mut frame, &hum, &bands, noise.mains.as_ref().and_then(|mains| mains.uncertainty_hz));
    Some(Plot { name: "noise", caption, svg: frame.finish() })
}

/// Each band from its lower to its upper edge, which share the mid-bands' ratio.
fn steps(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    points.iter().flat_map(|&(hz, db)| [(hz / HALF_BAND, db), (hz * HALF_BAND, db)]).collect()
}

/// Frequencies above the components of hum, the loudest first; a line beside which there is no room keeps its place unnamed.
fn name_lines(
    frame: &mut Frame,
    hum: &[(f64, f64)],
    bands: &[Vec<(f64, f64)>; 2],
    uncertainty_hz: Option<f64>,
) {
    let mut loudest = hum.to_vec();
    loudest.sort_by(|a, b| b.1.total_cmp(&a.1));
    // What a name must stay above.
    let drawn: Vec<(f64, f64)> = bands
        .iter()
        .flat_map(|points| steps(points))
        .chain(hum.to_vec())
        .map(|(hz, db)| frame.at(hz, db))
        .collect();
    let mut taken: Vec<(f64, f64, f64)> = Vec::new();
    for (hz, db) in loudest {
        let text = LineHertz.of(hz, uncertainty_hz).to_string();
        let at = frame.at(hz, db);
        let half = 0.5 * CHARACTER * text.chars().count() as f64;
        let (left, right) = (at.0 - half, at.0 + half);
        let near = drawn.iter().filter(|point| point.0 > left - 12.0 && point.0 < right + 12.0);
        let baseline = near.map(|point| point.1).fold(at.1, f64::min) - 7.0;
        let free =
            taken.iter().all(|&(l, r, b)| right + 4.0 < l || left - 4.0 > r || (baseline - b).abs() > 15.0);
        if free && baseline > TOP + 10.0 && left > frame.sides().0 {
            frame.note((at.0, baseline), Anchor::Middle, &text);
            taken.push((left, right, baseline));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::show::tests::sample;

    fn noise_of_sample() -> Noise {
        sample("faulty").noise.clone().unwrap()
    }

    #[test]
    fn hum_is_named_and_a_channel_that_is_missing_is_not_drawn() {
        let mut noise = noise_of_sample();
        let svg = super::noise(&noise).unwrap().svg;
        assert!(svg.contains(">50.02 Hz<") && svg.contains(">right<"), "{svg}");
        for band in &mut noise.bands {
            band.db[1] = None;
        }
        noise.mains = None;
        let svg = super::noise(&noise).unwrap().svg;
        assert!(!svg.contains(">50.02 Hz<") && svg.contains(">left<") && svg.contains("No hum stands out"));
        assert!(!svg.contains("class=\"right\""));
    }

    #[test]
    fn without_bands_there_is_no_figure() {
        let mut noise = noise_of_sample();
        noise.bands.clear();
        assert!(super::noise(&noise).is_none());
    }
}
