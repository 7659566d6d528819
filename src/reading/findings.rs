//! Judged quantities.

use super::{Channel, Remedy, Unit};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How a value stands to its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub enum Verdict {
    /// Inside the limit by more than its uncertainty.
    #[serde(rename = "within")]
    Within,
    /// Closer to the limit than its uncertainty.
    #[serde(rename = "marginal")]
    Marginal,
    /// Outside the limit by more than its uncertainty.
    #[serde(rename = "outside")]
    Outside,
    /// The circumstances or the recording do not allow a verdict.
    #[serde(rename = "cannot tell")]
    CannotTell,
}

impl Verdict {
    /// Rank where the worst of several counts: higher is worse.
    pub fn rank(self) -> u8 {
        match self {
            Self::Outside => 3,
            Self::Marginal => 2,
            Self::CannotTell => 1,
            Self::Within => 0,
        }
    }
}

/// One judged quantity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    /// Stable name, such as `azimuth`; the list stands in the order of work.
    pub id: String,
    /// Which of several findings of this name, such as `weighted rms`; `null` where there is only one (a channel).
    #[serde(default)]
    pub kind: Option<String>,
    /// `left`, `right`, `both`, or `null` where channels play no part.
    pub channel: Option<Channel>,
    /// The value in `unit`; `null` where it was not measured.
    pub value: Option<f64>,
    /// Expanded uncertainty (k = 2) in `unit`.
    pub uncertainty: Option<f64>,
    /// What the uncertainty is made of, where it is more than the file's own; added as squares.
    #[serde(default)]
    pub uncertainty_parts: Vec<UncertaintyPart>,
    /// Unit in words, such as `dB`, `us`, `percent`.
    pub unit: Unit,
    /// What the trade reads first where that is not the value, such as `60 degrees at 10 kHz, right lags`.
    #[serde(default)]
    pub reads: Option<String>,
    /// Where the value was taken, such as `at 15 kHz`.
    #[serde(default)]
    pub place: Option<String>,
    /// Frequency at which the value was taken, Hz: of a pair of tones the high one, of hum its strongest component; `null`
    /// where the value has none.
    #[serde(default)]
    pub at_hz: Option<f64>,
    /// The limit alone, such as `+-1 dB`, in the terms of `reads` where there is one.
    #[serde(default)]
    pub allowed: Option<String>,
    /// The limit in words with its number, and where it comes from.
    pub limit: Option<String>,
    /// How the value stands to the limit.
    pub verdict: Verdict,
    /// `absolute`, `relative to ...`, or why it cannot be told, in words.
    pub basis: String,
    /// Why the verdict is so, in words a technician can act on.
    pub why: String,
    /// Why there is no verdict, and what would bring one; `null` where there is a verdict.
    #[serde(default)]
    pub untold: Option<Untold>,
    /// Whether the programme holds something for it; `null` where it is not known what was played.
    #[serde(default)]
    pub in_programme: Option<bool>,
    /// Which adjustment, which way, about how much; `null` where nothing is to be turned. The texts of `steps` in one.
    pub turn: Option<String>,
    /// The turn, step by step; empty where nothing is to be turned.
    #[serde(default)]
    pub steps: Vec<TurnStep>,
    /// Findings (`id`) that are outside and that this value depends on: to be put right first.
    #[serde(default)]
    pub rests_on: Vec<String>,
    /// What can be told or given so that a new reading of the same return says more.
    #[serde(default)]
    pub remedies: Vec<Remedy>,
}

/// One part of an uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct UncertaintyPart {
    /// Where it comes from.
    pub from: UncertainFrom,
    /// Expanded (k = 2), in the finding's unit.
    pub uncertainty: f64,
}

/// Where an uncertainty comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum UncertainFrom {
    /// The file itself: noise, wander, how figures scatter.
    Return,
    /// Sound card and player, which no file shows: what usual ones may be off by.
    SoundCard,
    /// The deck itself, which differs from one stretch of tape to the next.
    Stretches,
}

/// Why something cannot be told, and how to find out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Untold {
    /// Why; completes "cannot tell, because ...".
    pub because: String,
    /// What to do for it, verb first.
    pub find_out: String,
}

impl Untold {
    /// From two halves of a sentence, each without its full stop.
    pub fn new(because: impl Into<String>, find_out: impl Into<String>) -> Self {
        Self { because: because.into(), find_out: find_out.into() }
    }

    /// Both in one sentence.
    pub fn why(&self) -> String {
        format!("cannot tell, because {}; to find out: {}", self.because, self.find_out)
    }
}

/// What was judged and is right now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Settled {
    /// The finding, as `id` or `id channel`.
    pub finding: String,
    /// `within` or `marginal`.
    pub verdict: Verdict,
    /// Value, uncertainty and unit are the finding's.
    pub value: Option<f64>,
    /// Expanded uncertainty (k = 2) in `unit`.
    pub uncertainty: Option<f64>,
    /// Unit of both.
    pub unit: Unit,
}

/// What could not be judged, for one reason.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NotJudged {
    /// The findings, as `id` or `id channel`, in the order of work.
    pub findings: Vec<String>,
    /// Why.
    #[serde(flatten)]
    pub untold: Untold,
    /// Whether the programme holds something for it; `null` where it is not known what was played.
    pub in_programme: Option<bool>,
    /// What can be told or given so that a new reading of the same return says more.
    #[serde(default)]
    pub remedies: Vec<Remedy>,
}

/// What a figure of one quantity can mean in this return, measured or not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct QuantityMeaning {
    /// What the trade calls the quantity.
    pub quantity: String,
    /// `absolute: ...`, `relative to ...`, or `cannot tell, because ...; to find out: ...`.
    pub meaning: String,
    /// What can be told or given so that a figure means more.
    #[serde(default)]
    pub remedies: Vec<Remedy>,
}

/// What a technician adjusts, cleans or mends. The order is that of the work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Adjustment {
    /// The recording itself: level, settings, programme.
    Capture,
    /// Leads, plugs, head wires.
    Wiring,
    /// Belts, idler, capstan, pinch roller, guides: no trimmer.
    Transport,
    /// Trimmer of the motor's speed.
    MotorSpeed,
    /// Azimuth screw of the head.
    AzimuthScrew,
    /// Cleaning, demagnetising and looking at the heads.
    Heads,
    /// The switch or the network of the equalisation: another time constant than the tape's.
    EqualisationNetwork,
    /// Coupling capacitors.
    Capacitors,
    /// Head circuit or amplifier: no trimmer.
    Amplifier,
    /// The head itself: worn beyond what an equaliser makes up for.
    HeadItself,
    /// Playback alone is to be read with a calibrated tape, before the recording half is touched.
    PlaybackFirst,
    /// Trimmer of the playback equalisation.
    PlaybackEqualisation,
    /// Trimmer of the playback level.
    PlaybackLevel,
    /// Trimmer of the record level.
    RecordLevel,
    /// Trimmer of the bias.
    Bias,
    /// Trimmer of the record equalisation.
    RecordEqualisation,
    /// Another tape is to be tried.
    Tape,
    /// Where hum gets in: ground loops, screens, supply.
    Hum,
}

/// Which way an adjustment goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// More level, treble or bias.
    Up,
    /// Less level, treble or bias.
    Down,
    /// Faster.
    Faster,
    /// Slower.
    Slower,
}

/// One thing to do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TurnStep {
    /// What is adjusted, cleaned or mended.
    pub adjust: Adjustment,
    /// `left`, `right`, `both`, or `null` where channels play no part.
    pub channel: Option<Channel>,
    /// Which way; `null` where there is no way to tell (an azimuth screw) or none.
    pub way: Option<Way>,
    /// About how much, in `unit`.
    pub by: Option<f64>,
    /// Unit of `by`; empty without it.
    pub unit: Unit,
    /// What to do, in words; without a full stop.
    pub text: String,
}

/// One step of all that is to be done, in the order of work.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WorkStep {
    /// Place in the order of work, from 1.
    pub number: u32,
    /// What to do.
    pub step: TurnStep,
    /// Findings that ask for it, as `id` or `id channel`.
    pub findings: Vec<String>,
    /// Numbers of the steps to be done, and read again, before it.
    pub after: Vec<u32>,
}
