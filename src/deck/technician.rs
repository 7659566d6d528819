//! What somebody does at the deck while the programme runs: trimmers turned, noise reduction switched.

use super::check::Check;
use super::keys::{Checked, Range, Value, tables};
use super::{DeckFile, Sides, ratio_of_db};
use serde::{Deserialize, Serialize};

tables! {
/// What is done at the deck, in seconds of the programme. Default: nothing.
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

/// One turn. What it does not name stays as it was.
#[derive(Copy)]
pub struct Turn {
    /// When it begins, s of the programme.
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

/// All turns written out.
#[derive(Debug, Clone)]
pub(crate) struct Hands {
    turns: Vec<Turn>,
}

impl Hands {
    pub(crate) fn new(file: &DeckFile) -> Self {
        let mut turns = file.technician.turns.clone();
        if let Some(steps) = &file.technician.steps {
            let count = steps.record_db.len().max(steps.bias_db.len());
            turns.extend((0..count).map(|k| Turn {
                at_s: steps.first_s + k as f64 * steps.every_s,
                over_s: steps.over_s,
                record_db: steps.record_db.get(k).copied(),
                bias_db: steps.bias_db.get(k).copied(),
                noise_reduction: None,
            }));
        }
        turns.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        Self { turns }
    }

    /// Whether anything is ever done.
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
