//! Flutter end to end: tones made here, with speed known by formula, through the whole meter.

mod faults;
mod kinds;
mod lines;
mod phase_jumps;
mod standard;
mod synth;
