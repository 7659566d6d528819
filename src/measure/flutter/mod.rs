//! Wow and flutter of a steady tone, and whose it is.

pub(crate) mod against_time;
pub(crate) mod deviation;
pub(crate) mod figures;
pub(crate) mod indicator;
pub(crate) mod lines;
pub(crate) mod meter;
pub(crate) mod movement;
pub(crate) mod needle;
mod pair;
pub(crate) mod parts;
pub(crate) mod same_tape;
pub(crate) mod section;
pub(crate) mod stretches;
pub(crate) mod transport_numbers;
