//! Sines and sweeps whose phase follows from the frame's number, so that no error piles up over a long tone.
//!
//! A sine of whole frequency repeats exactly within a second, so a period of it is made once and copied: the
//! programme's bits are frozen, and a recurrence would not keep them.

use std::f64::consts::TAU;

/// Value of a sine of amplitude 1 at frame `n`, phase 0 at frame 0; `hz` and `rate_hz` in Hz.
pub fn sine(n: u64, hz: f64, rate_hz: f64) -> f64 {
    // Taken modulo whole periods before it is scaled: exact for whole frequencies and rates.
    (TAU * ((hz * n as f64) % rate_hz / rate_hz)).sin()
}

/// A sine as [`sine`] makes it, to the last bit, in blocks.
///
/// At a whole frequency and rate `sine` repeats exactly after at most a second: one period is made, and then copied.
#[derive(Debug, Clone, PartialEq)]
pub struct Sine {
    hz: f64,
    rate_hz: f64,
    /// One period in frames; empty if it does not repeat, or not soon enough.
    period: Vec<f64>,
}

impl Sine {
    /// The sine of `hz`, of which about `frames` frames are needed.
    pub fn new(hz: f64, rate_hz: u32, frames: u64) -> Self {
        let rate = f64::from(rate_hz);
        let whole = hz.fract() == 0.0 && hz > 0.0 && hz < rate;
        // `as` is exact for what is whole.
        let length =
            if whole { u64::from(rate_hz) / divisor(hz as u64, u64::from(rate_hz)) } else { u64::MAX };
        let period =
            if length <= frames / 2 { (0..length).map(|n| sine(n, hz, rate)).collect() } else { Vec::new() };
        Self { hz, rate_hz: rate, period }
    }

    /// Adds the frames from `n` on to `sums`.
    pub fn add(&self, n: u64, sums: &mut [f64]) {
        if self.period.is_empty() {
            for (k, sum) in sums.iter_mut().enumerate() {
                *sum += sine(n + k as u64, self.hz, self.rate_hz);
            }
        } else {
            let from = (n % self.period.len() as u64) as usize;
            for (sum, value) in sums.iter_mut().zip(self.period.iter().cycle().skip(from)) {
                *sum += value;
            }
        }
    }
}

/// The greatest common divisor.
fn divisor(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { divisor(b, a % b) }
}

/// A sine whose frequency moves evenly in octaves per second, amplitude 1, phase 0 at frame 0.
///
/// phase(t) = 2 pi f0 T / ln(f1/f0) ((f1/f0)^(t/T) - 1) (A. Farina, 108th AES Convention, 2000, preprint 5093).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sweep {
    from_hz: f64,
    length_s: f64,
    log_ratio: f64,
}

impl Sweep {
    /// Sweep from `from_hz` to `to_hz` (both above 0, either may be the larger) in `length_s` seconds.
    ///
    /// Equal frequencies give a plain sine.
    pub fn new(from_hz: f64, to_hz: f64, length_s: f64) -> Self {
        Self { from_hz, length_s, log_ratio: (to_hz / from_hz).ln() }
    }

    /// Value at `t_s` seconds after the start.
    pub fn at(&self, t_s: f64) -> f64 {
        let periods = if self.log_ratio == 0.0 {
            self.from_hz * t_s
        } else {
            self.from_hz * self.length_s / self.log_ratio * (self.log_ratio * t_s / self.length_s).exp_m1()
        };
        (TAU * periods.fract()).sin()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Frequency at `t_s` seconds after the start, Hz.
    fn hz_at(sweep: &Sweep, t_s: f64) -> f64 {
        sweep.from_hz * (sweep.log_ratio * t_s / sweep.length_s).exp()
    }

    #[test]
    fn a_sine_holds_its_phase_for_half_an_hour() {
        // 441 Hz repeats every 100 frames at 44.1 kHz, so frame 79 380 025 is a quarter of a period in.
        let n = 30 * 60 * 44_100 + 25;
        assert_within!(sine(n, 441.0, 44_100.0), 1.0, 1e-12, "", "double precision");
    }

    #[test]
    fn a_period_copied_is_the_sine_to_the_last_bit() {
        for rate_hz in [44_100u32, 48_000, 96_000] {
            for hz in [1.0, 40.0, 315.0, 997.0, 1000.5, 3150.0, 10_000.0, 16_000.0, 22_049.0] {
                for frames in [200_000u64, 5_000] {
                    let made = Sine::new(hz, rate_hz, frames);
                    for n in [0, 1, frames - 1000, 30 * 60 * 44_100] {
                        let mut sums = [-0.0; 1000];
                        made.add(n, &mut sums);
                        for (k, got) in sums.iter().enumerate() {
                            let want = sine(n + k as u64, hz, f64::from(rate_hz));
                            assert_eq!(
                                got.to_bits(),
                                want.to_bits(),
                                "{hz} Hz at {rate_hz}, frame {n} + {k}"
                            );
                        }
                    }
                }
            }
        }
        assert_eq!(Sine::new(315.0, 44_100, 44_100).period.len(), 140);
        assert!(Sine::new(1000.5, 44_100, 1 << 40).period.is_empty());
    }

    #[test]
    fn a_sweep_moves_evenly_in_octaves() {
        let sweep = Sweep::new(20.0, 20_000.0, 30.0);
        for (t_s, hz) in [(0.0, 20.0), (10.0, 200.0), (20.0, 2_000.0), (30.0, 20_000.0)] {
            assert_within!(hz_at(&sweep, t_s), hz, hz * 1e-12, "Hz", "at {t_s} s");
        }
    }

    #[test]
    fn the_phase_of_a_sweep_is_the_integral_of_its_frequency() {
        // Independent reference: Simpson's rule over hz_at.
        for (from_hz, to_hz) in [(20.0, 2_000.0), (2_000.0, 20.0), (300.0, 300.0)] {
            let sweep = Sweep::new(from_hz, to_hz, 2.0);
            let (end_s, steps) = (1.3, 20_000);
            let h = end_s / f64::from(steps);
            let integral: f64 = (0..=steps)
                .map(|k| {
                    let weight = if k == 0 || k == steps { 1.0 } else { 2.0 + 2.0 * f64::from(k % 2) };
                    weight * hz_at(&sweep, f64::from(k) * h)
                })
                .sum::<f64>()
                * h
                / 3.0;
            // 1e-8: what the rule leaves at this step.
            assert_within!(sweep.at(end_s), (TAU * integral).sin(), 1e-8, "", "{from_hz} to {to_hz} Hz");
        }
    }
}
