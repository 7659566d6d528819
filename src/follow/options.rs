//! What a follower is told beforehand, and how a figure stands to its limit.

use crate::judge::{Bounds, Limits};
use crate::measure::TransportNumbers;
use crate::programme::Recipe;
use crate::reading::{Card, Circumstances, Pair, Verdict, View};
use crate::trade::Medium;

/// What a follower is told.
#[derive(Debug, Clone)]
pub struct FollowOptions {
    /// The view that is asked for; `None`: it follows the signal.
    pub view: Option<View>,
    /// Tolerances.
    pub limits: Limits,
    /// Whose recording, how many heads, which tape.
    pub circumstances: Circumstances,
    /// Frequency of a tone that somebody knows, Hz.
    pub known_hz: Option<f64>,
    /// Card of the house tape that plays: what its recording is off is subtracted.
    pub card: Option<Card>,
    /// A recipe besides those that are built in.
    pub recipe: Option<Recipe>,
    /// The medium.
    pub medium: Medium,
    /// Numbers of the transport, to name lines of flutter.
    pub transport: Option<TransportNumbers>,
    /// Where the programme's reference level lies in its WAV, dBFS.
    pub reference_dbfs: f64,
    /// Output at which the return stands at 0 dBFS, mV; `None` where nobody read it.
    pub full_scale_mv: Pair,
    /// The deck's 0 in the return, dBFS; `None` where nobody knows.
    pub zero_dbfs: Pair,
}

impl Default for FollowOptions {
    /// A compact cassette, limits of a full-size deck, nothing told.
    fn default() -> Self {
        Self {
            view: None,
            limits: Limits::full_size(),
            circumstances: Circumstances::default(),
            known_hz: None,
            card: None,
            recipe: None,
            medium: Medium::COMPACT_CASSETTE,
            transport: None,
            reference_dbfs: -12.0,
            full_scale_mv: [None; 2],
            zero_dbfs: [None; 2],
        }
    }
}

/// How a value stands to a limit either way of its target; `None` without target or limit.
pub(crate) fn verdict(
    value: f64,
    uncertainty: Option<f64>,
    target: Option<f64>,
    limit: Option<f64>,
) -> Option<Verdict> {
    let (off, limit) = (value - target?, limit?);
    Some(Bounds::within(limit).stand(off, uncertainty.unwrap_or(0.0)))
}
