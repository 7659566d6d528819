//! Response by steps, sweep and noise, and the playback amplifier against its curve.

pub(crate) mod amplifier;
mod combined;
pub(crate) mod noise_bands;
pub(crate) mod section;
pub(crate) mod steps;
pub(crate) mod sweep;
pub(crate) mod time_constants;
