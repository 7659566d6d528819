//! Sines and sweeps whose phase follows from the frame's number, so that no error piles up over a long tone.

use std::f64::consts::TAU;

/// Value of a sine of amplitude 1 at frame `n`, phase 0 at frame 0; `hz` and `rate_hz` in Hz.
pub fn sine(n: u64, hz: f64, rate_hz: f64) -> f64 {
    // Taken modulo whole periods before it is scaled: exact for whole frequencies and rates.
    (TAU * ((hz * n as f64) % rate_hz / rate_hz)).sin()
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

    /// Frequency at `t_s` seconds after the start, Hz.
    pub fn hz_at(&self, t_s: f64) -> f64 {
        self.from_hz * (self.log_ratio * t_s / self.length_s).exp()
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

    #[test]
    fn a_sine_holds_its_phase_for_half_an_hour() {
        // 441 Hz repeats every 100 frames at 44.1 kHz, so frame 79 380 025 is a quarter of a period in.
        let n = 30 * 60 * 44_100 + 25;
        assert_within!(sine(n, 441.0, 44_100.0), 1.0, 1e-12, "", "double precision");
    }

    #[test]
    fn a_sweep_moves_evenly_in_octaves() {
        let sweep = Sweep::new(20.0, 20_000.0, 30.0);
        for (t_s, hz) in [(0.0, 20.0), (10.0, 200.0), (20.0, 2_000.0), (30.0, 20_000.0)] {
            assert_within!(sweep.hz_at(t_s), hz, hz * 1e-12, "Hz", "at {t_s} s");
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
                    weight * sweep.hz_at(f64::from(k) * h)
                })
                .sum::<f64>()
                * h
                / 3.0;
            // 1e-8: what the rule leaves at this step.
            assert_within!(sweep.at(end_s), (TAU * integral).sin(), 1e-8, "", "{from_hz} to {to_hz} Hz");
        }
    }
}
