//! Deckproof computes, from a recording of what a compact-cassette deck played back, what is out of line and which
//! adjustment moves it.
//!
//! A program that uses it writes a programme ([`write_programme`]), has it played into the deck, reads the recording of the
//! deck's output ([`read_return`], or [`read_samples`] from memory), and finds in the [`Reading`] what was measured
//! ([`reading::Facts`]) and what follows: findings with their verdicts, and the work in its order.
//!
//! # Examples
//!
//! Write a programme, read its return, get the findings:
//!
//! ```
//! use deckproof::reading::{Circumstances, RecordedOn, Verdict};
//! use deckproof::{ReadOptions, Recipe, WriteOptions, read_return, write_programme};
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
//! let folder = tempfile::tempdir()?;
//! let programme = write_programme(&recipe, &folder.path().join("level.wav"), &WriteOptions::default())?;
//! // The programme itself stands for the return.
//! let options = ReadOptions {
//!     recipe: Some(recipe),
//!     circumstances: Circumstances { recorded_on: Some(RecordedOn::Loopback), ..Circumstances::default() },
//!     ..ReadOptions::default()
//! };
//! let reading = read_return(&programme.wav, &options)?;
//! let found = reading.findings.iter().find(|finding| finding.id == "channel-match").unwrap();
//! assert_eq!(found.verdict, Verdict::Within);
//! assert!(reading.work.is_empty());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! The same with a built-in recipe and samples in memory, the right channel at half its voltage:
//!
//! ```
//! use deckproof::reading::{Channel, Circumstances, RecordedOn};
//! use deckproof::{InMemory, ReadOptions, Renderer, Timeline, find_recipe, read_samples, summary};
//!
//! let recipe = find_recipe("first-look")?;
//! // 48 kHz, 0 dB of the programme at -12 dBFS.
//! let [left, right] = Renderer::new(&Timeline::from(&recipe), 48_000, -12.0)?.collect();
//! let weak_right = right.iter().map(|x| 0.5 * x).collect();
//! let samples = InMemory { rate_hz: 48_000.0, channels: [left, weak_right] };
//! let options = ReadOptions {
//!     circumstances: Circumstances { recorded_on: Some(RecordedOn::Loopback), ..Circumstances::default() },
//!     ..ReadOptions::default()
//! };
//! let reading = read_samples(&samples, "example", &options)?;
//! // Left is 6.02 dB louder.
//! let difference_db = reading.level[0].difference_db.unwrap();
//! assert!((difference_db - 6.02).abs() < 0.05);
//! assert!(summary(&reading).contains("channel-match"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # The rooms
//!
//! Data flows in the order `trade`, `signal`, `programme`, `capture`, [`reading`], `measure`, `judge`, `show`; nothing on the
//! left imports from the right. `sound_card`, behind the feature `sound-card`, serves `capture` and `job`. `deck`, the virtual
//! deck, stands beside them and imports `trade` and `signal` only; [`guide`], the pages for the bench, imports nothing. What
//! is not named here is the project's own; its tests and benches see it through the feature `internals`.

#[macro_use]
mod assert_within;

mod capture;
mod cli;
mod deck;
mod follow;
pub mod guide;
mod harmless;
mod job;
mod judge;
mod measure;
mod programme;
pub mod reading;
mod show;
mod signal;
#[cfg(feature = "sound-card")]
mod sound_card;
mod trade;

pub use capture::{CaptureError, InMemory};
pub use job::{Programme, ReadError, ReadOptions, WriteOptions, read_return, read_samples, write_programme};
pub use judge::{Concluded, JudgeError, Limits, Reading};
pub use measure::TransportNumbers;
pub use programme::{
    Depth, Feeding, Overwrite, ProgrammeError, Recipe, Renderer, Timeline, find as find_recipe,
};
pub use show::{report, summary, to_json};
pub use trade::Medium;

/// The `deckproof` command, all of it.
#[doc(hidden)]
pub use cli::command_line;

/// The rooms, for the project's own tests and benches.
#[cfg(feature = "internals")]
#[doc(hidden)]
pub mod internals {
    macro_rules! rooms {
        ($($room:ident),*) => {$(
            #[allow(missing_docs)]
            pub mod $room {
                pub use crate::$room::*;
            }
        )*};
    }

    /// The terminal of a command that follows, for tests that have one.
    pub mod cli {
        pub use crate::cli::{LiveScreen, watch_for_interrupts};
    }

    #[cfg(feature = "sound-card")]
    rooms!(sound_card);
    rooms!(capture, deck, follow, job, judge, measure, programme, show, signal, trade);
}
