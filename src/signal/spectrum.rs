//! Power spectra.

use inner_loops::{Precision, complex_forward};
use num_complex::Complex64;
use realfft::RealToComplex;
use std::f64::consts::TAU;
use std::sync::Arc;

/// Hann window of `length` samples, periodic (0 at index 0, symmetrical about `length / 2`).
pub fn hann(length: usize) -> Vec<f64> {
    (0..length).map(|n| 0.5 - 0.5 * (TAU * n as f64 / length as f64).cos()).collect()
}

/// Power spectral density of a real stream by Welch's method: Hann window, half overlap, mean of the segments.
///
/// P. D. Welch, IEEE Trans. Audio Electroacoust. 15, 1967; scaling as in `scipy.signal.welch(scaling="density")`
/// without detrending.
pub struct Welch {
    rate_hz: f64,
    window: Vec<f64>,
    forward: Arc<dyn RealToComplex<f64>>,
    pending: Vec<f64>,
    sums: Vec<f64>,
    segments: usize,
    time: Vec<f64>,
    bins: Vec<Complex64>,
    scratch: Vec<Complex64>,
}

/// A one-sided power spectral density.
#[derive(Debug, Clone, PartialEq)]
pub struct Density {
    /// Distance of the bins, Hz; bin `k` is at `k * step_hz`.
    pub step_hz: f64,
    /// Power per hertz: the integral over frequency is the mean square.
    pub per_hz: Vec<f64>,
    /// Segments averaged; 0 if the stream was shorter than one.
    pub segments: usize,
}

impl Welch {
    /// Segments of `length` samples (even) at `rate_hz`.
    pub fn new(rate_hz: f64, length: usize) -> Self {
        let length = (length.max(4) / 2) * 2;
        let forward = f64::real_forward(length);
        Self {
            rate_hz,
            window: hann(length),
            pending: Vec::with_capacity(2 * length),
            sums: vec![0.0; length / 2 + 1],
            segments: 0,
            time: forward.make_input_vec(),
            bins: forward.make_output_vec(),
            scratch: forward.make_scratch_vec(),
            forward,
        }
    }

    /// Feeds samples; blocks of any size give the same result.
    pub fn feed(&mut self, samples: &[f64]) {
        self.feed_each(samples, |_| ());
    }

    /// The same, and shows every segment's own spectrum, not scaled (see [`Welch::scale`]).
    pub fn feed_each(&mut self, samples: &[f64], mut each: impl FnMut(&[Complex64])) {
        let length = self.window.len();
        for piece in samples.chunks(length) {
            self.pending.extend_from_slice(piece);
            let mut at = 0;
            while self.pending.len() - at >= length {
                for ((slot, x), w) in self.time.iter_mut().zip(&self.pending[at..]).zip(&self.window) {
                    *slot = x * w;
                }
                // The buffers are made for this plan, so the transform cannot refuse them.
                let _ = self.forward.process_with_scratch(&mut self.time, &mut self.bins, &mut self.scratch);
                for (sum, bin) in self.sums.iter_mut().zip(&self.bins) {
                    *sum += bin.norm_sqr();
                }
                each(&self.bins);
                self.segments += 1;
                at += length / 2;
            }
            self.pending.drain(..at);
        }
    }

    /// Factor that makes |bin|^2 of a segment (bins other than the first and last) a mean square.
    pub fn scale(&self) -> f64 {
        let power: f64 = self.window.iter().map(|w| w * w).sum();
        2.0 / (self.window.len() as f64 * power)
    }

    /// Distance of the bins, Hz.
    pub fn step_hz(&self) -> f64 {
        self.rate_hz / self.window.len() as f64
    }

    /// The density of all whole segments.
    pub fn finish(self) -> Density {
        let length = self.window.len();
        let power: f64 = self.window.iter().map(|w| w * w).sum();
        let scale = 1.0 / (self.rate_hz * power * self.segments.max(1) as f64);
        let last = self.sums.len() - 1;
        let per_hz = self
            .sums
            .iter()
            .enumerate()
            .map(|(k, sum)| sum * scale * if k == 0 || k == last { 1.0 } else { 2.0 })
            .collect();
        Density { step_hz: self.rate_hz / length as f64, per_hz, segments: self.segments }
    }
}

impl Density {
    /// Mean square between `from_hz` and `to_hz`, each bin weighed by `power_weight(hz)`; bins at the edges count
    /// by the share of them that lies inside.
    pub fn power(&self, from_hz: f64, to_hz: f64, power_weight: impl Fn(f64) -> f64) -> f64 {
        let step = self.step_hz;
        self.per_hz
            .iter()
            .enumerate()
            .map(|(k, density)| {
                let hz = k as f64 * step;
                let inside = ((hz + step / 2.0).min(to_hz) - (hz - step / 2.0).max(from_hz)).max(0.0);
                if inside > 0.0 { density * inside * power_weight(hz) } else { 0.0 }
            })
            .sum()
    }
}

/// Periodogram of complex samples: bin `k` holds |sum w z e^(-j 2 pi k n / N)|^2 / sum w^2, Hann window, in order of
/// frequency from `-rate/2` on. White noise of variance v gives v in each bin. Empty for fewer than 4 samples.
pub fn periodogram(samples: &[Complex64], rate_hz: f64) -> Vec<(f64, f64)> {
    let length = samples.len();
    if length < 4 {
        return Vec::new();
    }
    let window = hann(length);
    let power: f64 = window.iter().map(|w| w * w).sum();
    let mut bins: Vec<Complex64> = samples.iter().zip(&window).map(|(z, w)| z * w).collect();
    complex_forward(length).process(&mut bins);
    let half = length.div_ceil(2);
    (0..length)
        .map(|i| {
            let k = (i + half) % length;
            let signed = if k < half { k as f64 } else { k as f64 - length as f64 };
            (signed * rate_hz / length as f64, bins[k].norm_sqr() / power)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::sine;

    #[test]
    fn a_sine_has_half_its_squared_amplitude() {
        let mut welch = Welch::new(48_000.0, 4096);
        let samples: Vec<f64> = sine(0.5, 1003.7, 48_000.0, 96_000);
        for block in samples.chunks(1234) {
            welch.feed(block);
        }
        let density = welch.finish();
        crate::assert_within!(density.power(800.0, 1200.0, |_| 1.0), 0.125, 1e-6, "");
        assert!(density.power(3000.0, 4000.0, |_| 1.0) < 1e-9);
    }

    #[test]
    fn a_complex_tone_stands_at_its_own_frequency() {
        let samples: Vec<Complex64> =
            (0..1000).map(|n| Complex64::from_polar(1.0, -TAU * 0.1 * f64::from(n))).collect();
        let spectrum = periodogram(&samples, 1000.0);
        let peak = spectrum.iter().max_by(|a, b| a.1.total_cmp(&b.1)).unwrap();
        crate::assert_within!(peak.0, -100.0, 1e-9, "Hz");
        assert!(spectrum.windows(2).all(|pair| pair[0].0 < pair[1].0));
    }

    #[test]
    fn nothing_fed_gives_nothing() {
        let density = Welch::new(48_000.0, 64).finish();
        assert_eq!(density.segments, 0);
        assert!(density.per_hz.iter().all(|&x| x == 0.0));
    }
}
