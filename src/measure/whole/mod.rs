//! All parts of a programme, one after the other, put together.

pub(crate) mod assembled;
pub(crate) mod measured;
pub(crate) mod playing;
