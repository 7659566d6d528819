//! Room `job`: the rooms tied together, one file a job. Called by the commands; nothing but files and readings come out.

mod error;
mod faults;
mod house;
mod rate;
mod read;
mod rehearse;
mod results;
mod warnings;
mod write;

pub use error::{ReadError, RehearseError};
pub use house::{
    CardOptions, HouseError, count_pass, counted, load_card, load_reading, make_card, mark_of, pass_of,
    take_off_house,
};
pub use read::{ReadOptions, read_file, read_memory, read_return, read_samples};
pub use rehearse::{Rehearsal, RehearsalDeck, Stage, rehearse};
pub use results::{READING, REPORT, check_folder, result_files, write_results};
pub use write::{Programme, WriteOptions, programme_files, write_programme};
