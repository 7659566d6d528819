//! What is wrong with the return and not with the deck.

pub(crate) mod cells;
pub(crate) mod gain_riding;
pub(crate) mod jumps;
pub(crate) mod level_dependence;
pub(crate) mod lossy;
pub(crate) mod phase_jumps;
pub(crate) mod section;
pub(crate) mod surroundings;
pub(crate) mod tears;
pub(crate) mod unmeasured;
pub(crate) mod withheld;
