//! Bars: how far a figure stands from where it should, and how high a level is.

use super::look::{PLAIN, STRONG, Sheet};
use crate::reading::figures::given;
use ratatui_core::style::Style;

/// A bar around the place where a figure should stand. Near that place it is drawn wider: its scale goes by the square
/// root, so that the last turn is seen and the first one is still on it.
pub(super) struct Around {
    /// How far the figure is off.
    pub off: Option<f64>,
    /// How far it may be off, either way.
    pub limit: Option<f64>,
    /// How far off it was at best.
    pub best: Option<f64>,
    /// How far the bar reaches, either way.
    pub span: f64,
    /// Style of what is filled.
    pub style: Style,
}

/// How far a bar reaches if the limit is known: that stands in the middle of either half then.
pub(super) fn span(limit: Option<f64>, otherwise: f64) -> f64 {
    limit.filter(|limit| limit.is_finite() && *limit > 0.0).map_or(otherwise, |limit| 4.0 * limit)
}

impl Around {
    /// Rows that it takes, if the filled part takes `thick` of them.
    pub const fn rows(thick: usize) -> usize {
        thick + 2
    }

    /// Draws it from row `y` on: the filled part, the axis with its marks, and the numbers below them.
    pub fn draw(&self, sheet: &mut Sheet<'_>, y: usize, thick: usize) {
        let half = sheet.width().saturating_sub(1) / 2;
        if half < 8 {
            return;
        }
        let column = |off: f64| {
            let share = (off.abs() / self.span).sqrt().min(1.0).copysign(off);
            // Within 0 to twice `half`.
            (half as f64 + (share * half as f64).round()) as usize
        };
        if let Some(off) = self.off.filter(|off| off.is_finite()) {
            let at = column(off);
            let (from, to) = (at.min(half), at.max(half));
            let mut fill: Vec<char> = vec!['\u{2588}'; to - from + 1];
            if off > self.span {
                fill[to - from] = '>';
            } else if off < -self.span {
                fill[0] = '<';
            }
            let fill: String = fill.into_iter().collect();
            for row in 0..thick {
                sheet.text(from, y + row, &fill, self.style);
            }
        }
        let axis = y + thick;
        sheet.text(0, axis, &"\u{2500}".repeat(2 * half + 1), PLAIN);
        sheet.text(0, axis, "\u{251c}", PLAIN);
        sheet.text(2 * half, axis, "\u{2524}", PLAIN);
        sheet.text(half, axis, "\u{253c}", PLAIN);
        let limit = self.limit.filter(|limit| limit.is_finite() && *limit > 0.0 && *limit < self.span);
        if let Some(limit) = limit {
            sheet.text(column(-limit), axis, "[", STRONG);
            sheet.text(column(limit), axis, "]", STRONG);
        }
        if let Some(best) = self.best.filter(|best| best.is_finite()) {
            sheet.text(column(best), axis, "o", STRONG);
        }
        let mut label = |column: usize, text: &str| {
            let most = (2 * half + 1).saturating_sub(text.len());
            sheet.text(column.saturating_sub(text.len() / 2).min(most), axis + 1, text, PLAIN);
        };
        label(0, &format!("-{}", given(self.span, 1)));
        label(2 * half, &format!("+{}", given(self.span, 1)));
        label(half, "0");
        if let Some(limit) = limit {
            let text = given(limit, 2);
            label(column(-limit), &format!("-{text}"));
            label(column(limit), &format!("+{text}"));
        }
    }
}

/// A level between two others as a filled line of `width` cells; `mark` stands as `|`.
pub(super) fn filled(value: Option<f64>, mark: Option<f64>, from: f64, to: f64, width: usize) -> String {
    let cell = |value: f64| ((value - from) / (to - from)).clamp(0.0, 1.0) * width as f64;
    let until = value.filter(|value| value.is_finite()).map_or(0, |value| cell(value).round() as usize);
    let mut cells: Vec<char> = (0..width).map(|k| if k < until { '\u{2588}' } else { '\u{b7}' }).collect();
    if let Some(mark) = mark.filter(|mark| mark.is_finite())
        && width > 0
    {
        cells[(cell(mark) as usize).min(width - 1)] = '|';
    }
    cells.into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::show::live::look::{Colours, Look};
    use ratatui_core::buffer::Buffer;
    use ratatui_core::layout::Rect;

    /// The rows of a bar of 41 columns that reaches 16 either way.
    fn rows(off: f64, limit: Option<f64>, best: Option<f64>) -> Vec<String> {
        let area = Rect::new(0, 0, 41, 3);
        let mut buffer = Buffer::empty(area);
        let mut sheet = Sheet::new(&mut buffer, area, Look { colours: Colours::Off });
        Around { off: Some(off), limit, best, span: 16.0, style: PLAIN }.draw(&mut sheet, 0, 1);
        (0..3).map(|y| (0..41).map(|x| buffer[(x, y)].symbol()).collect()).collect()
    }

    #[test]
    fn a_figure_at_its_limit_reaches_the_mark_and_one_beyond_the_bar_points_out() {
        for (off, fill) in [
            (4.0, format!("{}{}", " ".repeat(20), "\u{2588}".repeat(11))),
            (-4.0, format!("{}{}", " ".repeat(10), "\u{2588}".repeat(11))),
            (0.0, format!("{}\u{2588}", " ".repeat(20))),
            (16.0, format!("{}{}", " ".repeat(20), "\u{2588}".repeat(21))),
            (17.0, format!("{}{}>", " ".repeat(20), "\u{2588}".repeat(20))),
            (-1e6, format!("<{}", "\u{2588}".repeat(20))),
            (f64::NAN, String::new()),
        ] {
            let rows = rows(off, Some(4.0), Some(-1.0));
            assert_eq!(rows[0].trim_end(), fill, "{off}");
            assert_eq!(
                rows[1].replace('\u{2500}', " ").trim(),
                "\u{251c}         [    o    \u{253c}         ]         \u{2524}"
            );
            assert_eq!(rows[2].trim(), "-16      -4         0        +4       +16");
        }
        assert_eq!(span(Some(4.0), 7.0), 16.0);
        assert_eq!([None, Some(0.0), Some(f64::NAN)].map(|limit| span(limit, 7.0)), [7.0; 3]);
    }

    #[test]
    fn a_level_fills_its_share() {
        assert_eq!(
            filled(Some(-30.0), Some(-6.0), -60.0, 0.0, 10),
            "\u{2588}\u{2588}\u{2588}\u{2588}\u{2588}\u{b7}\u{b7}\u{b7}\u{b7}|"
        );
        assert_eq!(filled(None, None, -60.0, 0.0, 3), "\u{b7}\u{b7}\u{b7}");
        assert_eq!(filled(Some(99.0), Some(99.0), -60.0, 0.0, 3), "\u{2588}\u{2588}|");
        assert_eq!(filled(Some(1.0), Some(1.0), 0.0, 2.0, 0), "");
    }
}
