//! The tables of a reading, each described once: a section of the reading goes in, sections of the page come out.

pub(super) mod amplifier;
pub(super) mod causes;
pub(super) mod findings;
pub(super) mod flutter;
pub(super) mod found;
pub(super) mod level;
pub(super) mod noise;
pub(super) mod nonlinear;
pub(super) mod rounds;
pub(super) mod same_tape;
pub(super) mod separation;
pub(super) mod transport;

/// Names of the channels, in the order of every pair.
pub(super) const SIDES: [&str; 2] = ["left", "right"];
