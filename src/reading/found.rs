//! Sections `found` and `tape` of a reading: what a recording without slates holds, and what is known of its tape.

use super::{FileTime, Pair};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a stretch of the return seems to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FoundKind {
    /// A steady tone.
    Tone,
    /// A continuous sweep.
    Sweep,
    /// Even and quiet: hiss only.
    Silence,
    /// Even and loud, with a spectrum like noise.
    Noise,
    /// No signal at all: muted or edited.
    Nothing,
    /// Speech, music or something else.
    Other,
}

/// Whose word a nominal frequency is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum NominalBy {
    /// The tape's file.
    Tape,
    /// The technician, who knows it.
    Known,
    /// A guess: a usual frequency, by the speed error that explains most tones.
    Guess,
}

/// One stretch of a return that carries no slates.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Found {
    /// What it is.
    pub kind: FoundKind,
    /// Where it begins on the first channel that has it, s of the return.
    pub from_s: FileTime,
    /// Where it ends on the last one, s of the return.
    pub to_s: FileTime,
    /// Frequency in the return, Hz; of a sweep that at its start; `null` for what has none.
    pub hz: Option<f64>,
    /// Of a sweep the frequency at its end, Hz.
    pub to_hz: Option<f64>,
    /// Level in the return, dBFS; `null` where a channel does not have it.
    pub return_dbfs: Pair,
    /// What it serves, such as `level, response`; `nothing` where it serves nothing.
    pub serves: String,
    /// The frequency that is meant, Hz; `null` where none is near.
    pub nominal_hz: Option<f64>,
    /// Whose word that is.
    pub nominal_by: Option<NominalBy>,
    /// Identifier by which other sections call it; `null` where none does.
    pub part: Option<String>,
}

/// What was told of the tape, and what follows from it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TapeSection {
    /// Its name.
    pub name: Option<String>,
    /// Whether its corrections are from a certificate.
    pub certificate: Option<bool>,
    /// Date of the certificate, as written.
    pub certificate_date: Option<String>,
    /// `full`, `half` or `stereo`.
    pub track: Option<String>,
    /// Flux that its levels count from, nWb/m.
    pub reference_nwb_m: Option<f64>,
    /// `short-circuit`, `open-circuit` or `unknown`.
    pub reference_stated: Option<String>,
    /// Flux that the deck's manual calls its standard, nWb/m.
    pub deck_standard_nwb_m: Option<f64>,
    /// `short-circuit`, `open-circuit` or `unknown`.
    pub deck_standard_stated: Option<String>,
    /// The level tone that the following rests on, Hz.
    pub level_tone_hz: Option<f64>,
    /// Flux of that tone by the file, correction included, nWb/m, stated as the reference is.
    pub level_tone_nwb_m: Option<f64>,
    /// Level of that tone against the deck's standard, dB.
    pub level_tone_against_standard_db: Option<f64>,
    /// Expanded uncertainty of it, dB.
    pub level_tone_uncertainty_db: Option<f64>,
    /// Where the deck's standard comes back, dBFS.
    pub standard_dbfs: Pair,
    /// Equalisation for which the tape was recorded, us.
    pub recorded_for_us: Option<f64>,
    /// Equalisation at which the deck played back it, us.
    pub played_at_us: Option<f64>,
}
