//! The figures of a reading.

use super::axes::{Axis, Frame};
use super::svg::Stroke;
use super::{causes_plots, flutter_plots, noise_plots, nonlinear_plots};
use crate::judge::Reading;
use crate::judge::{Limits, ResponseLimit, frequency, signed};
use crate::reading::{Azimuth, Response, ResponsePoint};

/// Deepest response drawn, dB: what lies lower runs along the edge.
pub(super) const DEEPEST_DB: f64 = -30.0;

/// Of the captions.
const STEPS: &str = " Marks: stepped tones.";

/// Names of all figures that there are.
pub const FIGURES: [&str; 15] = [
    "response",
    "channel-difference",
    "causes-left",
    "causes-right",
    "amplifier",
    "phase",
    "speed-against-time",
    "flutter",
    "noise",
    "distortion",
    "saturation",
    "rounds",
    "bias-sweep",
    "bias-sweep-distortion",
    "noise-reduction",
];

/// One figure.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// File name without its ending, such as `response`.
    pub name: &'static str,
    /// What it shows, in a sentence.
    pub caption: String,
    /// The picture, one SVG element.
    pub svg: String,
}

/// Those of [`FIGURES`] that the reading can fill, in their order.
///
/// With `limits` the response and the channel difference carry limit lines. Left is drawn solid with discs, right
/// dashed with open squares. The same reading gives the same bytes.
pub fn plots(reading: &Reading, limits: Option<&Limits>) -> Vec<Figure> {
    let mut figures = Vec::new();
    if let Some(response) = &reading.response {
        let band = limits.map(|limits| limits.response(&reading.circumstances));
        figures.extend(response_figure(response, band.as_ref()));
        figures.extend(difference_figure(response, limits, band.as_ref()));
    }
    figures.extend(causes_plots::causes(reading));
    figures.extend(super::amplifier::figure(reading));
    figures.extend(reading.azimuth.as_ref().and_then(phase_figure));
    figures.extend(reading.flutter.as_ref().and_then(flutter_plots::course));
    figures.extend(reading.flutter.as_ref().and_then(flutter_plots::spectrum));
    figures.extend(reading.noise.as_ref().and_then(noise_plots::noise));
    figures.extend(reading.distortion.as_ref().and_then(nonlinear_plots::distortion));
    figures.extend(reading.saturation.as_ref().and_then(nonlinear_plots::saturation));
    figures.extend(super::rounds_plots::rounds(reading));
    figures
}

type Points = Vec<(f64, f64)>;

pub(super) fn channel(rows: &[ResponsePoint], side: usize) -> Points {
    rows.iter().filter_map(|row| Some((row.hz, row.db[side].filter(|db| db.is_finite())?))).collect()
}

fn difference(rows: &[ResponsePoint]) -> Points {
    rows.iter().filter_map(|row| Some((row.hz, row.difference_db.filter(|db| db.is_finite())?))).collect()
}

/// Lowest and highest value, with the limit and a little air.
fn range(sets: &[&Points], least: f64) -> (f64, f64) {
    let values = || sets.iter().flat_map(|points| points.iter().map(|point| point.1));
    let low = values().fold(-least, f64::min).max(DEEPEST_DB);
    let high = values().fold(least, f64::max).min(-DEEPEST_DB);
    (low - 0.3, high + 0.3)
}

pub(super) fn hertz_axis() -> Axis {
    Axis::frequency("frequency, Hz", 20.0, 20_000.0)
}

/// What stands behind the lines: the sweep, or noise, or the steps themselves; and the word for it.
pub(super) fn continuous(response: &Response) -> (&'static str, &[ResponsePoint]) {
    if !response.sweep.is_empty() {
        ("sweep in third octaves", &response.sweep)
    } else if !response.noise.is_empty() {
        ("noise in third octaves", &response.noise)
    } else {
        ("joined for the eye", &response.steps)
    }
}

fn limit_lines(frame: &mut Frame, from_hz: f64, to_hz: f64, db: f64) {
    for limit in [db, -db] {
        frame.line(
            &[(from_hz, limit), (to_hz, limit)],
            Stroke::Limit,
            &format!("limit {}", signed(limit, 1)),
        );
    }
}

fn response_figure(response: &Response, limit: Option<&ResponseLimit>) -> Option<Figure> {
    let (word, rows) = continuous(response);
    let lines = [channel(rows, 0), channel(rows, 1)];
    let marks = [channel(&response.steps, 0), channel(&response.steps, 1)];
    if lines.iter().chain(&marks).all(Vec::is_empty) {
        return None;
    }
    let least = limit.map_or(1.0, |limit| limit.db);
    let (low, high) = range(&[&lines[0], &lines[1], &marks[0], &marks[1]], least);
    let label = format!("response re {}, dB", frequency(response.reference_hz));
    let caption = format!(
        "Response against {}: left solid with discs, right dashed with squares. Lines: {word}.{}{}",
        frequency(response.reference_hz),
        if response.steps.is_empty() { "" } else { STEPS },
        if limit.is_some() { " Dots: limit." } else { "" }
    );
    let mut frame = Frame::new(&caption, hertz_axis(), Axis::linear(&label, low, high, true));
    if let Some(limit) = limit {
        limit_lines(&mut frame, limit.from_hz, limit.to_hz, limit.db);
    }
    for (side, (stroke, name)) in [(Stroke::Left, "left"), (Stroke::Right, "right")].into_iter().enumerate() {
        frame.line(&lines[side], stroke, name);
        frame.marks(&marks[side], stroke);
    }
    Some(Figure { name: "response", caption, svg: frame.finish() })
}

fn difference_figure(
    response: &Response,
    limits: Option<&Limits>,
    band: Option<&ResponseLimit>,
) -> Option<Figure> {
    let (word, rows) = continuous(response);
    let line = difference(rows);
    let marks = difference(&response.steps);
    if line.is_empty() && marks.is_empty() {
        return None;
    }
    let limit = limits.map(|limits| limits.channel_match_db.value);
    let (low, high) = range(&[&line, &marks], limit.unwrap_or(1.0));
    let caption = format!(
        "Gain of left minus gain of right. Line: {word}.{}{}",
        if response.steps.is_empty() { "" } else { STEPS },
        if limit.is_some() { " Dots: limit." } else { "" }
    );
    let mut frame = Frame::new(&caption, hertz_axis(), Axis::linear("left minus right, dB", low, high, true));
    if let (Some(limit), Some(band)) = (limit, band) {
        limit_lines(&mut frame, band.from_hz, band.to_hz, limit);
    }
    frame.line(&line, Stroke::Single, "L \u{2212} R");
    frame.marks(&marks, Stroke::Single);
    Some(Figure { name: "channel-difference", caption, svg: frame.finish() })
}

fn phase_figure(azimuth: &Azimuth) -> Option<Figure> {
    let points: Points = azimuth
        .phase
        .iter()
        .filter(|row| row.hz.is_finite() && row.deg.is_finite())
        .map(|row| (row.hz / 1000.0, row.deg))
        .collect();
    let top_khz = points.iter().map(|point| point.0).fold(f64::NAN, f64::max);
    if points.len() < 2 || !top_khz.is_finite() {
        return None;
    }
    // 1 us turns 1 kHz by 0.36 degrees; the right channel lags, its phase falls.
    let fit = azimuth.delay_us.map(|delay| vec![(0.0, 0.0), (top_khz, -0.36 * top_khz * delay)]);
    let all = || points.iter().chain(fit.iter().flatten()).map(|point| point.1);
    let (low, high) = (all().fold(-10.0, f64::min), all().fold(10.0, f64::max));
    let caption = match azimuth.delay_us {
        Some(delay) => format!(
            "Phase of right minus left. Discs: measured. Long dashes: a pure delay of {} us (positive: right lags).",
            signed(delay, 1)
        ),
        None => "Phase of right minus left. Discs: measured. No delay could be fitted.".to_owned(),
    };
    let mut frame = Frame::new(
        &caption,
        Axis::linear("frequency, kHz", 0.0, top_khz, false),
        Axis::linear("phase right minus left, degrees", low, high, true),
    );
    if let (Some(fit), Some(delay)) = (&fit, azimuth.delay_us) {
        frame.line(fit, Stroke::Fit, &format!("{} us", signed(delay, 1)));
    }
    frame.marks(&points, Stroke::Single);
    Some(Figure { name: "phase", caption, svg: frame.finish() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::FileClock;

    fn faulty() -> Reading {
        serde_json::from_str(include_str!("../../tests/readings/faulty.json")).unwrap()
    }

    #[test]
    fn every_figure_is_xml_with_a_title_units_and_the_same_bytes_each_time() {
        let limits = Limits::full_size();
        let mut reading = faulty();
        reading.flutter.as_mut().unwrap().lines[0].part = Some("belt <\"&'> \u{1b}".to_owned());
        let figures = plots(&reading, Some(&limits));
        let names: Vec<&str> = figures.iter().map(|figure| figure.name).collect();
        assert_eq!(
            names,
            [
                "response",
                "channel-difference",
                "causes-left",
                "causes-right",
                "phase",
                "speed-against-time",
                "flutter",
                "noise",
                "distortion",
                "saturation"
            ]
        );
        assert_eq!(figures, plots(&reading, Some(&limits)));
        for figure in &figures {
            let document = roxmltree::Document::parse(&figure.svg).unwrap();
            let root = document.root_element();
            assert!(root.children().any(|node| node.has_tag_name("title")), "{}", figure.name);
            let texts: Vec<&str> = document.descendants().filter_map(|node| node.text()).collect();
            for unit in ["Hz", "%", "dB", "degrees"].iter().filter(|unit| figure.caption.contains(**unit)) {
                assert!(texts.iter().any(|text| text.contains(unit)), "{} has no {unit}", figure.name);
            }
            assert!(!figure.svg.contains("NaN") && !figure.svg.contains("inf"), "{}", figure.name);
        }
    }

    #[test]
    fn left_and_right_are_told_apart_without_colour() {
        let figures = plots(&faulty(), None);
        let document = roxmltree::Document::parse(&figures[0].svg).unwrap();
        let dashed = |class: &str| {
            document
                .descendants()
                .find(|node| node.has_tag_name("polyline") && node.attribute("class") == Some(class))
                .map(|node| node.has_attribute("stroke-dasharray"))
        };
        assert_eq!((dashed("left"), dashed("right")), (Some(false), Some(true)));
    }

    #[test]
    fn broken_numbers_draw_nothing_and_do_not_panic() {
        let mut reading = faulty();
        for row in &mut reading.response.as_mut().unwrap().steps {
            row.db = [Some(f64::NAN), None];
            row.difference_db = None;
        }
        reading.response.as_mut().unwrap().sweep.clear();
        let flutter = reading.flutter.as_mut().unwrap();
        flutter.spectrum = vec![[0.0, f64::NAN]];
        flutter.speed_against_time.as_mut().unwrap().pieces =
            [(f64::NAN, 0.0, 0.1), (1.0, f64::INFINITY, 0.0)]
                .map(|(at_s, low, high)| (FileClock::default().at(at_s), low, high))
                .to_vec();
        for band in &mut reading.noise.as_mut().unwrap().bands {
            band.db = [Some(f64::NAN), None];
        }
        for cause in &mut reading.causes {
            cause.curve_db = vec![[40.0, f64::NAN], [f64::NAN, 0.0]];
        }
        reading.azimuth.as_mut().unwrap().phase.clear();
        for step in &mut reading.distortion.as_mut().unwrap().steps {
            step.k3_percent = [Some(f64::NAN), None];
        }
        for step in &mut reading.saturation.as_mut().unwrap().steps {
            step.gain_db = [Some(f64::INFINITY), None];
        }
        reading.saturation.as_mut().unwrap().others.clear();
        assert!(plots(&reading, None).is_empty());
    }
}
