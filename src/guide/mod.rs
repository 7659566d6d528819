//! The guide: pages for the bench, one subject a page.
//!
//! `deckproof guide` prints them. Their texts stand in `src/guide/*.md` and nowhere else; their commands are run by a test.

mod plain;

use plain::{plain, wrapped};
use std::fmt::Write;

/// Widest line that is printed, columns.
const WIDTH: usize = 100;

/// Each page once, in the order of the list: its name, and the module that holds its text in the documentation.
macro_rules! pages {
    ($($name:literal $module:ident,)*) => {
        $(
            #[doc = include_str!(concat!($name, ".md"))]
            pub mod $module {}
        )*

        /// Names and texts of the pages.
        const PAGES: &[(&str, &str)] = &[$(($name, include_str!(concat!($name, ".md"))),)*];
    };
}

pages! {
    "cautions" cautions,
    "first-job" first_job,
    "programmes" programmes,
    "circumstances" circumstances,
    "report" report,
    "compare" compare,
    "bench" bench,
    "follow" follow,
    "recording" recording,
    "no-calibration-tape" no_calibration_tape,
    "house-tape" house_tape,
    "unslated" unslated,
    "azimuth" azimuth,
    "injection" injection,
    "flutter" flutter,
    "causes" causes,
    "limits" limits,
    "millivolts" millivolts,
    "uncertainty" uncertainty,
    "warnings" warnings,
    "recipes" recipes,
    "rehearse" rehearse,
    "sound-card" sound_card,
    "files" files,
    "measures" measures,
    "cannot" cannot,
}

/// Names of the pages.
pub(crate) fn names() -> impl Iterator<Item = &'static str> {
    PAGES.iter().map(|page| page.0)
}

/// The list of pages, a line each: name and title.
pub(crate) fn list() -> String {
    let title = |text: &'static str| text.lines().next().unwrap_or_default().trim_start_matches("# ");
    let mut list = String::new();
    for (name, text) in PAGES {
        // Writing to a String does not fail.
        let _ = writeln!(list, "  {name:<w$}  {}", title(text), w = longest_name());
    }
    list
}

/// The page `name` as plain text.
pub(crate) fn page(name: &str) -> Option<String> {
    PAGES.iter().find(|page| page.0 == name).map(|page| plain(page.1, WIDTH))
}

/// The lines that hold `words`, each behind the name of its page; capitals do not matter, nor does the end of a line.
pub(crate) fn find(words: &str) -> String {
    let even = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
    let words = even(words);
    let room = WIDTH - 2 - longest_name();
    let hanging = format!("\n{}", " ".repeat(WIDTH - room));
    let mut found = String::new();
    for (name, text) in PAGES {
        let text = plain(text, room);
        let lines: Vec<&str> = text.lines().collect();
        let holds = |text: &str| even(text).contains(&words);
        // What goes over the end of a line stands in this one and the next, and in neither alone.
        let across = |k: usize| {
            let next = lines.get(k + 1).copied().unwrap_or_default();
            holds(&format!("{} {next}", lines[k])) && !holds(lines[k]) && !holds(next)
        };
        for (k, line) in lines.iter().enumerate() {
            if holds(line) || across(k) || k > 0 && across(k - 1) {
                // A row of a table keeps its columns where there is room.
                let line = line.trim();
                let fits = line.chars().count() <= room;
                let shown = if fits { line.to_owned() } else { wrapped(line, room).join(&hanging) };
                let _ = writeln!(found, "{name:<w$}  {shown}", w = longest_name());
            }
        }
    }
    found
}

fn longest_name() -> usize {
    names().map(str::len).max().unwrap_or(0)
}
