//! Where every part of the programme lies in the return.

use super::slates::FoundSlate;
use super::time_map::TimeMap;
use super::wiring::Wiring;
use crate::programme::{PlacedPart, Timeline};
use crate::reading::FileClock;

/// A return held against the programme that it carries.
#[derive(Debug, Clone, PartialEq)]
pub struct Alignment {
    /// The slates that hold the map, in the order of the programme.
    pub slates: Vec<FoundSlate>,
    /// Programme time against return time.
    pub map: TimeMap,
    /// How the channels are wired.
    pub wiring: Wiring,
    /// Length of the return, s.
    pub duration_s: f64,
    /// Tells the times of the file.
    pub clock: FileClock,
    /// The recording began after the programme did.
    pub cut_start: bool,
    /// The recording ended before the programme did.
    pub cut_end: bool,
}

/// A stretch of the return, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Its start, s of the return.
    pub from_s: f64,
    /// Its end, s of the return.
    pub to_s: f64,
}

impl Stretch {
    /// Length, s.
    pub fn length_s(&self) -> f64 {
        self.to_s - self.from_s
    }
}

impl Alignment {
    /// Holds the slates found in a return of `duration_s` (true seconds) against `timeline`; `None` if none belongs to it.
    pub fn new(
        found: &[FoundSlate],
        timeline: &Timeline,
        duration_s: f64,
        identical: bool,
        clock: FileClock,
    ) -> Option<Self> {
        let (map, slates) = TimeMap::new(found, timeline)?;
        let wiring = Wiring::new(&slates, identical);
        let heard = |part: &&PlacedPart| !matches!(part.signal, crate::programme::Signal::Silence);
        let first = timeline.parts.iter().find(heard)?;
        let last = timeline.parts.iter().rev().find(heard)?;
        let cut_start = map.to_return(first.start_s) < -0.05;
        let cut_end = map.to_return(last.start_s + last.length_s) > duration_s + 0.05;
        Some(Self { slates, map, wiring, duration_s, clock, cut_start, cut_end })
    }

    /// Where `part` surely sounds steadily: without its fades, and less the uncertainty of its place.
    ///
    /// `None` if the part lies outside the recording, wholly or in part, nothing is left of it, or time is torn there.
    pub fn steady(&self, part: &PlacedPart, fade_s: f64) -> Option<Stretch> {
        let end_s = part.start_s + part.length_s;
        let from_s = self.map.to_return(part.start_s) + fade_s + self.map.uncertainty_s(part.start_s);
        let to_s = self.map.to_return(end_s) - fade_s - self.map.uncertainty_s(end_s);
        (!self.map.is_torn(part)
            && from_s >= 0.0
            && to_s <= self.duration_s
            && to_s - from_s > 0.1 * part.length_s)
            .then_some(Stretch { from_s, to_s })
    }

    /// The same, but a part that was cut by the recording's start or end is given as far as it is there.
    pub fn steady_rest(&self, part: &PlacedPart, fade_s: f64) -> Option<Stretch> {
        let end_s = part.start_s + part.length_s;
        let from_s =
            (self.map.to_return(part.start_s) + fade_s + self.map.uncertainty_s(part.start_s)).max(0.0);
        let to_s = (self.map.to_return(end_s) - fade_s - self.map.uncertainty_s(end_s)).min(self.duration_s);
        (!self.map.is_torn(part) && to_s - from_s > 0.1 * part.length_s).then_some(Stretch { from_s, to_s })
    }

    /// Level of the slates before and behind `programme_s`, dB, `[left, right]`: it shows a gain that drifts.
    pub fn slates_db(&self, programme_s: f64) -> [f64; 2] {
        let at_s = self.map.to_return(programme_s);
        let behind = self.slates.partition_point(|slate| slate.start_s <= at_s);
        let around = &self.slates[behind.saturating_sub(1)..(behind + 1).min(self.slates.len())];
        [0, 1].map(|channel| {
            let of_file = if self.wiring.swapped { 1 - channel } else { channel };
            let sum: f64 = around.iter().map(|slate| 20.0 * slate.amplitude[of_file].max(1e-9).log10()).sum();
            sum / around.len().max(1) as f64
        })
    }

    /// Mean time ratio while `part` plays: above 1 the return runs fast.
    pub fn ratio(&self, part: &PlacedPart) -> f64 {
        self.map.ratio(part.start_s, part.length_s)
    }
}
