//! The quasi-peak detector of ITU-R BS.468-4 clause 2, as a running indication.
//!
//! The Recommendation gives no circuit, only what the meter reads of bursts (Tables 2 and 3). This detector is a model
//! that meets both with room to spare: the rectified signal charges a fast store, which a pointer follows up at once and
//! leaves slowly; the fast store charges a slow one; the indication is a mix of both. Its constants were fitted to the
//! reference readings of the tables (`tests/reference/fit_itu_468_detector.py`): the largest deviation is half of the
//! tolerance. They are a choice: detectors inside the tables differ by about 0.5 dB on noise.

/// Time constants, s.
const FAST_CHARGE_S: f64 = 1.49e-3;
const FAST_DISCHARGE_S: f64 = 0.1745;
const POINTER_FALL_S: f64 = 1.076;
const SLOW_CHARGE_S: f64 = 0.556;
const SLOW_DISCHARGE_S: f64 = 0.487;
/// Share of the pointer in the indication; the slow store has the rest.
const POINTER_SHARE: f64 = 0.266;
/// Indication of a steady sine of amplitude 1 before it is scaled to its rms.
const OF_A_SINE: f64 = 0.5743;

/// The detector of one channel; feed it what the weighting network gives.
#[derive(Debug, Clone)]
pub struct QuasiPeak {
    /// Shares by which a store moves in one sample.
    fast_charge: f64,
    fast_discharge: f64,
    pointer_fall: f64,
    slow_charge: f64,
    slow_discharge: f64,
    fast: f64,
    pointer: f64,
    slow: f64,
}

impl QuasiPeak {
    /// A detector at rest for samples at `rate_hz` (above 0, finite).
    pub fn new(rate_hz: f64) -> Self {
        let share = |seconds: f64| 1.0 - (-1.0 / (rate_hz * seconds)).exp();
        Self {
            fast_charge: share(FAST_CHARGE_S),
            fast_discharge: share(FAST_DISCHARGE_S),
            pointer_fall: share(POINTER_FALL_S),
            slow_charge: share(SLOW_CHARGE_S),
            slow_discharge: share(SLOW_DISCHARGE_S),
            fast: 0.0,
            pointer: 0.0,
            slow: 0.0,
        }
    }

    /// Takes the next weighted sample and says what the meter shows: the rms of a steady sine.
    pub fn indication(&mut self, sample: f64) -> f64 {
        let rectified = sample.abs();
        self.fast += self.fast_charge * (rectified - self.fast).max(0.0) - self.fast_discharge * self.fast;
        self.slow += self.slow_charge * (self.fast - self.slow).max(0.0) - self.slow_discharge * self.slow;
        self.pointer = self.fast.max(self.pointer * (1.0 - self.pointer_fall));
        let mixed = POINTER_SHARE * self.pointer + (1.0 - POINTER_SHARE) * self.slow;
        mixed * (std::f64::consts::FRAC_1_SQRT_2 / OF_A_SINE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn silence_reads_nothing_and_reading_scales() {
        let mut detector = QuasiPeak::new(48_000.0);
        assert!((0..100).all(|_| detector.indication(0.0) == 0.0));
        let shown = |scale: f64| {
            let mut detector = QuasiPeak::new(48_000.0);
            (0..5000).map(|n| detector.indication(scale * (f64::from(n) * 0.3).sin())).last().unwrap_or(0.0)
        };
        crate::assert_within!(shown(1e-6) / shown(1.0), 1e-6, 1e-15, "");
    }
}
