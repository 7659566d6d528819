//! Deckproof computes, from a recording of what a compact-cassette deck played back, what is out of line and which
//! adjustment moves it.
//!
//! The rooms, in the direction in which data flows (nothing on the left imports from the right):
//! [`trade`] -> [`signal`] -> [`programme`] -> [`capture`] -> [`reading`] -> [`measure`] -> [`judge`] -> [`show`].
//! [`deck`], the virtual deck, stands beside them and imports [`trade`] and [`signal`] only.
//!
//! Documents that constants and curves are from: see [`trade`]. What a reading holds: see [`reading`].
//!
//! # Examples
//!
//! A recording is read from a file by [`job::read_return`], from memory by [`job::read_samples`]:
//!
//! ```
//! use deckproof::capture::InMemory;
//! use deckproof::job::{ReadOptions, read_samples};
//! use deckproof::programme::{Recipe, Renderer, Timeline};
//! use deckproof::reading::{Circumstances, RecordedOn};
//!
//! let recipe = Recipe::parse(
//!     r#"
//!     name = "level"
//!     title = "Level"
//!     part = [
//!         { kind = "slate" },
//!         { kind = "tone", id = "level-315", hz = 315, level_db = 0, length_s = 2 },
//!         { kind = "slate" },
//!     ]
//!     "#,
//!     "level.toml",
//! )?;
//! // The programme itself stands for the return: 48 kHz, 0 dB at -12 dBFS.
//! let [left, right] = Renderer::new(&Timeline::from(&recipe), 48_000, -12.0)?.collect();
//! let weak_right = right.iter().map(|x| 0.5 * x).collect();
//! let samples = InMemory { rate_hz: 48_000.0, channels: [left, weak_right] };
//! let options = ReadOptions {
//!     recipe: Some(recipe),
//!     circumstances: Circumstances { recorded_on: Some(RecordedOn::Loopback), ..Circumstances::default() },
//!     ..ReadOptions::default()
//! };
//! let reading = read_samples(&samples, "example", &options)?;
//! let difference_db = reading.level[0].difference_db.unwrap();
//! // Half the voltage on the right: left is 6.02 dB louder.
//! assert!((difference_db - 6.02).abs() < 0.05);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#[macro_use]
mod assert_within;

pub mod capture;
pub mod deck;
pub mod job;
pub mod judge;
pub mod measure;
pub mod programme;
pub mod reading;
pub mod show;
pub mod signal;
pub mod trade;
