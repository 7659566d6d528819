//! The command line as a technician meets it: exit status, both streams, and the files left behind.
//!
//! Every test works in a folder of its own. Returns are the programmes themselves, put into files by hand.

mod bench;
mod containers;
mod general;
mod help;
mod interrupt;
mod list;
mod read;
mod rehearse;
mod without_calibration;
mod write;
