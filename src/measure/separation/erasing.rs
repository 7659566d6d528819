//! What erasing leaves of a recorded tone: the erased stretch is found within the part, and the residual of the tone in it
//! is measured selectively.

use crate::capture::Stretch;
use crate::measure::meter::Meter;
use crate::measure::tone::follow::narrow_power;
use crate::reading::{Erasing, FileClock, Pair};
use crate::signal::baseband::{Band, Baseband};
use crate::signal::statistics::{mean, median, nth};
use crate::trade::sound_card::top_hz;
use std::f64::consts::TAU;

/// A stretch that is weaker than the tone by this much, dB, ...
const FALL_DB: f64 = 6.0;
/// ... and at least this long, s, was erased; a shorter one is a dropout.
const LEAST_S: f64 = 1.5;
/// Blocks in which the course of the level is looked at, s.
const BLOCK_S: f64 = 0.05;
/// What is left out on either side of a change, s: the erase head leaves the tape some tenths of a second behind the record
/// head, and buttons are not sudden.
const MARGIN_S: f64 = 0.5;
/// Share of the tone's frequency by which it may wander between the tone and the erased stretch.
const WANDER: f64 = 0.004;
/// Uncertainty of a moving level, share of the value.
const OWN_UNCERTAINTY: f64 = 0.02;

/// Residual of the tone, its expanded uncertainty, and what lies below the noise; dB against the tone.
type Figure = (Option<f64>, Option<f64>, Option<f64>);

/// Follows a long tone of which a stretch may be erased.
pub struct ErasingMeter {
    expected_hz: f64,
    channels: [Baseband; 2],
}

/// What was found of a tone that was erased in part.
#[derive(Debug, Clone)]
pub struct Erased {
    /// The erased stretch, s from the first sample fed; or why there is none.
    stretch: Result<Stretch, &'static str>,
    figures: [Figure; 2],
}

impl Meter for ErasingMeter {
    /// Frequency that is expected in the return, within 1 %, Hz.
    type Plan = f64;
    type Output = Erased;

    /// `None` if the tone is below 100 Hz, or too close to half the sample rate.
    fn new(rate_hz: f64, expected_hz: f64) -> Option<Self> {
        let (flat_hz, transition_hz) = (40.0 + 0.04 * expected_hz, 40.0);
        if !(expected_hz >= 100.0
            && expected_hz + flat_hz + transition_hz < 0.49 * rate_hz
            && expected_hz <= top_hz(rate_hz))
        {
            return None;
        }
        let band = || Baseband::new(rate_hz, expected_hz, flat_hz, transition_hz);
        Some(Self { expected_hz, channels: [band(), band()] })
    }

    fn feed(&mut self, block: [&[f64]; 2]) {
        self.channels[0].feed(block[0]);
        self.channels[1].feed(block[1]);
    }

    /// The erased stretch and what is left in it; a silent channel has no part in it.
    fn finish(self) -> Erased {
        let bands = self.channels.map(Baseband::finish);
        let levels = [0, 1].map(|k| block_levels(&bands[k]));
        let nothing = |why| Erased { stretch: Err(why), figures: [(None, None, None); 2] };
        let tops = [0, 1].map(|k| top(&levels[k]));
        if tops == [None, None] {
            return nothing("the tone was not found");
        }
        let Some((from, to)) = longest_fall(&levels, tops) else {
            return nothing(
                "no stretch of the tone is weaker than the rest: nothing was erased, or neither erase head nor bias works",
            );
        };
        let per_block = BLOCK_S * bands[0].rate_hz;
        let margin = MARGIN_S * bands[0].rate_hz;
        let count = bands[0].samples.len() as f64;
        // At the part's own ends nothing changes.
        let inner =
            |at: f64, inwards: f64| if at <= 0.0 || at >= count - per_block { at } else { at + inwards };
        let (from, to) = (inner(from as f64 * per_block, margin), inner(to as f64 * per_block, -margin));
        let (from, to) = (from.max(0.0) as usize, (to.max(0.0) as usize).min(bands[0].samples.len()));
        if (to.saturating_sub(from)) as f64 / bands[0].rate_hz < LEAST_S / 2.0 {
            return nothing("the erased stretch is too short");
        }
        let figures = [0, 1].map(|k| {
            let Some(top) = tops[k] else { return (None, None, None) };
            residual_of(&bands[k], &levels[k], top, (from, to), self.expected_hz)
        });
        let stretch = Stretch { from_s: bands[0].time_s(from), to_s: bands[0].time_s(to) };
        Erased { stretch: Ok(stretch), figures }
    }
}

/// Rms amplitude of each block.
fn block_levels(band: &Band) -> Vec<f64> {
    let size = (BLOCK_S * band.rate_hz).max(1.0);
    let blocks = (band.samples.len() as f64 / size) as usize;
    (0..blocks)
        .map(|k| {
            let block = &band.samples[(k as f64 * size) as usize..((k + 1) as f64 * size) as usize];
            mean(block.iter().map(|z| z.norm_sqr())).sqrt()
        })
        .collect()
}

/// Amplitude of the tone where it is whole: what a quarter of the blocks reach (more than half may be erased).
fn top(levels: &[f64]) -> Option<f64> {
    let from_top = levels.len().checked_sub(1 + levels.len() / 4)?;
    let loud = nth(&mut levels.to_vec(), from_top).filter(|level| *level > 1e-6)?;
    // The middle of those that are about as loud.
    Some(median(levels.iter().filter(|level| **level > 0.7 * loud)))
}

/// The longest run of blocks, from and to, in which a channel is weaker than its tone; dropouts of the other kind (short
/// returns of the tone) do not end it.
fn longest_fall(levels: &[Vec<f64>; 2], tops: [Option<f64>; 2]) -> Option<(usize, usize)> {
    let least = 10f64.powf(-FALL_DB / 20.0);
    let count = levels[0].len().max(levels[1].len());
    let down = |k: usize| {
        (0..2).any(|channel| {
            tops[channel].is_some_and(|top| levels[channel].get(k).is_some_and(|level| *level < least * top))
        })
    };
    let mut best: Option<(usize, usize)> = None;
    let mut k = 0;
    while k < count {
        if !down(k) {
            k += 1;
            continue;
        }
        let mut end = k;
        // Four blocks: 0.2 s.
        while (end..(end + 4).min(count)).any(down) {
            end += 1;
        }
        if best.is_none_or(|(from, to)| end - k > to - from) {
            best = Some((k, end));
        }
        k = end + 1;
    }
    best.filter(|(from, to)| (to - from) as f64 * BLOCK_S >= LEAST_S)
}

/// Residual of the tone between two samples: figure, uncertainty, and limit, dB.
fn residual_of(
    band: &Band,
    levels: &[f64],
    top: f64,
    (from, to): (usize, usize),
    expected_hz: f64,
) -> Figure {
    let size = BLOCK_S * band.rate_hz;
    let block = |k: usize| ((k as f64 / size) as usize).min(levels.len().saturating_sub(1));
    // Mean frequency where the tone is whole: the tape's speed at that place.
    let mut sum = 0.0;
    let mut number = 0.0;
    for (k, pair) in band.samples.windows(2).enumerate() {
        if levels.get(block(k)).is_some_and(|level| *level > 0.7 * top) {
            sum += (pair[1] * pair[0].conj()).arg();
            number += 1.0;
        }
    }
    if number < 1.0 {
        return (None, None, None);
    }
    let middle_hz = sum / number * band.rate_hz / TAU;
    let samples = &band.samples[from..to];
    let count = samples.len() as f64;
    let weights: Vec<f64> =
        (0..samples.len()).map(|k| 0.5 - 0.5 * (TAU * (k as f64 + 0.5) / count).cos()).collect();
    let half_hz = (WANDER * expected_hz).max(4.0 * band.rate_hz / count);
    let Some(residual) = narrow_power(samples, &weights, band.rate_hz, middle_hz, half_hz) else {
        return (None, None, None);
    };
    let db = |amplitude: f64| 20.0 * (amplitude / top).max(1e-8).log10();
    let limit_db = Some(db(residual.limit()));
    match residual.detected() {
        Some(amplitude) => {
            let uncertainty = (residual.uncertainty() / amplitude).hypot(OWN_UNCERTAINTY);
            (Some(db(amplitude)), Some(20.0 * (1.0 + uncertainty).log10()), limit_db)
        }
        None => (None, None, limit_db),
    }
}

/// The section of a reading; `clock` starts at the first sample fed.
pub fn erasing(hz: f64, programme_db: f64, clock: FileClock, erased: &Erased) -> Erasing {
    let pick = |of: fn(&Figure) -> Option<f64>| -> Pair { [of(&erased.figures[0]), of(&erased.figures[1])] };
    let stretch = erased.stretch.as_ref().ok();
    Erasing {
        hz,
        programme_db,
        erased_from_s: stretch.map(|stretch| clock.at(stretch.from_s)),
        erased_to_s: stretch.map(|stretch| clock.at(stretch.to_s)),
        residual_db: pick(|f| f.0),
        uncertainty_db: pick(|f| f.1),
        noise_limit_db: pick(|f| f.2),
        why: erased.stretch.as_ref().err().map(|why| (*why).to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::{Random, uneven_s};

    /// Twenty seconds of 1 kHz under wow; from 8 s to 14 s the left is `erased[0]` dB weaker, the right `erased[1]`.
    /// Hiss is a part of the tone.
    fn erased(erased: [f64; 2], amplitude: f64) -> Erased {
        let rate_hz = 48_000.0;
        let mut random = Random(3);
        let mut meter = ErasingMeter::new(rate_hz, 1001.0).unwrap();
        for second in 0..20 {
            let mut samples = [Vec::new(), Vec::new()];
            for n in 0..48_000 {
                let t = f64::from(second) + f64::from(n) / rate_hz;
                let tone = amplitude * (TAU * 1000.0 * uneven_s(t, &[(1.0, 0.2, 0.0)])).sin();
                for (out, db) in samples.iter_mut().zip(erased) {
                    let hiss = 0.004 * amplitude * (random.share() - 0.5);
                    let gain = if (8.0..14.0).contains(&t) { 10f64.powf(-db / 20.0) } else { 1.0 };
                    out.push(gain * tone + hiss);
                }
            }
            meter.feed([&samples[0], &samples[1]]);
        }
        meter.finish()
    }

    #[test]
    fn the_erased_stretch_is_found_and_what_is_left_is_read() {
        let found =
            erasing(1000.0, 0.0, FileClock::default().starting_at(100.0), &erased([60.0, 35.0], 0.25));
        crate::assert_within!(found.erased_from_s.unwrap().seconds(), 108.5, 0.1, "s");
        crate::assert_within!(found.erased_to_s.unwrap().seconds(), 113.5, 0.1, "s");
        for (k, want) in [-60.0, -35.0].into_iter().enumerate() {
            crate::assert_within!(found.residual_db[k].unwrap(), want, 0.4, "dB");
            crate::assert_within!(
                found.residual_db[k].unwrap(),
                want,
                1.5 * found.uncertainty_db[k].unwrap(),
                "dB"
            );
        }
        // One channel only, and completely: it lies below its noise.
        let found = erasing(1000.0, 0.0, FileClock::default(), &erased([300.0, 0.0], 0.25));
        assert_eq!(found.residual_db[0], None);
        assert!((-95.0..-70.0).contains(&found.noise_limit_db[0].unwrap()), "{found:?}");
        crate::assert_within!(found.residual_db[1].unwrap(), 0.0, 0.3, "dB");
    }

    #[test]
    fn where_nothing_was_erased_it_says_so() {
        let found = erasing(1000.0, 0.0, FileClock::default(), &erased([0.0, 0.0], 0.25));
        assert_eq!((found.erased_from_s, found.residual_db), (None, [None; 2]));
        assert!(found.why.unwrap().contains("nothing was erased"));
        let found = erasing(1000.0, 0.0, FileClock::default(), &erased([60.0, 60.0], 0.0));
        assert!(found.why.unwrap().contains("not found"));
    }
}
