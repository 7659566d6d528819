//! The noise weighting network of ITU-R BS.468-4 as a filter that runs along in time.
//!
//! The poles are those of the network, mapped by z = exp(s T); a bilinear transform would bend the response by several
//! dB near 20 kHz at 44.1 kHz. The zero at 0 Hz stays where it is. What aliasing of the poles' tails leaves over is made
//! good by a short numerator, fitted by least squares to the network's complex response, so the filter follows the
//! network to 0.15 dB up to 0.475 of the sample rate; above that a sampled signal cannot follow it.
//!
//! The poles run on the crate `biquad` in f64, as do the sections of the virtual deck. Three loops of our own stay:
//! pink noise is frozen to the last bit and a section rounds in another order, the quasi-peak detectors are not linear,
//! and the decoder solves the compander's high-pass for its input.

use crate::signal::fit::least_squares;
use crate::trade::itu_r_468::{POLES_HZ, network};
use biquad::{Biquad, Coefficients, DirectForm2Transposed};
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Highest frequency of the fit, as a share of the sample rate.
const HIGHEST_SHARE: f64 = 0.475;
/// The fit need not go higher, Hz: one row beyond the table's end.
const HIGHEST_HZ: f64 = 35_000.0;
/// Taps of the numerator beside the zero at 0 Hz, below and above 60 kHz of sample rate.
const TAPS: (usize, usize) = (12, 8);

/// One channel of the weighting network; 0 dB at 1 kHz.
#[derive(Debug, Clone)]
pub struct WeightingFilter {
    rate_hz: f64,
    /// Taps of the numerator, the zero at 0 Hz included.
    numerator: Vec<f64>,
    /// a1 and a2 of each pair of poles.
    pairs: [(f64, f64); 3],
    inputs: Vec<f64>,
    at: usize,
    sections: [DirectForm2Transposed<f64>; 3],
}

/// The poles in the z plane, in pairs: two real ones, then two conjugate pairs.
fn pole_pairs(rate_hz: f64) -> [(f64, f64); 3] {
    let z = |hz: f64| (TAU * hz / rate_hz).exp();
    let conjugate = |(real, imaginary): (f64, f64)| {
        let r = z(real);
        (-2.0 * r * (TAU * imaginary / rate_hz).cos(), r * r)
    };
    let (a, b) = (z(POLES_HZ[0].0), z(POLES_HZ[1].0));
    [(-(a + b), a * b), conjugate(POLES_HZ[2]), conjugate(POLES_HZ[3])]
}

impl WeightingFilter {
    /// The network at `rate_hz` (above 0, finite).
    pub fn new(rate_hz: f64) -> Self {
        let pairs = pole_pairs(rate_hz);
        let taps = if rate_hz < 60_000.0 { TAPS.0 } else { TAPS.1 };
        let top_hz = (HIGHEST_SHARE * rate_hz).min(HIGHEST_HZ);
        let low = (0..60).map(|k| 15.0 * (1000.0f64 / 15.0).powf(f64::from(k) / 60.0));
        let high = (0..=160).map(|k| 1000.0 + (top_hz - 1000.0) * f64::from(k) / 160.0);
        let places: Vec<f64> = low.chain(high).collect();
        // Relative errors count, so that the skirts are as right as the peak.
        let poles: Vec<Complex64> = places.iter().map(|&hz| over_poles(&pairs, hz, rate_hz)).collect();
        let best = (0..=60)
            .map(|tenth| f64::from(tenth) / 10.0)
            .filter_map(|late| fit(&places, &poles, taps, late, rate_hz))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        let taps = best.map(|best| best.0).unwrap_or_default();
        // (1 - z^-1) times the fitted taps.
        let mut numerator = vec![0.0; taps.len() + 1];
        for (k, tap) in taps.iter().enumerate() {
            numerator[k] += tap;
            numerator[k + 1] -= tap;
        }
        let mut filter = Self {
            rate_hz,
            inputs: vec![0.0; numerator.len()],
            numerator,
            pairs,
            at: 0,
            sections: pairs.map(|(a1, a2)| {
                DirectForm2Transposed::new(Coefficients { a1, a2, b0: 1.0, b1: 0.0, b2: 0.0 })
            }),
        };
        let gain = 10f64.powf(-filter.response_db(1000.0) / 20.0);
        filter.numerator.iter_mut().for_each(|tap| *tap *= gain);
        filter
    }

    /// Gain of this very filter at `hz`, dB.
    pub fn response_db(&self, hz: f64) -> f64 {
        let delay = Complex64::cis(-TAU * hz / self.rate_hz);
        let top = self.numerator.iter().rev().fold(Complex64::default(), |sum, tap| sum * delay + tap);
        20.0 * (top * over_poles(&self.pairs, hz, self.rate_hz)).norm().log10()
    }

    /// Filters one sample.
    pub fn filter(&mut self, sample: f64) -> f64 {
        let count = self.inputs.len();
        self.inputs[self.at] = sample;
        // Newest first.
        let (newer, older) = (&self.inputs[..=self.at], &self.inputs[self.at + 1..]);
        let x: f64 =
            newer.iter().rev().chain(older.iter().rev()).zip(&self.numerator).map(|(x, tap)| x * tap).sum();
        self.at = (self.at + 1) % count;
        self.sections.iter_mut().fold(x, |x, section| section.run(x))
    }
}

/// 1 / A(z) at `hz`.
fn over_poles(pairs: &[(f64, f64); 3], hz: f64, rate_hz: f64) -> Complex64 {
    let delay = Complex64::cis(-TAU * hz / rate_hz);
    pairs.iter().map(|(a1, a2)| 1.0 / (1.0 + delay * (*a1 + delay * *a2))).product()
}

/// Taps whose filter comes closest to the network `late` samples later, and its largest error in dB.
fn fit(places: &[f64], poles: &[Complex64], taps: usize, late: f64, rate_hz: f64) -> Option<(Vec<f64>, f64)> {
    let rows = 2 * places.len();
    let (mut columns, mut want) = (DMatrix::zeros(rows, taps), DVector::zeros(rows));
    for (k, (&hz, &pole)) in places.iter().zip(poles).enumerate() {
        let delay = Complex64::cis(-TAU * hz / rate_hz);
        let target = network(hz);
        let weight = 1.0 / target.norm();
        let y = target * Complex64::cis(-TAU * hz * late / rate_hz) * weight;
        (want[2 * k], want[2 * k + 1]) = (y.re, y.im);
        let mut x = (1.0 - delay) * pole * weight;
        for mut column in columns.column_iter_mut() {
            (column[2 * k], column[2 * k + 1]) = (x.re, x.im);
            x *= delay;
        }
    }
    let taps = least_squares(columns.clone(), &want)?;
    let got = columns * &taps;
    // The target has magnitude 1 here.
    let worst_db = (0..places.len())
        .map(|k| (20.0 * got[2 * k].hypot(got[2 * k + 1]).log10()).abs())
        .fold(0.0, f64::max);
    worst_db.is_finite().then(|| (taps.as_slice().to_vec(), worst_db))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_follows_the_network_at_every_rate() {
        for rate_hz in [22_050.0, 32_000.0, 44_100.0, 48_000.0, 88_200.0, 96_000.0, 192_000.0, 384_000.0] {
            let filter = WeightingFilter::new(rate_hz);
            // What the module promises.
            let highest_hz = (HIGHEST_SHARE * rate_hz).min(HIGHEST_HZ);
            let network_db = |hz: f64| 20.0 * (network(hz).norm() / network(1e3).norm()).log10();
            let worst_db = (0..=400)
                .map(|k| 20.0 * (highest_hz / 20.0).powf(f64::from(k) / 400.0))
                .map(|hz| (filter.response_db(hz) - network_db(hz)).abs())
                .fold(0.0, f64::max);
            assert!(worst_db < 0.15, "{rate_hz} Hz: {worst_db} dB");
        }
    }

    #[test]
    fn the_filter_does_what_it_says() {
        for (rate_hz, hz) in [(44_100.0, 6300.0), (48_000.0, 100.0), (96_000.0, 16_000.0)] {
            let mut filter = WeightingFilter::new(rate_hz);
            let frames = rate_hz as usize;
            let power: f64 = (0..frames)
                .map(|n| filter.filter((TAU * hz * n as f64 / rate_hz).sin()))
                .skip(frames / 2)
                .map(|x| x * x)
                .sum();
            let got_db = 10.0 * (2.0 * power / (frames - frames / 2) as f64).log10();
            crate::assert_within!(got_db, filter.response_db(hz), 1e-6, "dB", "{hz} Hz at {rate_hz}");
        }
    }
}
