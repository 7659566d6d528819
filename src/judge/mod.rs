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

mod case;
mod causes_fit;
mod causes_shapes;
mod limits;
mod meaning;
mod order;
mod parts;
mod skew;
mod transport_numbers;

mod bench;
mod causes;
mod compare;
mod findings;
mod house;
mod work;

pub use bench::hand_readings::{
    HAND_QUANTITIES, HandJudged, HandKind, HandQuantity, HandRow, hand_quantity, judge_by_hand,
};
pub use bench::job_skew::{JobSkew, MusicAzimuth};
pub use bench::next_step::{JobEvidence, JobReading, STEPS, Step, StepState, steps};
pub use bench::sheet::{BenchSheet, SheetPair, bench_sheet};
pub use causes::told::causes;
pub use causes::words::{cause_name, cause_size};
pub use compare::readings::{Named, compare, compare_repeated};
pub use house::renewal::{days_between, passes, passes_since, renewal};
pub use limits::{JudgeError, Limits, ResponseLimit, Tolerance};
pub use meaning::{Meaning, Quantity, meaning};
pub use order::judge;
pub use parts::{LinePart, line_parts, part_words};
pub use skew::judge_skew;
pub use transport_numbers::{OtherPart, RunsOn, TransportNumbers};
pub use work::turns::work;

#[cfg(test)]
mod sample;
