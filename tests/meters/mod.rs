//! Properties that hold whatever is measured: how the samples are cut into blocks, how loud they are and which channel
//! is which must change nothing but what it says; and no samples at all, however broken, may end in a panic.

mod bench;
mod blocks;
mod hostile;
mod scale;
