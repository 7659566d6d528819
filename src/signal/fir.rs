//! Linear-phase FIR design by the window method.

use std::f64::consts::PI;

/// Taps of a low-pass of unity gain at 0 Hz, odd in number, symmetrical about the middle one.
///
/// Kaiser window (Kaiser's formulas as in Oppenheim and Schafer, Discrete-Time Signal Processing, 7.5.3), for an
/// attenuation of at least 50 dB. The response is flat up to `flat_hz` and `attenuation_db` down (2 dB less at worst,
/// because the formulas estimate) from `flat_hz + transition_hz` on. The flat part is flat to within twice the ripple
/// that goes with the attenuation: 0.0002 dB at 100 dB, 0.02 dB at 60 dB.
/// `rate_hz` is the sample rate; all frequencies in Hz.
pub fn low_pass(rate_hz: f64, flat_hz: f64, transition_hz: f64, attenuation_db: f64) -> Vec<f64> {
    let beta = 0.1102 * (attenuation_db - 8.7);
    let half = ((attenuation_db - 8.0) / (2.285 * 2.0 * PI * transition_hz / rate_hz) / 2.0).ceil() as i64;
    let corner = 2.0 * (flat_hz + transition_hz / 2.0) / rate_hz;
    let right: Vec<f64> = (0..=half)
        .map(|n| {
            let x = corner * n as f64;
            let sinc = if n == 0 { 1.0 } else { (PI * x).sin() / (PI * x) };
            let place = n as f64 / (half + 1) as f64;
            sinc * bessel_i0(beta * (1.0 - place * place).sqrt())
        })
        .collect();
    let mut taps: Vec<f64> = right[1..].iter().rev().chain(&right).copied().collect();
    let sum: f64 = taps.iter().sum();
    taps.iter_mut().for_each(|tap| *tap /= sum);
    taps
}

/// Modified Bessel function of the first kind and order 0, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let mut term = 1.0;
    let mut sum = 1.0;
    for k in 1..200 {
        term *= quarter / f64::from(k * k);
        sum += term;
        if term < sum * 1e-17 {
            break;
        }
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gain_db(taps: &[f64], hz: f64, rate_hz: f64) -> f64 {
        let half = (taps.len() / 2) as f64;
        let sum: f64 = taps
            .iter()
            .enumerate()
            .map(|(n, tap)| tap * (2.0 * PI * hz / rate_hz * (n as f64 - half)).cos())
            .sum();
        20.0 * sum.abs().log10()
    }

    #[test]
    fn low_pass_is_flat_and_then_gone() {
        let taps = low_pass(48_000.0, 500.0, 150.0, 100.0);
        for hz in [0.0, 100.0, 499.0] {
            crate::assert_within!(gain_db(&taps, hz, 48_000.0), 0.0, 0.0005, "dB", "at {hz} Hz");
        }
        for hz in [650.0, 700.0, 1000.0, 5000.0, 23_000.0] {
            assert!(gain_db(&taps, hz, 48_000.0) < -98.0, "at {hz} Hz: {}", gain_db(&taps, hz, 48_000.0));
        }
    }
}
