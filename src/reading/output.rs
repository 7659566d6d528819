//! Section `output` of a reading: what levels of the return are at the deck's output and against its mark.

use super::Pair;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Levels of the level tones at the deck's output. It rests on what was told of the deck, not on the return alone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Output {
    /// Output at which the return stands at 0 dBFS, mV rms; `null` where nobody read the level tone's millivolts.
    pub full_scale_mv: Pair,
    /// Its expanded uncertainty, mV.
    pub full_scale_uncertainty_mv: Pair,
    /// What the millivolts rest on, in words; empty where there are none.
    pub read_as: String,
    /// Where the deck's 0 (its level mark) lies in the return, dBFS.
    pub zero_dbfs: Pair,
    /// Its expanded uncertainty, dB; 0 where the level itself was told.
    pub zero_uncertainty_db: Pair,
    /// What that rests on, in words; empty where it is not known.
    pub zero_by: String,
    /// Fluxivity that the deck's 0 stands for, nWb/m.
    pub deck_standard_nwb_m: Option<f64>,
    /// `short-circuit`, `open-circuit` or `unknown`.
    pub deck_standard_stated: Option<String>,
    /// One row for each level tone, in the order in which they were played, then one for each round.
    pub levels: Vec<OutputLevel>,
}

/// One level tone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OutputLevel {
    /// Identifier of the part, or `round 3`.
    pub part: String,
    /// Number of the round; `null` outside rounds.
    #[serde(default)]
    pub round: Option<u32>,
    /// Frequency in the programme, Hz.
    pub hz: f64,
    /// Fluxivity on the tape, nWb/m, stated as the deck's standard is; `null` where it is not known.
    pub tape_nwb_m: Pair,
    /// What stands on the tape against the deck's 0, dB.
    pub tape_db: Pair,
    /// Output against the deck's 0, dB.
    pub against_zero_db: Pair,
    /// Its expanded uncertainty, dB.
    pub against_zero_uncertainty_db: Pair,
    /// Output, mV rms.
    pub mv: Pair,
    /// Its expanded uncertainty, mV.
    pub uncertainty_mv: Pair,
    /// Level of the return, dBFS.
    pub return_dbfs: Pair,
    /// Its expanded uncertainty, dB.
    pub uncertainty_db: f64,
}
