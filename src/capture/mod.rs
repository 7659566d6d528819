//! Room `capture`: a recording comes in, its slates are found, and every part of the programme gets its place in it.

mod chirps;
mod container;
mod error;
mod file;
mod slates;
mod source;

pub use chirps::{Chirp, ChirpFinder};
pub use error::CaptureError;
pub use file::ReturnFile;
pub use slates::{FoundSlate, assemble};
pub use source::{InMemory, Source};
