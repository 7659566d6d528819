//! Which tones are meant: heard frequencies against nominal ones, with the speed error that explains most of them.
//!
//! Every speed error that puts a tone right upon a usual frequency is tried; the one that explains most is taken, less
//! a price for its size. The tape's own list and a pitch that somebody knows go first. What few tones amid music say is
//! not believed.

use super::heard::HeardTone;
use crate::trade::test_tapes::{MOST_SPEED_ERROR_PERCENT, USUAL_HZ};

/// A tone is a nominal one if it is this near to it once the speed error is undone, as a share; low tones are known to a
/// hertz and a half only.
const NEAR: f64 = 0.008;
/// See [`NEAR`].
const NEAR_HZ: f64 = 1.5;
/// A speed error of 1 % must be paid by as much agreement: the nearer of two explanations is taken.
const PRICE: f64 = 0.008;
/// Another explanation is said to be possible if its score is as near as this.
const AS_GOOD: f64 = 0.3;
/// Explanations differ by more than this in speed, as a share.
const APART: f64 = 0.012;

/// Where a nominal frequency comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum NamedBy {
    /// The tape's file.
    Tape,
    /// The technician, who knows the frequency of one tone.
    Known,
    /// It is a usual one: a guess.
    Guess,
}

/// The nominal frequency of one tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Name {
    /// Hz.
    pub nominal_hz: f64,
    /// Whose word that is.
    pub by: NamedBy,
}

/// Tones with their names.
#[derive(Debug, Clone, PartialEq)]
pub struct Names {
    /// Return over nominal: above 1 the tape runs fast.
    pub ratio: f64,
    /// One for each tone; `None` where no nominal frequency is near.
    pub names: Vec<Option<Name>>,
    /// Another ratio that explains the tones as well, or almost.
    pub other_ratio: Option<f64>,
}

impl Names {
    /// How many tones have a name.
    pub fn agreeing(&self) -> usize {
        self.names.iter().flatten().count()
    }
}

/// Nominal frequencies that are thought of: Hz, how usual, and by whom.
fn list(told_hz: &[f64], known_hz: Option<f64>) -> Vec<(f64, f64, NamedBy)> {
    // Who names one tone knows it: the others have to follow.
    let mut list: Vec<(f64, f64, NamedBy)> = known_hz.iter().map(|&hz| (hz, 8.0, NamedBy::Known)).collect();
    let more =
        |list: &[(f64, f64, NamedBy)], hz: f64| list.iter().all(|known| (known.0 / hz - 1.0).abs() > NEAR);
    for &hz in told_hz {
        if more(&list, hz) {
            list.push((hz, 1.0, NamedBy::Tape));
        }
    }
    let usual = if told_hz.is_empty() { 1.0 } else { 0.2 };
    for (hz, weight) in USUAL_HZ {
        if more(&list, hz) {
            list.push((hz, usual * weight, NamedBy::Guess));
        }
    }
    list
}

/// The nearest nominal frequency to `hz` (speed undone): its index and how far off it is, in units of what is allowed.
fn nearest(list: &[(f64, f64, NamedBy)], hz: f64) -> Option<(usize, f64)> {
    list.iter()
        .enumerate()
        .map(|(k, nominal)| (k, (nominal.0 - hz).abs() / (NEAR * nominal.0).max(NEAR_HZ)))
        .filter(|near| near.1 < 1.0)
        .min_by(|a, b| a.1.total_cmp(&b.1))
}

/// Names the tones. `told_hz` are the tape's own frequencies, `known_hz` one that somebody knows.
///
/// Speed errors up to 7 % are thought of. Without any tone near a nominal frequency the ratio is 1 and nothing has a name.
pub fn name(tones: &[HeardTone], told_hz: &[f64], known_hz: Option<f64>) -> Names {
    let list = list(told_hz, known_hz);
    let most = MOST_SPEED_ERROR_PERCENT / 100.0;
    // Speed errors that put a tone right upon a nominal frequency.
    let mut ratios: Vec<f64> = tones
        .iter()
        .flat_map(|tone| list.iter().map(move |nominal| tone.hz / nominal.0))
        .filter(|ratio| (ratio - 1.0).abs() <= most)
        .collect();
    ratios.sort_by(f64::total_cmp);
    let mut scored: Vec<(f64, f64)> = ratios
        .into_iter()
        .map(|ratio| {
            let agreement: f64 = tones
                .iter()
                .filter_map(|tone| {
                    let (k, off) = nearest(&list, tone.hz / ratio)?;
                    Some(list[k].1 * (1.0 - off * off))
                })
                .sum();
            (ratio, agreement - PRICE * 100.0 * (ratio - 1.0).abs())
        })
        .collect();
    scored.sort_by(|a, b| b.1.total_cmp(&a.1));
    let Some(&(best, score)) = scored.first() else {
        return Names { ratio: 1.0, names: vec![None; tones.len()], other_ratio: None };
    };
    // Each tone says what the speed is; long and high ones say it best.
    let mut says: Vec<(f64, f64)> = tones
        .iter()
        .filter_map(|tone| {
            let (k, _) = nearest(&list, tone.hz / best)?;
            Some((tone.hz / list[k].0, tone.steady.length_s().max(0.1) * tone.hz.min(1000.0)))
        })
        .collect();
    says.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = says.iter().map(|said| said.1).sum::<f64>() / 2.0;
    let mut sum = 0.0;
    let ratio = says
        .iter()
        .find(|said| {
            sum += said.1;
            sum >= half
        })
        .map_or(best, |said| said.0);
    let names: Vec<Option<Name>> = tones
        .iter()
        .map(|tone| {
            let (k, _) = nearest(&list, tone.hz / ratio)?;
            Some(Name { nominal_hz: list[k].0, by: list[k].2 })
        })
        .collect();
    let certain = names.iter().flatten().any(|name| name.by == NamedBy::Known);
    let other_ratio = scored
        .iter()
        .find(|other| (other.0 / best - 1.0).abs() > APART && score - other.1 < AS_GOOD)
        .map(|other| other.0)
        .filter(|_| !certain);
    Names { ratio, names, other_ratio }
}

#[cfg(test)]
mod tests {
    use super::super::alignment::Stretch;
    use super::*;

    fn tone(hz: f64) -> HeardTone {
        let stretch = Stretch { from_s: 0.0, to_s: 3.0 };
        HeardTone { hz, heard: stretch, steady: stretch, on: [true; 2], dbfs: [-20.0; 2] }
    }

    fn heard(nominal: &[f64], ratio: f64) -> Vec<HeardTone> {
        nominal
            .iter()
            .enumerate()
            .map(|(k, hz)| tone(hz * ratio * (1.0 + 4e-4 * f64::from(k as i32 % 3 - 1))))
            .collect()
    }

    fn nominals(names: &Names) -> Vec<f64> {
        names.names.iter().map(|name| name.map_or(0.0, |name| name.nominal_hz)).collect()
    }

    #[test]
    fn a_ladder_agrees_on_one_speed_error_however_large() {
        let ladder = [
            315.0, 3150.0, 10_000.0, 40.0, 63.0, 125.0, 1000.0, 4000.0, 8000.0, 12_500.0, 14_000.0, 16_000.0,
        ];
        for ratio in [0.935, 0.96, 0.99, 1.0, 1.006, 1.03, 1.048, 1.065] {
            let names = name(&heard(&ladder, ratio), &[], None);
            assert_eq!(nominals(&names), ladder, "{ratio}");
            assert_within!(names.ratio, ratio, 5e-4, "", "{ratio}");
            assert_eq!(names.other_ratio, None, "{ratio}");
        }
        let three = [333.0, 3000.0, 10_000.0];
        for ratio in [0.97, 1.0, 1.03] {
            assert_eq!(nominals(&name(&heard(&three, ratio), &[], None)), three, "{ratio}");
        }
    }

    #[test]
    fn a_lone_tone_takes_the_nearer_name_and_says_that_another_is_possible() {
        for (hz, nominal, other) in [(3020.0, 3000.0, true), (3110.0, 3150.0, true), (1003.0, 1000.0, false)]
        {
            let names = name(&[tone(hz)], &[], None);
            assert_eq!(nominals(&names), [nominal]);
            assert_eq!(names.other_ratio.is_some(), other, "{hz}: {:?}", names.other_ratio);
            assert_eq!(names.names[0].unwrap().by, NamedBy::Guess);
        }
        let names = name(&[tone(3020.0)], &[], Some(3150.0));
        assert_within!(names.ratio, 3020.0 / 3150.0, 1e-9, "");
        assert_eq!((names.names[0].unwrap().by, names.other_ratio), (NamedBy::Known, None));
    }

    #[test]
    fn the_tapes_own_frequencies_go_before_usual_ones() {
        let tape = [330.0, 3015.0, 9800.0];
        let names = name(&heard(&tape, 1.02), &tape, None);
        assert_eq!(nominals(&names), tape);
        assert!(names.names.iter().all(|name| name.unwrap().by == NamedBy::Tape));
        assert_within!(names.ratio, 1.02, 5e-4, "");
    }

    #[test]
    fn what_is_near_nothing_has_no_name() {
        // The pilot of a data cassette, and a note.
        for hz in [2698.7, 440.0] {
            let names = name(&[tone(hz)], &[], None);
            assert_eq!(names.agreeing(), 0, "{hz}: {names:?}");
        }
        assert_eq!(name(&[], &[], Some(440.0)).agreeing(), 0);
        let names = name(&[tone(446.0)], &[], Some(440.0));
        assert_within!(names.ratio, 446.0 / 440.0, 1e-9, "");
    }
}
