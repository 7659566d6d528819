//! The delay between the channels from ordinary music.

pub(crate) mod cells;
pub(crate) mod consensus;
pub(crate) mod content;
pub(crate) mod delay;
