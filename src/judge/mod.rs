//! Room `judge`: what the measured figures mean, how they stand to their limits, and what is to be turned.
//!
//! - [`meaning()`]: the table that says what a quantity can mean under which circumstances;
//! - [`Limits`]: built-in common practice, or a file with the service manual's numbers;
//! - [`causes()`]: what makes the response as it is, as far as the evidence tells;
//! - [`line_parts`]: which part of the transport a flutter line comes from;
//! - [`judge()`]: the findings, in the order of work;
//! - [`judge_skew`]: what ordinary music says of azimuth;
//! - [`judge_by_hand`], [`steps()`]: what was read by hand, and what comes next at the bench;
//! - [`renewal`]: when the card of a house tape should be renewed.
//!
//! Nothing here measures. Every sentence is made from figures of the reading.

mod azimuth;
mod bench_sheet;
mod bias_steps;
mod capture;
mod card;
mod causes;
mod causes_fit;
mod causes_shapes;
mod causes_words;
mod compare;
mod compare_caveats;
mod compare_weight;
mod compared;
mod equalisation;
mod figures;
mod findings;
mod flutter_varies;
mod hand_readings;
mod job_skew;
mod level;
mod limits;
mod meaning;
mod next_by_hand;
mod next_commands;
mod next_step;
mod next_words;
mod noise;
mod nonlinear;
mod parts;
mod recording;
mod response;
mod response_steps;
mod separation;
mod skew;
mod transport;
mod transport_numbers;
mod turns;
mod wiring;

pub use bench_sheet::{BenchSheet, SheetPair, bench_sheet};
pub use card::{days_between, passes, passes_since, renewal};
pub use causes::causes;
pub use causes_words::{cause_name, cause_size};
pub use compare::{Named, compare, compare_repeated};
pub use figures::{decimals, decimals_db, frequency, signed, unsigned};
pub use findings::judge;
pub use hand_readings::{
    HAND_QUANTITIES, HandJudged, HandKind, HandQuantity, HandRow, hand_quantity, judge_by_hand,
};
pub use job_skew::{JobSkew, MusicAzimuth};
pub use limits::{JudgeError, Limits, ResponseLimit, Tolerance};
pub use meaning::{Meaning, Quantity, meaning};
pub use next_step::{JobEvidence, JobReading, STEPS, Step, StepState, steps};
pub use parts::{LinePart, line_parts, part_words};
pub use skew::judge_skew;
pub use transport_numbers::{OtherPart, RunsOn, TransportNumbers};
pub use turns::work;

#[cfg(test)]
mod next_step_tests;
#[cfg(test)]
mod sample;
