//! Room `show`: a reading as text, JSON, CSV, figures and a report. Nothing here computes.
//!
//! Every output is first a page: sections of tables, lists and paragraphs, each described once. Thin renderers make
//! text, HTML and CSV of it.
//!
//! - [`brief`], [`summary`], [`report`], [`tables`]: a reading on one screen, in full, as one HTML file, and as CSV;
//! - [`plots()`]: SVG figures;
//! - [`comparison`], [`comparison_report`], [`comparison_table`]: several readings against each other;
//! - [`sheet_text`], [`sheet_html`], [`hand_text`], [`next_text`]: the sheet of a job, and what comes next;
//! - [`running_sheet_text`], [`running_sheet_html`]: what plays when, to lie beside the deck;
//! - [`card_text`]: the card of a house tape; [`skew_summary`]: what ordinary music says of azimuth;
//! - [`live`]: a deck that is followed live, as a screen and as lines;
//! - [`to_json`] and [`schema`], and their like: data for other programs.

mod commands;
mod csv;
mod html;
mod json;
pub mod live;
mod page;
mod pages;
mod plot;
mod remedies;
mod render;
mod tables;
mod text;
mod words;

pub use json::{
    card_schema, card_to_json, comparison_json, comparison_schema, schema, skew_schema, skew_to_json, to_json,
};
pub use plot::{FIGURES, Plot, plots};

use crate::judge::Reading;
use crate::judge::{BenchSheet, HandRow, Limits, Step};
use crate::programme::RunningSheet;
use crate::reading::{Card, Comparison, JobState, SkewReading};
use csv::Csv;
use html::Html;
use page::{Block, Page, Section, Tone};
use render::Render;
use text::Text;

/// File names of all tables that a reading may have.
pub const TABLES: [&str; 31] = [
    "response.csv",
    "level.csv",
    "output.csv",
    "phase.csv",
    "noise.csv",
    "saturation-noise.csv",
    "distortion.csv",
    "intermodulation.csv",
    "saturation.csv",
    "separation.csv",
    "source.csv",
    "rounds.csv",
    "bias.csv",
    "bias-sweep.csv",
    "noise-reduction.csv",
    "found.csv",
    "amplifier.csv",
    "causes.csv",
    "unexplained.csv",
    "findings.csv",
    "figures.csv",
    "erasing.csv",
    "noise-bands.csv",
    "hum.csv",
    "flutter-lines.csv",
    "flutter-spectrum.csv",
    "speed-against-time.csv",
    "flutter-stretches.csv",
    "whose-flutter.csv",
    "whose-flutter-lines.csv",
    "dropouts.csv",
];

/// The first screen of the reading: what to do, a line a finding, what could not be judged.
pub fn brief(reading: &Reading) -> String {
    Text::page(&pages::brief::brief_page(reading))
}

/// The whole reading in plain text, lines of at most 100 characters.
///
/// Text from outside (file and part names) has its control characters replaced by U+FFFD.
pub fn summary(reading: &Reading) -> String {
    Text::page(&pages::reading::reading_page(reading, None, Vec::new()))
}

/// The report of a reading as one HTML page, with the figures inside. `limits` gives the figures their limit lines.
///
/// Prints on A4 and Letter; follows the viewer's choice of light or dark.
pub fn report(reading: &Reading, limits: Option<&Limits>) -> String {
    Html::page(&pages::reading::reading_page(reading, limits, plots(reading, limits)))
}

/// The tables that the reading can fill as CSV, each with its file name, one of [`TABLES`].
pub fn tables(reading: &Reading) -> Vec<(&'static str, String)> {
    Csv::page(&pages::reading::reading_page(reading, None, Vec::new()))
}

/// The comparison in at most 100 columns: verdicts first, then what changed, then what did not.
pub fn comparison(comparison: &Comparison) -> String {
    Text::page(&pages::comparison::comparison_page(comparison))
}

/// The comparison as one HTML page: the same, how the response changed, and every row.
pub fn comparison_report(comparison: &Comparison) -> String {
    Html::page(&pages::comparison::comparison_page(comparison))
}

/// Every row of the comparison as CSV, one line for each reading's value.
pub fn comparison_table(comparison: &Comparison) -> String {
    let files = Csv::page(&pages::comparison::comparison_page(comparison));
    files.into_iter().next().map(|(_, text)| text).unwrap_or_default()
}

/// The sheet of a job in at most 100 columns.
pub fn sheet_text(sheet: &BenchSheet<'_>) -> String {
    Text::page(&pages::sheet::sheet_page(sheet))
}

/// The sheet of a job as one HTML page, for A4 and Letter.
pub fn sheet_html(sheet: &BenchSheet<'_>) -> String {
    Html::page(&pages::sheet::sheet_page(sheet))
}

/// Sentences under a heading, lines of at most 100 characters, made harmless.
pub fn said(heading: &str, sentences: impl IntoIterator<Item = String>) -> String {
    let mut page = Page::new("", "");
    page.sections.push(Section::new(heading).say_all(Tone::Plain, sentences));
    Text::page(&page)
}

/// One quantity that was read by hand, with its verdicts.
pub fn hand_text(row: &HandRow) -> String {
    let mut page = Page::new("", "");
    page.sections.push(Section::new("Read by hand").block(Block::Entries(vec![pages::sheet::hand(row)])));
    Text::page(&page)
}

/// Where the work stands, and all of one step: the one called `step`, or the first that is not done.
///
/// `None` if there is no such step.
pub fn next_text(steps: &[Step], step: Option<&str>) -> Option<String> {
    Some(Text::page(&pages::next::next_page(steps, step)?))
}

/// The running sheet of a programme in at most 80 columns: A4 at ten characters an inch.
pub fn running_sheet_text(sheet: &RunningSheet) -> String {
    Text::on_paper().whole(&pages::running_sheet::running_sheet_page(sheet))
}

/// The running sheet of a programme as one HTML page, for A4 and Letter.
pub fn running_sheet_html(sheet: &RunningSheet) -> String {
    Html::page(&pages::running_sheet::running_sheet_page(sheet))
}

/// `as found` or `as left`.
pub fn job_state(state: JobState) -> &'static str {
    pages::sheet::job_state(state)
}

/// The card of a house tape in plain text, lines of at most 100 characters; `now` is the date, as readings write it.
pub fn card_text(card: &Card, now: &str) -> String {
    Text::page(&pages::card::card_page(card, now))
}

/// What ordinary music says of azimuth in plain text, lines of at most 100 characters.
///
/// File names have their control characters replaced by U+FFFD.
pub fn skew_summary(reading: &SkewReading) -> String {
    Text::page(&pages::skew::skew_page(reading))
}

#[cfg(test)]
mod tests;
