//! A picture in SVG: lines, text, boxes. Coordinates have one decimal, so that the same figures give the same bytes.

use crate::harmless::harmless;
use crate::show::words::with_signs;
use std::fmt::Write;

/// Text made harmless, and safe for XML and HTML.
pub(in crate::show) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in harmless(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// Size of all text, in units of the picture: half as large on a narrow screen.
pub(super) const FONT: f64 = 18.0;

/// How far a triangle on a peak reaches above it.
pub(super) const PEAK: f64 = 15.0;

/// Where text stands to its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

impl Anchor {
    fn word(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Middle => "middle",
            Self::End => "end",
        }
    }
}

/// How a line is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stroke {
    /// Left channel: solid.
    Left,
    /// Right channel: dashed.
    Right,
    /// Anything that has one line only: solid.
    Single,
    /// Limit: fine dots.
    Limit,
    /// A fit through points: long dashes.
    Fit,
    /// Grid.
    Grid,
    /// Axis and its ticks.
    Axis,
    /// From a label to what it names, and hatching: thin.
    Thin,
}

impl Stroke {
    /// Class, colour, width and dashes. Colours are for those who see them; the dashes tell as much.
    fn look(self) -> (&'static str, &'static str, f64, &'static str) {
        match self {
            Self::Left => ("left", "#1b5e9b", 2.0, ""),
            Self::Right => ("right", "#a84400", 2.0, "7 4"),
            Self::Single => ("single", "#1b5e9b", 1.6, ""),
            Self::Limit => ("limit", "#555555", 1.2, "2 3"),
            Self::Fit => ("fit", "#a84400", 1.6, "12 4"),
            Self::Grid => ("grid", "#d4d4d4", 0.7, ""),
            Self::Axis => ("axis", "#333333", 1.0, ""),
            Self::Thin => ("thin", "#777777", 0.8, ""),
        }
    }
}

/// A picture that grows.
pub(super) struct Svg {
    width: f64,
    height: f64,
    title: String,
    body: String,
}

impl Svg {
    /// An empty picture of so many units; `title` is what is read to those who do not see it.
    pub(super) fn new(width: f64, height: f64, title: &str) -> Self {
        Self { width, height, title: escaped(&with_signs(title)), body: String::new() }
    }

    /// A line through the points, `weight` times as wide as usual; nothing if there are fewer than two.
    pub(super) fn line(&mut self, points: &[(f64, f64)], stroke: Stroke, weight: f64) {
        if points.len() < 2 {
            return;
        }
        let (class, colour, width, dashes) = stroke.look();
        let width = (100.0 * width * weight).round() / 100.0;
        let dashes =
            if dashes.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{dashes}\"") };
        let at: Vec<String> = points.iter().map(|(x, y)| format!("{x:.1},{y:.1}")).collect();
        // Writing to a String cannot fail.
        let _ = writeln!(
            self.body,
            "<polyline class=\"{class}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\"{dashes} points=\"{}\"/>",
            at.join(" ")
        );
    }

    /// A filled shape in the colour of `stroke`, as opaque as `share` (0 to 1), without an edge; nothing if there are fewer
    /// than three points.
    pub(super) fn area(&mut self, points: &[(f64, f64)], stroke: Stroke, share: f64) {
        if points.len() < 3 {
            return;
        }
        let (class, colour, ..) = stroke.look();
        let at: Vec<String> = points.iter().map(|(x, y)| format!("{x:.1},{y:.1}")).collect();
        let _ = writeln!(
            self.body,
            "<polygon class=\"area {class}\" stroke=\"none\" fill=\"{colour}\" fill-opacity=\"{share:.2}\" points=\"{}\"/>",
            at.join(" ")
        );
    }

    /// A measured point, `half` its size: filled disc for left, open square for right, filled disc otherwise.
    pub(super) fn mark(&mut self, (x, y): (f64, f64), stroke: Stroke, half: f64) {
        let (class, colour, ..) = stroke.look();
        let _ = if stroke == Stroke::Right {
            writeln!(
                self.body,
                "<rect class=\"{class}\" x=\"{:.1}\" y=\"{:.1}\" width=\"{size:.1}\" height=\"{size:.1}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"1.4\"/>",
                x - half,
                y - half,
                size = 2.0 * half
            )
        } else {
            writeln!(
                self.body,
                "<circle class=\"{class} dot\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{half:.1}\" fill=\"{colour}\"/>"
            )
        };
    }

    /// A ring around a point.
    pub(super) fn ring(&mut self, (x, y): (f64, f64), radius: f64) {
        let _ = writeln!(
            self.body,
            "<circle class=\"ring\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{radius:.1}\" fill=\"none\" stroke=\"#333333\" stroke-width=\"1.6\"/>"
        );
    }

    /// A triangle that stands with its point just above `(x, y)`: filled for left, open for right.
    pub(super) fn peak(&mut self, (x, y): (f64, f64), stroke: Stroke) {
        let (class, colour, ..) = stroke.look();
        let (dot, fill) = if stroke == Stroke::Right { ("", "none") } else { (" dot", colour) };
        let _ = writeln!(
            self.body,
            "<path class=\"{class}{dot}\" d=\"M{x:.1} {:.1}l-5.5 {:.1}h11z\" fill=\"{fill}\" stroke=\"{colour}\" stroke-width=\"1.4\"/>",
            y - 5.0,
            5.0 - PEAK
        );
    }

    /// Text with its baseline at the point.
    pub(super) fn text(&mut self, (x, y): (f64, f64), anchor: Anchor, text: &str) {
        let anchor = anchor.word();
        let _ = writeln!(
            self.body,
            "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" fill=\"#333333\">{}</text>",
            escaped(&with_signs(text))
        );
    }

    /// Text that may lie over lines: they are blotted out around it.
    pub(super) fn text_over(&mut self, (x, y): (f64, f64), anchor: Anchor, text: &str) {
        let anchor = anchor.word();
        let _ = writeln!(
            self.body,
            "<text class=\"over\" x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" fill=\"#333333\" stroke=\"#ffffff\" \
             stroke-width=\"3\" stroke-linejoin=\"round\" paint-order=\"stroke\">{}</text>",
            escaped(&with_signs(text))
        );
    }

    /// Text that runs upwards, its middle at the point.
    pub(super) fn text_upwards(&mut self, (x, y): (f64, f64), text: &str) {
        let _ = writeln!(
            self.body,
            "<text transform=\"translate({x:.1} {y:.1}) rotate(-90)\" text-anchor=\"middle\" fill=\"#333333\">{}</text>",
            escaped(&with_signs(text))
        );
    }

    /// The finished picture.
    pub(super) fn finish(self) -> String {
        let Self { width, height, title, body } = self;
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width:.0} {height:.0}\" role=\"img\" \
             font-family=\"system-ui, sans-serif\" font-size=\"{FONT}\">\n<title>{title}</title>\n\
             <rect class=\"paper\" width=\"{width:.0}\" height=\"{height:.0}\" fill=\"#ffffff\"/>\n{body}</svg>\n"
        )
    }
}
