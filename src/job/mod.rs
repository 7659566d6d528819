//! Room `job`: the rooms tied together, one file a job. Called by the commands; nothing but files and readings come out.

mod bench;
mod compare;
mod copies;
mod error;
mod evidence;
mod faults;
mod house;
mod job_error;
mod job_file;
mod level_tone;
#[cfg(feature = "sound-card")]
mod play;
mod rate;
mod read;
mod recording;
mod rehearse;
mod results;
mod same_tape;
mod served;
mod settings;
mod skew;
mod speed_from_length;
mod transport_file;
mod unslated;
mod unslated_words;
mod warnings;
mod write;

pub use bench::{DeckTold, HandSet, JOB_TEMPLATE, NewJob, new_job};
pub use compare::{CompareError, compare_files};
pub use error::{ReadError, RehearseError};
pub use evidence::Attached;
pub use house::{
    CardOptions, HouseError, count_pass, counted, load_card, make_card, mark_of, pass_of, subtract_house,
};
pub use job_error::JobError;
pub use job_file::{JOB_FILE, JobFile, find_job};
#[cfg(feature = "sound-card")]
pub use play::{Playable, Player, Rounds};
pub use read::{Playing, ReadOptions, measure_return, read_return, read_samples};
pub use recording::Recording;
pub use rehearse::{RehearsalDeck, Stage, rehearse};
pub use results::{READING, REPORT, check_folder, result_files, write_results};
pub use same_tape::measure_same_tape;
pub use settings::load_settings;
pub use skew::{SkewOptions, skew_tapes};
pub use speed_from_length::{Marks, TapeLength, measure_with_length};
pub use transport_file::TRANSPORT_TEMPLATE;
pub use unslated::{KnownPitch, UnslatedOptions, measure_unslated};
pub use write::{Programme, WriteOptions, programme_files, write_programme};
