//! Axes with units, and the frame that lines are drawn into.

use super::room::{ASCENT, Label, Room, Way, across};
use super::svg::{Anchor, PEAK, Stroke, Svg};
use crate::reading::figures::given;

const WIDTH: f64 = 760.0;
const HEIGHT: f64 = 380.0;
const LEFT: f64 = 92.0;
/// Right end of the axes where labels beside them are short, and where they are long.
const RIGHT: f64 = 640.0;
const RIGHT_LONG: f64 = 484.0;
pub(super) const TOP: f64 = 16.0;
pub(super) const BOTTOM: f64 = 306.0;
/// Least distance between two labels above each other.
pub(super) const LABEL_STEP: f64 = 20.0;
/// Lines of a list at the right edge.
pub(super) const LIST_LINES: usize = ((BOTTOM - TOP) / LABEL_STEP) as usize;
/// Characters that a long label has room for, about.
pub(super) const LONG_LABEL: usize = 26;
/// Half the size of a mark on a line of usual width, and of a ring.
const MARK: f64 = 3.0;
const RING: f64 = 8.0;

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
    /// What is drawn, for labels to stand clear of.
    room: Room,
    /// Rings, named last.
    rings: Vec<((f64, f64), String)>,
    /// Labels at the right edge, drawn last.
    ends: Vec<End>,
}

/// A label at the right edge: height wished for, where its line ends, text.
struct End {
    y: f64,
    x: Option<f64>,
    text: String,
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
        let mut labelled = 0.0;
        for (value, text) in &x.ticks {
            let at = LEFT + x.place(*value) * (right - LEFT);
            svg.line(&[(at, TOP), (at, BOTTOM)], Stroke::Grid, 1.0);
            // Where marks are close, not each has room for its number.
            if at - 0.55 * across(text) > labelled {
                svg.text((at, BOTTOM + 25.0), Anchor::Middle, text);
                labelled = at + 0.55 * across(text) + 5.0;
            }
        }
        for (value, text) in &y.ticks {
            let at = BOTTOM - y.place(*value) * (BOTTOM - TOP);
            svg.line(&[(LEFT, at), (right, at)], Stroke::Grid, 1.0);
            svg.text((LEFT - 8.0, at + 6.5), Anchor::End, text);
        }
        svg.line(&[(LEFT, TOP), (LEFT, BOTTOM), (right, BOTTOM)], Stroke::Axis, 1.0);
        svg.text(((LEFT + right) / 2.0, BOTTOM + 55.0), Anchor::Middle, &x.label);
        svg.text_upwards((20.0, (TOP + BOTTOM) / 2.0), &y.label);
        let room = Room::between([LEFT + 2.0, TOP, right - 2.0, BOTTOM]);
        Self { svg, x, y, right, room, rings: Vec::new(), ends: Vec::new() }
    }

    pub(super) fn at(&self, x: f64, y: f64) -> (f64, f64) {
        (LEFT + self.x.place(x) * (self.right - LEFT), BOTTOM - self.y.place(y) * (BOTTOM - TOP))
    }

    /// A line through measured values with its name at the right end; values outside the axis lie on the edge.
    pub(super) fn line(&mut self, points: &[(f64, f64)], stroke: Stroke, name: &str) {
        self.weighted(points, stroke, 1.0, name);
    }

    /// The same, `weight` times as wide.
    pub(super) fn weighted(&mut self, points: &[(f64, f64)], stroke: Stroke, weight: f64, name: &str) {
        let at: Vec<_> = points.iter().map(|&(x, y)| self.at(x, y)).collect();
        self.svg.line(&at, stroke, weight);
        if stroke != Stroke::Thin {
            self.room.draw(&at);
        }
        if let Some(&(x, y)) = at.last().filter(|_| !name.is_empty()) {
            self.ends.push(End { y, x: Some(x), text: name.to_owned() });
        }
    }

    /// Marks without a line between them.
    pub(super) fn marks(&mut self, points: &[(f64, f64)], stroke: Stroke) {
        self.marks_weighted(points, stroke, 1.0);
    }

    /// The same for a line `weight` times as wide.
    pub(super) fn marks_weighted(&mut self, points: &[(f64, f64)], stroke: Stroke, weight: f64) {
        let half = (MARK * weight).clamp(0.6 * MARK, 1.3 * MARK);
        for &(x, y) in points {
            let at = self.at(x, y);
            self.svg.mark(at, stroke, half);
            self.room.draw(&[(at.0, at.1 - half), (at.0, at.1 + half)]);
        }
    }

    /// Where a limit wants the values to lie: a shade, with a thin edge for eyes and printers that lose the shade.
    pub(super) fn mask(&mut self, outline: &[(f64, f64)]) {
        self.area(outline, Stroke::Limit, 0.16);
        let closed: Vec<_> = outline.iter().chain(outline.first()).copied().collect();
        self.line(&closed, Stroke::Thin, "");
    }

    /// A ring around the point that a finding is judged by, and what it reads there.
    pub(super) fn ring(&mut self, (x, y): (f64, f64), text: &str) {
        let at = self.at(x, y);
        self.svg.ring(at, RING);
        self.rings.push((at, text.to_owned()));
    }

    /// Names the rings: of two above each other the upper one above, the lower one below, so that no pointer crosses a ring.
    fn name_rings(&mut self) {
        let mut rings = std::mem::take(&mut self.rings);
        rings.sort_by(|a, b| a.0.1.total_cmp(&b.0.1));
        for (k, (at, text)) in rings.iter().enumerate() {
            let near = |others: &[((f64, f64), String)]| {
                others.iter().any(|other| (other.0.0 - at.0).abs() < 4.0 * RING)
            };
            let ways: &[Way] = match (near(&rings[..k]), near(&rings[k + 1..])) {
                (true, false) => &[Way::Down],
                (false, true) => &[Way::Up],
                _ => &Way::BOTH,
            };
            let wanted = self.room.beside(*at, RING, text, ways, true);
            let label = wanted.or_else(|| self.room.beside(*at, RING, text, &Way::BOTH, true));
            self.tag(*at, RING, text, label);
        }
    }

    /// A triangle on the highest point of a curve, and its name.
    pub(super) fn peak(&mut self, (x, y): (f64, f64), stroke: Stroke, text: &str) {
        let at = self.at(x, y);
        self.svg.peak(at, stroke);
        let tip = (at.0, at.1 - PEAK);
        // Below it the curve lies in between.
        let above = self.room.beside(tip, 1.0, text, &[Way::Up], false);
        let label = above.or_else(|| self.room.beside(tip, 1.0, text, &Way::BOTH, true));
        self.tag(tip, 1.0, text, label);
    }

    /// `text` right above the point `(x, y)`, or further up with a pointer to it; left out where no place is free.
    pub(super) fn name(&mut self, (x, y): (f64, f64), text: &str) {
        let at = self.at(x, y);
        let label = self.room.beside(at, 1.0, text, &[Way::Up], false);
        self.tag(at, 1.0, text, label);
    }

    /// A label that found its place, with its pointer up to `clear` before the tip.
    fn tag(&mut self, tip: (f64, f64), clear: f64, text: &str, label: Option<Label>) {
        let Some(label) = label else { return };
        if let Some(from) = label.pointer {
            let (dx, dy) = (from.0 - tip.0, from.1 - tip.1);
            let far = dx.hypot(dy).max(1.0);
            self.pointer((tip.0 + dx / far * clear, tip.1 + dy / far * clear), from);
        }
        self.svg.text_over(label.at, Anchor::Start, text);
    }

    /// A line from top to bottom at `x`, named at its upper end: to its right where there is room, unless `left` is wanted.
    pub(super) fn upright(&mut self, x: f64, left: bool, text: &str) {
        let (at, _) = self.at(x, self.y.low);
        self.svg.line(&[(at, TOP), (at, BOTTOM)], Stroke::Axis, 1.0);
        self.room.draw(&[(at, TOP), (at, BOTTOM)]);
        let mut sides = [at + 5.0, at - 5.0 - across(text)];
        if left {
            sides.reverse();
        }
        let rows = (0..3).map(|row| TOP + ASCENT + 3.0 + LABEL_STEP * f64::from(row));
        let mut places = rows.flat_map(|baseline| sides.map(|left| (left, baseline)));
        if let Some(place) = places.find(|place| self.room.is_free(*place, text)) {
            self.note(place, Anchor::Start, text);
        }
    }

    /// A filled shape between values, in the colour of `stroke`, as opaque as `share`.
    pub(super) fn area(&mut self, points: &[(f64, f64)], stroke: Stroke, share: f64) {
        let at: Vec<_> = points.iter().map(|&(x, y)| self.at(x, y)).collect();
        self.svg.area(&at, stroke, share);
    }

    /// A line between places of the picture.
    pub(super) fn pointer(&mut self, from: (f64, f64), to: (f64, f64)) {
        self.svg.line(&[from, to], Stroke::Thin, 1.0);
    }

    /// A label at the right edge, as near as may be to `y`, a value.
    pub(super) fn label(&mut self, y: f64, text: &str) {
        let (_, height) = self.at(self.x.high, y);
        self.ends.push(End { y: height, x: None, text: text.to_owned() });
    }

    /// Paragraphs at the right edge, from the top down; all lines of one but the first are set in. What there is no room
    /// for (see [`LIST_LINES`]) is left out.
    pub(super) fn list(&mut self, paragraphs: &[Vec<String>]) {
        let lines = paragraphs.iter().flat_map(|lines| lines.iter().enumerate());
        for (row, (k, line)) in lines.take(LIST_LINES).enumerate() {
            let x = self.right + if k == 0 { 8.0 } else { 22.0 };
            self.svg.text((x, TOP + 12.0 + row as f64 * LABEL_STEP), Anchor::Start, line);
        }
    }

    /// Left and right end of the axes in the picture.
    pub(super) fn sides(&self) -> (f64, f64) {
        (LEFT, self.right)
    }

    /// Text near a point, above it.
    pub(super) fn note(&mut self, at: (f64, f64), anchor: Anchor, text: &str) {
        self.room.take(at, anchor, text);
        self.svg.text_over(at, anchor, text);
    }

    /// The picture, with the labels at the line ends moved apart.
    pub(super) fn finish(mut self) -> String {
        self.name_rings();
        let mut ends = std::mem::take(&mut self.ends);
        ends.sort_by(|a, b| a.y.total_cmp(&b.y));
        let mut heights: Vec<f64> = ends.iter().map(|end| end.y).collect();
        spread_out(&mut heights, TOP + 4.0, BOTTOM, LABEL_STEP);
        for (End { y, x, text }, height) in ends.into_iter().zip(heights) {
            // A label that had to move is led back to its line.
            if let Some(x) = x.filter(|_| (height - y).abs() > 4.0) {
                self.pointer((x + 2.0 * MARK, y), (self.right + 8.0, height));
            }
            self.svg.text((self.right + 11.0, height + 6.5), Anchor::Start, &text);
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
