//! Noise weighting of Recommendation ITU-R BS.468-4: Table 1 (clause 1) and the network's response in its published
//! rational form; Tables 2 and 3 (clause 2), which the quasi-peak detector has to meet. The same curve stands in IEC
//! 60268-1 Appendix A.

use super::weighting_table::{WeightingRow, interpolated_mask_db};

/// Denominator of the network's transfer function in powers of s / (2 pi), Hz: the coefficient of power n at index n.
///
/// H(s) = [`NUMERATOR`] s / (2 pi) / denominator. With s = j 2 pi f its real part is the published polynomial h1(f)
/// and its imaginary part h2(f).
pub const DENOMINATOR: [f64; 7] = [
    1.0,
    5.559488023498642e-4,
    1.363894795463638e-7,
    2.118150887518656e-11,
    2.043828333606125e-15,
    1.306612257412824e-19,
    4.737338981378384e-24,
];
/// Coefficient of the single zero at 0 Hz, 1/Hz.
pub const NUMERATOR: f64 = 1.246332637532143e-4;
/// Gain in dB of the published form that puts 1 kHz at 0 dB, as rounded there. [`weighting_db`] does not use it: it is
/// normalised at 1 kHz exactly.
pub const PUBLISHED_GAIN_DB: f64 = 18.2;
/// The poles, Hz, as (real part, imaginary part): two real ones, then two pairs of which the upper one stands here.
/// Roots of [`DENOMINATOR`], computed with numpy.roots.
pub const POLES_HZ: [(f64, f64); 4] = [
    (-9975.06312393024, 0.0),
    (-4122.702066134763, 0.0),
    (-3758.529163010742, 5790.042336608968),
    (-2983.1599378906676, 9940.842645709537),
];
/// Number of zeros, all at 0 Hz.
pub const ZEROS_AT_DC: usize = 1;
/// Added to a reading to put 0 dB at 2 kHz instead of 1 kHz: the CCIR-RMS weighting of AES17-2015 clause 5.2.7.
pub const AES17_SHIFT_DB: f64 = -5.63;

/// Table 1 of the Recommendation: 0 dB at 1 kHz, zero tolerance at 6.3 kHz, no lower limit at 31.5 kHz.
pub const TABLE: [WeightingRow; 21] = [
    WeightingRow::new(31.5, -29.9, 2.0, -2.0),
    WeightingRow::new(63.0, -23.9, 1.4, -1.4),
    WeightingRow::new(100.0, -19.8, 1.0, -1.0),
    WeightingRow::new(200.0, -13.8, 0.85, -0.85),
    WeightingRow::new(400.0, -7.8, 0.7, -0.7),
    WeightingRow::new(800.0, -1.9, 0.55, -0.55),
    WeightingRow::new(1000.0, 0.0, 0.5, -0.5),
    WeightingRow::new(2000.0, 5.6, 0.5, -0.5),
    WeightingRow::new(3150.0, 9.0, 0.5, -0.5),
    WeightingRow::new(4000.0, 10.5, 0.5, -0.5),
    WeightingRow::new(5000.0, 11.7, 0.5, -0.5),
    WeightingRow::new(6300.0, 12.2, 0.0, 0.0),
    WeightingRow::new(7100.0, 12.0, 0.2, -0.2),
    WeightingRow::new(8000.0, 11.4, 0.4, -0.4),
    WeightingRow::new(9000.0, 10.1, 0.6, -0.6),
    WeightingRow::new(10000.0, 8.1, 0.8, -0.8),
    WeightingRow::new(12500.0, 0.0, 1.2, -1.2),
    WeightingRow::new(14000.0, -5.3, 1.4, -1.4),
    WeightingRow::new(16000.0, -11.7, 1.6, -1.6),
    WeightingRow::new(20000.0, -22.2, 2.0, -2.0),
    WeightingRow::new(31500.0, -42.7, 2.8, f64::NEG_INFINITY),
];

/// One row of Table 2 or 3: bursts of 5 kHz from a zero crossing through the network, and what the detector then reads,
/// in percent of its reading of the same tone held steady.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BurstRow {
    /// Length of each burst, ms; whole periods of 5 kHz.
    pub burst_ms: f64,
    /// Bursts in a second; `None` for a single burst.
    pub per_s: Option<f64>,
    /// Lowest reading allowed, percent.
    pub lower_percent: f64,
    /// Reference reading, percent.
    pub reference_percent: f64,
    /// Highest reading allowed, percent.
    pub upper_percent: f64,
}

impl BurstRow {
    const fn single(burst_ms: f64, lower_percent: f64, reference_percent: f64, upper_percent: f64) -> Self {
        Self { burst_ms, per_s: None, lower_percent, reference_percent, upper_percent }
    }

    const fn train(per_s: f64, lower_percent: f64, reference_percent: f64, upper_percent: f64) -> Self {
        Self { burst_ms: 5.0, per_s: Some(per_s), lower_percent, reference_percent, upper_percent }
    }
}

/// Table 2 (clause 2.1): single bursts. IEC 60268-1:1985 prints the lower limits at 50 and 100 ms wrongly (44 and 50);
/// its Amendment 1:1988 gives 50 and 58 as here.
pub const SINGLE_BURSTS: [BurstRow; 8] = [
    BurstRow::single(1.0, 13.5, 17.0, 21.4),
    BurstRow::single(2.0, 22.4, 26.6, 31.6),
    BurstRow::single(5.0, 34.0, 40.0, 46.0),
    BurstRow::single(10.0, 41.0, 48.0, 55.0),
    BurstRow::single(20.0, 44.0, 52.0, 60.0),
    BurstRow::single(50.0, 50.0, 59.0, 68.0),
    BurstRow::single(100.0, 58.0, 68.0, 78.0),
    BurstRow::single(200.0, 68.0, 80.0, 92.0),
];
/// Table 3 (clause 2.2): trains of bursts of 5 ms.
pub const BURST_TRAINS: [BurstRow; 3] = [
    BurstRow::train(2.0, 43.0, 48.0, 53.0),
    BurstRow::train(10.0, 72.0, 77.0, 82.0),
    BurstRow::train(100.0, 94.0, 97.0, 100.0),
];
/// Frequency of the bursts, Hz.
pub const BURST_HZ: f64 = 5000.0;
/// A 1 kHz tone that is suddenly applied may read at most this much too high at first, dB (clause 2).
pub const OVERSWING_DB: f64 = 0.3;
/// Pulses of 1 ms may read at most this differently when their polarity is reversed, dB (clause 2).
pub const REVERSAL_DB: f64 = 0.5;
/// Bursts of 0.6 ms that are lowered by 20 dB have to read 20 dB lower within this, dB (clause 2).
pub const LINEARITY_DB: f64 = 1.0;

/// Response in dB of the weighting network at `hz` (0 or above), 0 dB at 1 kHz. -inf at 0 Hz.
pub fn weighting_db(hz: f64) -> f64 {
    network_db(hz) - network_db(1e3)
}

/// Lowest and highest response in dB that Table 1 allows at `hz`, 0 dB at 1 kHz; `None` outside 31.5 Hz to 31.5 kHz.
///
/// Between the rows the limits run linear in dB over log frequency (clause 1 says so of the tolerances; the response
/// between the rows is interpolated alike).
pub fn mask_db(hz: f64) -> Option<(f64, f64)> {
    interpolated_mask_db(&TABLE, hz)
}

/// Not normalised, without the published gain.
fn network_db(hz: f64) -> f64 {
    let [d0, d1, d2, d3, d4, d5, d6] = DENOMINATOR;
    let f2 = hz * hz;
    let h1 = d0 - f2 * (d2 - f2 * (d4 - f2 * d6));
    let h2 = hz * (d1 - f2 * (d3 - f2 * d5));
    20.0 * (NUMERATOR * hz / h1.hypot(h2)).log10()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_published_gain_puts_one_kilohertz_near_zero() {
        // The gain is printed with one digit; half a unit of it.
        assert_within!(network_db(1e3) + PUBLISHED_GAIN_DB, 0.0, 0.05, "dB");
        assert_eq!(weighting_db(1e3), 0.0);
        assert_eq!(weighting_db(0.0), f64::NEG_INFINITY);
    }

    #[test]
    fn the_poles_are_the_roots_of_the_denominator() {
        // |H| from the poles: each factor is normalised to 1 at 0 Hz, as the denominator is.
        for hz in [31.5, 1e3, 6.3e3, 2e4] {
            let from_poles: f64 = POLES_HZ
                .iter()
                .map(|&(real, imaginary)| {
                    let upper = real.hypot(hz - imaginary);
                    if imaginary == 0.0 {
                        upper / real.abs()
                    } else {
                        upper * real.hypot(hz + imaginary) / (real * real + imaginary * imaginary)
                    }
                })
                .product();
            // Rounding of roots of a polynomial of degree 6 in f64.
            assert_within!(
                20.0 * (NUMERATOR * hz / from_poles).log10(),
                network_db(hz),
                1e-9,
                "dB",
                "{hz} Hz"
            );
        }
    }
}
