//! Figures: the response, the difference of the channels and the phase between them, and how a response changed.

use super::axes::{Axis, Frame};
use super::svg::Stroke;
use super::{DEEPEST_DB, Plot, Points, channel, continuous, hertz_axis};
use crate::judge::Key;
use crate::judge::{Limits, OwnersResponse, ResponseLimit};
use crate::reading::figures::UnitKind::Microseconds;
use crate::reading::figures::{frequency, programme_level};
use crate::reading::{Azimuth, ComparedChannel, Comparison, MeasuredBy, Response, ResponsePoint};

/// Of the captions.
const LIMITS: &str = "Dots: limit.";
const STEPS: &str = " Marks: stepped tones.";

fn differences(rows: &[ResponsePoint]) -> Points {
    rows.iter().filter_map(|row| Some((row.hz, row.difference_db.filter(|db| db.is_finite())?))).collect()
}

/// Lowest and highest value, with the limit and a little air.
fn range(sets: &[&Points], least: f64) -> (f64, f64) {
    let values = || sets.iter().flat_map(|points| points.iter().map(|point| point.1));
    let low = values().fold(-least, f64::min).max(DEEPEST_DB);
    let high = values().fold(least, f64::max).min(-DEEPEST_DB);
    (low - 0.3, high + 0.3)
}

fn limit_lines(frame: &mut Frame, from_hz: f64, to_hz: f64, db: f64) {
    for limit in [db, -db] {
        frame.line(
            &[(from_hz, limit), (to_hz, limit)],
            Stroke::Limit,
            &format!("limit {}", programme_level(limit).replace(" dB", "")),
        );
    }
}

pub(super) fn response(response: &Response, limit: Option<&ResponseLimit>) -> Option<Plot> {
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
    Some(Plot { name: "response", caption, svg: frame.finish() })
}

/// The response as found and as left, both channels, in one figure.
pub(in crate::show) fn owners_response(read: &OwnersResponse<'_>) -> Option<Plot> {
    let states = [(read.found, "as found"), (read.left, "as left")];
    let drawn: Vec<(Points, Stroke, String)> = states
        .into_iter()
        .filter_map(|(response, state)| Some((response?, state)))
        .flat_map(|(response, state)| {
            let rows = if response.steps.is_empty() { continuous(response).1 } else { &response.steps };
            [(Stroke::Left, "L"), (Stroke::Right, "R")]
                .into_iter()
                .enumerate()
                .map(move |(side, (stroke, name))| (channel(rows, side), stroke, format!("{name} {state}")))
        })
        .filter(|line| !line.0.is_empty())
        .collect();
    let reference_hz = read.left.or(read.found)?.reference_hz;
    let sets: Vec<&Points> = drawn.iter().map(|line| &line.0).collect();
    let (low, high) = range(&sets, read.limit.db);
    let caption = format!(
        "Response against {}, as found and as left: left solid, right dashed; marks: as left. {LIMITS}",
        frequency(reference_hz)
    );
    let label = format!("response re {}, dB", frequency(reference_hz));
    let mut frame = Frame::new(&caption, hertz_axis(), Axis::linear(&label, low, high, true));
    limit_lines(&mut frame, read.limit.from_hz, read.limit.to_hz, read.limit.db);
    for (points, stroke, name) in &drawn {
        frame.line(points, *stroke, name);
        if name.ends_with("left") {
            frame.marks(points, *stroke);
        }
    }
    (!drawn.is_empty()).then(|| Plot { name: "response-found-and-left", caption, svg: frame.finish() })
}

pub(super) fn difference(
    response: &Response,
    limits: Option<&Limits>,
    band: Option<&ResponseLimit>,
) -> Option<Plot> {
    let (word, rows) = continuous(response);
    let line = differences(rows);
    let marks = differences(&response.steps);
    if line.is_empty() && marks.is_empty() {
        return None;
    }
    let limit = limits.map(|limits| limits.of(Key::ChannelMatch).value);
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
    Some(Plot { name: "channel-difference", caption, svg: frame.finish() })
}

pub(super) fn phase(azimuth: &Azimuth) -> Option<Plot> {
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
            "Phase of right minus left. Discs: measured. Long dashes: a pure delay of {} (positive: right lags).",
            Microseconds.of(delay, azimuth.uncertainty_us).signed()
        ),
        None => "Phase of right minus left. Discs: measured. No delay could be fitted.".to_owned(),
    };
    let mut frame = Frame::new(
        &caption,
        Axis::linear("frequency, kHz", 0.0, top_khz, false),
        Axis::linear("phase right minus left, degrees", low, high, true),
    );
    if let (Some(fit), Some(delay)) = (&fit, azimuth.delay_us) {
        frame.line(fit, Stroke::Fit, &Microseconds.of(delay, azimuth.uncertainty_us).signed().to_string());
    }
    frame.marks(&points, Stroke::Single);
    Some(Plot { name: "phase", caption, svg: frame.finish() })
}

const CHANGE: &str = "Change of the response from the first reading to the last: left solid with discs, right dashed with squares.";

/// Change of the stepped response, or of the sweep's or the noise's, against frequency.
pub(in crate::show) fn response_change(comparison: &Comparison) -> Option<Plot> {
    let points = |by: MeasuredBy, side: ComparedChannel| -> Points {
        let ours = comparison.rows.iter().filter(|row| {
            row.quantity == "playback-response" && row.channel == Some(side) && row.by == Some(by)
        });
        ours.filter_map(|row| Some((row.hz?, row.change?))).collect()
    };
    let by = MeasuredBy::ALL.into_iter().find(|by| !points(*by, ComparedChannel::Left).is_empty())?;
    let lines = ComparedChannel::SIDES.map(|side| points(by, side));
    let values = || lines.iter().flatten().map(|point| point.1);
    let (low, high) = (values().fold(-1.0, f64::min) - 0.3, values().fold(1.0, f64::max) + 0.3);
    let mut frame = Frame::new(CHANGE, hertz_axis(), Axis::linear("last minus first, dB", low, high, true));
    for (line, (stroke, name)) in lines.iter().zip([(Stroke::Left, "left"), (Stroke::Right, "right")]) {
        frame.line(line, stroke, name);
        frame.marks(line, stroke);
    }
    Some(Plot { name: "response-change", caption: CHANGE.to_owned(), svg: frame.finish() })
}
