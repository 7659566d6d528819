//! What leaks from one channel into the other, and what erasing leaves.

pub(crate) mod erasing;
pub(crate) mod leakage;
pub(crate) mod section;
