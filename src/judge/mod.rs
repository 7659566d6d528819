//! Room `judge`: what the measured figures mean, how they stand to their limits, and what is to be turned.
//!
//! - [`meaning()`]: the table that says what a quantity can mean under which circumstances;
//! - [`Limits`]: built-in common practice, or a file with the service manual's numbers;
//! - [`judge()`]: the findings, in the order of work;
//! - [`judge_skew`]: what ordinary music says of azimuth.
//! - [`renewal`]: when the card of a house tape should be renewed.
//!
//! Nothing here measures. Every sentence is made from figures of the reading.

mod azimuth;
mod capture;
mod card;
mod compare;
mod compared;
mod equalisation;
mod figures;
mod findings;
mod level;
mod limits;
mod meaning;
mod noise;
mod nonlinear;
mod recording;
mod response;
mod separation;
mod skew;
mod transport;
mod wiring;

pub use card::{days_between, passes, passes_since, renewal};
pub use compare::{Named, compare};
pub use figures::{decimals, frequency, signed, unsigned};
pub use findings::judge;
pub use limits::{JudgeError, Limits, ResponseLimit, Tolerance};
pub use meaning::{Meaning, Quantity, meaning};
pub use skew::judge_skew;

#[cfg(test)]
mod sample;
