//! Sound as it comes: through a pipe, out of a file that still grows, out of a finished one at the speed of the tape, or
//! from a sound card.
//!
//! A thread reads and decodes; the listener takes blocks of 20 ms at most. A listener that is slow makes the reader wait,
//! so nothing is lost. Any cut of the same bytes gives the same samples.

mod body;
#[cfg(feature = "sound-card")]
mod device;
mod format;
mod growing;
mod header;
mod queue;
mod reader;
mod stream;
#[cfg(test)]
mod tests;
mod trouble;

pub use format::{LiveFormat, RawFormat};
pub use stream::{Arrival, LiveStream, Pace};
pub use trouble::Trouble;
