//! Why a job could not be done.

use crate::capture::CaptureError;
use crate::deck::DeckError;
use crate::judge::Reading;
use crate::measure::{LengthError, LoopbackError, SameTapeError};
use crate::programme::ProgrammeError;
use std::path::PathBuf;
use thiserror::Error;

/// Why no reading could be made.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The recording could not be opened or decoded.
    #[error(transparent)]
    Capture(#[from] CaptureError),
    /// No slate was found.
    #[error(
        "{}: no-slate: {why}; record the whole programme from `deckproof write`, slates included, at a healthy level, or read a tape of somebody else's test tones with --unslated",
        path.display()
    )]
    NoSlate {
        /// The file.
        path: PathBuf,
        /// What was found instead.
        why: String,
        /// What could be said of the recording all the same.
        reading: Box<Reading>,
    },
    /// A recording that was to be read without slates holds no test tones.
    #[error("{}: no test tones were found: {why}", path.display())]
    NoTones {
        /// The file.
        path: PathBuf,
        /// What was found instead, and what to do.
        why: String,
        /// What could be said of the recording all the same.
        reading: Box<Reading>,
    },
    /// The slates carry a code that no known recipe has.
    #[error(
        "{}: wrong-recipe: its slates carry the code {code:04x}, {expected}; give the recipe file that it was written from with --recipe",
        path.display()
    )]
    UnknownRecipe {
        /// The file.
        path: PathBuf,
        /// Code in the slates.
        code: u16,
        /// Which recipes were thought of.
        expected: String,
        /// What could be said of the recording all the same.
        reading: Box<Reading>,
    },
    /// The programme is one that is repeated and followed while something is turned.
    #[error(
        "{}: made-to-be-followed: it carries {recipe}, during which something is turned, so that no figure holds for all of it; follow \
         it live, and read another programme (first-look, full) before and after the work",
        path.display()
    )]
    MadeToBeFollowed {
        /// The file.
        path: PathBuf,
        /// Name of the recipe.
        recipe: String,
        /// What could be said of the recording all the same.
        reading: Box<Reading>,
    },
    /// The loopback capture could not be read.
    #[error("{source} (given with --loopback)")]
    Loopback {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        source: Box<ReadError>,
    },
    /// What was given as loopback capture is none.
    #[error("{}: no loopback capture: {source}", path.display())]
    NotLoopback {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        source: LoopbackError,
    },
    /// A playback of one recording has no flutter tone that could be followed.
    #[error(
        "{}: no steady flutter tone could be followed through it; play back the recording of a programme with one (flutter) from \
         its start",
        path.display()
    )]
    NoFlutter {
        /// The file.
        path: PathBuf,
    },
    /// Two playings are of different programmes.
    #[error("{}: carries another programme than {}; give playings of one and the same recording", path.display(), first.display())]
    OtherRecording {
        /// The file.
        path: PathBuf,
        /// The first playback.
        first: PathBuf,
    },
    /// Two playings are one.
    #[error("{}: holds the same playing as {}; play the tape again for each recording", path.display(), first.display())]
    OneCapture {
        /// The file.
        path: PathBuf,
        /// The other one.
        first: PathBuf,
    },
    /// Playings could not be laid over each other.
    #[error("{}: {source}", path.display())]
    SameTape {
        /// The first playback.
        path: PathBuf,
        /// What is wrong.
        source: SameTapeError,
    },
    /// A mark of a measured length is not in the return.
    #[error("{}: {what}; give two marks that are in it, with --mark-s or --mark-slates", path.display())]
    NoMark {
        /// The file.
        path: PathBuf,
        /// What is missing.
        what: String,
    },
    /// A measured length says nothing.
    #[error("{}: {source}", path.display())]
    Length {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        source: LengthError,
    },
}

impl ReadError {
    /// What could be said of a recording in which nothing could be measured; `None` if it could not even be read.
    pub fn reading(&self) -> Option<&Reading> {
        match self {
            Self::Capture(_)
            | Self::Loopback { .. }
            | Self::NotLoopback { .. }
            | Self::NoFlutter { .. }
            | Self::OtherRecording { .. }
            | Self::OneCapture { .. }
            | Self::SameTape { .. }
            | Self::NoMark { .. }
            | Self::Length { .. } => None,
            Self::NoSlate { reading, .. }
            | Self::NoTones { reading, .. }
            | Self::MadeToBeFollowed { reading, .. }
            | Self::UnknownRecipe { reading, .. } => Some(reading),
        }
    }
}

/// Why a rehearsal stopped.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum RehearseError {
    /// The recipe did not fit, or a file could not be written.
    #[error(transparent)]
    Programme(#[from] ProgrammeError),
    /// The deck cannot be built.
    #[error(transparent)]
    Deck(#[from] DeckError),
    /// The return could not be read.
    #[error(transparent)]
    Read(#[from] ReadError),
}
