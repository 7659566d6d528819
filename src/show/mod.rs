//! Room `show`: a reading as text, JSON, CSV, figures and a report. Nothing here computes.
//!
//! - [`summary`]: for the terminal, at most [`COLUMNS`] wide;
//! - [`to_json`] and [`schema`]: for other programs;
//! - CSV by [`tables`];
//! - [`plots()`]: SVG figures;
//! - [`report`]: one HTML file that holds everything.

mod axes;
mod causes;
mod csv;
mod html;
mod json;
mod nonlinear;
mod nonlinear_csv;
mod nonlinear_plots;
mod plots;
mod rounds_html;
mod rounds_plots;
mod rounds_text;
mod svg;
mod text;
mod words;

pub use csv::{TABLES, tables};
pub use html::report;
pub use json::{schema, to_json};
pub use plots::{FIGURES, Figure, plots};
pub use text::{COLUMNS, summary};
