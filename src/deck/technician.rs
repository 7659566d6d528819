//! What somebody does at the deck while the programme runs: trimmers and the azimuth screw turned, noise reduction switched.
//!
//! A hand acts where it is put. What is turned at the recording (record level, bias, noise reduction) acts on what is recorded at
//! that second of the programme. What is turned at the playback (azimuth, speed, playback level and treble) acts on what is heard
//! at that second of the return, by the capture's clock, before its start is cut off. Without a lead-in and a speed error both
//! are the same.

use super::check::Check;
use super::keys::{Checked, Range, Value, tables};
use super::{DeckFile, Sides, ratio_of_db};
use serde::{Deserialize, Serialize};

tables! {
/// What is done at the deck. Default: nothing.
#[derive(Default)]
#[serde(default)]
pub struct Technician {
    /// Single turns, in the order of their times. Default: none.
    pub turns: Vec<Turn>,
    /// Turns at even distances, behind the single ones. Default: none.
    pub steps: Option<TurnSteps>,
    /// A monitor switch that is switched from SOURCE to TAPE. Default: the tape is heard all the time.
    pub monitor: Option<MonitorSwitch>,
}

/// One turn. What it does not name stays as it was. To turn to and fro, write several in a row.
#[derive(Copy, Default)]
pub struct Turn {
    /// When it begins, s: of the programme for what is turned at the recording, of the return before cutting for what is turned
    /// at the playback.
    pub at_s: f64 = 0.0 to 3600.0,
    /// How long it takes, s. Default: 1.
    #[serde(default = "super::keys::number::<1>")]
    pub over_s: f64 = 0.0 to 60.0,
    /// Record level to which it is turned, dB re as built.
    pub record_db: Option<Sides> = -40.0 to 20.0,
    /// Bias to which it is turned, dB re nominal.
    pub bias_db: Option<Sides> = -10.0 to 10.0,
    /// Noise reduction switched in or out.
    pub noise_reduction: Option<bool>,
    /// Angle to which the playback head is turned, arc minutes re as built: `azimuth.angle_arcmin` and this are its angle. The
    /// azimuth loss follows within a block of 3072 frames.
    pub azimuth_arcmin: Option<f64> = -60.0 to 60.0,
    /// Speed to which the motor is turned, percent of nominal re as built: `speed.error_percent` and this are its error.
    pub speed_percent: Option<f64> = -10.0 to 10.0,
    /// Playback level to which it is turned, dB re as built.
    pub playback_db: Option<Sides> = -40.0 to 20.0,
    /// Playback treble to which it is turned, dB re as built: a shelf about 4 kHz.
    pub treble_db: Option<Sides> = -20.0 to 20.0,
}

/// The monitor switch of a deck with three heads: at SOURCE first, then at TAPE.
#[derive(Copy)]
pub struct MonitorSwitch {
    /// When it is switched to TAPE, s of the programme.
    pub tape_from_s: f64 = 0.0 to 3600.0,
    /// From the record head to the playback head, mm. Default: 8.
    #[serde(default = "super::keys::number::<8>")]
    pub head_distance_mm: f64 = 0.0 to 100.0,
    /// Level of the source at the output, dB. Default: 0.
    #[serde(default)]
    pub source_db: Sides = -40.0 to 20.0,
}

/// Turns at even distances: one a round.
pub struct TurnSteps {
    /// When the first begins, s of the programme.
    pub first_s: f64 = 0.0 to 3600.0,
    /// From the beginning of one to that of the next, s.
    pub every_s: f64 = 1.0 to 600.0,
    /// How long each takes, s. Default: 1.
    #[serde(default = "super::keys::number::<1>")]
    pub over_s: f64 = 0.0 to 60.0,
    /// Record levels, dB re as built, at most 200. Default: none.
    #[serde(default)]
    pub record_db: Vec<Sides> = -40.0 to 20.0,
    /// Bias, dB re nominal, at most 200. Default: none.
    #[serde(default)]
    pub bias_db: Vec<Sides> = -10.0 to 10.0,
}
}

/// How one channel is set at some moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// Record level, dB re as built.
    pub record_db: f64,
    /// Bias, dB re nominal.
    pub bias_db: f64,
    /// Noise reduction is in.
    pub reducing: bool,
}

/// All turns written out, in the order of their times.
pub(crate) fn in_order(technician: &Technician) -> Vec<Turn> {
    let mut turns = technician.turns.clone();
    if let Some(steps) = &technician.steps {
        let count = steps.record_db.len().max(steps.bias_db.len());
        turns.extend((0..count).map(|k| Turn {
            at_s: steps.first_s + k as f64 * steps.every_s,
            over_s: steps.over_s,
            record_db: steps.record_db.get(k).copied(),
            bias_db: steps.bias_db.get(k).copied(),
            ..Turn::default()
        }));
    }
    turns.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    turns
}

/// What is turned at the recording.
#[derive(Debug, Clone)]
pub(crate) struct Hands {
    turns: Vec<Turn>,
}

impl Hands {
    pub(crate) fn new(file: &DeckFile) -> Self {
        let mut turns = in_order(&file.technician);
        turns.retain(|turn| {
            turn.record_db.is_some() || turn.bias_db.is_some() || turn.noise_reduction.is_some()
        });
        Self { turns }
    }

    /// Whether nothing is ever turned there.
    pub(crate) fn idle(&self) -> bool {
        self.turns.is_empty()
    }

    /// How `channel` is set at `programme_s`.
    pub(crate) fn setting(&self, channel: usize, programme_s: f64) -> Setting {
        let mut setting = Setting { record_db: 0.0, bias_db: 0.0, reducing: false };
        for turn in self.turns.iter().take_while(|turn| turn.at_s <= programme_s) {
            let share =
                if turn.over_s > 0.0 { ((programme_s - turn.at_s) / turn.over_s).min(1.0) } else { 1.0 };
            let towards =
                |from: f64, to: Option<Sides>| to.map_or(from, |to| from + share * (to.of(channel) - from));
            setting.record_db = towards(setting.record_db, turn.record_db);
            setting.bias_db = towards(setting.bias_db, turn.bias_db);
            setting.reducing = turn.noise_reduction.unwrap_or(setting.reducing);
        }
        setting
    }
}

impl Setting {
    /// Amplitude ratio of the record level.
    pub(crate) fn record_ratio(&self) -> f64 {
        ratio_of_db(self.record_db)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_hold_until_the_next_and_take_their_time() {
        let file = DeckFile::from_toml(
            "[technician]\nturns = [{ at_s = 10, over_s = 2, record_db = [1, -1] }, { at_s = 30, noise_reduction = true }]\n\
             steps = { first_s = 20, every_s = 5, bias_db = [-3, [-2, -1]] }\n",
            "a",
        )
        .unwrap();
        let hands = Hands::new(&file);
        let at = |channel, s| hands.setting(channel, s);
        assert_eq!(at(0, 9.9), Setting { record_db: 0.0, bias_db: 0.0, reducing: false });
        assert_eq!(at(0, 11.0).record_db, 0.5);
        assert_eq!(at(1, 19.0).record_db, -1.0);
        assert_eq!((at(0, 22.0).bias_db, at(1, 27.0).bias_db), (-3.0, -1.0));
        assert_eq!((at(0, 29.0).reducing, at(0, 31.0).reducing), (false, true));
        assert_eq!(at(1, 300.0), Setting { record_db: -1.0, bias_db: -1.0, reducing: true });
    }
}
