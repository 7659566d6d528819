//! The delay between the channels and the angle it stands for.

pub(crate) mod delay;
pub(crate) mod delay_fit;
pub(crate) mod section;
