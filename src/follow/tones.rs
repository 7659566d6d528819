//! The tones that were heard of late: newest levels and phase of each, and how they went.
//!
//! Each is measured by [`ToneMeter`] over the newest stretch of it, as long as the meter needs and at least a third of a
//! second.

use super::hearing::SteadyTone;
use super::ring::Ring;
use crate::measure::{Meter, Tone, ToneMeter, recorded_level, recorded_phase};
use crate::reading::{Card, Pair, minus};
use crate::signal::statistics::{median_of_few, quantile};
use crate::trade::Medium;
use num_complex::Complex64;
use std::collections::VecDeque;
use std::f64::consts::{PI, TAU};

/// Shortest stretch that a figure is averaged over, s.
const LEAST_S: f64 = 0.3;
/// What was read of a tone that sounds holds for so long, s.
const FRESH_S: f64 = 1.0;
/// A tone is the same as before within this share of its frequency.
const SAME: f64 = 0.03;
/// More tones than this are not kept; the oldest goes.
const MOST: usize = 40;
/// How long the past of a tone is kept, s, and values at most.
const PAST_S: f64 = 60.0;
const MOST_PAST: usize = 1200;
/// The envelope is looked at in pieces of this length, s, or so many periods.
const PIECE_S: f64 = 0.005;
const PERIODS: f64 = 3.0;
/// A tone has not begun or is over where its envelope is off by more than this, dB.
const EDGE_DB: f64 = 1.0;
/// So far back the beginning and the end of a tone are looked for, s.
const EDGE_S: f64 = 0.2;

/// What was read of a tone at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Moment {
    /// End of the stretch, s since the first sound.
    pub at_s: f64,
    /// Length of the stretch, s.
    pub over_s: f64,
    /// Frequency, Hz.
    pub hz: f64,
    pub dbfs: Pair,
    pub uncertainty_db: Pair,
    /// Phase right minus left and its uncertainty, rad.
    pub phase_rad: Option<(f64, f64)>,
}

/// What the card of a house tape says of a tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct OnCard {
    /// How far it lies too high on the tape, and what is not known of that, dB.
    pub level_db: Pair,
    pub uncertainty_db: f64,
    /// Phase right minus left on the tape and its uncertainty, rad.
    pub phase_rad: Option<(f64, f64)>,
}

impl OnCard {
    /// Of a tone of `hz` that was recorded at `programme_db`.
    pub fn of(card: &Card, hz: f64, programme_db: f64, medium: &Medium) -> Self {
        let level = recorded_level(card, hz, programme_db, medium);
        let (level_db, uncertainty_db) = level.unwrap_or(([None; 2], 0.0));
        Self { level_db, uncertainty_db, phase_rad: recorded_phase(card, hz) }
    }
}

/// One tone.
#[derive(Debug, Clone)]
pub(crate) struct HeardTone {
    pub hz: f64,
    /// When it was first read, s.
    first_s: f64,
    pub newest: Moment,
    pub past: VecDeque<Moment>,
    /// Level of it in the programme, dB, where the programme is known, and whether it is heard at the source there.
    pub programme_db: Option<f64>,
    /// How far the card of the tape says it is off there.
    pub card: Option<OnCard>,
    /// Frequency in the programme, or as it is known, Hz.
    pub nominal_hz: Option<f64>,
    /// Level at the source, dBFS.
    pub source_dbfs: Pair,
    /// Level that was held, dBFS.
    pub held_dbfs: Pair,
    /// Highest level since the last reset, dBFS.
    pub highest_dbfs: Pair,
    /// Where the samples that it was read from ended last.
    read_to: u64,
}

impl HeardTone {
    /// A tone that was heard once, up to the sample `read_to`.
    pub fn new(newest: Moment, read_to: u64) -> Self {
        Self {
            hz: newest.hz,
            first_s: newest.at_s,
            newest,
            past: VecDeque::new(),
            programme_db: None,
            card: None,
            nominal_hz: None,
            source_dbfs: [None; 2],
            held_dbfs: [None; 2],
            highest_dbfs: [None; 2],
            read_to,
        }
    }

    /// Level of the last three moments together, dBFS: one odd value makes no record.
    fn settled_dbfs(&self, channel: usize) -> Option<f64> {
        let last = self.past.iter().rev().take(3).filter(|m| m.at_s > self.newest.at_s - 1.0);
        let levels: Vec<f64> = last.filter_map(|moment| moment.dbfs[channel]).collect();
        (levels.len() == 3).then(|| median_of_few(&levels))
    }

    /// The moment nearest to `at_s`, if one lies within `within_s` of it.
    pub fn about(&self, at_s: f64, within_s: f64) -> Option<&Moment> {
        let nearest =
            self.past.iter().min_by(|a, b| (a.at_s - at_s).abs().total_cmp(&(b.at_s - at_s).abs()))?;
        ((nearest.at_s - at_s).abs() <= within_s).then_some(nearest)
    }

    /// Level that it has on the tape, dB, by the programme and the tape's card; `None` where the card does not tell, 0 where the
    /// programme is not known.
    pub fn on_tape_db(&self) -> Pair {
        let programme_db = self.programme_db.unwrap_or(0.0);
        let card_db = self.card.map_or([Some(0.0); 2], |card| card.level_db);
        card_db.map(|db| db.map(|db| db + programme_db))
    }

    /// What is not known of the level, dB: the tape's, too.
    pub fn uncertainty_db(&self) -> Pair {
        let card_db = self.card.map_or(0.0, |card| card.uncertainty_db);
        self.newest.uncertainty_db.map(|own| own.map(|own| own.hypot(card_db)))
    }

    /// Phase right minus left without that of the tape, and its uncertainty, rad.
    pub fn phase_rad(&self) -> Option<(f64, f64)> {
        let (phase, uncertainty) = self.newest.phase_rad?;
        let tape = self.card.and_then(|card| card.phase_rad);
        let Some((tape, tape_uncertainty)) = tape else { return Some((phase, uncertainty)) };
        Some(((phase - tape + PI).rem_euclid(TAU) - PI, uncertainty.hypot(tape_uncertainty)))
    }

    /// Level against the source, dB.
    pub fn against_source_db(&self) -> Pair {
        minus(self.newest.dbfs, self.source_dbfs)
    }
}

/// All tones of late.
#[derive(Default)]
pub(crate) struct Tones {
    pub all: Vec<HeardTone>,
    /// What a meter for a frequency needs, s.
    needs: Vec<(f64, f64)>,
}

/// `a` is the same frequency as `b`.
pub(crate) fn is_same(a: f64, b: f64) -> bool {
    (a / b - 1.0).abs() < SAME
}

impl Tones {
    /// The tone of about `hz`.
    pub fn of(&self, hz: f64) -> Option<&HeardTone> {
        self.all.iter().find(|tone| is_same(hz, tone.hz))
    }

    /// The same, if it was read within the last second: a tone that begins anew is not yet what it was.
    pub fn fresh(&self, hz: f64, now_s: f64) -> Option<&HeardTone> {
        self.of(hz).filter(|tone| now_s - tone.newest.at_s < FRESH_S)
    }

    /// Length of the stretch that a figure of a tone of `hz` is averaged over, s; `None` where none can be had.
    pub fn averaged_s(&mut self, rate_hz: f64, hz: f64) -> Option<f64> {
        if let Some((_, needs_s)) = self.needs.iter().find(|(known, _)| (hz / known - 1.0).abs() < 0.1) {
            return Some(*needs_s);
        }
        // For the lowest that the entry stands for.
        let needs_s = ToneMeter::shortest_s(rate_hz, 0.9 * hz)?.max(LEAST_S);
        self.needs.push((hz, needs_s));
        Some(needs_s)
    }

    /// Reads a tone that sounds, over its newest stretch.
    pub fn read(&mut self, ring: &mut Ring, sounding: SteadyTone) -> Option<&mut HeardTone> {
        let rate_hz = ring.rate_hz();
        let averaged = (self.averaged_s(rate_hz, sounding.hz)? * rate_hz) as u64;
        let (from, to) = within(ring, sounding);
        let slot = self.slot(sounding.hz);
        // Nothing new.
        if slot.is_some_and(|slot| self.all[slot].read_to >= to) {
            return slot.map(|slot| &mut self.all[slot]);
        }
        let from = from.max(to.saturating_sub(averaged));
        let tone = read_tone(ring, from, to, sounding.hz)?;
        let moment = Moment {
            at_s: ring.at_s(to),
            over_s: ring.at_s(to - from),
            hz: tone.hz,
            dbfs: tone.levels.map(|level| level.map(|level| level.dbfs)),
            uncertainty_db: tone.levels.map(|level| level.map(|level| level.uncertainty_db)),
            phase_rad: tone.mutual.map(|mutual| (mutual.phase_rad, mutual.uncertainty_rad)),
        };
        let slot = match slot {
            Some(slot) => slot,
            None => {
                self.make_room();
                self.all.push(HeardTone::new(moment, to));
                self.all.len() - 1
            }
        };
        let heard = &mut self.all[slot];
        (heard.hz, heard.newest, heard.read_to) = (tone.hz, moment, to);
        while heard.past.front().is_some_and(|old| old.at_s < moment.at_s - PAST_S)
            || heard.past.len() >= MOST_PAST
        {
            heard.past.pop_front();
        }
        heard.past.push_back(moment);
        for channel in 0..2 {
            if let Some(level) = heard.settled_dbfs(channel) {
                let highest = heard.highest_dbfs[channel];
                heard.highest_dbfs[channel] = Some(highest.map_or(level, |highest| highest.max(level)));
            }
        }
        Some(heard)
    }

    fn slot(&self, hz: f64) -> Option<usize> {
        self.all.iter().position(|tone| is_same(hz, tone.hz))
    }

    fn make_room(&mut self) {
        if self.all.len() < MOST {
            return;
        }
        let oldest =
            (0..self.all.len()).min_by(|&a, &b| self.all[a].newest.at_s.total_cmp(&self.all[b].newest.at_s));
        if let Some(oldest) = oldest {
            self.all.swap_remove(oldest);
        }
    }

    /// Forgets tones that were first heard after `at_s`: they were none.
    pub fn forget_since(&mut self, at_s: f64) {
        self.all.retain(|tone| tone.first_s < at_s);
    }

    /// Forgets highest levels.
    pub fn reset(&mut self) {
        for tone in &mut self.all {
            tone.highest_dbfs = [None; 2];
            tone.past.clear();
        }
    }

    /// Takes the levels of tones heard within `within_s` as those of the source; how many.
    pub fn take_source(&mut self, now_s: f64, within_s: f64) -> usize {
        let heard = self.all.iter_mut().filter(|tone| now_s - tone.newest.at_s < within_s);
        heard.map(|tone| tone.source_dbfs = tone.newest.dbfs).count()
    }

    /// Holds the levels of tones heard within `within_s`; how many.
    pub fn hold(&mut self, now_s: f64, within_s: f64) -> usize {
        let heard = self.all.iter_mut().filter(|tone| now_s - tone.newest.at_s < within_s);
        heard.map(|tone| tone.held_dbfs = tone.newest.dbfs).count()
    }
}

/// What the meter says of the samples `from..to`.
pub(crate) fn read_tone(ring: &mut Ring, from: u64, to: u64, hz: f64) -> Option<Tone> {
    let mut meter = ToneMeter::new(ring.rate_hz(), hz)?;
    ring.read(from, to, &mut |block| meter.feed(block));
    meter.finish()
}

/// Where a tone surely sounds: without its rise and its fall, told by its own level in short pieces. What sounded before it, and
/// comes after it, is another frequency and does not count.
pub(crate) fn within(ring: &mut Ring, tone: SteadyTone) -> (u64, u64) {
    let rate_hz = ring.rate_hz();
    let piece = (PIECE_S.max(PERIODS / tone.hz) * rate_hz) as usize;
    let edge = (EDGE_S * rate_hz) as u64;
    let (from, to) = (tone.from.max(ring.oldest()), tone.to);
    let late_from = to.saturating_sub(edge).max(from);
    let late = levels(ring, late_from, to, tone.hz, piece);
    let early = levels(ring, from, (from + edge).min(to), tone.hz, piece);
    // Most of the stretch is the tone, as the frames have found: the upper level is its own.
    let usual = |levels: &[f64]| quantile(levels, 0.75);
    let is_off = |level: f64, usual: f64| (level - usual).abs() > EDGE_DB;
    let (usual_late, usual_early) = (usual(&late), usual(&early));
    let off_late = late.iter().rev().take_while(|level| is_off(**level, usual_late)).count();
    let off_early = early.iter().take_while(|level| is_off(**level, usual_early)).count();
    // One piece more: a fade begins within 1 dB.
    let cut = |off: usize| if off > 0 { ((off + 1) * piece) as u64 } else { 0 };
    let whole = late_from + (late.len() * piece) as u64;
    let to = if off_late > 0 { whole.saturating_sub(cut(off_late)) } else { to };
    let from = from + cut(off_early);
    (from, to.max(from))
}

/// Level of a tone of `hz` in both channels, in whole pieces of so many samples, dB.
fn levels(ring: &mut Ring, from: u64, to: u64, hz: f64, piece: usize) -> Vec<f64> {
    let turn = Complex64::from_polar(1.0, -TAU * hz / ring.rate_hz());
    let mut levels = Vec::new();
    let (mut phasor, mut sums, mut count) = (Complex64::ONE, [Complex64::ZERO; 2], 0);
    ring.read(from, to, &mut |block| {
        for (l, r) in block[0].iter().zip(block[1]) {
            sums[0] += phasor * l;
            sums[1] += phasor * r;
            phasor *= turn;
            count += 1;
            if count == piece {
                levels.push(10.0 * sums.iter().map(Complex64::norm_sqr).sum::<f64>().max(1e-20).log10());
                (phasor, sums, count) = (Complex64::ONE, [Complex64::ZERO; 2], 0);
            }
        }
    });
    levels
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::Random;
    use std::f64::consts::TAU;

    #[test]
    fn another_tone_right_before_and_behind_is_left_out() {
        let rate_hz = 48_000.0;
        let mut ring = Ring::new(rate_hz);
        let samples: Vec<f64> = (0..72_000)
            .map(|n| {
                let hz = if (24_000..48_000).contains(&n) { 10_000.0 } else { 1000.0 };
                0.1 * (TAU * hz * f64::from(n) / rate_hz).sin()
            })
            .collect();
        ring.feed([&samples, &samples]);
        let (from, to) = within(&mut ring, SteadyTone { hz: 10_000.0, from: 19_000, to: 53_000 });
        assert!((24_000..25_000).contains(&from) && (47_000..=48_000).contains(&to), "{from} {to}");
    }

    #[test]
    fn a_tone_that_ends_keeps_its_level_to_the_last() {
        let rate_hz = 48_000.0;
        let mut ring = Ring::new(rate_hz);
        let mut random = Random(3);
        // Half a second of silence, a second of tone with fades of 20 ms, silence.
        let tone = |hz: f64, random: &mut Random| -> Vec<f64> {
            (0..96_000)
                .map(|n| {
                    let t = f64::from(n) / rate_hz - 0.5;
                    let fade = (t / 0.02).clamp(0.0, 1.0) * ((1.0 - t) / 0.02).clamp(0.0, 1.0);
                    0.1 * fade * (TAU * hz * t).sin() + 0.0003 * random.normal()
                })
                .collect()
        };
        for hz in [315.0, 1000.0, 10_000.0] {
            let samples = tone(hz, &mut random);
            let start = ring.count();
            ring.feed([&samples, &samples]);
            let mut tones = Tones::default();
            // As the frames see it: a little too long at both ends.
            let heard = SteadyTone { hz, from: start + 23_000, to: start + 73_000 };
            let (from, to) = within(&mut ring, heard);
            assert!(from >= start + 24_000 && from < start + 27_000, "{hz}: {}", from - start);
            assert!(to <= start + 72_000 && to > start + 69_000, "{hz}: {}", to - start);
            let got = tones.read(&mut ring, heard).unwrap();
            assert_within!(got.newest.dbfs[0].unwrap(), -20.0, 0.02, "dBFS", "{hz}");
            assert_within!(got.newest.hz, hz, 0.001 * hz, "Hz");
        }
    }
}
