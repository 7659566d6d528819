//! The noise weighting network of Recommendation ITU-R BS.468-4. The same curve stands in IEC 60268-1 Appendix A.

use num_complex::Complex64;

/// Coefficient of the network's single zero at 0 Hz, 1/Hz.
const NUMERATOR: f64 = 1.246332637532143e-4;
/// The poles, Hz, as (real part, imaginary part): two real ones, then two pairs of which the upper one stands here.
/// Roots of the published denominator (its coefficients stand in tests/reference/make_signal_reference.py), computed
/// with numpy.roots.
pub const POLES_HZ: [(f64, f64); 4] = [
    (-9975.06312393024, 0.0),
    (-4122.702066134763, 0.0),
    (-3758.529163010742, 5790.042336608968),
    (-2983.1599378906676, 9940.842645709537),
];

/// The network's complex response at `hz` (0 or above), not normalised: some 18.2 dB down at 1 kHz. 0 at 0 Hz.
pub fn network(hz: f64) -> Complex64 {
    let s = Complex64::new(0.0, hz);
    POLES_HZ.iter().fold(NUMERATOR * s, |h, &(real, imaginary)| {
        let upper = h / (1.0 - s / Complex64::new(real, imaginary));
        if imaginary == 0.0 { upper } else { upper / (1.0 - s / Complex64::new(real, -imaginary)) }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_published_gain_puts_one_kilohertz_near_zero() {
        // The gain, 18.2 dB, is printed with one digit; half a unit of it.
        assert_within!(20.0 * network(1e3).norm().log10(), -18.2, 0.05, "dB");
        assert_eq!(network(0.0).norm(), 0.0);
    }
}
