//! What noise is stated against.
//!
//! A deck has no other level that means anything: full scale of the sound card is where its user put it. The loudest
//! level tone, less its own level in the programme, is the programme's reference level as it came back; noise and hum
//! are dB against that.

use crate::reading::Pair;

/// A level of the return that noise is stated against.
#[derive(Debug, Clone, PartialEq)]
pub struct Reference {
    /// In words.
    pub words: String,
    /// dBFS.
    pub dbfs: Pair,
    /// Expanded uncertainty, dB.
    pub uncertainty_db: f64,
}

/// Level of a mean square, dBFS (a sine at 0 dBFS has mean square 1/2); `None` for what is below -180 dBFS.
pub(crate) fn dbfs(power: f64) -> Option<f64> {
    (power > 1e-18).then(|| 10.0 * (2.0 * power).log10())
}

impl Reference {
    /// A mean square of `channel` against the reference, dB.
    pub(crate) fn against_db(&self, power: f64, channel: usize) -> Option<f64> {
        Some(dbfs(power)? - self.dbfs[channel]?)
    }
}
