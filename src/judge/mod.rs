//! Room `judge`: what the measured figures mean, how they stand to their limits, and what is to be turned.
//!
//! - [`meaning()`]: the table that says what a quantity can mean under which circumstances;
//! - [`Limits`]: built-in common practice, or a file with the service manual's numbers;
//! - [`judge()`]: the findings, in the order of work;
//! - [`judge_skew`]: what ordinary music says of azimuth;
//! - [`judge_by_hand`], [`steps()`]: what was read by hand, and what comes next at the bench;
//! - [`renewal`]: when the card of a house tape should be renewed.
//!
//! Nothing here measures. Every sentence is made from figures of the reading.

mod case;
mod causes;
pub(crate) mod conclude;
mod limits;
mod meaning;
mod order;
mod output;
mod quantities;
mod skew;
mod spoilt;
mod tone_at_output;

mod bench;
mod compare;
mod findings;
mod house;
mod work;

pub use bench::command::Command;
pub use bench::hand_readings::{
    HAND_QUANTITIES, HandJudged, HandKind, HandQuantity, HandRow, hand_quantity, judge_by_hand,
};
pub use bench::job_skew::{JobSkew, MusicAzimuth};
pub use bench::next_step::{STEPS, steps};
pub use bench::owner::{OwnersPage, OwnersResponse, OwnersVerdict};
pub use bench::sheet::{BenchSheet, SheetMade, SheetPair, bench_sheet};
pub use bench::step::{JobEvidence, JobReading, Step, StepState};
pub(crate) use case::Bounds;
pub use causes::{cause_name, cause_size};
pub use compare::copies::is_one_capture;
pub use compare::named::Named;
pub use compare::readings::compare_repeated;
pub use conclude::{Concluded, Reading, conclude};
pub use findings::flutter_varies::flutter_uncertainty;
pub use findings::transport::part_words;
pub use house::renewal::{days_between, passes, passes_since, renewal};
pub use limits::{JudgeError, Limits, ResponseLimit, Tolerance};
pub use meaning::{Meaning, Quantity, meaning};
pub use output::live_output;
pub use quantities::{BuiltIn, Key, QUANTITIES};
pub use skew::judge_skew;
pub use tone_at_output::{ToneAtOutput, ToneInReturn};

// What only tests and benches ask for by name.
#[cfg(feature = "internals")]
pub use self::{compare::readings::compare, quantities::LIMITS};

#[cfg(test)]
mod sample;
