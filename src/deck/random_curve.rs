//! A smooth random curve within a band, with its slope, that can be asked at any time.

use super::Shape;
use rand::Rng;
use rand_distr::{Distribution, StandardNormal};
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Points per period of the highest frequency: cubic interpolation with slopes is then good to 1e-4 of the highest line.
const POINTS_PER_CYCLE: f64 = 16.0;
/// Shortest period after which the curve repeats, s, unless [`MOST_POINTS`] forbids it.
const SHORTEST_PERIOD_S: f64 = 120.0;
/// Bounds the memory to 16 MiB a curve.
const MOST_POINTS: usize = 1 << 20;

/// What the curve's values are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Of {
    /// The random quantity itself has the asked rms; the slope is its derivative.
    Value,
    /// The slope has the asked rms; the value is its integral (a displacement from a speed).
    Slope,
}

/// A periodic Gaussian curve: dense lines with random amplitudes and phases, tabulated by FFT with its exact slope and
/// interpolated by cubics.
#[derive(Debug, Clone)]
pub(crate) struct RandomCurve {
    points_per_s: f64,
    value: Vec<f64>,
    slope: Vec<f64>,
}

impl RandomCurve {
    /// A curve of `rms` between `low_hz` and `high_hz`; the rms is exact over the curve's period.
    pub(crate) fn new(rng: &mut impl Rng, of: Of, rms: f64, low_hz: f64, high_hz: f64, shape: Shape) -> Self {
        let points_per_s = POINTS_PER_CYCLE * high_hz;
        let period_s = SHORTEST_PERIOD_S.max(20.0 / low_hz);
        let points = ((period_s * points_per_s).ceil() as usize).next_power_of_two().min(MOST_POINTS);
        let line_hz = points_per_s / points as f64;
        let first = ((low_hz / line_hz).ceil() as usize).max(1);
        let last = ((high_hz / line_hz).floor() as usize).max(first);

        let mut drawn = vec![Complex64::default(); points];
        let mut power = 0.0;
        for (k, line) in drawn.iter_mut().enumerate().take(last + 1).skip(first) {
            let mut draw = || -> f64 { StandardNormal.sample(rng) };
            let density = match shape {
                Shape::Flat => 1.0,
                Shape::OneOverF => 1.0 / k as f64,
            };
            *line = Complex64::new(draw(), draw()) * f64::sqrt(density);
            power += line.norm_sqr() / 2.0;
        }
        let scale = if power > 0.0 { rms / power.sqrt() } else { 0.0 };
        let mut other = drawn.clone();
        for (k, (line, other)) in drawn.iter_mut().zip(&mut other).enumerate() {
            *line *= scale;
            let j_omega = Complex64::new(0.0, TAU * line_hz * k as f64);
            *other = match of {
                Of::Value => *line * j_omega,
                Of::Slope if k == 0 => Complex64::default(),
                Of::Slope => *line / j_omega,
            };
        }
        let inverse = <f64 as inner_loops::Precision>::complex_inverse(points);
        inverse.process(&mut drawn);
        inverse.process(&mut other);
        let real = |lines: Vec<Complex64>| lines.into_iter().map(|z| z.re).collect();
        let (drawn, other): (Vec<f64>, Vec<f64>) = (real(drawn), real(other));
        match of {
            Of::Value => Self { points_per_s, value: drawn, slope: other },
            Of::Slope => Self { points_per_s, value: other, slope: drawn },
        }
    }

    /// Value and slope (per second) at `t_s`; any finite time, the curve repeats.
    pub(crate) fn at(&self, t_s: f64) -> (f64, f64) {
        let points = self.value.len();
        let place = t_s * self.points_per_s;
        let whole = place.floor();
        let x = place - whole;
        // The number of points is a power of two, so wrapping is a mask, also for negative times.
        let i = whole as i64 as usize & (points - 1);
        let j = (i + 1) & (points - 1);
        let h = 1.0 / self.points_per_s;
        let (p0, p1, m0, m1) = (self.value[i], self.value[j], self.slope[i] * h, self.slope[j] * h);
        let c2 = 3.0 * (p1 - p0) - 2.0 * m0 - m1;
        let c3 = 2.0 * (p0 - p1) + m0 + m1;
        (p0 + x * (m0 + x * (c2 + x * c3)), (m0 + x * (2.0 * c2 + x * 3.0 * c3)) / h)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deck::{Purpose, generator};

    #[test]
    fn slope_is_the_derivative_and_has_the_asked_rms() {
        let mut rng = generator(5, Purpose::Flutter, 0);
        let curve = RandomCurve::new(&mut rng, Of::Slope, 0.002, 0.5, 100.0, Shape::OneOverF);
        let (mut sum, mut worst) = (0.0, 0f64);
        let count = 400_000;
        for k in 0..count {
            let t = k as f64 * 163.84 / count as f64;
            let slope = curve.at(t).1;
            let difference = (curve.at(t + 1e-5).0 - curve.at(t - 1e-5).0) / 2e-5;
            worst = worst.max((slope - difference).abs());
            sum += slope * slope;
        }
        // One period is 2^18 points at 1600 a second. The interpolated slope is good to 1e-3 at the upper end.
        assert_within!((sum / f64::from(count)).sqrt(), 0.002, 2e-6, "rms");
        assert!(worst < 2e-6, "slope against difference: {worst}");
    }

    #[test]
    fn power_stays_in_the_band() {
        let mut rng = generator(9, Purpose::Level, 0);
        let curve = RandomCurve::new(&mut rng, Of::Value, 1.0, 2.0, 4.0, Shape::Flat);
        // Plain Fourier sums over the whole period at frequencies outside the band.
        let period = curve.value.len() as f64 / curve.points_per_s;
        for hz in [1.0, 5.0] {
            let hz = (hz * period).round() / period;
            let sum: Complex64 = curve
                .value
                .iter()
                .enumerate()
                .map(|(k, v)| v * Complex64::from_polar(1.0, -TAU * hz * k as f64 / curve.points_per_s))
                .sum();
            assert!(sum.norm() / (curve.value.len() as f64) < 1e-10, "{hz} Hz: {}", sum.norm());
        }
    }
}
