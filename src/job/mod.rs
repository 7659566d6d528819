//! Room `job`: the rooms tied together, one file a job. Called by the commands; nothing but files and readings come out.

mod error;
mod faults;
mod rate;
mod read;
mod rehearse;
mod results;
mod same_tape;
mod speed_from_length;
mod warnings;
mod write;

pub use error::{ReadError, RehearseError};
pub use read::{ReadOptions, read_return, read_samples};
pub use rehearse::{Rehearsal, RehearsalDeck, Stage, rehearse};
pub use results::{READING, REPORT, check_folder, result_files, write_results};
pub use same_tape::{read_same_tape, read_same_tape_samples};
pub use speed_from_length::{Marks, TapeLength, read_samples_with_length, read_with_length};
pub use write::{Programme, WriteOptions, programme_files, write_programme};
