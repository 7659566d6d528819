//! A job at the bench: readings by hand, what comes next, the sheet.

pub(crate) mod command;
pub(crate) mod hand_readings;
pub(crate) mod job_skew;
pub(crate) mod next_by_hand;
pub(crate) mod next_commands;
pub(crate) mod next_step;
#[cfg(test)]
pub(crate) mod next_step_tests;
pub(crate) mod next_words;
pub(crate) mod owner;
pub(crate) mod sheet;
pub(crate) mod step;
