//! Which programme plays and where in it: slates found in the stream while it runs.
//!
//! A programme that starts anew (a player that repeats it) is a new playing: its place is that of the newest slate.

use crate::capture::{Chirp, ChirpFinder, FoundSlate, TimeMap, Wiring, assemble, true_rates};
use crate::programme::slate::{CHIRP_S, LENGTH_S};
use crate::programme::{PlacedPart, Recipe, Signal, Timeline, built_in_by_code};

/// Chirps are kept for so long, s: a slate at the slowest speed, and some more.
const KEPT_S: f64 = 5.0;
/// A chirp is read so long after it was heard, s: it may still be outdone by a likelier one.
const LATE_S: f64 = 0.15;
/// So many likely chirps within a slate's length make it worth while to read them, and say that a slate plays.
const ENOUGH: usize = 26;
const SLATE_PLAYS: usize = 7;
/// Correlation of a likely chirp.
const LIKELY: f64 = 0.5;
/// Slates are read so often, s.
const EVERY_S: f64 = 0.3;
/// A slate of the same playing stands where the map expects it within this, s.
const EXPECTED_S: f64 = 0.6;
/// Behind the last part the programme is over, s.
const OVER_S: f64 = 1.0;

/// A programme that plays.
struct Running {
    timeline: Timeline,
    slates: Vec<FoundSlate>,
    map: TimeMap,
    wiring: Wiring,
}

/// Finds slates in the stream.
pub(crate) struct Place {
    finders: [ChirpFinder; 2],
    chirps: [Vec<Chirp>; 2],
    recipe: Option<Recipe>,
    read_at_s: f64,
    /// Start of the newest slate that was read, s.
    newest_s: f64,
    /// How fast that slate ran, 1 if right.
    ratio: f64,
    /// Programmes that nobody here knows.
    stranger: Option<u16>,
    running: Option<Running>,
}

impl Place {
    /// `recipe` is looked for besides those that are built in.
    pub fn new(rate_hz: f64, recipe: Option<Recipe>) -> Self {
        Self {
            finders: [ChirpFinder::new(rate_hz), ChirpFinder::new(rate_hz)],
            chirps: [Vec::with_capacity(512), Vec::with_capacity(512)],
            recipe,
            read_at_s: 0.0,
            newest_s: f64::NEG_INFINITY,
            ratio: 1.0,
            stranger: None,
            running: None,
        }
    }

    /// Feeds a block whose end lies at `now_s`; true if a slate was read.
    pub fn feed(&mut self, block: [&[f64]; 2], now_s: f64) -> bool {
        for ((finder, chirps), samples) in self.finders.iter_mut().zip(&mut self.chirps).zip(block) {
            finder.feed(samples);
            finder.take_before(now_s - LATE_S, chirps);
        }
        if now_s < self.read_at_s + EVERY_S {
            return false;
        }
        self.read_at_s = now_s;
        for chirps in &mut self.chirps {
            chirps.retain(|chirp| chirp.at_s > now_s - KEPT_S);
        }
        if self.likely(now_s - LENGTH_S / 0.85) < ENOUGH {
            return false;
        }
        let codes: Vec<u16> = self.running.iter().map(|running| running.timeline.code).collect();
        let found = assemble(&self.chirps, &codes);
        let mut read = false;
        for slate in found {
            if slate.start_s > self.newest_s + LENGTH_S / 2.0 {
                self.newest_s = slate.start_s;
                self.take(slate);
                read = true;
            }
        }
        read
    }

    /// Likely chirps since `from_s`, on the channel with more of them.
    fn likely(&self, from_s: f64) -> usize {
        let count = |chirps: &Vec<Chirp>| {
            chirps.iter().filter(|chirp| chirp.at_s > from_s && chirp.correlation > LIKELY).count()
        };
        count(&self.chirps[0]).max(count(&self.chirps[1]))
    }

    /// Whether chirps of a slate come in now.
    pub fn slate_plays(&self, now_s: f64) -> bool {
        self.likely(now_s - 0.9) >= SLATE_PLAYS
    }

    /// End of the newest likely chirp, s; 0 if there was none of late.
    pub fn chirped_until_s(&self) -> f64 {
        let likely = self.chirps.iter().flatten().filter(|chirp| chirp.correlation > LIKELY);
        likely.map(|chirp| chirp.at_s + CHIRP_S).fold(0.0, f64::max)
    }

    fn take(&mut self, slate: FoundSlate) {
        let code = slate.slate.code;
        self.ratio = slate.ratio;
        if let Some(running) = self.running.as_mut().filter(|running| running.timeline.code == code) {
            let start_s = slate_start_s(&running.timeline, slate.slate.index);
            let expected = start_s.map(|at_s| running.map.to_return(at_s));
            let same_playing = expected.is_some_and(|at_s| (at_s - slate.start_s).abs() < EXPECTED_S);
            if !same_playing {
                running.slates.clear();
            }
            running.slates.push(slate);
            if let Some((map, _)) = TimeMap::new(&running.slates, &running.timeline) {
                running.map = map;
                running.wiring = Wiring::new(&running.slates, false);
            }
            return;
        }
        let told = self.recipe.as_ref().map(Timeline::from).filter(|timeline| timeline.code == code);
        let timeline = told.or_else(|| built_in_by_code(code).as_ref().map(Timeline::from));
        self.stranger = timeline.is_none().then_some(code);
        self.running = timeline.and_then(|timeline| {
            let slates = vec![slate];
            let (map, _) = TimeMap::new(&slates, &timeline)?;
            let wiring = Wiring::new(&slates, false);
            Some(Running { timeline, slates, map, wiring })
        });
    }

    /// Code of a programme whose recipe is not known here.
    pub fn stranger(&self) -> Option<u16> {
        self.stranger
    }

    /// True sample rate over the one that was told, where the newest slate shows another.
    pub fn true_rate(&self) -> Option<f64> {
        true_rates(Some(self.ratio)).into_iter().next()
    }

    /// How the channels are wired, by the slates; `None` before the first.
    pub fn wiring(&self) -> Option<Wiring> {
        self.running.as_ref().map(|running| running.wiring)
    }

    /// Recipe and time map, while the programme runs.
    pub fn programme(&self, now_s: f64) -> Option<(&Timeline, &TimeMap)> {
        let running = self.running.as_ref()?;
        let over = running.map.to_programme(now_s) > running.timeline.length_s + OVER_S;
        (!over).then_some((&running.timeline, &running.map))
    }

    /// The part that plays at `now_s`, and until when, s of the stream; in the gap behind a part it is still that one.
    pub fn part(&self, now_s: f64) -> Option<(&PlacedPart, f64)> {
        let (timeline, map) = self.programme(now_s)?;
        let at_s = map.to_programme(now_s);
        let part = timeline.parts.iter().rev().find(|part| part.start_s <= at_s)?;
        Some((part, map.to_return(part.start_s + part.length_s)))
    }

    /// The part about `now_s` that is a tone of `hz`, as it came back, or has one.
    pub fn tone_part(&self, now_s: f64, hz: f64) -> Option<&PlacedPart> {
        /// Programme and return differ by no more than this in frequency, and by this in time, s.
        const NEAR: f64 = 0.06;
        const WITHIN_S: f64 = 1.0;
        let (timeline, map) = self.programme(now_s)?;
        let at_s = map.to_programme(now_s);
        let is_near = |nominal: f64| (hz / nominal - 1.0).abs() < NEAR;
        let away_s =
            |part: &PlacedPart| (part.start_s - at_s).max(at_s - part.start_s - part.length_s).max(0.0);
        let has = |part: &&PlacedPart| match &part.signal {
            Signal::Tone { hz } => is_near(*hz),
            Signal::Chord { hz } => hz.iter().any(|hz| is_near(*hz)),
            _ => false,
        };
        let parts = timeline.parts.iter().filter(has).filter(|part| away_s(part) < WITHIN_S);
        parts.min_by(|a, b| away_s(a).total_cmp(&away_s(b)))
    }
}

fn slate_start_s(timeline: &Timeline, index: u8) -> Option<f64> {
    let is = |part: &&PlacedPart| matches!(part.signal, Signal::Slate { index: own } if own == index);
    timeline.parts.iter().find(is).map(|part| part.start_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::programme::{Renderer, find};

    #[test]
    fn the_part_that_plays_is_known_from_the_first_slate_on_and_after_a_new_start() {
        let recipe = find("first-look").unwrap();
        let timeline = Timeline::from(&recipe);
        let rate_hz = 48_000.0;
        let [left, right] = Renderer::new(&timeline, 48_000, -12.0).unwrap().collect();
        // It starts in its middle and is then played from the start.
        let cut = (20.0 * rate_hz) as usize;
        let [left, right] = [left, right].map(|channel| [&channel[cut..], &channel].concat());
        let again_s = timeline.length_s - 20.0;
        let mut place = Place::new(rate_hz, None);
        let mut right_parts = 0;
        let mut known_at_s = None;
        for (k, (l, r)) in left.chunks(960).zip(right.chunks(960)).enumerate() {
            let now_s = (k + 1) as f64 * 960.0 / rate_hz;
            place.feed([l, r], now_s);
            let Some((part, until_s)) = place.part(now_s) else { continue };
            let known = *known_at_s.get_or_insert(now_s);
            let programme_s = if now_s < again_s { now_s + 20.0 } else { now_s - again_s };
            let truth = timeline.parts.iter().rev().find(|part| part.start_s <= programme_s);
            // After the new start the first slate has to be heard first: it ends at 5 s.
            if now_s < again_s - 0.1 || programme_s > 6.0 {
                let near_edge = timeline.parts.iter().any(|part| (part.start_s - programme_s).abs() < 0.01);
                assert!(near_edge || truth.is_some_and(|truth| truth.id == part.id), "{now_s}: {}", part.id);
                assert!(until_s > now_s - 1.0);
                right_parts += 1;
            }
            assert!(known < 20.0);
        }
        assert!(right_parts > 3000, "{right_parts}");
        assert_eq!(place.wiring().map(|wiring| (wiring.swapped, wiring.inverted)), Some((false, [false; 2])));
    }
}
