//! A deck that is followed live: one picture as a screen of characters, as a line of text, as a line of JSON.
//!
//! Every view is drawn by a file of its own. What stands around it (what plays, levels, what is wrong, keys) is the same
//! for all.

mod azimuth;
mod bar;
mod bias;
mod big;
mod chart;
mod frame;
mod level;
mod line;
mod look;
mod noise;
mod response;
mod said;
mod speed;
mod xy;

pub use line::{json_line, kept_line, plain_line};
pub use look::{Colours, Look};

use crate::reading::{Picture, Shown};
use look::{STRONG, Sheet};
use ratatui_core::buffer::Buffer;
use ratatui_core::layout::Rect;

/// Draws `picture` into the part `area` of `buffer`, which is cleared before.
///
/// From 80 columns and 24 rows on all is there, and digits grow with the room. Below that it is said in plain lines, as far
/// as they go.
pub fn draw(picture: &Picture, area: Rect, buffer: &mut Buffer, look: Look) {
    let area = area.intersection(buffer.area);
    for row in area.rows() {
        for cell in row.columns() {
            buffer[(cell.x, cell.y)].reset();
        }
    }
    let mut sheet = Sheet::new(buffer, area, look);
    if sheet.width() < frame::WIDTH || sheet.height() < frame::HEIGHT {
        return frame::small(&mut sheet, picture);
    }
    let (y, rows) = frame::draw(&mut sheet, picture);
    let width = sheet.width();
    let mut part = sheet.part(0, y, width, rows);
    match &picture.shown {
        Shown::Nothing { why } => {
            let y = rows / 3;
            part.text(0, y, &format!("No figure of {} now.", picture.view.as_str()), STRONG);
            part.wrapped(y + 2, rows.saturating_sub(y + 2), why, STRONG);
        }
        Shown::Azimuth(now) => azimuth::draw(&mut part, picture, now),
        Shown::Level(now) => level::draw(&mut part, picture, now),
        Shown::Bias(now) => bias::draw(&mut part, picture, now),
        Shown::Speed(now) => speed::draw(&mut part, picture, now),
        Shown::Response(now) => response::draw(&mut part, picture, now),
        Shown::Noise(now) => noise::draw(&mut part, picture, now),
    }
}

/// The screen of `picture` as text, without colour: a line a row, blanks at their ends left out. For tests.
#[cfg(feature = "internals")]
pub fn screen_text(picture: &Picture, width: u16, height: u16) -> String {
    let area = Rect::new(0, 0, width, height);
    let mut buffer = Buffer::empty(area);
    draw(picture, area, &mut buffer, Look { colours: Colours::Off });
    let mut text = String::new();
    for y in 0..height {
        let line: String = (0..width).map(|x| buffer[(x, y)].symbol()).collect();
        text += line.trim_end();
        text.push('\n');
    }
    text
}
