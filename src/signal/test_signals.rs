//! What unit tests are fed: noise that is the same every time, sines, and tones of a tape that runs unevenly.

use std::f64::consts::TAU;

/// Random numbers from a seed (linear congruential generator with Knuth's constants for 64 bits).
#[derive(Debug, Clone)]
pub(crate) struct Random(pub u64);

impl Random {
    /// From 0 to 1, evenly distributed.
    pub(crate) fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as f64 / (1u64 << 31) as f64
    }

    /// Evenly distributed about 0, of rms 1.
    pub(crate) fn even(&mut self) -> f64 {
        (self.share() - 0.5) * 12f64.sqrt()
    }

    /// Normally distributed about 0, of rms 1 (the sum of twelve even ones).
    pub(crate) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.share()).sum::<f64>() - 6.0
    }
}

/// `count` samples of white noise of such an rms.
pub(crate) fn white(rms: f64, count: usize, seed: u64) -> Vec<f64> {
    let mut random = Random(seed);
    (0..count).map(|_| rms * random.even()).collect()
}

/// `count` values of a function of time, s, at `rate_hz`.
pub(crate) fn sampled(rate_hz: f64, count: usize, mut value: impl FnMut(f64) -> f64) -> Vec<f64> {
    (0..count).map(|n| value(n as f64 / rate_hz)).collect()
}

/// `count` samples of a sine at `rate_hz`.
pub(crate) fn sine(amplitude: f64, hz: f64, rate_hz: f64, count: usize) -> Vec<f64> {
    sampled(rate_hz, count, |t| amplitude * (TAU * hz * t).sin())
}

/// How far a tape that runs unevenly has come at `t`, s; each of `wobble` is (Hz, percent peak, phase).
pub(crate) fn uneven_s(t: f64, wobble: &[(f64, f64, f64)]) -> f64 {
    t + wobble
        .iter()
        .map(|(hz, percent, phase)| percent / 100.0 / (TAU * hz) * (TAU * hz * t + phase).sin())
        .sum::<f64>()
}
