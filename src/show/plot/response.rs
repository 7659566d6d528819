//! Figures: the response, the difference of the channels and the phase between them, and how a response changed.

use super::axes::{Axis, Frame};
use super::svg::Stroke;
use super::{DEEPEST_DB, Plot, Points, RINGS, channel, continuous, hertz_axis, judged, judged_of, reads};
use crate::judge::{Key, Limits, OwnersResponse, Reading, ResponseLimit};
use crate::reading::figures::UnitKind::Microseconds;
use crate::reading::figures::{frequency, given};
use crate::reading::{Azimuth, ComparedChannel, Comparison, Finding, MeasuredBy, Response, ResponsePoint};
use crate::trade::common_practice::AZIMUTH_PHASE_HZ;

/// Of the captions.
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

/// A band that a limit allows: about which value, and the limit.
type Allowed = (f64, ResponseLimit);

fn shade(frame: &mut Frame, allowed: &[Allowed]) {
    for (about_db, ResponseLimit { db, from_hz, to_hz, .. }) in allowed {
        let (low, high) = (about_db - db, about_db + db);
        frame.mask(&[(*from_hz, low), (*from_hz, high), (*to_hz, high), (*to_hz, low)]);
    }
}

/// Each band's limit above the middle of its shade, where there is room.
fn name_shades(frame: &mut Frame, allowed: &[Allowed]) {
    for (about_db, limit) in allowed {
        let middle_hz = (limit.from_hz * limit.to_hz).sqrt();
        frame.name((middle_hz, about_db + limit.db), &format!("limit +-{} dB", given(limit.db, 2)));
    }
}

/// ` Shaded: within the limit, +-1 dB from 400 Hz to 15 kHz`.
fn shade_in_words(allowed: &[Allowed]) -> String {
    let bands = allowed.iter().map(|(_, limit)| {
        let [from, to] = [limit.from_hz, limit.to_hz].map(frequency);
        format!("+-{} dB from {from} to {to}", given(limit.db, 2))
    });
    let bands = bands.collect::<Vec<_>>().join(", ");
    if bands.is_empty() { bands } else { format!(" Shaded: within the limit, {bands}") }
}

/// Rings of findings, each at its frequency and at `value` of it.
fn rings<'a>(
    frame: &mut Frame,
    findings: impl Iterator<Item = (&'a Finding, f64)>,
    value: impl Fn(f64) -> f64,
) {
    for (finding, db) in findings {
        if let Some(hz) = finding.at_hz {
            frame.ring((hz, value(db)), &reads(finding));
        }
    }
}

pub(super) fn response(reading: &Reading, response: &Response, limits: Option<&Limits>) -> Option<Plot> {
    let (word, rows) = continuous(response);
    let lines = [channel(rows, 0), channel(rows, 1)];
    let marks = [channel(&response.steps, 0), channel(&response.steps, 1)];
    if lines.iter().chain(&marks).all(Vec::is_empty) {
        return None;
    }
    let allowed: Vec<Allowed> = limits.map_or(vec![], |limits| {
        let main = limits.response(&reading.circumstances);
        let bass = limits.bass_below(&main, &reading.circumstances);
        bass.into_iter()
            .chain([main])
            .filter(|limit| limit.db.is_finite())
            .map(|limit| (0.0, limit))
            .collect()
    });
    let least = allowed.iter().map(|allowed| allowed.1.db).reduce(f64::max).unwrap_or(1.0);
    let (low, high) = range(&[&lines[0], &lines[1], &marks[0], &marks[1]], least);
    let label = format!("response re {}, dB", frequency(response.reference_hz));
    let judged = || (0..2).flat_map(|side| judged_of(reading, "playback-response", side));
    let mut caption = format!(
        "Response against {}: left solid with discs, right dashed with squares. Lines: {word}.{}",
        frequency(response.reference_hz),
        if response.steps.is_empty() { "" } else { STEPS },
    );
    if !allowed.is_empty() {
        caption += &format!("{}.", shade_in_words(&allowed));
    }
    if judged().any(|(finding, _)| finding.at_hz.is_some()) {
        caption += RINGS;
    }
    let mut frame = Frame::new(&caption, hertz_axis(), Axis::linear(&label, low, high, true));
    shade(&mut frame, &allowed);
    for (side, (stroke, name)) in [(Stroke::Left, "left"), (Stroke::Right, "right")].into_iter().enumerate() {
        frame.line(&lines[side], stroke, name);
        frame.marks(&marks[side], stroke);
    }
    rings(&mut frame, judged(), |db| db);
    name_shades(&mut frame, &allowed);
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
    let allowed: Vec<Allowed> = read.limits.iter().map(|limit| (0.0, limit.clone())).collect();
    let least = allowed.iter().map(|allowed| allowed.1.db).reduce(f64::max).unwrap_or(1.0);
    let (low, high) = range(&sets, least);
    let caption = format!(
        "Response against {}, as found (thin) and as left (with marks): left solid, right dashed.{}.",
        frequency(reference_hz),
        shade_in_words(&allowed)
    );
    let label = format!("response re {}, dB", frequency(reference_hz));
    let mut frame = Frame::new(&caption, hertz_axis(), Axis::linear(&label, low, high, true));
    shade(&mut frame, &allowed);
    for (points, stroke, name) in &drawn {
        let is_left = name.ends_with("as left");
        frame.weighted(points, *stroke, if is_left { 1.0 } else { 0.5 }, name);
        if is_left {
            frame.marks(points, *stroke);
        }
    }
    name_shades(&mut frame, &allowed);
    (!drawn.is_empty()).then(|| Plot { name: "response-found-and-left", caption, svg: frame.finish() })
}

pub(super) fn difference(reading: &Reading, response: &Response, limits: Option<&Limits>) -> Option<Plot> {
    let (word, rows) = continuous(response);
    let line = differences(rows);
    let marks = differences(&response.steps);
    if line.is_empty() && marks.is_empty() {
        return None;
    }
    // Judged are the responses: what both levels differ by at the reference frequency is a finding of its own.
    let about_db = rows.iter().find_map(|row| Some(row.difference_db? - (row.db[0]? - row.db[1]?)));
    let allowed: Vec<Allowed> = limits.zip(about_db).map_or(vec![], |(limits, about_db)| {
        let db = limits.of(Key::ChannelMatch).value;
        let band = ResponseLimit { db, ..limits.response(&reading.circumstances) };
        if db.is_finite() && about_db.is_finite() { vec![(about_db, band)] } else { vec![] }
    });
    let judged = || judged(reading, "channel-match").filter(|(finding, _)| finding.at_hz.is_some());
    let (low, high) = allowed.iter().fold(range(&[&line, &marks], 1.0), |(low, high), (about_db, limit)| {
        (low.min(about_db - limit.db - 0.3), high.max(about_db + limit.db + 0.3))
    });
    let mut caption = format!(
        "Gain of left minus gain of right. Line: {word}.{}",
        if response.steps.is_empty() { "" } else { STEPS }
    );
    if !allowed.is_empty() {
        caption += &shade_in_words(&allowed);
        caption += &format!(", about the difference at {}.", frequency(response.reference_hz));
    }
    if judged().next().is_some() {
        caption += RINGS;
    }
    let mut frame = Frame::new(&caption, hertz_axis(), Axis::linear("left minus right, dB", low, high, true));
    shade(&mut frame, &allowed);
    frame.line(&line, Stroke::Single, "L \u{2212} R");
    frame.marks(&marks, Stroke::Single);
    rings(&mut frame, judged(), |db| about_db.unwrap_or(0.0) + db);
    name_shades(&mut frame, &allowed);
    Some(Plot { name: "channel-difference", caption, svg: frame.finish() })
}

pub(super) fn phase(reading: &Reading, azimuth: &Azimuth, limits: Option<&Limits>) -> Option<Plot> {
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
    let fitted = |khz: f64| azimuth.delay_us.map(|delay_us| (khz, -0.36 * khz * delay_us));
    let fit: Points = [0.0, top_khz].into_iter().filter_map(fitted).collect();
    let limit_deg = limits.map(|limits| limits.of(Key::AzimuthPhase).value).filter(|deg| deg.is_finite());
    // Delays up to the limit: a wedge.
    let judged_khz = AZIMUTH_PHASE_HZ / 1000.0;
    let wedge: Points = limit_deg.map_or(vec![], |deg| {
        let end = deg * top_khz / judged_khz;
        vec![(0.0, 0.0), (top_khz, end), (top_khz, -end)]
    });
    let all = || points.iter().chain(&fit).chain(&wedge).map(|point| point.1);
    let (low, high) = (all().fold(-10.0, f64::min), all().fold(10.0, f64::max));
    let mut caption = match azimuth.delay_us {
        Some(delay) => format!(
            "Phase of right minus left. Discs: measured. Long dashes: a pure delay of {} (positive: right lags).",
            Microseconds.of(delay, azimuth.uncertainty_us).signed()
        ),
        None => "Phase of right minus left. Discs: measured. No delay could be fitted.".to_owned(),
    };
    if let Some(deg) = limit_deg {
        let at = frequency(AZIMUTH_PHASE_HZ);
        caption +=
            &format!(" Shaded: delays within the limit of the azimuth, +-{} degrees at {at}.", given(deg, 1));
    }
    let judged = judged(reading, "azimuth").next().filter(|_| top_khz >= judged_khz);
    let ring = fitted(judged_khz).zip(judged.and_then(|(finding, _)| finding.reads.as_ref()));
    if ring.is_some() {
        caption += RINGS;
    }
    let mut frame = Frame::new(
        &caption,
        Axis::linear("frequency, kHz", 0.0, top_khz, false),
        Axis::linear("phase right minus left, degrees", low, high, true),
    );
    frame.mask(&wedge);
    if let Some(&(_, end)) = wedge.get(1) {
        frame.label(end, "limit");
    }
    if let Some(delay) = azimuth.delay_us {
        frame.line(&fit, Stroke::Fit, &Microseconds.of(delay, azimuth.uncertainty_us).signed().to_string());
    }
    frame.marks(&points, Stroke::Single);
    if let Some((at, reads)) = ring {
        frame.ring(at, reads);
    }
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
