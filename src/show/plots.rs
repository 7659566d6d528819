//! The figures of a reading.

use super::axes::{Axis, Frame};
use super::nonlinear_plots;
use super::svg::{Anchor, Stroke};
use crate::judge::{Limits, ResponseLimit, frequency, signed};
use crate::reading::{Azimuth, Flutter, FlutterLine, Reading, Response, ResponsePoint};

/// Deepest response drawn, dB: what lies lower runs along the edge.
const DEEPEST_DB: f64 = -30.0;
/// Width of a character in a figure, about.
const CHARACTER: f64 = 7.2;

/// Names of all figures that there are.
pub const FIGURES: [&str; 10] = [
    "response",
    "channel-difference",
    "phase",
    "flutter",
    "distortion",
    "saturation",
    "bias-sweep",
    "bias-sweep-distortion",
    "noise-reduction",
    "amplifier",
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
    figures.extend(super::amplifier::figure(reading));
    figures.extend(reading.azimuth.as_ref().and_then(phase_figure));
    figures.extend(reading.flutter.as_ref().and_then(flutter_figure));
    figures.extend(reading.distortion.as_ref().and_then(nonlinear_plots::distortion));
    figures.extend(reading.saturation.as_ref().and_then(nonlinear_plots::saturation));
    figures.extend(super::rounds_plots::rounds(reading));
    figures
}

type Points = Vec<(f64, f64)>;

fn channel(rows: &[ResponsePoint], side: usize) -> Points {
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

fn hertz_axis() -> Axis {
    Axis::frequency("frequency, Hz", 20.0, 20_000.0)
}

/// What stands behind the lines: the sweep, or noise, or the steps themselves; and the word for it.
fn continuous(response: &Response) -> (&'static str, &[ResponsePoint]) {
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
        "Response against {}: left solid with discs, right dashed with squares. Lines: {word}. Marks: stepped tones.{}",
        frequency(response.reference_hz),
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
    Some(Figure { name: FIGURES[0], caption, svg: frame.finish() })
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
        "Gain of left minus gain of right. Line: {word}. Marks: stepped tones.{}",
        if limit.is_some() { " Dots: limit." } else { "" }
    );
    let mut frame = Frame::new(&caption, hertz_axis(), Axis::linear("left minus right, dB", low, high, true));
    if let (Some(limit), Some(band)) = (limit, band) {
        limit_lines(&mut frame, band.from_hz, band.to_hz, limit);
    }
    frame.line(&line, Stroke::Single, "L \u{2212} R");
    frame.marks(&marks, Stroke::Single);
    Some(Figure { name: FIGURES[1], caption, svg: frame.finish() })
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
    Some(Figure { name: FIGURES[2], caption, svg: frame.finish() })
}

fn flutter_figure(flutter: &Flutter) -> Option<Figure> {
    let [low_hz, _, high_hz] = flutter.band_hz;
    let points: Points = flutter
        .spectrum
        .iter()
        .map(|&[hz, percent]| (hz, percent))
        .filter(|&(hz, percent)| hz > 0.0 && hz >= low_hz && hz <= high_hz && percent.is_finite())
        .collect();
    let top = points.iter().map(|point| point.1).fold(0.0, f64::max);
    if points.len() < 2 || top <= 0.0 || low_hz <= 0.0 || high_hz <= low_hz {
        return None;
    }
    let caption = format!(
        "Flutter spectrum of the {} tone, {} to {}, not weighted: 0.1 Hz apart up to 20 Hz, 1 Hz above. Named: the strongest \
         lines with their peak deviation.",
        frequency(flutter.carrier_hz),
        frequency(low_hz),
        frequency(high_hz)
    );
    let mut frame = Frame::new(
        &caption,
        Axis::frequency("rate, Hz", low_hz, high_hz),
        // Room above the peaks for their names.
        Axis::linear("deviation, % rms", 0.0, top * 1.25, false),
    );
    frame.line(&points, Stroke::Single, "");
    let mut taken: Vec<(f64, f64, f64)> = Vec::new();
    // Names of lines that cannot be seen would only cover those that can.
    let strongest = flutter.lines.iter().map(|line| line.percent_peak).fold(0.0, f64::max);
    let worth_naming = |line: &&FlutterLine| {
        line.hz >= low_hz && line.hz <= high_hz && line.percent_peak >= 0.05 * strongest
    };
    for line in flutter.lines.iter().filter(worth_naming).take(8) {
        let part = line
            .part
            .as_deref()
            .filter(|_| !line.could_be)
            .map(|part| format!(" {part}"))
            .unwrap_or_default();
        let text = format!("{}{part}, {:.3} %", frequency(line.hz), line.percent_peak);
        let height = points
            .iter()
            .filter(|point| (point.0 / line.hz).ln().abs() < 0.12)
            .map(|point| point.1)
            .fold(0.0, f64::max);
        let at = frame.at(line.hz, height);
        let (place, anchor) = free_place(at, text.chars().count() as f64 * CHARACTER, &mut taken);
        frame.note(place, anchor, &text);
    }
    Some(Figure { name: FIGURES[3], caption, svg: frame.finish() })
}

/// Place above the peak that no earlier label covers; `taken` holds left end, right end and baseline of each.
fn free_place((x, y): (f64, f64), width: f64, taken: &mut Vec<(f64, f64, f64)>) -> ((f64, f64), Anchor) {
    let half = width / 2.0;
    // Kept inside the frame.
    let (left, anchor, at) = if x - half < 76.0 {
        (x, Anchor::Start, x)
    } else if x + half > 750.0 {
        (x - width, Anchor::End, x)
    } else {
        (x - half, Anchor::Middle, x)
    };
    let mut baseline = (y - 7.0).max(28.0);
    let hit = |baseline: f64, taken: &[(f64, f64, f64)]| {
        taken.iter().any(|&(l, r, b)| left < r + 4.0 && left + width > l - 4.0 && (baseline - b).abs() < 15.0)
    };
    let start = baseline;
    while hit(baseline, taken) && baseline > 28.0 {
        baseline -= 4.0;
    }
    if hit(baseline, taken) {
        baseline = start;
        while hit(baseline, taken) {
            baseline += 4.0;
        }
    }
    taken.push((left, left + width, baseline));
    ((at, baseline), anchor)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn faulty() -> Reading {
        serde_json::from_str(include_str!("../../tests/readings/faulty.json")).unwrap()
    }

    #[test]
    fn every_figure_is_xml_with_a_title_units_and_the_same_bytes_each_time() {
        let limits = Limits::good_deck();
        let mut reading = faulty();
        reading.flutter.as_mut().unwrap().lines[0].part = Some("belt <\"&'> \u{1b}".to_owned());
        let figures = plots(&reading, Some(&limits));
        let names: Vec<&str> = figures.iter().map(|figure| figure.name).collect();
        assert_eq!(names, ["response", "channel-difference", "phase", "flutter", "distortion", "saturation"]);
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
    fn labels_of_near_lines_do_not_cover_each_other() {
        let mut taken = Vec::new();
        for k in 0..8 {
            free_place((300.0 + k as f64, 40.0), 150.0, &mut taken);
        }
        for (i, a) in taken.iter().enumerate() {
            for b in &taken[i + 1..] {
                assert!((a.2 - b.2).abs() >= 15.0 || a.1 < b.0 || b.1 < a.0, "{a:?} {b:?}");
            }
        }
    }

    #[test]
    fn broken_numbers_draw_nothing_and_do_not_panic() {
        let mut reading = faulty();
        for row in &mut reading.response.as_mut().unwrap().steps {
            row.db = [Some(f64::NAN), None];
            row.difference_db = None;
        }
        reading.response.as_mut().unwrap().sweep.clear();
        reading.flutter.as_mut().unwrap().spectrum = vec![[0.0, f64::NAN]];
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
