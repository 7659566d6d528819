//! How a live screen looks, and the sheet that views write on.
//!
//! Foreground and background are the terminal's own, so that light and dark ones both read. Colour says nothing that does
//! not stand in words as well.

use crate::harmless::harmless;
use crate::reading::Verdict;
use ratatui_core::buffer::Buffer;
use ratatui_core::layout::Rect;
use ratatui_core::style::{Color, Modifier, Style};

/// Whether verdicts are coloured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Colours {
    /// Bold, underlined and reversed only.
    Off,
    /// The same, and colour for verdicts.
    On,
}

/// How a live screen looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// Whether verdicts are coloured.
    pub colours: Colours,
}

/// What is said as it is.
pub(super) const PLAIN: Style = Style::new();
/// What is seen first.
pub(super) const STRONG: Style = Style::new().add_modifier(Modifier::BOLD);
/// What is wrong, and what is chosen.
pub(super) const REVERSED: Style = Style::new().add_modifier(Modifier::REVERSED).add_modifier(Modifier::BOLD);

impl Look {
    /// Words of a verdict.
    pub(super) fn verdict(self, verdict: Option<Verdict>) -> Style {
        match verdict {
            Some(Verdict::Outside) => self.coloured(REVERSED, Color::Red),
            Some(Verdict::Within) => self.coloured(STRONG, Color::Green),
            Some(Verdict::Marginal) => STRONG.add_modifier(Modifier::UNDERLINED),
            Some(Verdict::CannotTell) | None => STRONG,
        }
    }

    /// Digits of a figure with a verdict: blocks, which must not be reversed.
    pub(super) fn digits(self, verdict: Option<Verdict>) -> Style {
        match verdict {
            Some(Verdict::Outside) => self.coloured(STRONG, Color::Red),
            Some(Verdict::Within) => self.coloured(STRONG, Color::Green),
            _ => STRONG,
        }
    }

    fn coloured(self, style: Style, colour: Color) -> Style {
        if self.colours == Colours::On { style.fg(colour) } else { style }
    }
}

/// A part of the screen. What lies beyond it is not drawn.
pub(super) struct Sheet<'a> {
    buffer: &'a mut Buffer,
    area: Rect,
    /// How it looks.
    pub look: Look,
}

impl<'a> Sheet<'a> {
    /// The part `area` of `buffer`, as far as it lies inside.
    pub fn new(buffer: &'a mut Buffer, area: Rect, look: Look) -> Self {
        let area = area.intersection(buffer.area);
        Self { buffer, area, look }
    }

    /// Columns.
    pub fn width(&self) -> usize {
        self.area.width.into()
    }

    /// Rows.
    pub fn height(&self) -> usize {
        self.area.height.into()
    }

    /// The rectangle at `x`, `y` of this one, as far as it lies inside.
    pub fn part(&mut self, x: usize, y: usize, width: usize, height: usize) -> Sheet<'_> {
        let clipped = |from: usize, most: u16| u16::try_from(from).unwrap_or(u16::MAX).min(most);
        let (x, y) = (clipped(x, self.area.width), clipped(y, self.area.height));
        let area = Rect {
            x: self.area.x + x,
            y: self.area.y + y,
            width: clipped(width, self.area.width - x),
            height: clipped(height, self.area.height - y),
        };
        Sheet { buffer: &mut *self.buffer, area, look: self.look }
    }

    /// Writes `text` at `x`, `y`; what it would do to a terminal is written out. Returns the column behind it.
    pub fn text(&mut self, x: usize, y: usize, text: &str, style: Style) -> usize {
        if x >= self.width() || y >= self.height() {
            return x;
        }
        // Both are inside of the area, whose sides are u16.
        let (left, top) = (self.area.x + x as u16, self.area.y + y as u16);
        let (end, _) = self.buffer.set_stringn(left, top, harmless(text), self.width() - x, style);
        usize::from(end - self.area.x)
    }

    /// Writes `text` so that it ends in the last column.
    pub fn text_right(&mut self, y: usize, text: &str, style: Style) {
        self.text(self.width().saturating_sub(text.chars().count()), y, text, style);
    }

    /// Writes `text` from `y` on in as many rows as it takes, at most `rows`; returns the row below it.
    pub fn wrapped(&mut self, y: usize, rows: usize, text: &str, style: Style) -> usize {
        let mut lines = folded(&harmless(text), self.width());
        if lines.len() > rows {
            lines.truncate(rows);
            let room = self.width().saturating_sub(3);
            if let Some(last) = lines.last_mut() {
                *last = last.chars().take(room).chain("...".chars()).collect();
            }
        }
        for (k, line) in lines.iter().enumerate() {
            self.text(0, y + k, line, style);
        }
        y + lines.len()
    }
}

/// `text` in lines of at most `room` characters, broken at spaces where it can.
pub(super) fn folded(text: &str, room: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut used = 0;
    for word in text.split_whitespace() {
        let letters: Vec<char> = word.chars().collect();
        if used > 0 && used + 1 + letters.len() > room {
            lines.push(String::new());
            used = 0;
        }
        for (k, letter) in letters.into_iter().enumerate() {
            if used >= room.max(1) {
                lines.push(String::new());
                used = 0;
            }
            if let Some(line) = lines.last_mut() {
                if k == 0 && used > 0 {
                    line.push(' ');
                    used += 1;
                }
                line.push(letter);
                used += 1;
            }
        }
    }
    lines
}
