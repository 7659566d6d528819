//! What is measured in rounds, while a trimmer is turned between them.

pub(crate) mod bias_sweep;
pub(crate) mod level_step;
pub(crate) mod noise_reduction;
pub(crate) mod pause_noise;
pub(crate) mod peak;
pub(crate) mod rounds;
mod source;
