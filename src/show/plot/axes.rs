//! Axes with units, and the frame that lines are drawn into.

use super::svg::{Anchor, Stroke, Svg};
use crate::reading::figures::given;

const WIDTH: f64 = 760.0;
const HEIGHT: f64 = 330.0;
const LEFT: f64 = 72.0;
/// Right end of the axes where labels beside them are short, and where they are long.
const RIGHT: f64 = 668.0;
const RIGHT_LONG: f64 = 530.0;
pub(super) const TOP: f64 = 16.0;
pub(super) const BOTTOM: f64 = 272.0;
/// Least distance between two labels above each other.
pub(super) const LABEL_STEP: f64 = 15.0;
/// Lines of a list at the right edge.
pub(super) const LIST_LINES: usize = ((BOTTOM - TOP) / LABEL_STEP) as usize;
/// Characters that a long label has room for, about.
pub(super) const LONG_LABEL: usize = 31;

/// One axis.
pub(super) struct Axis {
    pub(super) label: String,
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) log: bool,
    /// Values with a grid line, and their labels (may be empty).
    pub(super) ticks: Vec<(f64, String)>,
}

impl Axis {
    /// Frequencies from `low` to `high` Hz, logarithmic, with the usual 1-2-5 marks.
    pub(super) fn frequency(label: &str, low: f64, high: f64) -> Self {
        let mut ticks = Vec::new();
        for decade in -1..6 {
            for step in [1.0, 2.0, 5.0] {
                let hz = step * 10f64.powi(decade);
                if hz >= low * 0.999 && hz <= high * 1.001 {
                    let text = if hz >= 1000.0 { format!("{}k", hz / 1000.0) } else { given(hz, 2) };
                    ticks.push((hz, text));
                }
            }
        }
        Self { label: label.to_owned(), low, high, log: true, ticks }
    }

    /// A linear axis that holds `low..=high`, with about six round marks; `signed` gives marks above 0 a plus.
    pub(super) fn linear(label: &str, low: f64, high: f64, signed: bool) -> Self {
        let span = (high - low).max(1e-9);
        let rough = span / 6.0;
        let power = 10f64.powf(rough.log10().floor());
        let step =
            [1.0, 2.0, 5.0, 10.0].map(|n| n * power).into_iter().find(|step| *step >= rough).unwrap_or(rough);
        let (first, last) = ((low / step + 1e-9).floor(), (high / step - 1e-9).ceil());
        let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
        let ticks = (first as i64..=last as i64)
            .map(|n| {
                let value = n as f64 * step;
                let text = format!("{value:.decimals$}");
                (value, if signed && n > 0 { format!("+{text}") } else { text })
            })
            .collect();
        Self { label: label.to_owned(), low: first * step, high: last * step, log: false, ticks }
    }

    /// A linear axis from `low` to `high` exactly, with some six to twelve round marks in between.
    pub(super) fn exactly(label: &str, low: f64, high: f64) -> Self {
        let wide = Self::linear(label, low, high, false);
        let inside = |tick: &(f64, String)| tick.0 >= low - 1e-9 && tick.0 <= high + 1e-9;
        if wide.ticks.iter().filter(|tick| inside(tick)).count() >= 5 {
            return Self { low, high, ticks: wide.ticks.into_iter().filter(inside).collect(), ..wide };
        }
        let finer = Self::linear(label, low, low + (high - low) / 2.0, false);
        let step =
            finer.ticks.get(1).map_or(1.0, |tick| tick.0) - finer.ticks.first().map_or(0.0, |tick| tick.0);
        let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
        let marks = ((low / step).ceil() as i64)..=((high / step).floor() as i64);
        let ticks = marks.map(|n| (n as f64 * step, format!("{:.decimals$}", n as f64 * step))).collect();
        Self { low, high, ticks, ..wide }
    }

    /// Place of `value` along the axis, 0 to 1; clamped to the axis.
    fn place(&self, value: f64) -> f64 {
        let place = if self.log {
            (value.max(1e-12) / self.low).ln() / (self.high / self.low).ln()
        } else {
            (value - self.low) / (self.high - self.low)
        };
        place.clamp(0.0, 1.0)
    }
}

/// A frame with two axes.
pub(super) struct Frame {
    svg: Svg,
    x: Axis,
    y: Axis,
    right: f64,
    /// Labels at the right edge, drawn last: height wished for, text.
    ends: Vec<(f64, String)>,
}

impl Frame {
    pub(super) fn new(title: &str, x: Axis, y: Axis) -> Self {
        Self::ending(title, x, y, RIGHT)
    }

    /// A frame that leaves room for labels of [`LONG_LABEL`] characters at its right.
    pub(super) fn with_long_labels(title: &str, x: Axis, y: Axis) -> Self {
        Self::ending(title, x, y, RIGHT_LONG)
    }

    fn ending(title: &str, x: Axis, y: Axis, right: f64) -> Self {
        let mut svg = Svg::new(WIDTH, HEIGHT, title);
        for (value, text) in &x.ticks {
            let at = LEFT + x.place(*value) * (right - LEFT);
            svg.line(&[(at, TOP), (at, BOTTOM)], Stroke::Grid);
            svg.text((at, BOTTOM + 18.0), Anchor::Middle, text);
        }
        for (value, text) in &y.ticks {
            let at = BOTTOM - y.place(*value) * (BOTTOM - TOP);
            svg.line(&[(LEFT, at), (right, at)], Stroke::Grid);
            svg.text((LEFT - 8.0, at + 4.5), Anchor::End, text);
        }
        svg.line(&[(LEFT, TOP), (LEFT, BOTTOM), (right, BOTTOM)], Stroke::Axis);
        svg.text(((LEFT + right) / 2.0, BOTTOM + 42.0), Anchor::Middle, &x.label);
        svg.text_upwards((18.0, (TOP + BOTTOM) / 2.0), &y.label);
        Self { svg, x, y, right, ends: Vec::new() }
    }

    pub(super) fn at(&self, x: f64, y: f64) -> (f64, f64) {
        (LEFT + self.x.place(x) * (self.right - LEFT), BOTTOM - self.y.place(y) * (BOTTOM - TOP))
    }

    /// A line through measured values with its name at the right end; values outside the axis lie on the edge.
    pub(super) fn line(&mut self, points: &[(f64, f64)], stroke: Stroke, name: &str) {
        let at: Vec<_> = points.iter().map(|&(x, y)| self.at(x, y)).collect();
        self.svg.line(&at, stroke);
        if let Some(&(_, y)) = at.last().filter(|_| !name.is_empty()) {
            self.ends.push((y, name.to_owned()));
        }
    }

    /// Marks without a line between them.
    pub(super) fn marks(&mut self, points: &[(f64, f64)], stroke: Stroke) {
        for &(x, y) in points {
            let at = self.at(x, y);
            self.svg.mark(at, stroke);
        }
    }

    /// A filled shape between values, in the colour of `stroke`, as opaque as `share`.
    pub(super) fn area(&mut self, points: &[(f64, f64)], stroke: Stroke, share: f64) {
        let at: Vec<_> = points.iter().map(|&(x, y)| self.at(x, y)).collect();
        self.svg.area(&at, stroke, share);
    }

    /// A line between places of the picture.
    pub(super) fn pointer(&mut self, from: (f64, f64), to: (f64, f64)) {
        self.svg.line(&[from, to], Stroke::Thin);
    }

    /// A label at the right edge, as near as may be to `y`, a value.
    pub(super) fn label(&mut self, y: f64, text: &str) {
        let (_, height) = self.at(self.x.high, y);
        self.ends.push((height, text.to_owned()));
    }

    /// Paragraphs at the right edge, from the top down; all lines of one but the first are set in. What there is no room
    /// for (see [`LIST_LINES`]) is left out.
    pub(super) fn list(&mut self, paragraphs: &[Vec<String>]) {
        let lines = paragraphs.iter().flat_map(|lines| lines.iter().enumerate());
        for (row, (k, line)) in lines.take(LIST_LINES).enumerate() {
            let x = self.right + if k == 0 { 8.0 } else { 22.0 };
            self.svg.text((x, TOP + 8.5 + row as f64 * LABEL_STEP), Anchor::Start, line);
        }
    }

    /// Left and right end of the axes in the picture.
    pub(super) fn sides(&self) -> (f64, f64) {
        (LEFT, self.right)
    }

    /// Text near a point, above it.
    pub(super) fn note(&mut self, at: (f64, f64), anchor: Anchor, text: &str) {
        self.svg.text_over(at, anchor, text);
    }

    /// The picture, with the labels at the line ends moved apart.
    pub(super) fn finish(mut self) -> String {
        let mut ends = std::mem::take(&mut self.ends);
        ends.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut heights: Vec<f64> = ends.iter().map(|end| end.0).collect();
        spread_out(&mut heights, TOP + 4.0, BOTTOM, LABEL_STEP);
        for ((_, text), height) in ends.iter().zip(heights) {
            self.svg.text((self.right + 8.0, height + 4.5), Anchor::Start, text);
        }
        self.svg.finish()
    }
}

/// Moves sorted places apart to `step`, from the low end first, then back again from the high end.
pub(super) fn spread_out(heights: &mut [f64], top: f64, bottom: f64, step: f64) {
    let mut floor = top;
    for height in heights.iter_mut() {
        *height = height.max(floor);
        floor = *height + step;
    }
    let mut ceiling = bottom;
    for height in heights.iter_mut().rev() {
        *height = height.min(ceiling);
        ceiling = *height - step;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_never_overlap() {
        for mut heights in [vec![100.0, 100.0, 101.0], vec![270.0, 271.0, 271.5, 272.0], vec![0.0, 1.0]] {
            spread_out(&mut heights, 20.0, 272.0, LABEL_STEP);
            for pair in heights.windows(2) {
                assert!(pair[1] - pair[0] >= LABEL_STEP - 1e-9, "{heights:?}");
            }
            assert!(heights.iter().all(|h| (20.0..=272.0).contains(h)), "{heights:?}");
        }
    }

    #[test]
    fn an_exact_axis_ends_where_it_is_told_to() {
        let axis = Axis::exactly("s", 121.3, 181.2);
        assert_eq!((axis.low, axis.high), (121.3, 181.2));
        let marks: Vec<&str> = axis.ticks.iter().map(|tick| tick.1.as_str()).collect();
        assert_eq!(marks, ["130", "140", "150", "160", "170", "180"]);
        for (low, high) in [(0.0, 3.1), (9.93, 10.07), (0.0, 600.0), (5.5, 16.2)] {
            let axis = Axis::exactly("s", low, high);
            assert!((4..=14).contains(&axis.ticks.len()), "{low} to {high}: {:?}", axis.ticks);
            assert!(axis.ticks.iter().all(|tick| tick.0 >= low - 1e-9 && tick.0 <= high + 1e-9));
        }
    }

    #[test]
    fn linear_axes_have_round_marks_and_hold_their_range() {
        let axis = Axis::linear("dB", -3.4, 1.2, true);
        let marks: Vec<&str> = axis.ticks.iter().map(|tick| tick.1.as_str()).collect();
        assert_eq!(marks, ["-4", "-3", "-2", "-1", "0", "+1", "+2"]);
        assert!(axis.low <= -3.4 && axis.high >= 1.2);
        assert_eq!(Axis::linear("kHz", 0.0, 16.0, false).low, 0.0);
        assert_eq!(axis.place(-4.0), 0.0);
        assert_eq!(axis.place(99.0), 1.0);
    }
}
