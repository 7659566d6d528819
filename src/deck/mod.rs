//! Room `deck`: the virtual deck, an honest simulation of what a cassette deck and a sound card do to a programme.
//!
//! It serves `rehearse` and the tests of truth: [`VirtualDeck`] plays a programme as its [`DeckFile`] says, and
//! `Truth`, which only the tests are built with, says what is really true of that return. Nothing is shared with the measuring rooms.
//!
//! Order of the chain. Every step is per channel unless it says otherwise; steps that are not on cost nothing.
//!
//! ```text
//! at the programme's rate
//!   lead-in, programme, tail        lead_in.rs          something else, then the programme, then silence
//!   noise reduction, recording      noise_reduction.rs  left on all the time
//!   noise reduction, encoder        compander.rs        only where the technician switched it in
//!   turned trimmers                 technician.rs       record level and bias against time
//!   record gain, record sections    playback_filters.rs   minimum-phase response errors of the recording
//!   bias                            bias.rs             sensitivity, distortion, hiss
//!   saturation, bias asymmetry      tape.rs             treble saturates first
//!   print-through                   print_through.rs    neighbouring layers of the wound tape
//!   erased stretches                erased.rs           recorded over with no input
//! time warp                         warp.rs, kernel.rs  speed and its trimmer, drift, wow and flutter, capture clock,
//!                                                       change of rate
//!   + azimuth displacement          azimuth.rs          half early, half late; with wander, and with the screw
//! at the capture's rate
//!   dropouts, level wander, AM      dropouts.rs         gain against time
//!   modulation noise, tape hiss     hiss.rs
//!   azimuth, spacing, gap loss      losses.rs           zero phase; follows the screw
//!   playback curve, if it is fed
//!   without a tape              injected.rs         zero and minimum phase
//!   coupling, bump, dull head,
//!   playback sections                 playback_filters.rs   minimum phase
//!   dead channel, gain              play.rs
//!   turned level and treble         turned.rs           against time
//!   noise reduction, playback         noise_reduction.rs  left on all the time
//!   monitor switch at SOURCE        monitor.rs          the programme in place of the tape
//!   amplifier noise,                compander.rs        and the decoder
//!   crosstalk,
//!   hum, polarity, swap, DC         crosstalk.rs, hum.rs, play.rs
//!   trim, automatic gain, noise
//!   suppression, mono, clipping,
//!   cut ends                        capture_faults.rs   the sound card and its user
//!   lossy codec                     lossy.rs            a sketch of one
//! ```
//!
//! Time: the return's clock is that of its own sample numbers at the nominal capture rate. Level: 0 dBFS is the rms of
//! a full-scale sine. The output is not quantised.

mod azimuth;
mod bias;
mod capture_faults;
mod check;
mod compander;
mod crosstalk;
mod dropouts;
mod erased;
mod error;
mod examples;
mod file;
mod hiss;
mod hum;
mod injected;
mod kernel;
mod keys;
mod lead_in;
mod losses;
mod lossy;
mod monitor;
mod noise_reduction;
mod play;
mod playback_filters;
mod print_through;
mod random_curve;
mod recorded;
mod sides;
mod tape;
mod technician;
#[cfg(feature = "internals")]
mod truth;
#[cfg(feature = "internals")]
mod truth_at;
mod turned;
mod warp;

pub use compander::Reduction;
pub use erased::Erased;
pub use error::DeckError;
pub use examples::EXAMPLES;
pub use file::*;
pub use injected::{Injection, Input};
pub use play::VirtualDeck;
pub use sides::{On, Sides};
pub use technician::{Technician, Turn};
#[cfg(feature = "internals")]
pub use truth::Truth;
#[cfg(feature = "internals")]
pub use truth_at::TruthAt;

/// Frames that the deck makes at a time, at the capture's rate; the hop of the overlap-save filter in `losses`.
pub(crate) const BLOCK_FRAMES: usize = 3072;

/// Tape speed of the compact cassette, mm/s (1 7/8 in/s).
pub(crate) const TAPE_SPEED_MM_S: f64 = 47.625;
/// Distance between the centres of the left and right track, mm (0.6 mm tracks, 0.3 mm apart).
pub(crate) const TRACK_DISTANCE_MM: f64 = 0.9;
/// Width of one track of a stereo pair, mm.
pub(crate) const TRACK_WIDTH_MM: f64 = 0.6;

/// Amplitude ratio of a level in dB.
pub(crate) fn ratio_of_db(db: f64) -> f64 {
    10f64.powf(db / 20.0)
}

/// The generator for one purpose: ChaCha with 8 rounds, one stream a purpose and channel.
pub(crate) fn generator(seed: u64, purpose: Purpose, channel: usize) -> rand_chacha::ChaCha8Rng {
    use rand::SeedableRng;
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream((purpose as u64) << 32 | channel as u64);
    rng
}

/// What a generator is for; fixes its stream, so that one fault's noise does not depend on another fault.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Purpose {
    /// Random flutter.
    Flutter = 1,
    /// Random wander of the azimuth.
    Wander,
    /// Random wander of the level.
    Level,
    /// Tape hiss.
    Hiss,
    /// Modulation noise.
    Modulation,
    /// Amplifier noise.
    Amplifier,
    /// Dropouts.
    Dropouts,
    /// Phases of the hum.
    Hum,
    /// The something else before the programme.
    LeadIn,
}
