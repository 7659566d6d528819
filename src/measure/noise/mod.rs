//! Noise and hum of silent parts.

pub(crate) mod hum;
pub(crate) mod meter;
pub(crate) mod sections;
pub(crate) mod spectrum;
