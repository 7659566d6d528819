//! Tapes without slates: what is found on them, what it is taken for, and what is not believed.
//!
//! The tapes are made here and played by the virtual deck: that tests our code. Outside checks are those of reference levels
//! and equalisation (beside the code that uses them), the recording in `real.rs`, and a trial with tapes that numpy made (see
//! DEVELOPERS.md).

mod real;
mod tape;
mod traps;
mod truth;
mod values;
