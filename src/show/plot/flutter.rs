//! Figures of the transport: the speed's deviation over time, and its spectrum with the lines named.

use super::Plot;
use super::axes::{Axis, Frame, LIST_LINES, LONG_LABEL, TOP, spread_out};
use super::svg::{Anchor, Stroke};
use crate::judge::part_words;
use crate::reading::figures::UnitKind::{LineHertz, Percent};
use crate::reading::figures::{frequency, given};
use crate::reading::{Flutter, FlutterLine};

/// Lines that are named at most.
const MOST_LINES: usize = 10;
/// Lines weaker than this share of the strongest are not named: they cannot be seen.
const LEAST_SHARE: f64 = 0.05;
/// Pieces further apart than this many of their lengths have something else between them.
const MOST_GAP: f64 = 3.0;
/// Least distance of two numbers beside each other.
const NUMBER_STEP: f64 = 24.0;

/// The deviation over time.
pub(super) fn course(flutter: &Flutter) -> Option<Plot> {
    let course = flutter.speed_against_time.as_ref()?;
    let pieces: Vec<[f64; 3]> = course
        .pieces
        .iter()
        .map(|&(at_s, low, high)| [at_s.seconds(), low, high])
        .filter(|piece| piece.iter().all(|value| value.is_finite()))
        .collect();
    // Second by second: what the speed does over the whole file, drift and all.
    let means: Vec<(f64, f64)> =
        flutter.mean_speed.iter().map(|mean| (mean.at_s.seconds(), mean.percent)).collect();
    let (first, last) = (pieces.first()?[0], pieces.last()?[0]);
    let values =
        || pieces.iter().flat_map(|piece| [piece[1], piece[2]]).chain(means.iter().map(|mean| mean.1));
    let (low, high) = (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max));
    if pieces.len() < 3 || high - low < 1e-9 || last <= first {
        return None;
    }
    let [from_hz, to_hz] = course.band_hz.map(frequency);
    let caption = format!(
        "Speed of the {} tone over time, {from_hz} to {to_hz}, not weighted, drift subtracted: from the lowest to the highest in each \
         {} s. Marks: mean of each second, drift and all. Positive is fast.",
        frequency(flutter.carrier_hz),
        given(course.piece_s, 2)
    );
    // The same scale up and down.
    let most = high.max(-low);
    let mut frame = Frame::new(
        &caption,
        Axis::exactly("time in the return, s", first, last),
        Axis::linear("deviation of the speed, %", -most, most, true),
    );
    // Between two stretches of the tone nothing is known.
    for piece in pieces.chunk_by(|a, b| b[0] - a[0] < MOST_GAP * course.piece_s) {
        let there = piece.iter().map(|piece| (piece[0], piece[2]));
        let back = piece.iter().rev().map(|piece| (piece[0], piece[1]));
        let outline: Vec<(f64, f64)> = there.chain(back).collect();
        frame.area(&outline, Stroke::Single, 0.9);
    }
    frame.marks(&means, Stroke::Fit);
    Some(Plot { name: "speed-against-time", caption, svg: frame.finish() })
}

/// The spectrum, its lines numbered, and a list of them beside it.
pub(super) fn spectrum(flutter: &Flutter) -> Option<Plot> {
    let [low_hz, _, high_hz] = flutter.band_hz;
    let points: Vec<(f64, f64)> = flutter
        .spectrum
        .iter()
        .zip(&flutter.spectrum_widths_hz)
        // As density, so that what is read in wider bands does not stand higher.
        .map(|(&[hz, percent], width_hz)| (hz, percent / width_hz.sqrt()))
        .filter(|&(hz, percent)| hz > 0.0 && hz >= low_hz && hz <= high_hz && percent.is_finite())
        .collect();
    let top = points.iter().map(|point| point.1).fold(0.0, f64::max);
    if points.len() < 2 || top <= 0.0 || low_hz <= 0.0 || high_hz <= low_hz {
        return None;
    }
    let lines = named(flutter, low_hz, high_hz);
    let words = if lines.is_empty() {
        "No line stands out."
    } else {
        "Numbered: the strongest lines, with their peak deviation."
    };
    let caption = format!(
        "Flutter spectrum of the {} tone, {} to {}, not weighted, as density: % rms in a band 1 Hz wide. Read in bands of \
         0.1 Hz up to 20 Hz, of 1 Hz above: a steady line stands lower in a wider one. {words}",
        frequency(flutter.carrier_hz),
        frequency(low_hz),
        frequency(high_hz)
    );
    // Room above the peaks for their numbers.
    let (x, y) = (
        Axis::frequency("rate, Hz", low_hz, high_hz),
        Axis::linear("deviation, % rms per \u{221a}Hz", 0.0, top * 1.2, false),
    );
    let mut frame =
        if lines.is_empty() { Frame::new(&caption, x, y) } else { Frame::with_long_labels(&caption, x, y) };
    frame.line(&points, Stroke::Single, "");
    let listed: Vec<_> = lines.iter().enumerate().map(|(k, line)| wrapped(&words_of(k + 1, line))).collect();
    frame.list(&listed);
    number(&mut frame, &lines, &points);
    Some(Plot { name: "flutter", caption, svg: frame.finish() })
}

/// The strongest lines, by rate.
fn named(flutter: &Flutter, low_hz: f64, high_hz: f64) -> Vec<&FlutterLine> {
    let strongest = flutter.lines.iter().map(|line| line.percent_peak).fold(0.0, f64::max);
    let worth = |line: &&FlutterLine| {
        line.hz >= low_hz && line.hz <= high_hz && line.percent_peak >= LEAST_SHARE * strongest
    };
    let mut lines: Vec<&FlutterLine> = flutter.lines.iter().filter(worth).collect();
    lines.sort_by(|a, b| b.percent_peak.total_cmp(&a.percent_peak));
    // As many as the list has room for, with their parts.
    let mut rows = 0;
    lines.truncate(MOST_LINES);
    lines.retain(|line| {
        rows += wrapped(&words_of(MOST_LINES, line)).len();
        rows <= LIST_LINES
    });
    lines.sort_by(|a, b| a.hz.total_cmp(&b.hz));
    lines
}

fn words_of(number: usize, line: &FlutterLine) -> String {
    let part = line.part.as_ref().map(|_| format!(", {}", part_words(line))).unwrap_or_default();
    format!("{number}: {}, {}{part}", LineHertz.of(line.hz, None), Percent.of(line.percent_peak, None))
}

/// Lines of a paragraph of the list.
fn wrapped(text: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= LONG_LABEL - 2 => {
                *line += " ";
                *line += word;
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// Numbers in a row above the plot, each with a line down to its peak.
fn number(frame: &mut Frame, lines: &[&FlutterLine], points: &[(f64, f64)]) {
    let peaks: Vec<(f64, f64)> = lines
        .iter()
        .map(|line| {
            // Rates in the spectrum are 0.1 Hz apart and more.
            let near = points.iter().filter(|point| (point.0 - line.hz).abs() < (0.03 * line.hz).max(0.11));
            let height = near.map(|point| point.1).fold(0.0, f64::max);
            frame.at(line.hz, height)
        })
        .collect();
    let mut places: Vec<f64> = peaks.iter().map(|peak| peak.0).collect();
    let (left, right) = frame.sides();
    spread_out(&mut places, left + 10.0, right - 8.0, NUMBER_STEP);
    for (k, (place, &(x, y))) in places.iter().zip(&peaks).enumerate() {
        frame.note((*place, TOP + 14.0), Anchor::Middle, &(k + 1).to_string());
        // Straight down where the peak is, so that lines close together do not cross.
        let knee = TOP + 29.0;
        frame.pointer((*place, TOP + 18.0), (x, knee.min(y - 2.0).max(TOP + 18.0)));
        if y - 2.0 > knee {
            frame.pointer((x, knee), (x, y - 2.0));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::show::tests::sample;

    fn flutter() -> Flutter {
        sample("faulty").flutter.clone().unwrap()
    }

    #[test]
    fn ten_lines_close_together_are_all_listed_and_their_numbers_stand_apart() {
        let mut flutter = flutter();
        let line = flutter.lines[0].clone();
        flutter.lines = (0..10)
            .map(|k| FlutterLine {
                hz: 6.0 + 0.01 * f64::from(k),
                percent_peak: 0.1 + 0.001 * f64::from(k),
                part: None,
                ..line.clone()
            })
            .collect();
        let figure = spectrum(&flutter).unwrap();
        let document = roxmltree::Document::parse(&figure.svg).unwrap();
        let texts: Vec<(f64, &str)> = document
            .descendants()
            .filter(|node| node.has_tag_name("text") && node.has_attribute("x"))
            .map(|node| (node.attribute("x").unwrap().parse().unwrap(), node.text().unwrap()))
            .collect();
        for k in 1..=10 {
            assert!(texts.iter().any(|(_, text)| text.starts_with(&format!("{k}: "))), "{k}");
        }
        let numbers: Vec<f64> = (1..=10)
            .map(|k| {
                let of = texts.iter().rfind(|(_, text)| *text == k.to_string());
                of.unwrap_or_else(|| panic!("no number {k}")).0
            })
            .collect();
        assert!(numbers.windows(2).all(|pair| pair[1] - pair[0] >= NUMBER_STEP - 0.11), "{numbers:?}");
    }

    #[test]
    fn noise_of_one_density_is_a_level_line_across_the_change_of_bandwidth() {
        let mut flutter = flutter();
        flutter.spectrum_widths_hz = vec![0.1, 0.1, 0.55, 1.0, 1.0];
        let rates = [19.8, 19.9, 20.0, 21.0, 22.0];
        flutter.spectrum = rates
            .iter()
            .zip(&flutter.spectrum_widths_hz)
            .map(|(hz, width)| [*hz, 0.01 * width.sqrt()])
            .collect();
        flutter.lines.clear();
        let svg = spectrum(&flutter).unwrap().svg;
        let line = svg.split("class=\"single\"").nth(1).unwrap();
        let points = line.split("points=\"").nth(1).unwrap().split('"').next().unwrap();
        let heights: Vec<&str> = points.split(' ').map(|point| point.split_once(',').unwrap().1).collect();
        assert!(heights.len() == 5 && heights.iter().all(|height| *height == heights[0]), "{heights:?}");
        assert!(svg.contains("% rms per \u{221a}Hz"));
    }

    #[test]
    fn the_list_ends_where_the_picture_does() {
        let mut flutter = flutter();
        let mut line = flutter.lines[0].clone();
        line.part =
            Some("take-up reel with an uncommonly long name, or the supply reel with another".to_owned());
        flutter.lines = (1..=10).map(|k| FlutterLine { hz: f64::from(k), ..line.clone() }).collect();
        let lines = named(&flutter, 0.3, 200.0);
        let rows: usize = lines.iter().map(|line| wrapped(&words_of(10, line)).len()).sum();
        assert!(rows <= LIST_LINES && !lines.is_empty(), "{rows}");
        assert!(
            lines
                .iter()
                .flat_map(|line| wrapped(&words_of(10, line)))
                .all(|row| row.chars().count() <= LONG_LABEL)
        );
    }

    #[test]
    fn peaks_of_a_course_are_drawn_and_a_still_one_is_not() {
        let mut flutter = flutter();
        assert!(course(&flutter).unwrap().svg.contains("polygon"));
        for piece in &mut flutter.speed_against_time.as_mut().unwrap().pieces {
            (piece.1, piece.2) = (0.0, 0.0);
        }
        assert!(course(&flutter).is_none());
        flutter.speed_against_time = None;
        assert!(course(&flutter).is_none());
    }
}
