//! Saturation of the tape: y = x - c x^3 + b x^2 up to its summit, then flat or falling, between a treble lift and its inverse.
//!
//! Only what the curve takes away is lifted, oversampled and lowered again; the signal itself passes untouched, so
//! that the small-signal path stays exact. Oversampling is to at least 176 kHz: the third harmonic cannot fold back.

use super::playback_filters::Biquad;
use super::{DeckFile, Saturation, ratio_of_db};
use inner_loops::dot;
use std::f64::consts::{PI, TAU};

/// Taps on each side of the oversampling filters, per factor. Flat to 0.39 of the rate, 80 dB down at 0.61.
const REACH: usize = 12;
/// Kaiser's beta for 80 dB.
const BETA: f64 = 7.86;
/// Residues below this (-160 dBFS) are not worth an oversampling filter.
const SMALLEST: f64 = 1e-8;
/// Magnetisation has no constant part: corner of the residue's high-pass.
const BLOCK_BELOW_HZ: f64 = 0.5;

/// The curve without its filters.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Curve {
    cubic: f64,
    square: f64,
    summit: f64,
    /// Slope of the fall beyond the summit.
    fall: f64,
}

impl Curve {
    /// The curve with the asked harmonics for a sine at the reference level.
    pub(crate) fn new(saturation: &Saturation, reference_dbfs: f64) -> Self {
        let a = ratio_of_db(reference_dbfs);
        let k3 = saturation.k3_percent_at_0db / 100.0;
        // sin^3 x = (3 sin x - sin 3x) / 4, so k3 = (c a^2 / 4) / (1 - 3 c a^2 / 4).
        let cubic = 4.0 * k3 / (1.0 + 3.0 * k3) / (a * a);
        let fundamental = 1.0 - 0.75 * cubic * a * a;
        // sin^2 x = (1 - cos 2x) / 2, so k2 = (b a / 2) / (1 - 3 c a^2 / 4).
        let square = saturation.k2_percent_at_0db / 100.0 * 2.0 * fundamental / a;
        let summit = if cubic > 0.0 { 1.0 / (3.0 * cubic).sqrt() } else { 1e3 };
        Self { cubic, square, summit, fall: saturation.self_erasing }
    }

    /// What the curve takes away from `u`.
    pub(crate) fn residue(&self, u: f64) -> f64 {
        let v = u.clamp(-self.summit, self.summit);
        // The odd part of the curve has its summit at 2/3 of that of its argument; it falls to nothing, not through it.
        let fall = (self.fall * (u - v).abs()).min(self.summit * 2.0 / 3.0);
        u - v + v * v * (self.cubic * v - self.square) + fall * v.signum()
    }

    /// Amplitude of cos(m x + n y) in the residue for cosines of amplitudes `peaks` that turn with x and y; by summing
    /// over one period of both.
    #[cfg(feature = "internals")]
    pub(crate) fn residue_product(&self, peaks: [f64; 2], [m, n]: [i32; 2]) -> f64 {
        const POINTS: i32 = 256;
        let step = TAU / f64::from(POINTS);
        let mut sum = 0.0;
        for k in 0..POINTS {
            for l in 0..POINTS {
                let (x, y) = (step * f64::from(k), step * f64::from(l));
                let value = self.residue(peaks[0] * x.cos() + peaks[1] * y.cos());
                sum += value * (f64::from(m) * x + f64::from(n) * y).cos();
            }
        }
        2.0 * sum / f64::from(POINTS * POINTS)
    }

    /// Amplitude of the `order`-th harmonic of the residue for a sine of amplitude `peak`; by summing over one period.
    /// Sign: in phase with the sine for odd orders.
    #[cfg(feature = "internals")]
    pub(crate) fn residue_harmonic(&self, peak: f64, order: u32) -> f64 {
        const POINTS: u32 = 4096;
        let sum: f64 = (0..POINTS)
            .map(|k| {
                let theta = TAU * f64::from(k) / f64::from(POINTS);
                self.residue(peak * theta.cos()) * (f64::from(order) * theta).cos()
            })
            .sum();
        2.0 * sum / f64::from(POINTS)
    }
}

/// The treble lift before the curve.
pub(crate) fn lift(saturation: &Saturation, rate_hz: f64) -> Biquad {
    let zero_us = 1e6 / (TAU * saturation.treble_from_hz);
    Biquad::shelf(zero_us, zero_us / ratio_of_db(saturation.treble_lift_db), rate_hz)
}

/// Response of the treble lift at `hz`.
#[cfg(feature = "internals")]
pub(crate) fn lift_response(
    saturation: &Saturation,
    hz: f64,
    rate_hz: f64,
) -> rustfft::num_complex::Complex64 {
    lift(saturation, rate_hz).response(hz, rate_hz)
}

/// Saturation of one channel.
pub(crate) struct Saturator {
    curve: Curve,
    lift: Biquad,
    lower: Biquad,
    block_dc: Biquad,
    factor: usize,
    /// `2 * factor * REACH + 1` taps with a sum of 1.
    taps: Vec<f64>,
    /// Those of each phase, for a window in the order of time.
    phases: Vec<Vec<f64>>,
    loopback: Vec<f64>,
    lifted: Vec<f64>,
    residue: Vec<f64>,
    residue_is_zero: bool,
}

impl Saturator {
    /// The saturator of `file` for a signal at `rate_hz`; `None` if the tape is linear.
    pub(crate) fn new(file: &DeckFile, rate_hz: f64) -> Option<Self> {
        let saturation = file.tape.saturation.as_ref()?;
        let factor = (176_000.0 / rate_hz).ceil().clamp(1.0, 8.0) as usize;
        let half = factor * REACH;
        let mut taps: Vec<f64> = (0..=2 * half)
            .map(|k| {
                let x = k as f64 - half as f64;
                let place = x / (half as f64 + 1.0);
                let y = PI * x / factor as f64;
                let sinc = if y == 0.0 { 1.0 } else { y.sin() / y };
                sinc * super::kernel::bessel_i0(BETA * (1.0 - place * place).sqrt())
            })
            .collect();
        let sum: f64 = taps.iter().sum();
        taps.iter_mut().for_each(|tap| *tap /= sum);
        // Newest first: taps phase, phase + factor, ...
        let of_phase = |phase: usize| {
            let own = (0..=2 * REACH).rev().map(|k| taps.get(phase + k * factor).copied().unwrap_or(0.0));
            own.collect()
        };
        let phases = (0..factor).map(of_phase).collect();
        let lift = lift(saturation, rate_hz);
        Some(Self {
            curve: Curve::new(saturation, file.reference_dbfs),
            lower: lift.inverse(),
            lift,
            block_dc: Biquad::high_pass_1(BLOCK_BELOW_HZ, rate_hz),
            factor,
            taps,
            phases,
            loopback: vec![0.0; 2 * REACH],
            lifted: vec![0.0; 2 * REACH],
            residue: vec![0.0; 2 * half],
            residue_is_zero: true,
        })
    }

    /// Frames by which the output is late.
    pub(crate) const LATE: usize = 2 * REACH;

    /// Goes on with another curve.
    pub(crate) fn set_curve(&mut self, curve: Curve) {
        self.curve = curve;
    }

    /// Saturates in place; what comes out is [`Self::LATE`] late.
    pub(crate) fn run(&mut self, samples: &mut [f64]) {
        let (factor, reach) = (self.factor, REACH);
        self.loopback.extend_from_slice(samples);
        self.lift.run(samples);
        self.lifted.extend_from_slice(samples);
        let peak = self.lifted.iter().fold(0f64, |peak, u| peak.max(u.abs()));
        // An interpolated peak is at most a few times a sample's peak.
        let silent = self.curve.residue(-3.0 * peak).abs() < SMALLEST;
        if silent && self.residue_is_zero {
            samples.fill(0.0);
        } else {
            let kept = 2 * factor * reach;
            self.residue.reserve(samples.len() * factor);
            for n in 0..samples.len() {
                let window = &self.lifted[n..=n + 2 * reach];
                for taps in &self.phases {
                    let u = if silent { 0.0 } else { dot(window, taps) };
                    self.residue.push(self.curve.residue(u * factor as f64));
                }
            }
            for (n, sample) in samples.iter_mut().enumerate() {
                // The taps are symmetric, so the order does not matter.
                let window = &self.residue[n * factor..=n * factor + kept];
                *sample = dot(window, &self.taps);
            }
            self.residue.drain(..samples.len() * factor);
            self.residue_is_zero = silent && self.residue.iter().all(|e| *e == 0.0);
        }
        self.lower.run(samples);
        self.block_dc.run(samples);
        for (sample, x) in samples.iter_mut().zip(&self.loopback) {
            *sample = x - *sample;
        }
        self.loopback.drain(..samples.len());
        self.lifted.drain(..samples.len());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn saturation() -> Saturation {
        Saturation {
            k3_percent_at_0db: 1.2,
            k2_percent_at_0db: 0.3,
            treble_lift_db: 10.0,
            treble_from_hz: 3000.0,
            self_erasing: 0.0,
        }
    }

    #[test]
    fn k3_follows_the_square_of_the_level_below_the_summit() {
        let curve = Curve::new(&saturation(), -12.0);
        let k3 = |db: f64| {
            let a = ratio_of_db(-12.0 + db);
            100.0 * curve.residue_harmonic(a, 3).abs() / (a - curve.residue_harmonic(a, 1))
        };
        assert_within!(k3(0.0), 1.2, 1e-9, "%");
        // Square law with the fundamental's own compression: k = x / (4 - 3 x), x = c a^2 = 0.048/1.036 at 0 dB.
        for db in [-10.0, -4.0, 4.0] {
            let x = 0.048 / 1.036 * 10f64.powf(db / 10.0);
            assert_within!(k3(db), 100.0 * x / (4.0 - 3.0 * x), 1e-9, "%", "{db} dB");
        }
    }

    #[test]
    fn beyond_the_summit_a_tone_wipes_itself() {
        let curve =
            Curve::new(&Saturation { self_erasing: 0.4, k2_percent_at_0db: 0.0, ..saturation() }, -12.0);
        let top = 1.0 / (3.0 * curve.cubic).sqrt();
        // By hand: at the summit 2/3 of it are left; one summit further 0.4 of it less; never through 0.
        assert_within!(top - curve.residue(top), 2.0 / 3.0 * top, 1e-3 * top, "");
        assert_within!(2.0 * top - curve.residue(2.0 * top), (2.0 / 3.0 - 0.4) * top, 1e-2 * top, "");
        assert_within!(9.0 * top - curve.residue(9.0 * top), 0.0, 1e-2 * top, "");
        let output = |db: f64| {
            let a = ratio_of_db(db);
            a - curve.residue_harmonic(a, 1)
        };
        assert!(output(6.0) < output(2.0), "{} {}", output(6.0), output(2.0));
    }

    #[test]
    fn products_of_two_tones_are_those_of_the_polynomial() {
        let curve = Curve::new(&saturation(), -12.0);
        let (a, b) = (0.05, 0.04);
        // (a cos x + b cos y)^2 holds a b cos(x - y), the cube 3/4 a^2 b cos(2 x - y).
        assert_within!(curve.residue_product([a, b], [1, -1]), -curve.square * a * b, 1e-9, "");
        assert_within!(curve.residue_product([a, b], [2, -1]), 0.75 * curve.cubic * a * a * b, 1e-9, "");
    }

    #[test]
    fn a_small_signal_passes_untouched_but_late() {
        let file = DeckFile {
            tape: crate::deck::Tape { saturation: Some(saturation()), ..Default::default() },
            ..Default::default()
        };
        let mut saturator = Saturator::new(&file, 48_000.0).unwrap();
        let mut samples = vec![0.0; 200];
        samples[10] = 1e-4;
        saturator.run(&mut samples);
        assert_within!(samples[10 + Saturator::LATE], 1e-4, 1e-8, "");
    }

    #[test]
    fn block_size_does_not_matter() {
        let file = DeckFile {
            tape: crate::deck::Tape { saturation: Some(saturation()), ..Default::default() },
            ..Default::default()
        };
        let tone: Vec<f64> = (0..1000).map(|n| 0.6 * (0.3 * f64::from(n)).sin()).collect();
        let mut whole = tone.clone();
        Saturator::new(&file, 44_100.0).unwrap().run(&mut whole);
        let mut parts = tone;
        let mut saturator = Saturator::new(&file, 44_100.0).unwrap();
        parts.chunks_mut(77).for_each(|part| saturator.run(part));
        for (a, b) in whole.iter().zip(parts) {
            assert_within!(*a, b, 1e-12, "");
        }
    }
}
