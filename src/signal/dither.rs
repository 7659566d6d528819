//! Dither for 16-bit files, frozen like the noise.

use super::noise::Generator;

/// Triangular dither of +-1 step of the output (TPDF): it turns the rounding error into steady noise of
/// 1/4 step^2 that does not follow the signal (S. Lipshitz, R. Wannamaker, J. Vanderkooy, J. AES 40, 1992).
#[derive(Debug, Clone)]
pub struct Dither {
    generator: Generator,
}

impl Dither {
    /// Dither number `seed`.
    pub fn new(seed: u64) -> Self {
        Self { generator: Generator::new(seed) }
    }

    /// The next value, in steps of the output: above -1, below +1, mean 0.
    pub fn step(&mut self) -> f64 {
        let bits = self.generator.bits();
        ((bits >> 32) as f64 - (bits & 0xFFFF_FFFF) as f64) / 4_294_967_296.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dither_is_triangular() {
        let mut dither = Dither::new(1);
        let values: Vec<f64> = (0..400_000).map(|_| dither.step()).collect();
        let moment = |k: i32| values.iter().map(|x| x.powi(k)).sum::<f64>() / values.len() as f64;
        assert!(values.iter().all(|x| x.abs() < 1.0));
        // Triangular over +-1: variance 1/6, fourth moment 1/15. Tolerances: 4 standard errors.
        assert_within!(moment(1), 0.0, 0.003, "step");
        assert_within!(moment(2), 1.0 / 6.0, 0.0013, "step^2");
        assert_within!(moment(4), 1.0 / 15.0, 0.001, "step^4");
    }

    #[test]
    fn the_rounding_error_does_not_follow_the_signal() {
        // Between two steps, rounding with dither averages to the true value, with the same noise power everywhere.
        for tenth in 0..10 {
            let value = f64::from(tenth) / 10.0;
            let mut dither = Dither::new(2);
            let errors: Vec<f64> = (0..200_000).map(|_| (value + dither.step()).round() - value).collect();
            let mean = errors.iter().sum::<f64>() / errors.len() as f64;
            let power = errors.iter().map(|x| x * x).sum::<f64>() / errors.len() as f64;
            // 4 standard errors; 1/4 step^2 = 1/12 from rounding + 1/6 from the dither.
            assert_within!(mean, 0.0, 0.005, "step", "value {value}");
            assert_within!(power, 0.25, 0.005, "step^2", "value {value}");
        }
    }
}
