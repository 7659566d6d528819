//! Whether the gain follows the loudness, as an automatic recording level makes it.

use super::response::PlayedTone;

/// Tones that are compared lie at least this far apart in level, dB, ...
const APART_DB: f64 = 10.0;
/// ... and at most this far in frequency, as a ratio: a response that is not flat must not count.
const NEAR: f64 = 1.35;
/// Gain of the quiet tone over that of the loud one that no tape makes, dB: tape compresses a tone at the reference
/// level by some tenths (common practice, no source).
const MOST_DB: f64 = 1.5;

/// How much more gain a quiet tone had than a loud one of about the same frequency, dB, if that is more than tape
/// compresses; `None` otherwise.
pub fn gain_riding_db(tones: &[&PlayedTone]) -> Option<f64> {
    let pairs = tones.iter().flat_map(|loud| tones.iter().map(move |quiet| (loud, quiet)));
    pairs
        .filter(|(loud, quiet)| loud.programme_db - quiet.programme_db >= APART_DB)
        .filter(|(loud, quiet)| (loud.hz / quiet.hz).max(quiet.hz / loud.hz) <= NEAR)
        .flat_map(|(loud, quiet)| {
            [0, 1].map(|channel| {
                let (loud_level, quiet_level) = (loud.tone.levels[channel]?, quiet.tone.levels[channel]?);
                // Noise in a weak tone must not look like gain.
                let doubt_db = quiet_level.uncertainty_db.hypot(loud_level.uncertainty_db);
                let more_db = quiet_level.dbfs - quiet.programme_db - (loud_level.dbfs - loud.programme_db);
                Some(more_db).filter(|more_db| more_db - doubt_db > MOST_DB)
            })
        })
        .flatten()
        .max_by(f64::total_cmp)
}
