//! The sheet of one job: what its file says of the deck, the work, and what was read by hand.

use super::{Heads, NoiseReduction, RecordedOn, TapeType};
use serde::{Deserialize, Serialize};

/// Value of `format` in a job's file.
pub const JOB_FORMAT: &str = "deckproof-job/1";

/// Before the work, or after it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum JobState {
    /// As the deck came to the bench.
    AsFound,
    /// As it left, or stands now.
    AsLeft,
}

/// One deck on the bench.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct JobSheet {
    /// Who does the work, if the job's file says it.
    pub workshop: Option<Workshop>,
    /// Which deck, and what it is.
    pub deck: JobDeck,
    /// What its owner says; empty if nobody wrote it down.
    pub complaint: String,
    /// What was done, one entry a line.
    pub work: Vec<String>,
    /// What `read` takes where the command line says nothing.
    pub read: JobCircumstances,
    /// What there is to measure with.
    pub at_hand: AtHand,
    /// Read by hand before the work.
    pub as_found: HandReadings,
    /// Read by hand after it.
    pub as_left: HandReadings,
    /// Read live while a screw was turned, in the order of time.
    pub followed: Vec<FollowedReading>,
    /// Limits of the service manual for what is read by hand.
    pub hand_limits: Vec<HandLimit>,
    /// Where those limits come from, in words.
    pub hand_limits_source: Option<String>,
    /// Whether the limits say already what the level tone is at the output.
    pub level_tone_told: bool,
    /// Readings of returns, in the order in which they were attached.
    pub readings: Vec<AttachedReading>,
    /// Steps that the technician calls done, each with a remark.
    pub done: Vec<(String, String)>,
}

/// Who does the work.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Workshop {
    /// Its name.
    #[serde(default)]
    pub name: String,
    /// Address, telephone: as they shall stand below the name.
    #[serde(default)]
    pub lines: Vec<String>,
}

/// The deck of a job.
#[derive(Debug, Clone, PartialEq)]
pub struct JobDeck {
    /// In the technician's words.
    pub name: String,
    /// Its number.
    pub number: Option<String>,
    /// Whose it is.
    pub owner: Option<String>,
    /// The owner's reference: an order, a ticket.
    pub reference: Option<String>,
    /// Heads that take part in recording and playback.
    pub heads: Option<Heads>,
    /// Whether it records; players do not.
    pub records: bool,
    /// A portable or a simple deck: the wider limits of common practice hold.
    pub portable: bool,
}

impl Default for JobDeck {
    fn default() -> Self {
        Self {
            name: String::new(),
            number: None,
            owner: None,
            reference: None,
            heads: None,
            records: true,
            portable: false,
        }
    }
}

/// What `read` is told by the job where the command line says nothing.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct JobCircumstances {
    /// Whose recording.
    pub recorded_on: Option<RecordedOn>,
    /// Tape type.
    pub tape_type: Option<TapeType>,
    /// Noise reduction.
    pub noise_reduction: Option<NoiseReduction>,
    /// File with the transport's numbers, for `--transport`, relative to the job's folder.
    pub transport: Option<String>,
}

/// What there is to measure with.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AtHand {
    /// A calibrated tape.
    pub calibrated_tape: bool,
    /// File with what the calibrated tape carries, for `--tape`.
    pub calibrated_tape_file: Option<String>,
    /// Card of a house tape, for `--card`.
    pub house_card: Option<String>,
    /// The sound card's output straight into its input, recorded: for `--loopback`.
    pub loopback: Option<String>,
    /// Types that the deck shall record on.
    pub tape_types: Vec<TapeType>,
}

/// What was read by hand in one state.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct HandReadings {
    /// Values, in the order of the file.
    pub values: Vec<HandValue>,
    /// What was seen of the tape's path, in words.
    pub tape_path: Option<String>,
}

/// One value read by hand.
#[derive(Debug, Clone, PartialEq)]
pub struct HandValue {
    /// Which quantity, such as `take-up-torque`.
    pub quantity: String,
    /// As it was read.
    pub value: f64,
    /// Unit as it was read: `g.cm`, `mN.m`, `mV` or `dB`.
    pub unit: String,
    /// What the gauge may be wrong by (k = 2), in the same unit; `None`: as usual for such gauges.
    pub uncertainty: Option<f64>,
    /// The return that was recorded meanwhile, of a level tone's millivolts.
    pub of: Option<String>,
}

/// What was shown live when somebody kept it.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FollowedReading {
    /// Before the work, or after it.
    pub state: JobState,
    /// Date and time, in words.
    pub at: String,
    /// The view: `azimuth`, `level`, `bias`, `speed`, `response` or `noise`.
    pub view: String,
    /// The figures, in words.
    pub reads: String,
}

/// A limit for a value read by hand, from the job's file.
#[derive(Debug, Clone, PartialEq)]
pub struct HandLimit {
    /// Which quantity.
    pub quantity: String,
    /// Least that is allowed.
    pub least: Option<f64>,
    /// Most that is allowed.
    pub most: Option<f64>,
    /// Unit of both.
    pub unit: String,
}

/// A reading that belongs to the job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AttachedReading {
    /// Before or after the work.
    pub state: JobState,
    /// Its file, relative to the job's folder.
    pub file: String,
}
