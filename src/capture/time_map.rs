//! The relation between programme time and return time: two clocks and one capstan, never assumed equal.

use super::slates::FoundSlate;
use crate::programme::slate::{SLOT_S, SLOTS};
use crate::programme::{PlacedPart, Signal, Timeline};

/// Piecewise linear map between programme time and return time, held by the slates.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeMap {
    /// (programme s, return s), rising in both.
    knots: Vec<(f64, f64)>,
    /// Time ratio before the first and behind the last knot.
    outer_ratio: [f64; 2],
    /// Rms of what wow moves the slates' chirps by, s.
    scatter_s: f64,
    single: bool,
    torn: Vec<Tear>,
}

/// A stretch between two slates in which so much time is missing or too much that nobody knows where its parts lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tear {
    /// Start of the slate before it, s of the return.
    pub from_s: f64,
    /// Start of the slate behind it, s of the return.
    pub to_s: f64,
    /// The same in the programme: end of the slate before it, start of the slate behind it, s.
    pub programme_s: (f64, f64),
    /// Time that is missing (positive) or too much (negative), s.
    pub missing_s: f64,
}

/// More than this is another playing, not a gap in this one, s.
const WIDEST_TEAR_S: f64 = 10.0;

impl TimeMap {
    /// The map that the slates of one playing of `timeline` make, and the slates that were used.
    ///
    /// If the return holds several playings (or parts of them), the one with the most slates is taken. `None` if no
    /// slate belongs to the timeline.
    pub fn new(found: &[FoundSlate], timeline: &Timeline) -> Option<(Self, Vec<FoundSlate>)> {
        let placed: Vec<(f64, &FoundSlate)> = found
            .iter()
            .filter(|slate| slate.slate.code == timeline.code)
            .filter_map(|slate| {
                let part = timeline.parts.iter().find(
                    |part| matches!(part.signal, Signal::Slate { index } if index == slate.slate.index),
                )?;
                Some((part.start_s, slate))
            })
            .collect();
        let consistent = |a: &(f64, &FoundSlate), b: &(f64, &FoundSlate)| {
            let (programme, real) = (b.0 - a.0, b.1.start_s - a.1.start_s);
            let ratio = (a.1.ratio + b.1.ratio) / 2.0;
            programme * real > 0.0 && (programme / real / ratio - 1.0).abs() < 0.02
        };
        let mut best: Vec<(f64, &FoundSlate)> = Vec::new();
        for anchor in &placed {
            let mut run: Vec<_> = placed
                .iter()
                .filter(|other| std::ptr::eq(other.1, anchor.1) || consistent(anchor, other))
                .copied()
                .collect();
            run.sort_by(|a, b| a.0.total_cmp(&b.0));
            run.dedup_by(|b, a| !consistent(a, b));
            if run.len() > best.len() {
                best = run;
            }
        }
        if best.is_empty() {
            return None;
        }
        let missing_s = |a: &(f64, &FoundSlate), b: &(f64, &FoundSlate)| {
            (b.0 - a.0) / ((a.1.ratio + b.1.ratio) / 2.0) - (b.1.start_s - a.1.start_s)
        };
        // Slates of the same playing that stand before or behind a gap.
        let mut others: Vec<_> =
            placed.iter().filter(|slate| best.iter().all(|used| used.0 != slate.0)).collect();
        let nearest_s = |slate: &(f64, &FoundSlate)| {
            best.iter().map(|used| missing_s(used, slate).abs()).fold(f64::INFINITY, f64::min)
        };
        let mut others: Vec<(f64, (f64, &FoundSlate))> = others
            .drain(..)
            .map(|slate| (nearest_s(slate), *slate))
            .filter(|other| other.0 < WIDEST_TEAR_S)
            .collect();
        others.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (_, slate) in others {
            let in_order =
                |used: &(f64, &FoundSlate)| (slate.0 - used.0) * (slate.1.start_s - used.1.start_s) > 0.0;
            if best.iter().all(in_order) {
                best.push(slate);
            }
        }
        best.sort_by(|a, b| a.0.total_cmp(&b.0));
        let torn: Vec<Tear> = best
            .windows(2)
            .filter(|pair| !consistent(&pair[0], &pair[1]))
            .map(|pair| Tear {
                from_s: pair[0].1.start_s,
                to_s: pair[1].1.start_s,
                programme_s: (pair[0].0 + SLOTS as f64 * SLOT_S, pair[1].0),
                missing_s: missing_s(&pair[0], &pair[1]),
            })
            .collect();
        let mut knots = Vec::new();
        for (programme_s, slate) in &best {
            for slots in [0.0, 37.0] {
                knots.push((programme_s + slots * SLOT_S, slate.start_s + slots * SLOT_S / slate.ratio));
            }
        }
        let slope = |a: usize, b: usize| {
            let ((p, q), (r, s)) = (knots[a], knots[b]);
            (r - p) / (s - q)
        };
        let last = knots.len() - 1;
        let whole = |pair: &[(f64, &FoundSlate)]| torn.iter().all(|torn| torn.from_s != pair[0].1.start_s);
        let outer_ratio = [
            if best.len() > 1 && whole(&best[..2]) { slope(0, 3) } else { slope(0, 1) },
            if best.len() > 1 && whole(&best[best.len() - 2..]) {
                slope(last - 3, last)
            } else {
                slope(last - 1, last)
            },
        ];
        let scatter_s = best.iter().map(|(_, slate)| slate.scatter_s).fold(0.0, f64::max);
        let used = best.iter().map(|(_, slate)| (*slate).clone()).collect();
        Some((Self { knots, outer_ratio, scatter_s, single: best.len() == 1, torn }, used))
    }

    /// The map of a return of `duration_s` that runs evenly at `ratio` and has no slates: its programme is what it holds.
    pub fn even(ratio: f64, duration_s: f64) -> Self {
        Self {
            knots: vec![(0.0, 0.0), (duration_s * ratio, duration_s)],
            outer_ratio: [ratio; 2],
            scatter_s: 0.0,
            single: false,
            torn: vec![],
        }
    }

    /// Stretches between slates in which time is torn.
    pub fn torn(&self) -> &[Tear] {
        &self.torn
    }

    /// Whether `part` lies, wholly or in part, where time is torn.
    pub fn is_torn(&self, part: &PlacedPart) -> bool {
        let end_s = part.start_s + part.length_s;
        self.torn.iter().any(|torn| part.start_s < torn.programme_s.1 && end_s > torn.programme_s.0)
    }

    /// Where programme time `programme_s` lies in the return, s.
    pub fn to_return(&self, programme_s: f64) -> f64 {
        let [before, after] = self.around(|knot| knot.0 <= programme_s);
        match (before, after) {
            (Some(a), Some(b)) => a.1 + (programme_s - a.0) * (b.1 - a.1) / (b.0 - a.0),
            (None, Some(b)) => b.1 + (programme_s - b.0) / self.outer_ratio[0],
            (Some(a), None) => a.1 + (programme_s - a.0) / self.outer_ratio[1],
            (None, None) => programme_s,
        }
    }

    /// Which programme time lies at `return_s`, s.
    pub fn to_programme(&self, return_s: f64) -> f64 {
        let [before, after] = self.around(|knot| knot.1 <= return_s);
        match (before, after) {
            (Some(a), Some(b)) => a.0 + (return_s - a.1) * (b.0 - a.0) / (b.1 - a.1),
            (None, Some(b)) => b.0 + (return_s - b.1) * self.outer_ratio[0],
            (Some(a), None) => a.0 + (return_s - a.1) * self.outer_ratio[1],
            (None, None) => return_s,
        }
    }

    /// Time ratio over `length_s` of programme from `programme_s` on: above 1 the return runs fast.
    pub fn ratio(&self, programme_s: f64, length_s: f64) -> f64 {
        length_s / (self.to_return(programme_s + length_s) - self.to_return(programme_s))
    }

    /// How far a place at `programme_s` may be off, s: wow, and speed that changed since the nearest slate.
    pub fn uncertainty_s(&self, programme_s: f64) -> f64 {
        let distance =
            self.knots.iter().map(|knot| (knot.0 - programme_s).abs()).fold(f64::INFINITY, f64::min);
        let inside = self.knots[0].0 <= programme_s && programme_s <= self.knots[self.knots.len() - 1].0;
        let rate = match (inside, self.single) {
            (true, _) => 0.0005,
            (false, false) => 0.002,
            (false, true) => 0.005,
        };
        0.003 + 3.0 * self.scatter_s + rate * distance
    }

    fn around(&self, is_before: impl Fn(&(f64, f64)) -> bool) -> [Option<(f64, f64)>; 2] {
        let index = self.knots.partition_point(is_before);
        [index.checked_sub(1).map(|i| self.knots[i]), self.knots.get(index).copied()]
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::programme::slate::Slate;
    use crate::programme::{Channels, PlacedPart, Serves};

    /// A programme of nothing but slates at `starts`.
    pub(crate) fn timeline(starts: &[f64]) -> Timeline {
        let parts = starts
            .iter()
            .enumerate()
            .map(|(index, &start_s)| PlacedPart {
                id: format!("slate-{index}"),
                start_s,
                length_s: 3.04,
                level_db: 0.0,
                channels: Channels::Both,
                signal: Signal::Slate { index: index as u8 },
                serves: Serves::Place,
                purpose: String::new(),
            })
            .collect();
        Timeline { name: "t".into(), code: 9, reference_hz: 400.0, looped: false, parts, length_s: 100.0 }
    }

    /// The slate of that index, found at `start_s`.
    pub(crate) fn slate(index: u8, start_s: f64, ratio: f64) -> FoundSlate {
        FoundSlate {
            slate: Slate { code: 9, index },
            start_s,
            ratio,
            marks: vec![],
            scatter_s: 0.0,
            left_only: [1.0, 0.0],
            right_only: [0.0, 1.0],
            amplitude: [1.0; 2],
            amplitude_sigma_db: [0.0; 2],
            phase: [(0.0, 1.0); 2],
        }
    }

    #[test]
    fn a_steady_speed_error_is_followed_everywhere() {
        let ratio = 1.02;
        let at = |p: f64| 7.0 + p / ratio;
        let found = [slate(0, at(2.0), ratio), slate(1, at(30.0), ratio), slate(2, at(60.0), ratio)];
        let (map, used) = TimeMap::new(&found, &timeline(&[2.0, 30.0, 60.0])).unwrap();
        assert_eq!(used.len(), 3);
        for p in [0.0, 2.0, 17.0, 45.0, 60.0, 99.0] {
            crate::assert_within!(map.to_return(p), at(p), 1e-9, "s", "{p}");
            crate::assert_within!(map.to_programme(at(p)), p, 1e-9, "s", "{p}");
            crate::assert_within!(map.ratio(p, 1.0), ratio, 1e-9, "", "{p}");
        }
    }

    #[test]
    fn a_gap_of_seconds_is_torn_and_the_rest_keeps_its_place() {
        // Two seconds are missing between the first and the second slate.
        let found = [slate(0, 2.0, 1.0), slate(1, 28.0, 1.0), slate(2, 58.0, 1.0)];
        let line = timeline(&[2.0, 30.0, 60.0]);
        let (map, used) = TimeMap::new(&found, &line).unwrap();
        assert_eq!(used.len(), 3);
        assert_eq!(map.torn().len(), 1);
        crate::assert_within!(map.torn()[0].missing_s, 2.0, 1e-9, "s");
        crate::assert_within!(map.to_return(1.0), 1.0, 1e-9, "s");
        crate::assert_within!(map.to_return(45.0), 43.0, 1e-9, "s");
        let part = |start_s| PlacedPart { start_s, length_s: 1.0, ..line.parts[0].clone() };
        assert!(map.is_torn(&part(20.0)) && !map.is_torn(&part(40.0)) && !map.is_torn(&part(0.5)));
    }

    #[test]
    fn the_fuller_of_two_playings_is_taken() {
        let found = [
            slate(1, 5.0, 1.0),
            slate(2, 35.0, 1.0),
            slate(0, 102.0, 1.0),
            slate(1, 130.0, 1.0),
            slate(2, 160.0, 1.0),
        ];
        let (map, used) = TimeMap::new(&found, &timeline(&[2.0, 30.0, 60.0])).unwrap();
        assert_eq!(used.len(), 3);
        crate::assert_within!(map.to_return(0.0), 100.0, 1e-9, "s");
    }
}
