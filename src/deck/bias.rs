//! What bias does to sensitivity, distortion and noise: smooth curves with the shapes that handbooks draw. From memory,
//! common practice, no source; no tape was measured.
//!
//! With `b` dB of bias re nominal, all 0 dB at `b = 0`: the low tones' sensitivity is a broad hump, -0.05 (b - 0.5)^2 dB
//! and a constant; treble has its peak 4 dB lower and falls quickly beyond it: a shelf of -0.3 (b + 4)^2 dB and a
//! constant above about 4 kHz. The third harmonic has its least at b = 2: its level is 0.35 (b - 2)^2 dB and a constant.
//! Hiss has its least at nominal bias and rises by 0.12 b^2 dB.

use super::playback_filters::Biquad;
use super::{Saturation, ratio_of_db};

/// Where the treble shelf begins, Hz.
const SHELF_FROM_HZ: f64 = 4000.0;
/// Bias beyond which no curve goes on, dB: they were drawn for a trimmer's range.
const MOST_DB: f64 = 8.0;

/// A parabola through 0 at `b = 0` with its extreme at `at`.
fn parabola(b: f64, at: f64, curvature: f64) -> f64 {
    let b = b.clamp(-MOST_DB, MOST_DB);
    curvature * ((b - at).powi(2) - at * at)
}

/// Sensitivity of low tones, dB.
pub(crate) fn low_db(bias_db: f64) -> f64 {
    parabola(bias_db, 0.5, -0.05)
}

/// The treble's shelf and the gain before it, as one section for a signal at `rate_hz`.
pub(crate) fn section(bias_db: f64, rate_hz: f64) -> (Biquad, f64) {
    let treble_db = parabola(bias_db, -4.0, -0.3);
    (Biquad::treble_shelf(treble_db, SHELF_FROM_HZ, rate_hz), ratio_of_db(low_db(bias_db)))
}

/// The tape's saturation at this bias.
pub(crate) fn saturation(nominal: &Saturation, bias_db: f64) -> Saturation {
    let k3_percent_at_0db = nominal.k3_percent_at_0db * ratio_of_db(parabola(bias_db, 2.0, 0.35));
    Saturation { k3_percent_at_0db, ..*nominal }
}

/// Hiss against nominal, dB.
pub(crate) fn hiss_db(bias_db: f64) -> f64 {
    parabola(bias_db, 0.0, 0.12)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nominal_bias_changes_nothing() {
        let (section, gain) = section(0.0, 48_000.0);
        assert_within!(gain, 1.0, 1e-12, "");
        assert_within!(section.response(10_000.0, 48_000.0).norm(), 1.0, 1e-12, "");
        assert_eq!((low_db(0.0), hiss_db(0.0)), (0.0, 0.0));
    }

    #[test]
    fn less_bias_brightens_distorts_and_more_bias_dulls() {
        let at = |bias_db: f64, hz: f64| {
            let (section, gain) = section(bias_db, 48_000.0);
            20.0 * (section.response(hz, 48_000.0).norm() * gain).log10()
        };
        assert!(at(-2.0, 10_000.0) > 1.5 && at(2.0, 10_000.0) < -3.0);
        assert!(at(-2.0, 1000.0).abs() < 0.8 && at(2.0, 1000.0).abs() < 0.8);
        // Longer waves peak at more bias than shorter ones.
        let peak = |hz: f64| {
            let steps = (-80..80).map(|k| f64::from(k) / 10.0);
            steps.max_by(|&a, &b| at(a, hz).total_cmp(&at(b, hz))).unwrap()
        };
        assert!(peak(15_000.0) <= peak(10_000.0) && peak(10_000.0) < peak(1000.0) - 2.0);
        let nominal = Saturation {
            k3_percent_at_0db: 1.0,
            k2_percent_at_0db: 0.0,
            treble_lift_db: 10.0,
            treble_from_hz: 3000.0,
            self_erasing: 0.0,
        };
        assert!(saturation(&nominal, -3.0).k3_percent_at_0db > 1.5);
        assert!(saturation(&nominal, 2.0).k3_percent_at_0db < 0.9);
    }
}
