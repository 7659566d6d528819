//! Room `show`: a reading as text, JSON, CSV, figures and a report. Nothing here computes.
//!
//! - [`summary`]: for the terminal, at most [`COLUMNS`] wide;
//! - [`to_json`] and [`schema`]: for other programs;
//! - CSV by [`tables`];
//! - [`plots()`]: SVG figures;
//! - [`report`]: one HTML file that holds everything;
//! - [`skew_summary`], [`skew_to_json`]: what ordinary music says of azimuth.
//! - [`sheet_text`], [`sheet_html`], [`next_text`]: the sheet of a job, and what comes next.
//! - [`card_text`], [`card_to_json`] and [`card_schema`]: the card of a house tape.

mod amplifier;
mod axes;
mod card;
mod causes;
mod causes_plots;
mod commands;
mod compare;
mod compare_files;
mod csv;
mod csv_speed;
mod csv_words;
mod flutter_plots;
mod found;
mod html;
mod json;
mod meanings;
mod noise_bands;
mod noise_plots;
mod nonlinear;
mod nonlinear_csv;
mod nonlinear_plots;
mod plots;
mod remedies;
mod rounds_html;
mod rounds_plots;
mod rounds_text;
mod same_tape;
mod sheet_html;
mod sheet_text;
mod skew;
mod svg;
mod text;
mod words;
mod work;

pub use card::{card_schema, card_text, card_to_json};
pub use compare::comparison;
pub use compare_files::{comparison_json, comparison_report, comparison_schema, comparison_table};
pub use csv::{TABLES, tables};
pub use html::report;
pub use json::{schema, to_json};
pub use plots::{FIGURES, Figure, plots};
pub use remedies::option;
pub use sheet_html::sheet_html;
pub use sheet_text::{hand_text, job_state, next_text, sheet_text};
pub use skew::{skew_schema, skew_summary, skew_to_json};
pub use text::{COLUMNS, summary};
