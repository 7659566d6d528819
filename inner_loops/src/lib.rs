//! What is inside the innermost loops: Fourier transforms whose plans are kept, and sums of products.
//!
//! A crate of its own, because it is compiled once, and with full optimisation in every profile: transforms are generic,
//! so that whoever makes a plan compiles them all, and sums are only then done several at a time.

mod products;
mod transforms;

pub use products::{dot, dot_pair};
pub use transforms::{Precision, complex_forward, real_inverse};
