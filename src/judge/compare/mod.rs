//! Readings against each other.

pub(crate) mod caveats;
pub(crate) mod copies;
pub(crate) mod named;
pub(crate) mod quantities;
pub(crate) mod readings;
pub(crate) mod weight;
