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

impl Sample {
    /// All findings, by `limits`.
    pub(crate) fn judged_by(&self, limits: &Limits) -> Vec<Finding> {
        crate::judge::order::judge(self, &self.causes, limits)
    }

    /// All findings, by the limits of full-size decks.
    pub(crate) fn judged(&self) -> Vec<Finding> {
        self.judged_by(&Limits::full_size())
    }

    /// The first finding of this name.
    pub(crate) fn finding(&self, id: &str) -> Finding {
        self.judged().into_iter().find(|finding| finding.id == id).unwrap()
    }

    /// The two findings of this name by a file of limits: left and right, or each way.
    pub(crate) fn both(&self, limits: &str, id: &str) -> [Finding; 2] {
        let limits = Limits::from_toml(limits, "manual.toml").unwrap();
        let found = self.judged_by(&limits).into_iter().filter(|finding| finding.id == id);
        found.collect::<Vec<_>>().try_into().unwrap()
    }
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
