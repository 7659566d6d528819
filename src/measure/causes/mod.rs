//! What makes the response as it is.

pub(crate) mod fit;
pub(crate) mod shapes;
pub(crate) mod told;
