//! Room `sound_card`: the devices of the computer's sound card, what they record and what they play. It stands behind the
//! feature `sound-card` and knows nothing of programmes and measuring.
//!
//! The system asks for sound, or hands it out, in a thread of its own that must not wait. Between it and ours stands a ring
//! without locks; nothing is allocated there.

mod devices;
mod error;
mod grid;
mod input;
mod output;
mod state;
mod tone_out;

pub use devices::{Device, devices};
pub use error::SoundCardError;
pub use input::{Input, Loss};
pub use output::Output;
pub use tone_out::ToneOut;
