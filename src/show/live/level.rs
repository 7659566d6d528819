//! Level: left and right in large digits, how far from the target, and the difference between the channels.

use super::bar::{Around, span};
use super::look::{PLAIN, STRONG, Sheet};
use super::{big, said};
use crate::reading::figures::UnitKind;
use crate::reading::{LevelNow, Picture};

const WIDEST: &str = "-88.88";
/// Reach of a bar where no limit is known, dB.
const SPAN_DB: f64 = 12.0;
/// Lines below the bars.
const BELOW: usize = 5;

/// Draws it.
pub(super) fn draw(sheet: &mut Sheet<'_>, picture: &Picture, now: &LevelNow) {
    let (width, height) = (sheet.width(), sheet.height());
    let thick = 1 + height / 20;
    let half = width / 2;
    let verdict = picture.figure.as_ref().and_then(|figure| figure.verdict);
    let style = sheet.look.digits(verdict);
    let is_on_deck = now.deck_db.iter().any(Option::is_some);
    let (levels, unit) = match is_on_deck {
        true => (now.deck_db, "dB re the deck's 0"),
        false => (now.dbfs, "dBFS"),
    };
    let tone = now.hz.map_or("all that plays".to_owned(), |hz| format!("tone {}", said::hertz(hz)));
    for (channel, name) in ["left", "right"].into_iter().enumerate() {
        sheet.part(channel * half, 0, half, 1).text(0, 0, &format!("{name}, {unit}"), STRONG);
    }
    sheet.text_right(0, &tone, PLAIN);
    let kind = if is_on_deck { UnitKind::Db } else { UnitKind::Dbfs };
    let number = |channel: usize| {
        let figure = said::figure(kind, levels[channel], now.uncertainty_db[channel])?;
        Some(if is_on_deck { figure.signed().number() } else { figure.number() })
    };
    let rows = height.saturating_sub(3 + Around::rows(thick) + BELOW);
    let y = big::pair(sheet, 1, rows, &[number(0), number(1)], WIDEST, style);
    for channel in 0..2 {
        let mut part = sheet.part(channel * half, y, half.saturating_sub(2), 1 + Around::rows(thick));
        part.text(0, 0, &others(now, channel, is_on_deck), PLAIN);
        let off = |target: f64| Some(said::finite(now.dbfs[channel])? - target);
        if let Some(target) = said::finite(now.target_dbfs[channel]) {
            let span = span(now.limit_db, SPAN_DB);
            let bar = Around { off: off(target), limit: now.limit_db, best: None, span, style };
            bar.draw(&mut part, 1, thick);
        } else {
            part.text(0, 1, "target not told", PLAIN);
        }
    }
    let y = y + 1 + Around::rows(thick);
    let room = height.saturating_sub(y);
    for (k, (text, style)) in lines(picture, now, sheet).into_iter().take(room).enumerate() {
        sheet.text(0, y + k, &text, style);
    }
}

/// The same level in other units.
fn others(now: &LevelNow, channel: usize, is_on_deck: bool) -> String {
    let dbfs = said::figure(UnitKind::Dbfs, now.dbfs[channel], now.uncertainty_db[channel]);
    let mv = said::figure(UnitKind::Millivolts, now.mv[channel], None);
    let dbfs = dbfs.filter(|_| is_on_deck).map(|figure| figure.to_string());
    let target = said::figure(UnitKind::Dbfs, now.target_dbfs[channel], None);
    let target = target.map(|target| format!("target {target}"));
    let all = dbfs.into_iter().chain(mv.map(|figure| figure.to_string())).chain(target);
    all.collect::<Vec<_>>().join(", ")
}

/// Difference, verdict, and what it is compared with.
fn lines(picture: &Picture, now: &LevelNow, sheet: &Sheet<'_>) -> Vec<(String, ratatui_core::style::Style)> {
    let db = |value| said::deviation(UnitKind::Db, value, None);
    let limit = said::finite(now.match_limit_db);
    let limit = limit
        .map_or(String::new(), |limit| format!(", limit +-{} dB", crate::reading::figures::given(limit, 2)));
    let mut lines = Vec::new();
    if let Some(figure) = &picture.figure {
        lines.push((said::turned_and_judged(figure), sheet.look.verdict(figure.verdict)));
    }
    if picture.figure.as_ref().map(|figure| figure.value) != now.difference_db {
        lines.push((format!("left minus right {}{limit}", db(now.difference_db)), STRONG));
    }
    for (name, pair) in
        [("against what was held", now.against_held_db), ("tape minus source", now.against_source_db)]
    {
        if pair.iter().any(Option::is_some) {
            lines.push((format!("{name}: {}", said::both(pair, db)), PLAIN));
        }
    }
    lines
}
