//! Room `signal`: oscillators, fades, noise and dither. Nothing here knows what a tape is.

pub mod dither;
pub mod fade;
pub mod noise;
pub mod oscillator;
