//! Harmonics, difference tones, and output near saturation.

pub(crate) mod harmonics;
pub(crate) mod intermodulation;
pub(crate) mod saturation;
pub(crate) mod section;
