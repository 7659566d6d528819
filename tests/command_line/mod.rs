//! The command line as a technician meets it: exit status, both streams, and the files left behind.
//!
//! Every test works in a folder of its own. Returns are the programmes themselves, put into files by hand.

mod bench;
mod compare;
pub mod containers;
mod copies;
mod follow;
mod general;
mod guide;
mod help;
mod hostile_text;
mod house;
mod interrupt;
mod job_folder;
mod job_owner;
mod job_safe;
mod job_walk;
mod list;
mod made_from_help;
mod millivolts;
mod read;
mod rehearse;
mod replaced;
mod skew;
mod unslated;
mod without_calibration;
mod write;
