//! Powers and cross-powers of two channels in bands, window by window.

use super::spectrum::hann;
use inner_loops::Precision;
use num_complex::Complex64;
use realfft::RealToComplex;
use std::f64::consts::TAU;
use std::ops::Range;
use std::sync::Arc;

/// What two channels have in one band over one window: sums over transforms and bins, not scaled.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CrossPower {
    /// Power of the left channel.
    pub left: f64,
    /// Power of the right channel.
    pub right: f64,
    /// Sum of right times the conjugate of left: its angle is phase right minus left.
    pub cross: Complex64,
}

impl CrossPower {
    /// Magnitude-squared coherence, 0 to 1; 0 where a channel has no power. The estimate from `n` independent pairs is
    /// about `1/n` too large for channels that have nothing in common.
    pub fn coherence(&self) -> f64 {
        let product = self.left * self.right;
        if product > 0.0 { (self.cross.norm_sqr() / product).min(1.0) } else { 0.0 }
    }
}

/// Cuts a stereo stream into half-overlapping transforms (Hann) and sums them over windows of `transforms` each.
///
/// As `scipy.signal.csd` without detrending, summed over each band's bins; `undo_delay_s` turns each bin of the
/// cross-power back as if the right channel came that much earlier, so that a large delay does not smear a band.
pub struct CrossSpectra {
    rate_hz: f64,
    window: Vec<f64>,
    transforms: usize,
    bands: Vec<Range<usize>>,
    turns: Vec<Complex64>,
    forward: Arc<dyn RealToComplex<f64>>,
    pending: [Vec<f64>; 2],
    sums: Vec<CrossPower>,
    done: usize,
    time: Vec<f64>,
    bins: [Vec<Complex64>; 2],
    scratch: Vec<Complex64>,
}

impl CrossSpectra {
    /// Transforms of `length` samples (even, at least 4) at `rate_hz`; bands between neighbouring `edges_hz` (rising;
    /// a bin belongs to the band that holds its frequency).
    pub fn new(rate_hz: f64, length: usize, transforms: usize, edges_hz: &[f64], undo_delay_s: f64) -> Self {
        let length = (length.max(4) / 2) * 2;
        let bin = |hz: f64| ((hz * length as f64 / rate_hz).ceil().max(0.0) as usize).min(length / 2 + 1);
        let bands: Vec<Range<usize>> =
            edges_hz.windows(2).map(|edges| bin(edges[0])..bin(edges[1])).collect();
        let turn = |k: usize| Complex64::cis(TAU * k as f64 * rate_hz / length as f64 * undo_delay_s);
        let forward = f64::real_forward(length);
        Self {
            rate_hz,
            window: hann(length),
            transforms: transforms.max(1),
            turns: (0..=length / 2).map(turn).collect(),
            pending: [Vec::new(), Vec::new()],
            sums: vec![CrossPower::default(); bands.len()],
            bands,
            done: 0,
            time: forward.make_input_vec(),
            bins: [forward.make_output_vec(), forward.make_output_vec()],
            scratch: forward.make_scratch_vec(),
            forward,
        }
    }

    /// Length of a window, s: the distance from one to the next.
    pub fn window_s(&self) -> f64 {
        (self.transforms * self.window.len() / 2) as f64 / self.rate_hz
    }

    /// Bins of each band.
    pub fn bins(&self) -> Vec<usize> {
        self.bands.iter().map(Range::len).collect()
    }

    /// Feeds samples, left and right of equal length, and shows each window's bands, lowest first. Blocks of any size
    /// give the same result.
    pub fn feed(&mut self, block: [&[f64]; 2], mut each: impl FnMut(&[CrossPower])) {
        let length = self.window.len();
        let frames = block[0].len().min(block[1].len());
        let mut from = 0;
        while from < frames {
            let to = (from + length).min(frames);
            for (pending, samples) in self.pending.iter_mut().zip(block) {
                pending.extend_from_slice(&samples[from..to]);
            }
            from = to;
            let mut at = 0;
            while self.pending[0].len() - at >= length {
                self.transform(at);
                at += length / 2;
                if self.done == self.transforms {
                    each(&self.sums);
                    self.sums.fill(CrossPower::default());
                    self.done = 0;
                }
            }
            self.pending.iter_mut().for_each(|pending| drop(pending.drain(..at)));
        }
    }

    fn transform(&mut self, at: usize) {
        for (pending, bins) in self.pending.iter().zip(&mut self.bins) {
            for ((slot, x), w) in self.time.iter_mut().zip(&pending[at..]).zip(&self.window) {
                *slot = x * w;
            }
            // The buffers are made for this plan, so the transform cannot refuse them.
            let _ = self.forward.process_with_scratch(&mut self.time, bins, &mut self.scratch);
        }
        for (sum, band) in self.sums.iter_mut().zip(&self.bands) {
            for k in band.clone() {
                let (left, right) = (self.bins[0][k], self.bins[1][k]);
                sum.left += left.norm_sqr();
                sum.right += right.norm_sqr();
                sum.cross += right * left.conj() * self.turns[k];
            }
        }
        self.done += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::white;

    fn noise(count: usize, seed: u64) -> Vec<f64> {
        white(1.0 / 3f64.sqrt(), count, seed)
    }

    fn windows(channels: [&[f64]; 2], block: usize, undo_delay_s: f64) -> Vec<Vec<CrossPower>> {
        let mut meter =
            CrossSpectra::new(48_000.0, 1920, 24, &[600.0, 1200.0, 9000.0, 10_000.0], undo_delay_s);
        let mut all = Vec::new();
        for (left, right) in channels[0].chunks(block).zip(channels[1].chunks(block)) {
            meter.feed([left, right], |window| all.push(window.to_vec()));
        }
        all
    }

    #[test]
    fn five_samples_of_delay_are_undone() {
        let sound = noise(96_000, 7);
        let delay_s = 5.0 / 48_000.0;
        let shifted = [&sound[5..], &sound[..sound.len() - 5]];
        for (band, hz) in [(0, 900.0), (2, 9500.0)] {
            let plain = windows(shifted, 4096, 0.0)[1][band];
            // The angle of a band of noise stands for its middle, but for the noise's own spectrum.
            let want = (-TAU * hz * delay_s).rem_euclid(TAU);
            crate::assert_within!(plain.cross.arg().rem_euclid(TAU), want, 0.05, "rad");
            let undone = windows(shifted, 4096, delay_s)[1][band];
            // Frames that are 5 samples apart differ at their ends.
            crate::assert_within!(undone.cross.arg(), 0.0, 0.002, "rad");
            assert!(undone.coherence() > plain.coherence() && undone.coherence() > 0.9999);
        }
    }

    #[test]
    fn blocks_of_any_size_give_the_same() {
        let (left, right) = (noise(60_000, 1), noise(60_000, 2));
        let whole = windows([&left, &right], 60_000, 1e-5);
        assert_eq!(whole.len(), 2);
        for block in [1, 77, 960, 4096] {
            assert_eq!(windows([&left, &right], block, 1e-5), whole, "blocks of {block}");
        }
    }

    #[test]
    fn strangers_and_silence_are_not_coherent() {
        let (left, right) = (noise(60_000, 1), noise(60_000, 2));
        let strangers = windows([&left, &right], 4096, 0.0);
        assert!(strangers.iter().flatten().all(|band| band.coherence() < 0.05));
        let silent = windows([&left, &vec![0.0; 60_000]], 4096, 0.0);
        assert!(silent.iter().flatten().all(|band| band.coherence() == 0.0));
    }
}
