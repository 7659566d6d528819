//! Spectral lines of a recording, frame by frame: what stands out of its surroundings, and how strong it is.
//!
//! Frames are 0.17 s long; lines stand 11 dB out of the usual bin around them, which hiss of any slope does not.

use crate::signal::spectrum::hann;
use crate::signal::statistics::nth;
use inner_loops::complex_forward;
use num_complex::Complex64;
use rayon::prelude::*;
use std::ops::Range;
use std::sync::Arc;

/// Shortest frame, s; the real one is the next power of two, so that bins are 4 to 6 Hz apart.
const FRAME_S: f64 = 0.13;
/// Below this lie rumble and what an input offset leaves, Hz.
const LOWEST_HZ: f64 = 22.0;
/// Above this no tape has tones, and filters of converters slope too steeply to tell a line, Hz and as a share of the
/// sample rate.
const HIGHEST: (f64, f64) = (20_600.0, 0.45);
/// A line is this many times as strong as the usual bin around it: hiss alone does that once in many thousand frames.
const STANDS_OUT: f64 = 14.0;
/// A tone's power reaches this far to either side, as a share of its frequency (flutter), beside two bins.
const REACH: f64 = 0.012;
/// Weaker than a line by this much and within a seventh of its frequency is its own skirt, as a ratio of powers.
const SKIRT: f64 = 0.03;
/// What sounds near a tone lies between these shares of its frequency: data of half its frequency, but not its harmonics.
pub(super) const NEAR: Range<f64> = 0.4..1.7;
/// A tone's own power reaches this far in front of what counts as another sound near it, as a share of its frequency.
pub(super) const OWN: f64 = 0.05;
/// Lines kept of each frame, below and above `SPLIT_HZ`: hum must not crowd out a weak high tone.
const KEPT: [usize; 2] = [4, 5];
/// See [`KEPT`].
const SPLIT_HZ: f64 = 700.0;
/// Levels above this count as a frame's upper level, Hz: hum and rumble lie below.
const UPPER_HZ: f64 = 300.0;
/// Frames that are looked at in one go, on all cores.
const BATCH: usize = 64;

/// Something that stands out of one frame's spectrum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Middle of its power, Hz.
    pub hz: f64,
    /// Mean square in either channel.
    pub power: [f64; 2],
    /// Mean square of what else sounds near it, both channels together.
    pub near: f64,
}

impl Line {
    /// Of both channels together.
    pub fn both(&self) -> f64 {
        self.power[0] + self.power[1]
    }
}

/// One frame of both channels.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Frame {
    /// Its lines, the strongest first.
    pub lines: Vec<Line>,
    /// Mean square above 300 Hz, both channels together.
    pub upper: f64,
    /// Mean square of each channel.
    pub total: [f64; 2],
}

/// All frames of a recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Frames {
    /// In order.
    pub frames: Vec<Frame>,
    /// Time from frame to frame, s.
    pub hop_s: f64,
    /// Length of a frame, s.
    pub length_s: f64,
    /// Distance of the bins, Hz.
    pub step_hz: f64,
}

impl Frames {
    /// Middle of frame `index`, s of the return.
    pub fn at_s(&self, index: usize) -> f64 {
        index as f64 * self.hop_s + self.length_s / 2.0
    }

    /// Frames in `seconds`, at least 1.
    pub fn count(&self, seconds: f64) -> usize {
        ((seconds / self.hop_s).round() as usize).max(1)
    }
}

/// Finds the lines of both channels together.
pub struct LineFinder {
    rate_hz: f64,
    window: Arc<Vec<f64>>,
    pending: [Vec<f64>; 2],
    frames: Vec<Frame>,
}

impl LineFinder {
    /// For samples at `rate_hz`.
    pub fn new(rate_hz: f64) -> Self {
        let length = ((rate_hz * FRAME_S) as usize).next_power_of_two();
        Self {
            rate_hz,
            window: Arc::new(hann(length)),
            pending: [Vec::new(), Vec::new()],
            frames: Vec::new(),
        }
    }

    /// Length of a frame, samples of one channel.
    pub fn length(&self) -> usize {
        self.window.len()
    }

    /// Distance of the bins, Hz.
    pub fn step_hz(&self) -> f64 {
        self.rate_hz / self.length() as f64
    }

    /// One frame alone, for who listens live; both channels have its [`length`](Self::length).
    pub fn look(&self, samples: [&[f64]; 2]) -> Frame {
        frame(samples, &self.window, self.rate_hz)
    }

    /// Feeds a block `[left, right]`; blocks of any size give the same result.
    pub fn feed(&mut self, block: [&[f64]; 2]) {
        self.pending[0].extend_from_slice(block[0]);
        self.pending[1].extend_from_slice(block[1]);
        if self.pending[0].len() >= self.window.len() / 2 * (BATCH + 1) {
            self.work();
        }
    }

    fn work(&mut self) {
        let length = self.window.len();
        let hop = length / 2;
        let count = (self.pending[0].len() + hop).saturating_sub(length) / hop;
        let (pending, window, rate_hz) = (&self.pending, &self.window, self.rate_hz);
        let found: Vec<Frame> = (0..count)
            .into_par_iter()
            .map(|k| {
                let from = k * hop;
                frame([&pending[0][from..from + length], &pending[1][from..from + length]], window, rate_hz)
            })
            .collect();
        self.frames.extend(found);
        self.pending.iter_mut().for_each(|pending| drop(pending.drain(..count * hop)));
    }

    /// All whole frames.
    pub fn finish(mut self) -> Frames {
        self.work();
        let length_s = self.window.len() as f64 / self.rate_hz;
        Frames { frames: self.frames, hop_s: length_s / 2.0, length_s, step_hz: 1.0 / length_s }
    }
}

fn frame(samples: [&[f64]; 2], window: &[f64], rate_hz: f64) -> Frame {
    let length = window.len();
    // Two real spectra out of one complex transform.
    let mut bins: Vec<Complex64> = samples[0]
        .iter()
        .zip(samples[1])
        .zip(window)
        .map(|((left, right), w)| Complex64::new(left * w, right * w))
        .collect();
    complex_forward(length).process(&mut bins);
    let scale = 2.0 / (length as f64 * window.iter().map(|w| w * w).sum::<f64>());
    let half = length / 2;
    let powers: Vec<[f64; 2]> = (0..half)
        .map(|k| {
            let (a, b) = (bins[k], bins[(length - k) % length].conj());
            [(a + b).norm_sqr() / 4.0 * scale, (a - b).norm_sqr() / 4.0 * scale]
        })
        .collect();
    let both: Vec<f64> = powers.iter().map(|power| power[0] + power[1]).collect();
    let step_hz = rate_hz / length as f64;
    let first = (LOWEST_HZ / step_hz).ceil() as usize;
    let upper = (UPPER_HZ / step_hz).ceil() as usize;
    let sum = |channel: usize| powers[first.min(half)..].iter().map(|power| power[channel]).sum::<f64>();
    Frame {
        lines: lines(&powers, &both, first, step_hz),
        upper: both[upper.min(half)..].iter().sum(),
        total: [sum(0), sum(1)],
    }
}

/// What a bin usually holds, about a sixth of an octave around it, so that hiss of any slope has no lines.
fn floor(both: &[f64], first: usize) -> Vec<f64> {
    /// The 30th of 100 bins of two channels' noise holds this share of their mean (chi squared, four degrees).
    const SHARE: f64 = 0.55;
    const WIDTH: usize = 24;
    let mut middles: Vec<(f64, f64)> = Vec::new();
    let mut from = first;
    while from < both.len() {
        let to = (from + WIDTH.max(from / 8)).min(both.len());
        let mut values = both[from..to].to_vec();
        let index = values.len() * 3 / 10;
        // -160 dBFS: below there is only rounding.
        let usual = (nth(&mut values, index).unwrap_or(0.0) / SHARE).max(1e-16);
        middles.push(((from + to) as f64 / 2.0, usual.ln()));
        from = to;
    }
    let mut at = 0;
    (0..both.len())
        .map(|k| {
            let x = k as f64;
            while at + 2 < middles.len() && middles[at + 1].0 < x {
                at += 1;
            }
            match (middles.get(at), middles.get(at + 1)) {
                (Some(a), Some(b)) => {
                    let share = ((x - a.0) / (b.0 - a.0)).clamp(0.0, 1.0);
                    (a.1 + share * (b.1 - a.1)).exp()
                }
                (Some(a), None) => a.1.exp(),
                _ => 1e-16,
            }
        })
        .collect()
}

fn lines(powers: &[[f64; 2]], both: &[f64], first: usize, step_hz: f64) -> Vec<Line> {
    let floor = floor(both, first);
    let highest_hz = HIGHEST.0.min(HIGHEST.1 * 2.0 * both.len() as f64 * step_hz);
    let last = ((highest_hz / step_hz) as usize).min(both.len().saturating_sub(2));
    let mut peaks: Vec<usize> = (first.max(1)..last)
        .filter(|&k| both[k] >= both[k - 1] && both[k] > both[k + 1] && both[k] > STANDS_OUT * floor[k])
        .collect();
    peaks.sort_by(|&a, &b| both[b].total_cmp(&both[a]));
    let mut sums = vec![0.0];
    for power in both {
        sums.push(sums[sums.len() - 1] + power);
    }
    let sum = |from: usize, to: usize| sums[to.min(both.len())] - sums[from.min(to).min(both.len())];
    let mut taken: Vec<(usize, f64)> = Vec::new();
    let mut found: Vec<Line> = Vec::new();
    let mut counts = [0usize; 2];
    for k in peaks {
        let hz = k as f64 * step_hz;
        let own_skirt = taken.iter().any(|&(other, power)| {
            let away = (k as f64 - other as f64).abs();
            away < 3.5_f64.max(0.04 * other as f64) || away < 0.15 * other as f64 && both[k] < SKIRT * power
        });
        let kind = usize::from(hz >= SPLIT_HZ);
        if own_skirt || counts[kind] >= KEPT[kind] {
            continue;
        }
        counts[kind] += 1;
        taken.push((k, both[k]));
        let reach = (2.0 + REACH * k as f64).round() as usize;
        let span = k.saturating_sub(reach).max(1)..(k + reach + 1).min(both.len());
        let (mut clear_sum, mut moment, mut power) = (0.0, 0.0, [0.0; 2]);
        for bin in span {
            // Noise on one side only must not pull the middle.
            let clear = (both[bin] - 2.0 * floor[bin]).max(0.0);
            clear_sum += clear;
            moment += clear * bin as f64;
            power[0] += powers[bin][0];
            power[1] += powers[bin][1];
        }
        if clear_sum > 0.0 {
            let own = (OWN * k as f64).max(3.0) as usize;
            let [low, high] = [NEAR.start, NEAR.end].map(|share| (share * k as f64) as usize);
            let near = sum(low.max(first), k.saturating_sub(own)) + sum(k + own + 1, high);
            found.push(Line { hz: moment / clear_sum * step_hz, power, near });
        }
    }
    found.sort_by(|a, b| b.both().total_cmp(&a.both()));
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::{Random, sampled};
    use std::f64::consts::TAU;

    fn found(rate_hz: f64, tones: &[(f64, f64)], hiss: f64, cut: usize) -> Frames {
        let samples = [7, 8].map(|seed| {
            let mut random = Random(seed);
            sampled(rate_hz, (2.0 * rate_hz) as usize, |t| {
                tones.iter().map(|(hz, a)| a * (TAU * hz * t).sin()).sum::<f64>() + hiss * random.even()
            })
        });
        let mut finder = LineFinder::new(rate_hz);
        for (left, right) in samples[0].chunks(cut).zip(samples[1].chunks(cut)) {
            finder.feed([left, right]);
        }
        finder.finish()
    }

    #[test]
    fn tones_are_lines_with_their_frequency_and_power_and_hiss_has_none() {
        for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
            let frames = found(rate_hz, &[(315.0, 0.1), (10_000.0, 0.02)], 0.001, 4096);
            for frame in &frames.frames {
                assert_eq!(frame.lines.len(), 2, "{rate_hz}: {frame:?}");
                crate::assert_within!(frame.lines[0].hz, 315.0, 0.1, "Hz");
                crate::assert_within!(frame.lines[1].hz, 10_000.0, 2.0, "Hz");
                // A sine of amplitude a has mean square a^2 / 2 in each channel; 2 %: the window's skirts.
                crate::assert_within!(frame.lines[0].power[1], 0.005, 0.0001, "");
            }
            let hiss = found(rate_hz, &[], 0.05, 4096);
            assert!(hiss.frames.len() > 15 && hiss.frames.iter().all(|frame| frame.lines.is_empty()));
        }
    }

    #[test]
    fn any_cut_into_blocks_gives_the_same_lines() {
        let whole = found(48_000.0, &[(1000.0, 0.1)], 0.01, 1_000_000);
        assert_eq!(found(48_000.0, &[(1000.0, 0.1)], 0.01, 777), whole);
    }

    #[test]
    fn silence_and_no_samples_have_no_lines() {
        assert!(found(48_000.0, &[], 0.0, 4096).frames.iter().all(|frame| frame.lines.is_empty()));
        assert!(LineFinder::new(48_000.0).finish().frames.is_empty());
    }
}
