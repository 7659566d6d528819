//! The pages: what stands on each, and in which order.

pub(super) mod brief;
pub(super) mod card;
pub(super) mod comparison;
pub(super) mod next;
pub(super) mod owner;
pub(super) mod reading;
pub(super) mod running_sheet;
pub(super) mod sheet;
pub(super) mod skew;
