//! What the program is to do at a step of the work, as data; its words are the command line's.

use crate::reading::{JobState, RecordedOn, TapeType, View};

/// One thing that the program is to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Command {
    /// Write a programme.
    Write {
        /// Built-in recipe.
        recipe: String,
        /// File to write.
        out: String,
    },
    /// Read a return.
    Read {
        /// The return.
        file: String,
        /// Whose recording it is.
        recorded_on: RecordedOn,
        /// Whether the tape carries our slates.
        slated: bool,
        /// File with the tape's own values.
        tape: Option<String>,
        /// Card of the house tape.
        card: Option<String>,
        /// Tape type, where it is told.
        tape_type: Option<TapeType>,
        /// Loopback capture to subtract.
        loopback: Option<String>,
        /// Folder for the results.
        out: String,
        /// As what it is attached to the job.
        state: JobState,
    },
    /// Follow the deck live while a screw is turned.
    Follow {
        /// What is shown.
        view: View,
        /// Whose recording plays.
        recorded_on: RecordedOn,
        /// Card of the house tape.
        card: Option<String>,
        /// Tape type, where it is told.
        tape_type: Option<TapeType>,
    },
    /// Read azimuth from ordinary music.
    Skew {
        /// Recordings.
        files: Vec<String>,
        /// File for the result.
        json: String,
    },
    /// Attach a result to the job.
    Attach {
        /// Before or after the work.
        state: JobState,
        /// The result.
        file: String,
    },
    /// Call a step done.
    Done {
        /// The step.
        step: &'static str,
        /// Why.
        remark: &'static str,
    },
    /// Note a value that is read by hand.
    Set {
        /// Name of the quantity.
        quantity: &'static str,
        /// Unit that it is asked for in.
        unit: &'static str,
        /// Before or after the work.
        state: JobState,
        /// A value is there and is replaced.
        again: bool,
        /// The return that is recorded meanwhile.
        of: Option<String>,
    },
    /// Note what was seen of the tape's path.
    SetTapePath,
    /// Make the card of a house tape.
    MakeCard,
    /// Read speed from a length of tape between two marks.
    ReadBetweenMarks,
    /// Read several playings of one tape.
    ReadSameTape,
}
