//! Figures: what each cause takes of a channel's response, laid one upon the other, beside what was measured.
//!
//! Each cause is a layer with the thickness that it takes (below 0 dB) or adds (above). Curves come from the reading, and are only
//! laid upon each other here. Measured points need not meet the last edge: offset, ripple and weak causes of the fit lie between.

use super::axes::{Axis, BOTTOM, Frame, LABEL_STEP, LIST_LINES, TOP};
use super::room::{ASCENT, across};
use super::svg::{Anchor, Stroke};
use super::{DEEPEST_DB, Plot, channel, continuous, hertz_axis};
use crate::judge::{Reading, cause_name};
use crate::reading::figures::UnitKind::Db;
use crate::reading::figures::frequency;
use crate::reading::{Cause, CauseKind, Channel, Unexplained};
use crate::show::tables::causes::name;

/// Parts of a layer that are thinner all along are not drawn, dB.
const LEAST_DB: f64 = 0.03;
/// Where names of what shows in the bass begin, Hz: a response is flat there.
const BASS_NAMES_HZ: f64 = 160.0;
/// Longest name that has room at the edge, with its share behind it, characters.
const LONGEST_NAME: usize = 14;

/// A figure for each channel of which a cause is stated.
pub(super) fn causes(reading: &Reading) -> Vec<Plot> {
    let sides =
        [("causes-left", Channel::Left, Stroke::Left), ("causes-right", Channel::Right, Stroke::Right)];
    sides.into_iter().enumerate().filter_map(|(k, names)| of_channel(reading, k, names)).collect()
}

/// One cause between its inner and its outer edge, at the frequencies of its curve.
struct Layer<'a> {
    cause: &'a Cause,
    inner: Vec<(f64, f64)>,
    outer: Vec<(f64, f64)>,
}

impl Layer<'_> {
    fn thickness(&self, k: usize) -> f64 {
        (self.outer[k].1 - self.inner[k].1).abs()
    }

    /// Stretches on one side of 0, so that none is drawn across it.
    fn runs(&self) -> Vec<std::ops::RangeInclusive<usize>> {
        let up = |k: usize| self.outer[k].1 >= self.inner[k].1;
        let mut runs: Vec<(usize, usize)> = Vec::new();
        for k in 0..self.outer.len() {
            match runs.last_mut() {
                Some(run) if up(run.0) == up(k) => run.1 = k,
                _ => runs.push((k, k)),
            }
        }
        let seen = |run: &(usize, usize)| (run.0..=run.1).any(|k| self.thickness(k) >= LEAST_DB);
        runs.into_iter().filter(seen).map(|(from, to)| from..=to).collect()
    }
}

/// Layers outwards from 0, those that lift above and those that take below it.
fn layers<'a>(causes: &[&'a Cause]) -> Vec<Layer<'a>> {
    let Some(first) = causes.first() else { return vec![] };
    let mut edges: Vec<[f64; 2]> = vec![[0.0, 0.0]; first.curve_db.len()];
    causes
        .iter()
        .filter(|cause| {
            let hertz = |cause: &Cause| cause.curve_db.iter().map(|row| row[0]).collect::<Vec<_>>();
            hertz(cause) == hertz(first)
        })
        .map(|&cause| {
            let (mut inner, mut outer) = (Vec::new(), Vec::new());
            for (&[hz, db], edge) in cause.curve_db.iter().zip(&mut edges) {
                let side = usize::from(db < 0.0);
                inner.push((hz, edge[side]));
                edge[side] += db;
                outer.push((hz, edge[side]));
            }
            Layer { cause, inner, outer }
        })
        .collect()
}

fn of_channel(
    reading: &Reading,
    side: usize,
    (figure, word, stroke): (&'static str, Channel, Stroke),
) -> Option<Plot> {
    let sound = |cause: &&Cause| {
        let finite =
            cause.curve_db.iter().all(|row| row[0] > 0.0 && row[0].is_finite() && row[1].is_finite());
        cause.channel == word && cause.cause != CauseKind::None && cause.curve_db.len() > 2 && finite
    };
    let told: Vec<&Cause> = reading.causes.iter().filter(sound).collect();
    let layers = layers(&told);
    let response = reading.response.as_ref()?;
    let steps = channel(&response.steps, side);
    let measured = if steps.is_empty() { channel(continuous(response).1, side) } else { steps };
    if layers.is_empty() || measured.is_empty() {
        return None;
    }
    let unexplained = reading.unexplained.iter().find(|left| left.channel == word);
    let caption = caption(word.as_str(), response.reference_hz, stroke, unexplained);
    let shown = || measured.iter().chain(layers.iter().flat_map(|layer| &layer.outer)).map(|point| point.1);
    let low = shown().fold(-1.0, f64::min).max(DEEPEST_DB);
    let high = shown().fold(0.5, f64::max).min(-DEEPEST_DB);
    let label = format!("{word}, dB re {}", frequency(response.reference_hz));
    let mut frame =
        Frame::with_long_labels(&caption, hertz_axis(), Axis::linear(&label, low - 0.3, high, true));
    for (k, layer) in layers.iter().enumerate() {
        draw(&mut frame, layer, k, stroke);
    }
    if let Some(left) = unexplained {
        let points: Vec<_> = left.left_db.iter().map(|row| (row[0], row[1])).collect();
        frame.line(&points, Stroke::Limit, "not explained");
    }
    frame.marks(&measured, stroke);
    let last = measured.iter().copied().reduce(|a, b| if b.0 > a.0 { b } else { a })?;
    let at_hz = told.iter().flat_map(|cause| &cause.shares_db).map(|share| share[0]).fold(0.0, f64::max);
    let there = measured.iter().find(|point| (point.0 / at_hz - 1.0).abs() < 0.01);
    let number =
        there.map(|point| format!(" {}", Db.of(point.1, None).signed().number())).unwrap_or_default();
    frame.label(there.unwrap_or(&last).1, &format!("measured{number}"));
    frame.label(f64::INFINITY, &format!("dB at {}:", frequency(at_hz)));
    names(&mut frame, &layers, &measured, at_hz);
    Some(Plot { name: figure, caption, svg: frame.finish() })
}

fn caption(word: &str, reference_hz: f64, stroke: Stroke, unexplained: Option<&Unexplained>) -> String {
    let marks = if stroke == Stroke::Right { "Squares" } else { "Discs" };
    let most = unexplained.and_then(|left| {
        let row = left.left_db.iter().find(|row| row[0] == left.most_hz)?;
        Some(format!(" (at most {}, at {})", Db.of(row[1], None).signed(), frequency(row[0])))
    });
    format!(
        "Causes of the response of the {word} channel, against {}. {marks}: measured. Shaded from 0 outwards: what each cause \
         takes or adds, one after the other. Dots: what no cause explains{}.",
        frequency(reference_hz),
        most.unwrap_or_default()
    )
}

/// Shades by turns: dark, hatched, light.
fn draw(frame: &mut Frame, layer: &Layer, turn: usize, stroke: Stroke) {
    for run in layer.runs() {
        let outer = &layer.outer[run.clone()];
        let inner = &layer.inner[run];
        let outline: Vec<(f64, f64)> = outer.iter().chain(inner.iter().rev()).copied().collect();
        frame.area(&outline, stroke, [0.5, 0.1, 0.25][turn % 3]);
        if turn % 3 == 1 {
            for (from, to) in inner.iter().zip(outer) {
                frame.line(&[*from, *to], Stroke::Thin, "");
            }
        }
        frame.line(outer, Stroke::Thin, "");
    }
}

/// `gap -12.0 +- 1.1`: a cause and its share.
fn words(cause: &Cause, share: &[f64; 3]) -> String {
    let mut name = name(cause);
    if name.chars().count() > LONGEST_NAME {
        name = format!("{} etc.", cause_name(cause.cause));
    }
    format!("{name} {}", Db.of(share[1], share[2]).signed().bare())
}

/// Names of what shows in the treble stand at the right edge; of what shows in the bass in the plot, where it is flat.
fn names(frame: &mut Frame, layers: &[Layer], measured: &[(f64, f64)], at_hz: f64) {
    let mut taken: Vec<(f64, f64)> = Vec::new();
    for layer in layers {
        let end = layer.outer.len() - 1;
        let thickest = (0..=end).max_by(|a, b| layer.thickness(*a).total_cmp(&layer.thickness(*b)));
        let thickest = thickest.unwrap_or(end);
        let middle = |k: usize| 0.5 * (layer.inner[k].1 + layer.outer[k].1);
        let shares = || layer.cause.shares_db.iter();
        if layer.outer[thickest].0 > 1000.0 {
            if let Some(share) = shares().find(|share| share[0] == at_hz) {
                frame.label(middle(end), &words(layer.cause, share));
            }
            continue;
        }
        let Some(most) = shares().max_by(|a, b| a[1].abs().total_cmp(&b[1].abs())) else { continue };
        let text = format!("{} dB at {}", words(layer.cause, most), frequency(most[0]));
        let (x, at_y) = frame.at(BASS_NAMES_HZ, middle(thickest));
        let width = across(&text);
        // A long name begins further left, so that it ends inside.
        let (left, right) = frame.sides();
        let x = x.min(right - width - 6.0).max(left + 6.0);
        // Everything drawn where the name will stand.
        let edges = layers.iter().flat_map(|layer| layer.outer.iter().chain(&layer.inner));
        let drawn: Vec<f64> = edges
            .chain(measured)
            .map(|&(hz, db)| frame.at(hz, db))
            .filter(|point| point.0 > x - 8.0 && point.0 < x + width + 4.0)
            .map(|point| point.1)
            .collect();
        let lifts = layer.outer[thickest].1 > layer.inner[thickest].1;
        let mut baseline = if lifts {
            drawn.iter().fold(at_y, |y, drawn| y.min(*drawn)) - 8.0
        } else {
            drawn.iter().fold(at_y, |y, drawn| y.max(*drawn)) + 20.0
        };
        let hit = |y: f64| taken.iter().any(|other| (other.1 - y).abs() < LABEL_STEP);
        let (top, bottom) = (TOP + 15.0, BOTTOM - 5.0);
        baseline = baseline.clamp(top, bottom);
        let mut step = if lifts { -LABEL_STEP } else { LABEL_STEP };
        for _ in 0..2 * LIST_LINES {
            if !hit(baseline) {
                break;
            }
            // Back again where the picture ends.
            if !(top..=bottom).contains(&(baseline + step)) {
                step = -step;
            }
            baseline += step;
        }
        let tip = frame.at(layer.outer[thickest].0, middle(thickest));
        let end = (tip.0.clamp(x - 3.0, x + width), baseline - 4.0);
        if end.0 > x {
            // Above or below the name, not into it.
            frame.pointer(tip, (end.0, if tip.1 < baseline { baseline - ASCENT } else { baseline + 4.0 }));
        } else {
            frame.pointer((tip.0 + 2.0, tip.1), end);
        }
        frame.note((x, baseline), Anchor::Start, &text);
        taken.push((x, baseline));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Unit;
    use crate::show::tests::sample;

    fn cause(kind: CauseKind, curve_db: Vec<[f64; 2]>) -> Cause {
        let shares_db = curve_db.iter().map(|row| [row[0], row[1], 0.2]).collect();
        Cause {
            channel: Channel::Left,
            cause: kind,
            value: Some(1.0),
            uncertainty: Some(0.1),
            unit: Unit::Um,
            height_db: None,
            digital: false,
            second_hz: None,
            shares_db,
            curve_db,
            probability: Some(0.99),
            instead: vec![],
            why: String::new(),
        }
    }

    #[test]
    fn layers_lie_one_upon_the_other_on_their_own_side_of_zero() {
        let spacing = cause(CauseKind::Spacing, vec![[100.0, 0.1], [1000.0, -0.5], [10_000.0, -4.0]]);
        let gap = cause(CauseKind::Gap, vec![[100.0, 0.0], [1000.0, -0.1], [10_000.0, -2.0]]);
        let network = cause(CauseKind::TimeConstant, vec![[100.0, 0.0], [1000.0, 0.4], [10_000.0, 3.0]]);
        let other = cause(CauseKind::HeadBump, vec![[100.0, 1.0], [999.0, 0.0], [10_000.0, 0.0]]);
        let all = [&spacing, &gap, &network, &other];
        let layers = layers(&all);
        // A curve at other frequencies cannot be laid on.
        assert_eq!(layers.len(), 3);
        assert_eq!(layers[1].inner[2].1, -4.0);
        assert_eq!(layers[1].outer[2].1, -6.0);
        assert_eq!((layers[2].inner[2].1, layers[2].outer[2].1), (0.0, 3.0));
        assert_eq!(layers[0].runs(), [0..=0, 1..=2]);
        assert_eq!(layers[1].runs(), [1..=2]);
    }

    #[test]
    fn every_cause_is_named_once_and_nothing_is_drawn_where_none_is_stated() {
        let mut reading = sample("faulty");
        let figures = causes(&reading);
        assert_eq!(figures.len(), 2);
        for (figure, side) in figures.iter().zip(Channel::SIDES) {
            for cause in reading.causes.iter().filter(|cause| cause.channel == side) {
                let count = figure.svg.matches(&format!(">{} ", name(cause))).count();
                assert_eq!(count, 1, "{side} {}", name(cause));
            }
        }
        for cause in &mut reading.causes {
            cause.curve_db.clear();
        }
        assert!(causes(&reading).is_empty());
        reading.causes = vec![cause(CauseKind::None, vec![])];
        assert!(causes(&reading).is_empty());
    }
}
