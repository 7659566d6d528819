//! Room `trade`: constants and curves of published standards, one file a standard. No signals, no files.
//!
//! Each constant names its document and clause, or says "common practice, no source", or "from memory".

pub mod a_weighting;
pub mod flutter_weighting;
mod medium;
pub mod octave_bands;
pub mod playback_losses;
pub mod tape_equalisation;

pub use medium::Medium;
