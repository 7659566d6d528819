//! Mean speed: from slates, from tones, from a measured length of tape.

pub(crate) mod length;
pub(crate) mod section;
pub(crate) mod slates;
pub(crate) mod tones;
