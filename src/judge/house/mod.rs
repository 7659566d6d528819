//! The card of a house tape over the years.

pub(crate) mod renewal;
