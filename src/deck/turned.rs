//! Screws and trimmers that act where the tape is played back: where they stand against time, and the trimmers' doing.

use super::playback_filters::Biquad;
use super::technician::{Turn, in_order};
use super::{DeckFile, ratio_of_db};

/// One screw or trimmer against time: 0, as built, until it is turned, then straight lines. A turn begins where the one
/// before it has come to.
#[derive(Debug, Clone)]
pub(crate) struct Turned {
    /// Time, place, and the places' sum over time up to there. Two of one time are a jump.
    knots: Vec<[f64; 3]>,
}

impl Turned {
    /// What `place` names of each turn.
    pub(crate) fn new(file: &DeckFile, place: impl Fn(&Turn) -> Option<f64>) -> Self {
        let mut turned = Self { knots: Vec::new() };
        for turn in in_order(&file.technician) {
            let Some(to) = place(&turn) else { continue };
            let [from, sum] = turned.place_and_sum(turn.at_s);
            turned.knots.retain(|[at_s, ..]| *at_s <= turn.at_s);
            turned.knots.push([turn.at_s, from, sum]);
            turned.knots.push([turn.at_s + turn.over_s, to, sum + turn.over_s * (from + to) / 2.0]);
        }
        turned
    }

    /// Whether it is never turned.
    pub(crate) fn idle(&self) -> bool {
        self.knots.is_empty()
    }

    /// Where it stands at `t_s`.
    pub(crate) fn at(&self, t_s: f64) -> f64 {
        self.place_and_sum(t_s)[0]
    }

    /// Sum of its places over time up to `t_s`.
    pub(crate) fn sum(&self, t_s: f64) -> f64 {
        self.place_and_sum(t_s)[1]
    }

    fn place_and_sum(&self, t_s: f64) -> [f64; 2] {
        let next = self.knots.partition_point(|[at_s, ..]| *at_s <= t_s);
        let Some([at_s, from, sum]) = next.checked_sub(1).map(|last| self.knots[last]) else {
            return [0.0; 2];
        };
        let slope = self.knots.get(next).map_or(0.0, |[end_s, to, _]| (to - from) / (end_s - at_s));
        let place = from + slope * (t_s - at_s);
        [place, sum + (t_s - at_s) * (from + place) / 2.0]
    }
}

/// Frames for which the treble counts as standing still.
const STILL_FRAMES: usize = 64;
/// Where the treble trimmer begins to act, Hz.
const TREBLE_FROM_HZ: f64 = 4000.0;

/// Level and treble trimmers of the playback amplifier.
pub(crate) struct PlaybackTrimmers {
    level_db: [Turned; 2],
    treble_db: [Turned; 2],
    sections: [Biquad; 2],
    rate_hz: f64,
}

impl PlaybackTrimmers {
    /// The trimmers of `file` for a return at `rate_hz`; `None` if nobody turns them.
    pub(crate) fn new(file: &DeckFile, rate_hz: f64) -> Option<Self> {
        let of = |sides: fn(&Turn) -> Option<super::Sides>| {
            [0, 1].map(|channel| Turned::new(file, |turn| sides(turn).map(|sides| sides.of(channel))))
        };
        let (level_db, treble_db) = (of(|turn| turn.playback_db), of(|turn| turn.treble_db));
        let idle = level_db[0].idle() && treble_db[0].idle();
        let sections = [0, 1].map(|_| treble(0.0, rate_hz));
        (!idle).then_some(Self { level_db, treble_db, sections, rate_hz })
    }

    /// Level of `channel` at `t_s`, dB, and the treble's section.
    #[cfg(feature = "internals")]
    pub(crate) fn at(&self, channel: usize, t_s: f64) -> ([f64; 2], Biquad) {
        let [level_db, treble_db] = [&self.level_db, &self.treble_db].map(|turned| turned[channel].at(t_s));
        ([level_db, treble_db], treble(treble_db, self.rate_hz))
    }

    /// Turns a block of `channel` whose first sample is frame `first` of the return.
    pub(crate) fn run(&mut self, channel: usize, block: &mut [f64], first: i64) {
        if !self.treble_db[channel].idle() {
            for (at, piece) in (first..).step_by(STILL_FRAMES).zip(block.chunks_mut(STILL_FRAMES)) {
                let db = self.treble_db[channel].at(at as f64 / self.rate_hz);
                self.sections[channel].retune(&treble(db, self.rate_hz));
                self.sections[channel].run(piece);
            }
        }
        if !self.level_db[channel].idle() {
            for (at, x) in (first..).zip(block) {
                *x *= ratio_of_db(self.level_db[channel].at(at as f64 / self.rate_hz));
            }
        }
    }
}

/// What the treble trimmer does.
fn treble(db: f64, rate_hz: f64) -> Biquad {
    Biquad::treble_shelf(db, TREBLE_FROM_HZ, rate_hz)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn turned(turns: &str) -> Turned {
        let file = DeckFile::from_toml(&format!("[technician]\nturns = [{turns}]\n"), "a").unwrap();
        Turned::new(&file, |turn| turn.azimuth_arcmin)
    }

    #[test]
    fn a_screw_stands_still_turns_evenly_and_jumps() {
        let screw = turned(
            "{ at_s = 30, over_s = 0, azimuth_arcmin = 1 }, { at_s = 10, over_s = 4, azimuth_arcmin = 8 }, \
             { at_s = 20, speed_percent = 1 }",
        );
        let places = [0.0, 9.0, 11.0, 14.0, 29.9, 30.0, 1000.0].map(|t_s| screw.at(t_s));
        assert_eq!(places, [0.0, 0.0, 2.0, 8.0, 8.0, 1.0, 1.0]);
        assert!(!screw.idle() && turned("{ at_s = 3, playback_db = 1 }").idle());
    }

    #[test]
    fn a_turn_that_begins_early_goes_on_from_where_the_hand_is() {
        let screw = turned(
            "{ at_s = 10, over_s = 10, azimuth_arcmin = 10 }, { at_s = 15, over_s = 5, azimuth_arcmin = -5 }",
        );
        assert_eq!([15.0, 17.5, 20.0, 25.0].map(|t_s| screw.at(t_s)), [5.0, 0.0, -5.0, -5.0]);
    }

    #[test]
    fn the_sum_is_the_area_below_the_places() {
        let screw = turned(
            "{ at_s = 2, over_s = 3, azimuth_arcmin = -6 }, { at_s = 4, over_s = 2, azimuth_arcmin = 7 }, \
             { at_s = 9, over_s = 0, azimuth_arcmin = 3 }",
        );
        // Rectangles of 1 ms, read in their middle: exact for straight lines.
        let (mut area, step_s) = (0.0, 1e-3);
        for k in 0..12_000 {
            assert_within!(screw.sum(f64::from(k) * step_s), area, 1e-9, "");
            area += step_s * screw.at((f64::from(k) + 0.5) * step_s);
        }
    }
}
