//! Frequency weighting of wow and flutter: the table of IEC 60386:1972 + A1:1988 (the same requirements stand in
//! DIN 45507, CCIR Rec. 409, IEEE Std 193 and AES6), and a rational model that follows it.
//!
//! Confidence: every response value and, weaker, every tolerance is from memory. Published abstracts confirm only the
//! shape (about 6 dB an octave down above and below 4 Hz, a further drop below 0.5 Hz) and that the five documents
//! agree. Nothing may be called conforming on this table before it is checked against a bought copy.
//!
//! [`response`] goes exactly through the rows. A rational model lends it its phase, which no document fixes.
//!
//! The model: real zeros and poles only, so that it splits into first-order sections. It was fitted to the table by
//! least squares (tests/reference/fit_flutter_weighting.py) and stays within 0.25 dB of every row from 0.2 to 200 Hz
//! (largest residual 0.24 dB, at 63 Hz). It cannot come closer than about 0.2 dB: the slope of the table from 20 to
//! 200 Hz goes up and down by 1 dB an octave, which no real poles follow. At 0.1 Hz, where the table has no tolerance,
//! the model lies 1.2 dB below it.
//!
//! Why two forms: going through the rows by a monotone cubic over log frequency adds no error of a fit to that of
//! memory. But a peak depends on phase, an rms does not, and only a model has a phase.

use num_complex::Complex64;

/// Frequency, Hz, and response, dB, 0 dB at 4 Hz (from memory). Tolerances are set from 0.2 Hz on.
pub const TABLE: [(f64, f64); 17] = [
    (0.1, -48.0),
    (0.2, -30.6),
    (0.315, -19.7),
    (0.4, -15.0),
    (0.63, -8.4),
    (0.8, -6.0),
    (1.0, -4.2),
    (1.6, -1.8),
    (2.0, -0.9),
    (4.0, 0.0),
    (6.3, -0.9),
    (10.0, -2.1),
    (20.0, -5.9),
    (40.0, -10.4),
    (63.0, -14.2),
    (100.0, -17.3),
    (200.0, -23.0),
];

/// Number of zeros of the model at 0 Hz.
pub const ZEROS_AT_DC: usize = 3;
/// Further zeros of the model, on the negative real axis, Hz.
pub const ZEROS_HZ: [f64; 4] = [0.1393901923, 1.402018445, 6.294906993, 72.74460357];
/// Poles of the model, on the negative real axis, Hz.
pub const POLES_HZ: [f64; 8] = [
    0.4272866813,
    0.4272866813,
    0.4272866813,
    0.4272866813,
    3.253633328,
    3.253633328,
    13.2379455,
    89.8857103,
];

/// Response at `hz`, dB: the table's rows exactly (0.1 Hz among them), between them a smooth curve over log frequency
/// that never overshoots (Fritsch and Carlson, SIAM J. Numer. Anal. 17, 1980), beyond them the slope of the last two
/// rows. -inf at 0 Hz, below it and for NaN.
pub fn response_db(hz: f64) -> f64 {
    if hz.is_nan() || hz <= 0.0 {
        return f64::NEG_INFINITY;
    }
    let x = |i: usize| TABLE[i].0.ln();
    let y = |i: usize| TABLE[i].1;
    let secant = |i: usize| (y(i + 1) - y(i)) / (x(i + 1) - x(i));
    let last = TABLE.len() - 1;
    let at = hz.ln();
    if at <= x(0) {
        return y(0) + secant(0) * (at - x(0));
    }
    if at >= x(last) {
        return y(last) + secant(last - 1) * (at - x(last));
    }
    let slope = |i: usize| {
        if i == 0 || i == last {
            return secant(i.min(last - 1));
        }
        let (before, after) = (secant(i - 1), secant(i));
        if before * after <= 0.0 {
            return 0.0;
        }
        let (width_before, width_after) = (x(i) - x(i - 1), x(i + 1) - x(i));
        let (a, b) = (2.0 * width_after + width_before, width_after + 2.0 * width_before);
        (a + b) / (a / before + b / after)
    };
    // Between the first and the last row, so that the row below exists.
    let i = (1..last).take_while(|&i| x(i) <= at).count();
    let width = x(i + 1) - x(i);
    let t = (at - x(i)) / width;
    (2.0 * t.powi(3) - 3.0 * t * t + 1.0) * y(i)
        + (t.powi(3) - 2.0 * t * t + t) * slope(i) * width
        + (3.0 * t * t - 2.0 * t.powi(3)) * y(i + 1)
        + (t.powi(3) - t * t) * slope(i + 1) * width
}

/// Complex response at `hz`: magnitude of [`response_db`], phase of the rational model. 0 at 0 Hz.
pub fn response(hz: f64) -> Complex64 {
    if hz.is_nan() || hz <= 0.0 {
        return Complex64::default();
    }
    // i^3 for the zeros at 0 Hz, then the angle of each first-order factor.
    let angle = |corners_hz: &[f64]| corners_hz.iter().map(|corner_hz| (hz / corner_hz).atan()).sum::<f64>();
    let phase = ZEROS_AT_DC as f64 * std::f64::consts::FRAC_PI_2 + angle(&ZEROS_HZ) - angle(&POLES_HZ);
    Complex64::from_polar(10f64.powf(response_db(hz) / 20.0), phase)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_reference_is_exact_and_no_more_zeros_than_poles() {
        assert_eq!(response_db(4.0), 0.0);
        assert_eq!(response_db(0.0), f64::NEG_INFINITY);
        const { assert!(ZEROS_AT_DC + ZEROS_HZ.len() <= POLES_HZ.len()) };
    }

    #[test]
    fn it_rises_to_one_maximum_and_falls() {
        let curve: Vec<f64> =
            (0..=4000).map(|step| response_db(0.05 * 10f64.powf(f64::from(step) / 1000.0))).collect();
        let turns = curve.windows(3).filter(|w| (w[1] > w[0]) != (w[2] > w[1])).count();
        assert_eq!(turns, 1);
    }

    #[test]
    fn the_exact_form_goes_through_every_row() {
        for (hz, db) in TABLE {
            crate::assert_within!(response_db(hz), db, 1e-12, "dB", "{hz} Hz");
            crate::assert_within!(20.0 * response(hz).norm().log10(), db, 1e-9, "dB");
        }
    }
}
