//! A steady tone: its level, phase and frequency, what moves with it, where it is steady, and its dropouts.

pub(crate) mod dropouts;
pub(crate) mod follow;
pub(crate) mod level_moves;
pub(crate) mod level_wander;
pub(crate) mod level_witnesses;
pub(crate) mod meter;
pub(crate) mod section;
pub(crate) mod steady;
pub(crate) mod together;
