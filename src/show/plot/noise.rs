//! Plot: the noise of a silent part in third octaves, with the components of hum on top.

use super::axes::{Axis, Frame};
use super::svg::Stroke;
use super::{Plot, RINGS, hertz_axis, judged};
use crate::judge::Reading;
use crate::reading::Noise;
use crate::reading::figures::UnitKind::LineHertz;

/// From the middle of a third octave to its edge, as a ratio: 10^(1/20) (IEC 61260-1).
const HALF_BAND: f64 = 1.122_018_454_301_963_4;

/// Third octaves of both channels, and hum.
pub(super) fn noise(reading: &Reading, noise: &Noise) -> Option<Plot> {
    let bands = [0, 1].map(|side| -> Vec<(f64, f64)> {
        let known = noise.bands.iter().filter_map(|band| Some((band.hz, band.db[side]?)));
        known.filter(|point| point.0.is_finite() && point.1.is_finite()).collect()
    });
    let mut hum: Vec<(f64, f64)> = noise
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
    let is_judged = |hz: f64| judged(reading, "hum").any(|(finding, _)| finding.at_hz == Some(hz));
    let judged: Vec<_> = hum.iter().copied().filter(|line| is_judged(line.0)).collect();
    let caption = format!(
        "Noise of the silent part in third octaves, against {}: left solid with discs, right dashed with squares. {words}{}",
        noise.reference,
        if judged.is_empty() { "" } else { RINGS }
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
    // The loudest first: it keeps its name where there is room for one only.
    hum.sort_by(|a, b| b.1.total_cmp(&a.1));
    let uncertainty_hz = noise.mains.as_ref().and_then(|mains| mains.uncertainty_hz);
    for (hz, db) in hum {
        let name = LineHertz.of(hz, uncertainty_hz).to_string();
        if judged.contains(&(hz, db)) {
            frame.ring((hz, db), &name);
        } else {
            frame.name((hz, db), &name);
        }
    }
    Some(Plot { name: "noise", caption, svg: frame.finish() })
}

/// Each band from its lower to its upper edge, which share the mid-bands' ratio.
fn steps(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    points.iter().flat_map(|&(hz, db)| [(hz / HALF_BAND, db), (hz * HALF_BAND, db)]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::show::plot::room::across;
    use crate::show::tests::sample;

    fn noise_of_sample() -> Noise {
        sample("faulty").noise.clone().unwrap()
    }

    #[test]
    fn hum_is_named_and_a_channel_that_is_missing_is_not_drawn() {
        let mut noise = noise_of_sample();
        let svg = super::noise(&sample("faulty"), &noise).unwrap().svg;
        assert!(svg.contains(">50.02 Hz<") && svg.contains(">right<"), "{svg}");
        for band in &mut noise.bands {
            band.db[1] = None;
        }
        noise.mains = None;
        let svg = super::noise(&sample("faulty"), &noise).unwrap().svg;
        assert!(!svg.contains(">50.02 Hz<") && svg.contains(">left<") && svg.contains("No hum stands out"));
        assert!(!svg.contains("class=\"right\""));
    }

    #[test]
    fn each_name_stands_on_its_own_line_or_points_to_it() {
        let mut noise = noise_of_sample();
        let rates = [50.0, 100.0, 150.0, 200.0, 250.0, 300.0];
        noise.mains.as_mut().unwrap().lines =
            rates.iter().map(|hz| (*hz, Some(-40.0 - 0.1 * hz), None)).collect();
        let svg = super::noise(&sample("faulty"), &noise).unwrap().svg;
        let document = roxmltree::Document::parse(&svg).unwrap();
        let ends = |class: &str| -> Vec<[(f64, f64); 2]> {
            let lines = document.descendants().filter(|node| node.attribute("class") == Some(class));
            let points = lines.filter_map(|line| {
                let number = |text: &str| text.parse::<f64>().unwrap();
                let at = line.attribute("points")?.split(' ').map(|point| point.split_once(',').unwrap());
                let at: Vec<_> = at.map(|(x, y)| (number(x), number(y))).collect();
                (at.len() == 2).then(|| [at[0], at[1]])
            });
            points.collect()
        };
        let (uprights, pointers) = (ends("axis"), ends("thin"));
        assert_eq!(uprights.len(), rates.len());
        let mut named = 0;
        for (hz, [_, tip]) in rates.iter().zip(uprights) {
            let name = format!("{hz:.2} Hz");
            let texts = || document.descendants().filter(|node| node.has_tag_name("text"));
            let Some(text) = texts().find(|node| node.text().is_some_and(|text| text == name)) else {
                continue;
            };
            let number = |name: &str| text.attribute(name).unwrap().parse::<f64>().unwrap();
            let (left, baseline) = (number("x"), number("y"));
            let over = left < tip.0 + 0.1 && tip.0 < left + across(&name) + 0.1;
            let on_tip = over && (0.0..25.0).contains(&(tip.1 - baseline));
            let pointed = pointers.iter().flatten().any(|end| (end.0 - tip.0).hypot(end.1 - tip.1) < 10.0);
            assert!(on_tip || pointed, "{name} at {left} {baseline}, its line at {tip:?}");
            named += 1;
        }
        assert!(named >= 3, "{named}\n{svg}");
    }

    #[test]
    fn without_bands_there_is_no_figure() {
        let mut noise = noise_of_sample();
        noise.bands.clear();
        assert!(super::noise(&sample("faulty"), &noise).is_none());
    }
}
