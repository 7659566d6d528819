//! Noise cell by cell in time and frequency: how dense it is, and whether it has holes.

use crate::measure::meter::Meter;
use crate::signal::spectrum::hann;
use crate::signal::statistics::{mean, median};
use num_complex::Complex64;
use realfft::RealToComplex;
use std::sync::Arc;

/// Bins that make one cell.
const CELL_BINS: usize = 8;
/// Longer stretches say no more, s.
const LONGEST_S: f64 = 2.0;
/// A cell this far below the median of its frequency is a hole, dB: in random noise, of 8 bins, one in some hundred millions.
const HOLE_DB: f64 = 15.0;
/// A frame in which most cells lie this far below their medians is weak altogether (a dropout, a gate): no holes, dB.
const WEAK_FRAME_DB: f64 = 6.0;
/// As far beside a harmonic of a loud tone as wow may lead it, of its frequency.
const BESIDE: f64 = 0.03;
/// Noise per bin below which the steps of 16 bit make holes of their own (11 dB above their noise).
pub(crate) const LEAST_POWER: f64 = 1e-9;

/// Cuts both channels into cells of about 43 ms by 190 Hz, overlapping by half in time.
pub(crate) struct CellMeter {
    rate_hz: f64,
    window: Vec<f64>,
    forward: Arc<dyn RealToComplex<f64>>,
    scratch: Vec<Complex64>,
    pending: [Vec<f64>; 2],
    frames: [Vec<Vec<f64>>; 2],
    sums: [Vec<f64>; 2],
    crosses: Vec<Complex64>,
    time: Vec<f64>,
    bins: [Vec<Complex64>; 2],
    most_frames: usize,
}

/// What [`CellMeter`] saw of one stretch. Powers are per bin: white noise of mean square `v` has `v` in each.
#[derive(Debug, Clone)]
pub(crate) struct Cells {
    /// Width of a cell, Hz.
    pub cell_hz: f64,
    /// Width of a bin, Hz.
    pub bin_hz: f64,
    /// Median over time of each cell, for both channels.
    pub medians: [Vec<f64>; 2],
    /// Mean over time of each bin, for both channels.
    pub means: [Vec<f64>; 2],
    frames: [Vec<Vec<f64>>; 2],
    crosses: Vec<Complex64>,
}

impl Meter for CellMeter {
    type Plan = ();
    type Output = Option<Cells>;

    fn new(rate_hz: f64, (): ()) -> Option<Self> {
        let length = ((rate_hz * 0.042) as usize).next_power_of_two().max(64);
        let forward = <f64 as inner_loops::Precision>::real_forward(length);
        let window = hann(length);
        Some(Self {
            rate_hz,
            scratch: forward.make_scratch_vec(),
            pending: [Vec::new(), Vec::new()],
            frames: [Vec::new(), Vec::new()],
            sums: [vec![0.0; length / 2 + 1], vec![0.0; length / 2 + 1]],
            crosses: vec![Complex64::default(); length / 2 + 1],
            time: Vec::with_capacity(length),
            bins: [forward.make_output_vec(), forward.make_output_vec()],
            most_frames: (LONGEST_S * rate_hz / (length as f64 / 2.0)) as usize,
            window,
            forward,
        })
    }

    fn feed(&mut self, block: [&[f64]; 2]) {
        let length = self.window.len();
        let power: f64 = self.window.iter().map(|w| w * w).sum();
        for (left, right) in block[0].chunks(length).zip(block[1].chunks(length)) {
            if self.frames[0].len() >= self.most_frames {
                return;
            }
            self.pending[0].extend_from_slice(left);
            self.pending[1].extend_from_slice(right);
            while self.pending[0].len() >= length && self.frames[0].len() < self.most_frames {
                for channel in 0..2 {
                    let pending = &self.pending[channel];
                    self.time.clear();
                    self.time.extend(pending.iter().zip(&self.window).map(|(x, w)| x * w));
                    // The buffers are made for this plan, so the transform cannot refuse them.
                    let bins = &mut self.bins[channel];
                    let _ = self.forward.process_with_scratch(&mut self.time, bins, &mut self.scratch);
                    bins.iter_mut().for_each(|bin| *bin /= power.sqrt());
                    let cells = |bins: &[Complex64]| mean(bins.iter().map(Complex64::norm_sqr));
                    self.frames[channel].push(bins.chunks_exact(CELL_BINS).map(cells).collect());
                    for (sum, bin) in self.sums[channel].iter_mut().zip(bins) {
                        *sum += bin.norm_sqr();
                    }
                    self.pending[channel].drain(..length / 2);
                }
                for (sum, (left, right)) in
                    self.crosses.iter_mut().zip(self.bins[0].iter().zip(&self.bins[1]))
                {
                    *sum += left * right.conj();
                }
            }
        }
    }

    /// The cells; `None` if less than 12 frames (about a quarter of a second) were fed or a sample was no number.
    fn finish(self) -> Option<Cells> {
        let count = self.frames[0].len().min(self.frames[1].len());
        let bin_hz = self.rate_hz / self.window.len() as f64;
        let sound = self.sums.iter().flatten().all(|sum| sum.is_finite());
        (count >= 12 && sound).then(|| Cells {
            cell_hz: bin_hz * CELL_BINS as f64,
            bin_hz,
            medians: [0, 1].map(|channel| {
                (0..self.frames[channel][0].len())
                    .map(|k| median(self.frames[channel].iter().map(|frame| frame[k])))
                    .collect()
            }),
            means: [0, 1].map(|channel| self.sums[channel].iter().map(|sum| sum / count as f64).collect()),
            crosses: self.crosses.iter().map(|sum| sum / count as f64).collect(),
            frames: self.frames,
        })
    }
}

impl Cells {
    /// Indices of the cells that lie wholly between two frequencies.
    pub fn between(&self, from_hz: f64, to_hz: f64) -> std::ops::Range<usize> {
        let from = (from_hz / self.cell_hz).ceil().max(0.0) as usize;
        let to = ((to_hz / self.cell_hz).floor().max(0.0) as usize).min(self.medians[0].len());
        from.min(to)..to
    }

    /// Sum of the bins' powers between two frequencies.
    pub fn power(&self, channel: usize, from_hz: f64, to_hz: f64) -> f64 {
        let means = &self.means[channel];
        means
            .iter()
            .enumerate()
            .map(|(k, power)| {
                let hz = k as f64 * self.bin_hz;
                let inside = (hz + self.bin_hz / 2.0).min(to_hz) - (hz - self.bin_hz / 2.0).max(from_hz);
                power * (inside / self.bin_hz).max(0.0)
            })
            .sum()
    }

    /// How much the two channels have in common in each cell: 0 nothing, 1 all (coherence, squared magnitude).
    pub fn coherence(&self) -> Vec<f64> {
        let share = |k: usize| {
            let both = self.means[0][k] * self.means[1][k];
            if both > 0.0 { self.crosses[k].norm_sqr() / both } else { 0.0 }
        };
        let bins: Vec<f64> = (0..self.crosses.len()).map(share).collect();
        bins.chunks_exact(CELL_BINS).map(mean).collect()
    }

    /// Half the sample rate, Hz.
    pub fn end_hz(&self) -> f64 {
        self.bin_hz * (self.means[0].len() - 1) as f64
    }

    /// Share of the cells between two frequencies that are holes in noise; `None` where there is too little noise to tell.
    ///
    /// Cells next to harmonics of `tone_hz` do not count: under wow these come and go in them, and leave what looks like holes.
    pub fn holes(&self, channel: usize, from_hz: f64, to_hz: f64, tone_hz: Option<f64>) -> Option<f64> {
        let medians = &self.medians[channel];
        let harmonic = |k: usize| {
            tone_hz.is_some_and(|tone_hz| {
                let order = (k as f64 * self.cell_hz / tone_hz).round().max(1.0);
                (k as f64 * self.cell_hz - order * tone_hz).abs() < BESIDE * order * tone_hz + self.cell_hz
            })
        };
        let clear: Vec<usize> =
            self.between(from_hz, to_hz).filter(|&k| medians[k] > LEAST_POWER && !harmonic(k)).collect();
        if clear.len() < 10 {
            return None;
        }
        let hole = 10f64.powf(-HOLE_DB / 10.0);
        let weak = 10f64.powf(-WEAK_FRAME_DB / 10.0);
        let (mut holes, mut cells) = (0usize, 0usize);
        for frame in &self.frames[channel] {
            let shares: Vec<f64> = clear.iter().map(|&k| frame[k] / medians[k]).collect();
            if median(&shares) < weak {
                continue;
            }
            cells += shares.len();
            holes += shares.iter().filter(|&&share| share < hole).count();
        }
        (cells >= 200).then(|| holes as f64 / cells as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::white;

    /// Two channels of white hiss of rms 0.01, three seconds.
    fn hiss(rate_hz: f64) -> [Vec<f64>; 2] {
        [7, 8].map(|seed| white(0.01, (3.0 * rate_hz) as usize, seed))
    }

    fn cells(rate_hz: f64, samples: &[Vec<f64>; 2], block: usize) -> Cells {
        let mut meter = CellMeter::new(rate_hz, ()).unwrap();
        for (left, right) in samples[0].chunks(block).zip(samples[1].chunks(block)) {
            meter.feed([left, right]);
        }
        meter.finish().unwrap()
    }

    #[test]
    fn white_noise_is_even_without_holes_and_not_alike() {
        for rate_hz in [32_000.0, 44_100.0, 48_000.0, 96_000.0] {
            let samples = hiss(rate_hz);
            let cells = cells(rate_hz, &samples, 999);
            assert_eq!(cells.holes(0, 5000.0, 12_000.0, None), Some(0.0), "{rate_hz}");
            // 7 kHz over three seconds: 0.03 dB.
            let per_bin = cells.power(1, 3000.0, 10_000.0) / (7000.0 / cells.bin_hz);
            crate::assert_within!(10.0 * (per_bin / 1e-4).log10(), 0.0, 0.1, "dB", "{rate_hz}");
            assert!(median(cells.coherence()) < 0.05, "{rate_hz}");
        }
    }

    #[test]
    fn any_blocks_give_the_same_cells() {
        let samples = hiss(48_000.0);
        let whole = cells(48_000.0, &samples, 1 << 20);
        for block in [1usize, 777, 5000] {
            assert_eq!(cells(48_000.0, &samples, block).medians, whole.medians, "{block}");
        }
    }

    #[test]
    fn a_harmonic_that_moves_leaves_no_holes() {
        let rate_hz = 48_000.0;
        let mut samples = hiss(rate_hz);
        let mut phase = 0.0;
        for (n, x) in samples[0].iter_mut().enumerate() {
            // 3200 Hz with 1 % of wow: its third harmonic, far above the hiss of a cell, wanders over several cells.
            let wow = 1.0 + 0.01 * (std::f64::consts::TAU * 0.55 * n as f64 / rate_hz).sin();
            phase += std::f64::consts::TAU * 3200.0 * wow / rate_hz;
            *x += 0.5 * phase.sin() + 0.04 * (3.0 * phase).sin();
        }
        let cells = cells(rate_hz, &samples, 999);
        assert!(cells.holes(0, 5000.0, 12_000.0, None).unwrap() > 0.002);
        assert!(cells.holes(0, 5000.0, 12_000.0, Some(3200.0)).unwrap() < 0.0005);
    }

    #[test]
    fn holes_are_counted_and_weak_moments_are_not() {
        let rate_hz = 48_000.0;
        let mut samples = hiss(rate_hz);
        // A dropout takes everything away for a tenth of a second: no holes.
        samples[0][48_000..52_800].iter_mut().for_each(|x| *x *= 0.01);
        // A few cells at its edges: 0.0002 of them, a fiftieth of what is named.
        assert!(cells(rate_hz, &samples, 999).holes(0, 5000.0, 12_000.0, None).unwrap() < 0.001);
        // A notch that comes and goes does.
        let mut state = [0.0; 4];
        for (n, x) in samples[1].iter_mut().enumerate() {
            let input = *x;
            // Zeros on the unit circle at 8 kHz, poles just inside.
            let (c, r) = ((std::f64::consts::TAU * 8000.0 / rate_hz).cos(), 0.9);
            let out = input - 2.0 * c * state[0] + state[1] + 2.0 * r * c * state[2] - r * r * state[3];
            state = [input, state[0], out, state[2]];
            if (n / 9600) % 5 == 0 {
                *x = out;
            }
        }
        let holes = cells(rate_hz, &samples, 999).holes(1, 5000.0, 12_000.0, None).unwrap();
        assert!(holes > 0.001, "{holes}");
    }
}
