//! What can go wrong while a recording is opened, decoded or searched for slates.

use std::path::PathBuf;
use thiserror::Error;

/// Errors of the room `capture`. Every message names the file, what was found and what to do.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum CaptureError {
    /// The file could not be opened or read.
    #[error("{}: cannot be read ({source}); check the path and the permissions", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The file has no bytes, or a header without samples.
    #[error("{}: holds no samples; the recording was stopped before it began, record the return again", path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// The bytes are another kind of file.
    #[error("{}: is {found}, not WAV, FLAC or AIFF; save or convert the return as WAV (16, 24 bit or float)", path.display())]
    NotAudio {
        /// The file.
        path: PathBuf,
        /// What it seems to be, in words.
        found: String,
    },
    /// A pipe or a device.
    #[error("{}: is a pipe or a device, and a return is read more than once; save it as a file and give that", path.display())]
    NoFile {
        /// The name.
        path: PathBuf,
    },
    /// Bytes that come live and are nothing that can be read while it comes.
    #[error("{}: is {found}; what comes live is WAV, or raw samples whose rate, channels and coding are told", path.display())]
    NotLive {
        /// Where they come from.
        path: PathBuf,
        /// What they seem to be, in words.
        found: String,
    },
    /// Sound was expected on standard input, and nothing is connected to it.
    #[error("{}: is the keyboard; connect a recorder to it by a pipe", path.display())]
    Keyboard {
        /// Where sound was expected.
        path: PathBuf,
    },
    /// The sound card refused.
    #[cfg(feature = "sound-card")]
    #[error(transparent)]
    SoundCard(#[from] crate::sound_card::SoundCardError),
    /// The header is damaged.
    #[error("{}: {what}; {remedy}", path.display())]
    Malformed {
        /// The file.
        path: PathBuf,
        /// What is wrong and where.
        what: String,
        /// What to do.
        remedy: String,
    },
    /// The coding of the samples is not one that Deckproof measures from.
    #[error("{}: {what}; save the return as WAV with 16, 24 or 32 bit integer or 32 bit float samples", path.display())]
    Unsupported {
        /// The file.
        path: PathBuf,
        /// What was found.
        what: String,
    },
    /// More channels than a deck has.
    #[error("{}: has {found} channels, a return has two; say which two", path.display())]
    Channels {
        /// The file.
        path: PathBuf,
        /// Channels in the file.
        found: usize,
    },
    /// A chosen channel does not exist.
    #[error("{}: has {found} channels, channel {asked} was asked for; count from 1", path.display())]
    NoSuchChannel {
        /// The file.
        path: PathBuf,
        /// Channels in the file.
        found: usize,
        /// The channel asked for, from 1.
        asked: usize,
    },
    /// The decoder gave up in the middle.
    #[error("{}: cannot be decoded at {at_s:.1} s ({reason}); record or convert it again", path.display())]
    Decode {
        /// The file.
        path: PathBuf,
        /// Where, s.
        at_s: f64,
        /// What the decoder said.
        reason: String,
    },
    /// A recording was given twice, in two files.
    #[error("{}: is the same recording as {}; one tape must not count as two, name each recording once", path.display(), first.display())]
    Copy {
        /// The file.
        path: PathBuf,
        /// The other one.
        first: PathBuf,
    },
    /// A sample rate outside the range in which anything can be measured.
    #[error("{}: sample rate {rate_hz} Hz is outside 11000 to 384000 Hz; record again at 44100 or 48000 Hz, or resample the file to {}", path.display(), resampled(*rate_hz))]
    Rate {
        /// The file.
        path: PathBuf,
        /// Sample rate in the header, Hz.
        rate_hz: f64,
    },
}

/// What a file is resampled to that has too low or too high a rate. At a usual rate nothing would tell that its treble is missing; at the
/// lowest that is read, nothing is said of it.
fn resampled(rate_hz: f64) -> &'static str {
    if rate_hz < 44_100.0 { "11025 Hz, which shows little but the speed" } else { "96000 Hz" }
}
