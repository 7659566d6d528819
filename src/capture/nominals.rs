//! Which tones are meant: heard frequencies against nominal ones, with the speed error that explains most of them.
//!
//! Every speed error that puts a tone right upon a usual frequency is tried; the one that explains most is taken, less
//! a price for its size. The tape's own list and a pitch that somebody knows go first. What few tones amid music say is
//! not believed.
//!
//! A guess says what the speed is only if three tones agree on it that are no octaves of each other: usual frequencies
//! repeat from octave to octave, so that a leader of 1200 Hz and one of 2400 Hz agree on any error that one of them has.

use super::heard::HeardTone;
use crate::signal::statistics::median;
use crate::trade::test_tapes::{MOST_SPEED_ERROR_PERCENT, USUAL_HZ};

/// A tone is a nominal one if it is this near to it once the speed error is undone, as a share; low tones are known to a
/// hertz and a half only.
const NEAR: f64 = 0.008;
/// See [`NEAR`].
const NEAR_HZ: f64 = 1.5;
/// A speed error of 1 % must be paid by as much agreement: the nearer of two explanations is taken.
const PRICE: f64 = 0.008;
/// Another explanation is said to be possible if its odds are better than this.
const POSSIBLE: f64 = 0.05;
/// A usual frequency lies within [`NEAR`] of any tone in about one case of twelve: each tone that agrees with one
/// explanation and not with another speaks for it by the logarithm of that.
const EACH_SPEAKS: f64 = 2.5;
/// Explanations differ by more than this in speed, as a share.
const APART: f64 = 0.012;
/// Tones of one frequency, played at speeds that wander over a tape, follow each other within this share.
const ONE_TONE: f64 = 0.025;
/// Few decks are off by more than this, as a share (common practice, no source).
const USUALLY_OFF: f64 = 0.03;
/// Tones that agree, no octaves of each other, from which on a guess says what the speed is.
const LADDER: usize = 3;

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
    /// The next best ratio, if it is a possible one.
    pub rival: Option<Rival>,
    /// Somebody knows a frequency, or so many guesses agree that the ratio says what the speed is.
    pub tells_speed: bool,
}

/// Another explanation of the tones.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rival {
    /// Return over nominal.
    pub ratio: f64,
    /// How likely it is against the one that was taken, 0 to 0.5.
    pub odds: f64,
}

impl Names {
    /// What undoes the speed error: the ratio, or 1 where nobody can tell it.
    pub fn speed_ratio(&self) -> f64 {
        if self.tells_speed { self.ratio } else { 1.0 }
    }

    /// How many tones have a name.
    pub fn agreeing(&self) -> usize {
        self.names.iter().flatten().count()
    }
}

/// Nominal frequencies that are thought of: Hz, how usual, and by whom.
fn list(told_hz: &[f64], known_hz: Option<f64>) -> Vec<(f64, f64, NamedBy)> {
    let mut list: Vec<(f64, f64, NamedBy)> = known_hz.iter().map(|&hz| (hz, 1.0, NamedBy::Known)).collect();
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

/// Frequencies in groups, each of one tone that was played at speeds that wander.
pub fn of_one_tone(hz: impl Iterator<Item = f64>) -> Vec<Vec<f64>> {
    let mut hz: Vec<f64> = hz.collect();
    hz.sort_by(f64::total_cmp);
    hz.chunk_by(|a, b| b / a < 1.0 + ONE_TONE).map(<[f64]>::to_vec).collect()
}

/// The nearest nominal frequency to `hz` (speed undone): its index and how far off it is, in units of what is allowed.
fn nearest(list: &[(f64, f64, NamedBy)], hz: f64) -> Option<(usize, f64)> {
    list.iter()
        .enumerate()
        .map(|(k, nominal)| (k, (nominal.0 - hz).abs() / (NEAR * nominal.0).max(NEAR_HZ)))
        .filter(|near| near.1 < 1.0)
        .min_by(|a, b| a.1.total_cmp(&b.1))
}

/// Names the tones. `told_hz` are the tape's own frequencies, `known_hz` one that somebody knows: all tones near it are
/// taken for it.
///
/// Speed errors up to 7 % are thought of. Without any tone near a nominal frequency the ratio is 1 and nothing has a name.
pub fn name(tones: &[HeardTone], told_hz: &[f64], known_hz: Option<f64>) -> Names {
    let list = list(told_hz, known_hz);
    let groups = known_hz.map_or(vec![], |known_hz| {
        let near = |hz: &f64| (hz / known_hz - 1.0).abs() <= MOST_SPEED_ERROR_PERCENT / 100.0;
        of_one_tone(tones.iter().map(|tone| tone.hz).filter(near))
    });
    let score = |ratio: f64, group: &[f64]| {
        let agreement: f64 = tones
            .iter()
            .filter_map(|tone| {
                if group.contains(&tone.hz) {
                    return Some(1.0);
                }
                let (k, off) = nearest(&list, tone.hz / ratio)?;
                Some(list[k].1 * (1.0 - off * off))
            })
            .sum();
        agreement - PRICE * 100.0 * (ratio - 1.0).abs()
    };
    // Speed errors that put a tone right upon a nominal frequency; who names one tone knows it, and the others follow.
    let most = MOST_SPEED_ERROR_PERCENT / 100.0;
    let mut scored: Vec<(f64, f64, &[f64])> = match known_hz.filter(|_| !groups.is_empty()) {
        Some(known_hz) => groups
            .iter()
            .map(|group| (median(group) / known_hz, group))
            .map(|(ratio, group)| (ratio, score(ratio, group), group.as_slice()))
            .collect(),
        None => tones
            .iter()
            .flat_map(|tone| list.iter().map(move |nominal| tone.hz / nominal.0))
            .filter(|ratio| (ratio - 1.0).abs() <= most)
            .map(|ratio| (ratio, score(ratio, &[]), [].as_slice()))
            .collect(),
    };
    scored.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.total_cmp(&b.0)));
    let Some(&(best, best_score, group)) = scored.first() else {
        return Names { ratio: 1.0, names: vec![None; tones.len()], rival: None, tells_speed: false };
    };
    let ratio = if group.is_empty() { agreed(tones, &list, best) } else { best };
    let names: Vec<Option<Name>> = tones
        .iter()
        .map(|tone| match known_hz.filter(|_| group.contains(&tone.hz)) {
            Some(nominal_hz) => Some(Name { nominal_hz, by: NamedBy::Known }),
            None => {
                let (k, _) = nearest(&list, tone.hz / ratio).filter(|(k, _)| list[*k].2 != NamedBy::Known)?;
                Some(Name { nominal_hz: list[k].0, by: list[k].2 })
            }
        })
        .collect();
    let by = |whose: NamedBy| names.iter().flatten().filter(move |name| name.by == whose);
    let certain = by(NamedBy::Known).next().is_some();
    let rival = scored
        .iter()
        .find(|other| (other.0 / best - 1.0).abs() > APART)
        .map(|other| {
            let weight = (EACH_SPEAKS * (other.1 - best_score)).exp();
            Rival { ratio: other.0, odds: weight / (1.0 + weight) }
        })
        .filter(|rival| rival.odds > POSSIBLE && !certain);
    let tells_speed = certain
        || by(NamedBy::Tape).next().is_some()
        || independent(by(NamedBy::Guess).map(|name| name.nominal_hz)) >= LADDER;
    // With few tones it is chance that a deck so far off would put them on usual ones.
    if !tells_speed && (ratio - 1.0).abs() > USUALLY_OFF {
        return Names { ratio: 1.0, names: vec![None; tones.len()], rival: None, tells_speed };
    }
    Names { ratio, names, rival, tells_speed }
}

/// What the speed is by the tones near a nominal frequency at `ratio`: long and high ones say it best.
fn agreed(tones: &[HeardTone], list: &[(f64, f64, NamedBy)], ratio: f64) -> f64 {
    let mut says: Vec<(f64, f64)> = tones
        .iter()
        .filter_map(|tone| {
            let (k, _) = nearest(list, tone.hz / ratio)?;
            Some((tone.hz / list[k].0, tone.steady.length_s().max(0.1) * tone.hz.min(1000.0)))
        })
        .collect();
    says.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = says.iter().map(|said| said.1).sum::<f64>() / 2.0;
    let mut sum = 0.0;
    let middle = says.iter().find(|said| {
        sum += said.1;
        sum >= half
    });
    middle.map_or(ratio, |said| said.0)
}

/// How many of the frequencies are no octaves of each other.
fn independent(hz: impl Iterator<Item = f64>) -> usize {
    // Nominal frequencies three or ten octaves apart are rounded each for itself: 1250 and 10000 Hz are three octaves.
    const OCTAVE: f64 = 0.005;
    let mut places: Vec<f64> = Vec::new();
    for place in hz.map(|hz| hz.log2().rem_euclid(1.0)) {
        let same = |other: &f64| {
            let apart = (place - other).abs();
            apart.min(1.0 - apart) < OCTAVE
        };
        if !places.iter().any(same) {
            places.push(place);
        }
    }
    places.len()
}

#[cfg(test)]
mod tests {
    use super::super::alignment::Stretch;
    use super::*;

    fn tone(hz: f64) -> HeardTone {
        let stretch = Stretch { from_s: 0.0, to_s: 3.0 };
        HeardTone { hz, heard: stretch, steady: stretch, on: [true; 2], dbfs: [-20.0; 2], rich: false }
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
            assert_eq!((names.rival, names.tells_speed), (None, true), "{ratio}");
        }
        let three = [333.0, 3000.0, 10_000.0];
        for ratio in [0.97, 1.0, 1.03] {
            assert_eq!(nominals(&name(&heard(&three, ratio), &[], None)), three, "{ratio}");
        }
    }

    #[test]
    fn a_lone_tone_takes_the_nearer_name_says_that_another_is_possible_and_tells_no_speed() {
        for (hz, nominal, other) in [(3020.0, 3000.0, true), (3110.0, 3150.0, true), (1003.0, 1000.0, false)]
        {
            let names = name(&[tone(hz)], &[], None);
            assert_eq!(nominals(&names), [nominal]);
            assert_eq!(names.rival.is_some(), other, "{hz}: {:?}", names.rival);
            assert!(names.names[0].unwrap().by == NamedBy::Guess && !names.tells_speed);
        }
        let names = name(&[tone(3020.0)], &[], Some(3150.0));
        assert_within!(names.ratio, 3020.0 / 3150.0, 1e-9, "");
        assert_eq!((names.names[0].unwrap().by, names.rival), (NamedBy::Known, None));
        assert!(names.tells_speed);
    }

    #[test]
    fn octaves_of_one_guess_tell_no_speed_either() {
        // Leaders of data cassettes, taken for 1250, 2500 and 5000 Hz.
        let names = name(&[1230.0, 2460.0, 4920.0].map(tone), &[], None);
        assert!(names.agreeing() == 3 && !names.tells_speed, "{names:?}");
        // So far off few decks are: it is some other tone.
        let names = name(&[2404.0].map(tone), &[], None);
        assert!(names.agreeing() == 0 && names.speed_ratio() == 1.0, "{names:?}");
        assert!(name(&[318.0, 3181.0, 10_099.0].map(tone), &[], None).tells_speed);
    }

    #[test]
    fn a_known_pitch_names_all_tones_near_it_and_only_those() {
        // Four leaders of one tape, whose speed falls.
        let leaders = [2698.7, 2664.7, 2653.9, 2645.9];
        let names = name(&leaders.map(tone), &[], Some(2700.0));
        assert_eq!(nominals(&names), [2700.0; 4]);
        assert!(names.names.iter().all(|name| name.unwrap().by == NamedBy::Known));
        // One whose frequency another tone has at 5 % more speed: the ladder says which is meant.
        let names = name(&heard(&[315.0, 333.0, 1000.0, 3150.0, 10_000.0], 1.005), &[], Some(333.0));
        assert_eq!(nominals(&names), [315.0, 333.0, 1000.0, 3150.0, 10_000.0]);
        let by_known = names.names.iter().flatten().filter(|name| name.by == NamedBy::Known).count();
        assert_eq!(by_known, 1, "{names:?}");
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
