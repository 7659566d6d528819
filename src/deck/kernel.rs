//! Band-limited interpolation between samples: a windowed sinc, tabulated at many phases.

use inner_loops::dot_pair;
use std::f64::consts::PI;

/// Phases of the table; between them the kernel is interpolated linearly, which costs less than -105 dB at 0.45 of the rate.
const PHASES: usize = 512;
/// Taps at full bandwidth. With the window below the band is flat to 1e-5 up to 0.45 of the rate.
const TAPS: f64 = 80.0;
/// Kaiser's beta for 110 dB: 0.1102 (110 - 8.7).
const BETA: f64 = 11.16;

/// An interpolator.
pub(crate) struct Kernel {
    half: usize,
    /// `PHASES + 1` rows of `2 * half` taps.
    table: Vec<f64>,
}

impl Kernel {
    /// An interpolator that passes up to 0.45 of `from_hz` or of `to_hz`, whichever is less.
    pub(crate) fn new(from_hz: f64, to_hz: f64) -> Self {
        let cutoff = (to_hz / from_hz).min(1.0);
        let half = (TAPS / cutoff / 4.0).ceil() as usize * 2;
        let mut table = Vec::with_capacity((PHASES + 1) * 2 * half);
        for phase in 0..=PHASES {
            let fraction = phase as f64 / PHASES as f64;
            let row = (0..2 * half).map(|k| {
                let x = k as f64 - (half - 1) as f64 - fraction;
                let place = x / half as f64;
                let window = bessel_i0(BETA * (1.0 - place * place).max(0.0).sqrt()) / bessel_i0(BETA);
                let y = PI * cutoff * x;
                let sinc = if y.abs() < 1e-12 { 1.0 } else { y.sin() / y };
                cutoff * sinc * window
            });
            let row: Vec<f64> = row.collect();
            let sum: f64 = row.iter().sum();
            table.extend(row.iter().map(|tap| tap / sum));
        }
        Self { half, table }
    }

    /// Samples needed on each side of a position.
    pub(crate) fn half(&self) -> usize {
        self.half
    }

    /// Value at `position` (samples, relative to `samples[0]`); outside the samples lies silence.
    pub(crate) fn at(&self, samples: &[f64], position: f64) -> f64 {
        let whole = position.floor();
        let phase = (position - whole) * PHASES as f64;
        let row = (phase as usize).min(PHASES - 1);
        let blend = phase - row as f64;
        let taps = 2 * self.half;
        let rows = &self.table[row * taps..(row + 2) * taps];
        let (first, second) = rows.split_at(taps);
        let start = whole as i64 - (self.half as i64 - 1);
        let (a, b) = match usize::try_from(start).ok().and_then(|start| samples.get(start..start + taps)) {
            Some(window) => dot_pair(window, first, second),
            None => {
                let (mut a, mut b) = (0.0, 0.0);
                for k in 0..taps {
                    let sample = usize::try_from(start + k as i64).ok().and_then(|n| samples.get(n));
                    let x = sample.copied().unwrap_or(0.0);
                    a += x * first[k];
                    b += x * second[k];
                }
                (a, b)
            }
        };
        a + blend * (b - a)
    }
}

/// Modified Bessel function of order 0 by its series.
pub(crate) fn bessel_i0(x: f64) -> f64 {
    let (mut term, mut sum) = (1.0, 1.0);
    for k in 1..60 {
        term *= (x / (2.0 * f64::from(k))).powi(2);
        sum += term;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::sine;
    use std::f64::consts::TAU;

    #[test]
    fn the_error_is_below_minus_100_db_up_to_0_45_of_the_rate() {
        let kernel = Kernel::new(48_000.0, 48_000.0);
        for relative in [0.001, 0.1, 0.25, 0.4, 0.45] {
            let samples = sine(1.0, relative, 1.0, 400);
            let error = (0..3000)
                .map(|k| 100.0 + f64::from(k) * 0.0707)
                .map(|at| (kernel.at(&samples, at) - (TAU * relative * at).sin()).abs())
                .fold(0.0, f64::max);
            assert!(error < 1e-5, "{relative} of the rate: {error}");
        }
    }

    #[test]
    fn a_lower_rate_is_protected_from_aliases() {
        let kernel = Kernel::new(96_000.0, 44_100.0);
        let level = |hz: f64| {
            let samples = sine(1.0, hz, 96_000.0, 1000);
            let values = (0..300).map(|k| kernel.at(&samples, 200.0 + f64::from(k) * 1.7));
            (values.map(|v| v * v).sum::<f64>() / 150.0).sqrt()
        };
        assert_within!(level(18_000.0), 1.0, 5e-3, "");
        assert!(level(24_500.0) < 1e-4, "{}", level(24_500.0));
    }
}
