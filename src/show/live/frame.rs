//! What stands around every view: which view it is, what plays, the levels, what is wrong, and the keys.

use super::bar::filled;
use super::line::parts;
use super::look::{PLAIN, REVERSED, STRONG, Sheet};
use super::{big, said};
use crate::reading::figures::UnitKind;
use crate::reading::{Picture, View};

/// Columns and rows from which on all is shown.
pub(super) const WIDTH: usize = 80;
pub(super) const HEIGHT: usize = 24;

/// Rows above a view.
const ABOVE: usize = 3;
/// Rows of levels, and of keys.
const LEVELS: usize = 2;
const KEYS: usize = 1;
/// Ends of the scale of levels, dBFS: below the first a deck only hisses.
const QUIETEST_DBFS: f64 = -60.0;
const LOUDEST_DBFS: f64 = 0.0;

/// What the keys do, the same in all views.
const KEY_LINE: &str = "0 follow signal  s source  h hold  r reset best  k keep  q quit";

/// Draws the frame; returns the place of the view: its first row and its rows.
pub(super) fn draw(sheet: &mut Sheet<'_>, picture: &Picture) -> (usize, usize) {
    let height = sheet.height();
    views(sheet, picture);
    playing(sheet, picture);
    let wrong = 2 + (height - HEIGHT) / 8;
    let below = LEVELS + wrong + KEYS;
    let rows = height.saturating_sub(ABOVE + below);
    let y = ABOVE + rows;
    levels(sheet, picture, y);
    troubles(sheet, picture, y + LEVELS, wrong);
    sheet.text(0, height - 1, KEY_LINE, PLAIN);
    (ABOVE, rows)
}

/// The views with their keys, the one that is shown in brackets.
fn views(sheet: &mut Sheet<'_>, picture: &Picture) {
    let mut x = 0;
    let mut name = |sheet: &mut Sheet<'_>, text: &str, is_chosen: bool| {
        let (text, style) =
            if is_chosen { (format!("[{text}]"), REVERSED) } else { (format!(" {text} "), PLAIN) };
        x = sheet.text(x, 0, &text, style);
    };
    for (k, view) in View::ALL.into_iter().enumerate() {
        name(sheet, &format!("{} {}", k + 1, view.as_str()), view == picture.view);
    }
    let clock = said::clock(picture.at_s);
    let how = if picture.asked { "asked for" } else { "follows signal" };
    sheet.text_right(0, &format!("{how} {clock}"), PLAIN);
}

/// What plays, where in the programme, and how long it goes on.
fn playing(sheet: &mut Sheet<'_>, picture: &Picture) {
    let heard = &picture.playing;
    let x = sheet.text(0, 1, &said::playing(heard), STRONG);
    // What a key did is read once; what the part is for can be read before and after.
    let purpose = heard.programme.as_ref().map_or("", |place| place.purpose.as_str());
    match &picture.done {
        Some(done) => sheet.wrapped(2, 1, &format!("> {done}"), STRONG),
        None => sheet.wrapped(2, 1, purpose, PLAIN),
    };
    let Some(place) = &heard.programme else { return };
    let left = format!("{} left", said::seconds(place.left_s));
    let room = sheet.width().saturating_sub(x + left.len() + 4);
    let part = format!("programme {}, part {}", place.recipe, place.part);
    // A part that is cut off says nothing.
    let fits = part.chars().count() <= room;
    let part = if fits { part } else { format!("programme {}", place.recipe) };
    sheet.part(x + 2, 1, room, 1).text(0, 0, &part, PLAIN);
    sheet.text_right(1, &left, STRONG);
}

/// Both levels as bars, with peaks and clipping.
fn levels(sheet: &mut Sheet<'_>, picture: &Picture, y: usize) {
    let meters = &picture.meters;
    for (channel, name) in ["left", "right"].into_iter().enumerate() {
        let level = said::told(UnitKind::Dbfs, meters.dbfs[channel], None);
        let peak = said::told(UnitKind::Dbfs, meters.peak_dbfs[channel], None);
        let head = format!("{name:5} {level:>11} ");
        let tail = format!(" peak {peak:>11} ");
        // The last words stand there only when they are true; their room is kept.
        let width = sheet.width().saturating_sub(head.len() + tail.len() + 10);
        let [now, highest] = [meters.dbfs[channel], meters.peak_dbfs[channel]].map(said::finite);
        let bar = filled(now, highest, QUIETEST_DBFS, LOUDEST_DBFS, width);
        let row = y + channel;
        let x = sheet.text(0, row, &head, PLAIN);
        let x = sheet.text(x, row, &bar, PLAIN);
        let x = sheet.text(x, row, &tail, PLAIN);
        if meters.clipped[channel] {
            sheet.text(x, row, " CLIPPING ", REVERSED);
        }
    }
}

/// What is wrong, the newest first.
fn troubles(sheet: &mut Sheet<'_>, picture: &Picture, y: usize, rows: usize) {
    let mut row = y;
    for (k, trouble) in picture.troubles.iter().enumerate() {
        let others = picture.troubles.len() - k - 1;
        let is_last = row + 1 == y + rows;
        let more = if is_last && others > 0 { format!("(and {others} more) ") } else { String::new() };
        row = sheet.wrapped(row, y + rows - row, &format!("! {more}{trouble}"), REVERSED);
        if row >= y + rows {
            break;
        }
    }
}

/// On a screen that is too small: what a line of text would say, what is wrong, how large a screen shows all, and the figure
/// as large as what is left allows.
pub(super) fn small(sheet: &mut Sheet<'_>, picture: &Picture) {
    let (width, rows) = (sheet.width(), sheet.height());
    let verdict = picture.figure.as_ref().and_then(|figure| figure.verdict);
    let style = sheet.look.verdict(verdict);
    let size = format!("{WIDTH} columns by {HEIGHT} lines show all; here are {width} by {rows}");
    let mut y = 0;
    let parts = parts(picture);
    let lines = parts.iter().map(|part| part.text.as_str()).chain([size.as_str(), KEY_LINE]);
    for (k, text) in lines.enumerate() {
        if y < rows {
            y = sheet.wrapped(y, rows - y, text, if k == 0 { style } else { PLAIN });
        }
    }
    if let Some(number) = picture.figure.as_ref().and_then(said::number) {
        let left = rows.saturating_sub(y + 1);
        let size = big::size(&number, width, left);
        let style = sheet.look.digits(verdict);
        big::draw(sheet, big::width(&number, size), y + 1, &number, size, style);
    }
}
