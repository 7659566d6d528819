//! A stretch of the tape that was erased after recording.

use super::check::Check;
use super::keys::{Checked, Range, Value, tables};
use super::play::lead_s;
use super::{DeckFile, Sides, ratio_of_db};
use serde::{Deserialize, Serialize};
use std::f64::consts::PI;

/// Length of the change at either end, s.
const EDGE_S: f64 = 0.05;

tables! {
/// A stretch that was recorded over with no input: what was on the tape goes down by so much.
#[derive(Copy)]
pub struct Erased {
    /// Its start, s of the programme.
    pub from_s: f64 = 0.0 to 100_000.0,
    /// Its end, s of the programme, above `from_s`.
    pub to_s: f64 = 0.0 to 100_000.0,
    /// By how much it goes down, dB, positive.
    pub depth_db: Sides = 0.0 to 120.0,
}
}

impl Erased {
    /// Amplitude ratio of `channel` at `programme_s`.
    pub(crate) fn gain(&self, channel: usize, programme_s: f64) -> f64 {
        let inside = (programme_s - self.from_s).min(self.to_s - programme_s) / EDGE_S;
        let share = 0.5 + 0.5 * (PI * inside.clamp(-0.5, 0.5)).sin();
        1.0 + share * (ratio_of_db(-self.depth_db.of(channel)) - 1.0)
    }
}

/// Erases the samples of one channel; `place` is that of the first of them on the tape, frames.
pub(crate) fn erase(file: &DeckFile, channel: usize, rate_hz: f64, place: i64, samples: &mut [f64]) {
    let lead_s = lead_s(file, rate_hz);
    for erased in &file.tape.erased {
        for (k, sample) in samples.iter_mut().enumerate() {
            *sample *= erased.gain(channel, (place + k as i64) as f64 / rate_hz - lead_s);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deck::VirtualDeck;
    use crate::signal::statistics::rms;
    use crate::signal::test_signals::sine;

    #[test]
    fn a_stretch_goes_down_by_its_depth_where_it_should_and_nothing_else_does() {
        let text = "[tape]\nerased = [{ from_s = 0.4, to_s = 0.8, depth_db = [40, 20] }]\n\
                    saturation = { k3_percent_at_0db = 0.01 }\n[capture]\nlead_in = { kind = 'silence', seconds = 0.5 }";
        let file = DeckFile::from_toml(text, "test").unwrap();
        let tone: Vec<f64> = sine(0.1, 1000.0, 48_000.0, 57_600);
        let deck = VirtualDeck::new(&file, 1, 48_000.0).unwrap();
        let returned = deck.play_all(&[tone.clone(), tone]);
        for (channel, depth_db) in [40.0, 20.0].into_iter().enumerate() {
            for (at_s, want_db) in [(0.2, 0.0), (0.45, -depth_db), (0.7, -depth_db), (0.85, 0.0), (1.1, 0.0)]
            {
                let from = ((0.5 + at_s) * 48_000.0) as usize;
                let rms = rms(&returned[channel][from..from + 960]);
                let got_db = 20.0 * (rms * 2f64.sqrt() / 0.1).log10();
                assert_within!(got_db, want_db, 0.02, "dB", "channel {channel} at {at_s} s");
                assert_within!(deck.truth().erased_db(channel, at_s + 0.01), want_db, 1e-6, "dB");
            }
        }
    }
}
