//! Mean and its standard error over a stream of figures correlated with their neighbours, in constant memory.

/// Running sums of a stream of figures.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Course {
    count: f64,
    sum: f64,
    squares: f64,
    /// Products of neighbours.
    products: f64,
    first: f64,
    last: f64,
}

/// What a stream amounts to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Steady {
    pub mean: f64,
    /// Standard deviation of the single figures.
    pub deviation: f64,
    /// Standard error of the mean.
    pub error: f64,
}

impl Course {
    /// Takes the next figure.
    pub(crate) fn add(&mut self, x: f64) {
        if self.count == 0.0 {
            self.first = x;
        } else {
            self.products += self.last * x;
        }
        self.count += 1.0;
        self.sum += x;
        self.squares += x * x;
        self.last = x;
    }

    /// `None` for fewer than three figures.
    pub(crate) fn finish(&self) -> Option<Steady> {
        let n = self.count;
        if n < 3.0 {
            return None;
        }
        let mean = self.sum / n;
        let variance = ((self.squares - n * mean * mean) / (n - 1.0)).max(0.0);
        let lag = self.products - mean * (2.0 * self.sum - self.first - self.last) + (n - 1.0) * mean * mean;
        let autocorrelation =
            if variance > 0.0 { (lag / ((n - 1.0) * variance)).clamp(0.0, 0.95) } else { 0.0 };
        let independent = (n * (1.0 - autocorrelation) / (1.0 + autocorrelation)).max(2.0);
        Some(Steady { mean, deviation: variance.sqrt(), error: (variance / independent).sqrt() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_give_what_the_plain_formulas_give() {
        let values: Vec<f64> =
            (0..200).map(|k| 3.0 + (f64::from(k) * 0.3).sin() + 0.01 * f64::from(k)).collect();
        let mut course = Course::default();
        values.iter().for_each(|&x| course.add(x));
        let got = course.finish().unwrap();
        let (mean, error) = crate::measure::tone::meter::mean_and_error(&values);
        crate::assert_within!(got.mean, mean, 1e-12, "");
        // The plain one clamps the autocorrelation at 0.9, this one at 0.95.
        assert!(got.error >= error - 1e-12 && got.error < 1.5 * error, "{} and {error}", got.error);
        assert!(Course::default().finish().is_none());
    }
}
