//! The invented readings in `tests/readings/`, for this room's tests.

use crate::reading::Reading;

fn load(text: &str) -> Reading {
    let mut reading: Reading = serde_json::from_str(text).unwrap();
    // Judged anew by each test.
    reading.findings.clear();
    reading
}

/// A deck with nothing to turn.
pub(crate) fn healthy() -> Reading {
    load(include_str!("../../tests/readings/healthy.json"))
}

/// Speed, flutter, azimuth, response, channel match and hum are off.
pub(crate) fn faulty() -> Reading {
    load(include_str!("../../tests/readings/faulty.json"))
}

/// No slate, nothing measured.
pub(crate) fn empty() -> Reading {
    load(include_str!("../../tests/readings/empty.json"))
}

/// A trimming, a bias sweep and a noise reduction, all in one.
pub(crate) fn rounds() -> Reading {
    load(include_str!("../../tests/readings/rounds.json"))
}

/// An amplifier without a tape: drifted on the left, not switching on the right.
pub(crate) fn injected() -> Reading {
    load(include_str!("../../tests/readings/injected.json"))
}
