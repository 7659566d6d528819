//! What happens to a stream besides sound.

use std::fmt;

/// Something about the stream that the listener should know. None of them ends it; [`super::Arrival::End`] does.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Trouble {
    /// So many samples since the last time were no numbers or over 60 dB over full scale; they count as 0.
    Broken {
        /// Samples of both channels.
        samples: u64,
    },
    /// The header's length is not that of the sound; what came counts. Said once.
    HeaderLies {
        /// What the header says, in words.
        what: String,
    },
    /// Nothing has come for half a second.
    Stopped,
    /// After [`Trouble::Stopped`] sound comes again.
    GoesOn {
        /// How long nothing came, s.
        after_s: f64,
    },
    /// The sound card recorded what the computer did not take in time. The time between two blocks is longer than it seems.
    #[cfg_attr(not(feature = "sound-card"), allow(dead_code))]
    Lost {
        /// How much, where the system says so.
        frames: Option<u64>,
    },
    /// The sound card is gone; the end follows.
    #[cfg_attr(not(feature = "sound-card"), allow(dead_code))]
    Unplugged {
        /// What the system says.
        what: String,
    },
    /// The file was cut or replaced while it was read; it is read from its start again, or the end follows.
    Replaced {
        /// What happened to it, in words.
        what: String,
    },
    /// Reading or decoding failed; the end follows.
    Unreadable {
        /// What the system or the decoder says.
        what: String,
    },
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Broken { samples } => {
                write!(f, "{samples} samples were no numbers or absurdly large; they count as silence")
            }
            Self::HeaderLies { what } => write!(f, "the header {what}; all sound that comes counts"),
            Self::Stopped => write!(f, "no sound comes; see whether the recorder runs"),
            Self::GoesOn { after_s } => write!(f, "sound comes again after {after_s:.1} s"),
            Self::Lost { frames: Some(frames) } => {
                write!(f, "the computer was too slow and lost {frames} samples")
            }
            Self::Lost { frames: None } => write!(f, "the computer was too slow and lost some sound"),
            Self::Unplugged { what } => {
                write!(f, "the sound card is gone ({what}); plug it in and start again")
            }
            Self::Replaced { what } => write!(f, "the file {what}"),
            Self::Unreadable { what } => write!(f, "the sound cannot be read any further: {what}"),
        }
    }
}
