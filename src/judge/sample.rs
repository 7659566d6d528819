//! The invented readings in `tests/readings/`, for this room's tests.

use crate::judge::Limits;
use crate::reading::{Cause, Facts, Finding};
use serde::Deserialize;
use std::ops::{Deref, DerefMut};

/// Facts with the causes that were told of them; each test judges anew.
#[derive(Debug, Clone, Deserialize)]
pub(crate) struct Sample {
    #[serde(flatten)]
    pub(crate) facts: Facts,
    pub(crate) causes: Vec<Cause>,
}

impl Deref for Sample {
    type Target = Facts;

    fn deref(&self) -> &Facts {
        &self.facts
    }
}

impl DerefMut for Sample {
    fn deref_mut(&mut self) -> &mut Facts {
        &mut self.facts
    }
}

/// The findings on `sample`.
pub(crate) fn judge(sample: &Sample, limits: &Limits) -> Vec<Finding> {
    crate::judge::order::judge(sample, &sample.causes, limits)
}

fn load(text: &str) -> Sample {
    serde_json::from_str(text).unwrap()
}

/// A deck with nothing to turn.
pub(crate) fn healthy() -> Sample {
    load(include_str!("../../tests/readings/healthy.json"))
}

/// Speed, flutter, azimuth, response, channel match and hum are off.
pub(crate) fn faulty() -> Sample {
    load(include_str!("../../tests/readings/faulty.json"))
}

/// No slate, nothing measured.
pub(crate) fn empty() -> Sample {
    load(include_str!("../../tests/readings/empty.json"))
}

/// A trimming, a bias sweep and a noise reduction, all in one.
pub(crate) fn rounds() -> Sample {
    load(include_str!("../../tests/readings/rounds.json"))
}

/// An amplifier without a tape: drifted on the left, not switching on the right.
pub(crate) fn injected() -> Sample {
    load(include_str!("../../tests/readings/injected.json"))
}
