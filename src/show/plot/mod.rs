//! The figures of a reading, as SVG.

mod amplifier;
mod axes;
mod causes;
mod flutter;
mod noise;
mod nonlinear;
mod response;
mod room;
mod rounds;
mod svg;

pub(super) use response::{owners_response, response_change};
pub(super) use svg::escaped;

use crate::judge::Limits;
use crate::judge::Reading;
use crate::reading::figures::frequency;
use crate::reading::{Channel, Finding, Response, ResponsePoint, Verdict};
use crate::show::tables::findings::value;
use axes::Axis;

/// Deepest response drawn, dB: what lies lower runs along the edge.
const DEEPEST_DB: f64 = -30.0;

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
pub struct Plot {
    /// File name without its ending, such as `response`.
    pub name: &'static str,
    /// What it shows, in a sentence.
    pub caption: String,
    /// The picture, one SVG element.
    pub svg: String,
}

/// Those of [`FIGURES`] that the reading can fill, in their order.
///
/// With `limits` the response, the channel difference and the phase have what the limits allow shaded. A ring stands where a
/// finding is judged. Left is drawn solid with discs, right
/// dashed with open squares. The same reading gives the same bytes.
pub fn plots(reading: &Reading, limits: Option<&Limits>) -> Vec<Plot> {
    let mut figures = Vec::new();
    if let Some(response) = &reading.response {
        figures.extend(response::response(reading, response, limits));
        figures.extend(response::difference(reading, response, limits));
    }
    figures.extend(causes::causes(reading));
    figures.extend(reading.amplifier.as_ref().and_then(amplifier::amplifier));
    figures.extend(reading.azimuth.as_ref().and_then(|azimuth| response::phase(reading, azimuth, limits)));
    figures.extend(reading.flutter.as_ref().and_then(flutter::course));
    figures.extend(reading.flutter.as_ref().and_then(flutter::spectrum));
    figures.extend(reading.noise.as_ref().and_then(|found| noise::noise(reading, found)));
    figures.extend(reading.distortion.as_ref().and_then(|found| nonlinear::distortion(reading, found)));
    figures.extend(reading.saturation.as_ref().and_then(nonlinear::saturation));
    figures.extend(rounds::rounds(reading));
    figures
}

type Points = Vec<(f64, f64)>;

fn channel(rows: &[ResponsePoint], side: usize) -> Points {
    rows.iter().filter_map(|row| Some((row.hz, row.db[side].filter(|db| db.is_finite())?))).collect()
}

/// Of the captions of figures with a ring.
const RINGS: &str = " Ring: where a finding is judged.";

/// Findings of this name that have a verdict, each with its value.
fn judged<'a>(reading: &'a Reading, id: &'a str) -> impl Iterator<Item = (&'a Finding, f64)> {
    let ours = move |finding: &&Finding| finding.id == id && finding.verdict != Verdict::CannotTell;
    reading.findings.iter().filter(ours).filter_map(|finding| Some((finding, finding.value?)))
}

/// The same of one channel: 0 left, 1 right.
fn judged_of<'a>(reading: &'a Reading, id: &'a str, side: usize) -> impl Iterator<Item = (&'a Finding, f64)> {
    judged(reading, id).filter(move |(finding, _)| finding.channel == Some(Channel::SIDES[side]))
}

/// `L -3.4 dB at 15 kHz`: what a finding reads, without its uncertainty.
fn reads(finding: &Finding) -> String {
    let side = match finding.channel {
        Some(Channel::Left) => "L ",
        Some(Channel::Right) => "R ",
        _ => "",
    };
    let figure = value(&Finding { uncertainty: None, ..finding.clone() }).unwrap_or_default();
    let at = finding.at_hz.map(|hz| format!(" at {}", frequency(hz))).unwrap_or_default();
    format!("{side}{figure}{at}")
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{Key, Tolerance};
    use crate::reading::FileClock;
    use crate::show::tests::sample;
    use crate::show::words;

    #[test]
    fn every_figure_is_xml_with_a_title_units_and_the_same_bytes_each_time() {
        let limits = Limits::full_size();
        let mut reading = sample("faulty");
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

    /// Centres of all of a class, or corners.
    fn places(svg: &str, class: &str) -> Vec<Vec<(f64, f64)>> {
        let document = roxmltree::Document::parse(svg).unwrap();
        let ours = document.descendants().filter(|node| node.attribute("class") == Some(class));
        let number = |text: &str| text.parse::<f64>().unwrap();
        let places = ours.map(|node| match (node.attribute("points"), node.attribute("cx")) {
            (Some(points), _) => {
                let pairs = points.split(' ').map(|point| point.split_once(',').unwrap());
                pairs.map(|(x, y)| (number(x), number(y))).collect()
            }
            (None, Some(x)) => vec![(number(x), number(node.attribute("cy").unwrap()))],
            _ => vec![],
        });
        places.collect()
    }

    #[test]
    fn what_limits_allow_is_shaded_and_the_phase_of_the_limit_is_its_edge() {
        let reading = sample("faulty");
        let mut limits = Limits::full_size();
        // As far off as the deck is: the edge of the shade runs along the fitted delay.
        let delay_us = reading.azimuth.as_ref().unwrap().delay_us.unwrap();
        let basis = String::new();
        limits.set(Key::AzimuthPhase, Tolerance { value: 3.6 * delay_us, basis });
        let figures = plots(&reading, Some(&limits));
        let of = |name: &str| figures.iter().find(|figure| figure.name == name).unwrap();
        let shades = |name: &str| places(&of(name).svg, "area limit");
        // The bass apart from the rest.
        assert_eq!(["response", "channel-difference", "phase"].map(|name| shades(name).len()), [2, 1, 1]);
        assert!(
            ["response", "channel-difference", "phase"]
                .iter()
                .all(|name| of(name).caption.contains("Shaded"))
        );
        let fit = &places(&of("phase").svg, "fit")[0];
        let wedge = &shades("phase")[0];
        assert_eq!((wedge[0], wedge[2]), (fit[0], fit[1]));
        // In the middle of the shade lies what nothing deviates from.
        let (low, high) = (wedge[2].1, wedge[1].1);
        assert!((0.5 * (low + high) - wedge[0].1).abs() < 0.11, "{wedge:?}");
        assert!(plots(&reading, None).iter().all(|figure| !figure.svg.contains("area limit")));
    }

    #[test]
    fn a_ring_stands_on_the_curve_where_its_finding_is_judged() {
        let reading = sample("faulty");
        let svg = &plots(&reading, None)[0].svg;
        let marks = places(svg, "left dot").concat();
        let rings = places(svg, "ring").concat();
        let judged: Vec<_> = judged(&reading, "playback-response").collect();
        assert!(judged.len() == 4 && rings.len() == 4, "{rings:?}");
        let on_left = rings
            .iter()
            .filter(|ring| marks.iter().any(|mark| (mark.0 - ring.0).hypot(mark.1 - ring.1) < 3.0));
        assert!(on_left.count() >= 2, "{rings:?} {marks:?}");
        assert!(svg.contains(&format!(">{}<", words::with_signs(&reads(judged[0].0)))), "{svg}");
        let rings = |name: &str| {
            let figure = plots(&reading, None).into_iter().find(|figure| figure.name == name).unwrap();
            assert_eq!(figure.caption.contains("Ring"), figure.svg.contains("class=\"ring\""), "{name}");
            places(&figure.svg, "ring").len()
        };
        // Both channels' hum is strongest at one frequency.
        assert_eq!(["channel-difference", "phase", "noise"].map(rings), [1, 1, 1]);
        let mut untold = reading.clone();
        untold.findings.iter_mut().for_each(|finding| finding.verdict = Verdict::CannotTell);
        assert!(!plots(&untold, None)[0].svg.contains("class=\"ring\""));
    }

    #[test]
    fn left_and_right_are_told_apart_without_colour() {
        let figures = plots(&sample("faulty"), None);
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
        let mut reading = sample("faulty");
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
