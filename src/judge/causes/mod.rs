//! What makes the response as it is.

pub(crate) mod told;
pub(crate) mod words;
