//! Noise and hum of silent parts.

pub(crate) mod figures;
pub(crate) mod hum;
pub(crate) mod meter;
pub(crate) mod missing;
pub(crate) mod reference;
pub(crate) mod section;
pub(crate) mod silence;
pub(crate) mod spectrum;
