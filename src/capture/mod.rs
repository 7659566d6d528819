//! Room `capture`: a recording comes in, its slates are found, and every part of the programme gets its place in it.

mod aiff_header;
mod alignment;
mod chirps;
mod clicks;
#[allow(dead_code)] // Until `follow` takes it.
mod coding;
mod container;
mod edges;
mod error;
mod file;
mod glides;
mod health;
mod heard;
mod lines;
#[allow(dead_code, unused_imports)] // Until `follow` takes it.
pub mod live;
mod nominals;
mod scan;
mod served;
mod slates;
mod source;
pub(crate) mod time_map;
mod tracks;
mod wav_header;
mod wiring;

pub use alignment::{Alignment, Stretch};
pub use chirps::{Chirp, ChirpFinder};
pub use coding::Coding;
pub use error::CaptureError;
pub use file::ReturnFile;
pub use glides::Glide;
pub use health::HealthMeter;
pub use heard::{BetweenKind, Heard, HeardTone, hear};
pub use lines::{Frame, LineFinder};
pub use nominals::{NamedBy, Names, name};
pub use scan::{Scan, scan};
pub use served::{Served, ServedTone, serve};
pub use slates::{FoundSlate, assemble};
pub use source::{InMemory, Source};
pub(crate) use source::{check_rate, extend_mended, is_sound};
pub use time_map::TimeMap;
pub use wiring::Wiring;
