//! All parts of a programme, one after the other, put together.

pub(crate) mod assembled;
pub(crate) mod evidence;
pub(crate) mod measured;
pub(crate) mod played;
pub(crate) mod playing;
