//! Figures of many values: means, medians, quantiles, and how well a mean is known.

use std::borrow::Borrow;
use std::f64::consts::LN_2;

/// Mean; 0 for no values.
pub(crate) fn mean(values: impl IntoIterator<Item: Borrow<f64>>) -> f64 {
    let (sum, count) =
        values.into_iter().fold((0.0, 0.0), |(sum, count), value| (sum + value.borrow(), count + 1.0));
    sum / f64::max(count, 1.0)
}

/// Mean of the squares; 0 for no values.
pub(crate) fn mean_square(values: impl IntoIterator<Item: Borrow<f64>>) -> f64 {
    mean(values.into_iter().map(|value| value.borrow().powi(2)))
}

/// Root of the mean square; 0 for no values.
pub(crate) fn rms(values: impl IntoIterator<Item: Borrow<f64>>) -> f64 {
    mean_square(values).sqrt()
}

/// Value that would stand at `index` if `values` were sorted, which they are not afterwards; `None` beyond their end.
pub(crate) fn nth(values: &mut [f64], index: usize) -> Option<f64> {
    (index < values.len()).then(|| *values.select_nth_unstable_by(index, f64::total_cmp).1)
}

/// Quantile: the value nearest to the place `share` (0 to 1) of the sorted values; 0 for no values.
pub(crate) fn quantile(values: impl IntoIterator<Item: Borrow<f64>>, share: f64) -> f64 {
    let mut values: Vec<f64> = values.into_iter().map(|value| *value.borrow()).collect();
    let index = (values.len().saturating_sub(1) as f64 * share).round() as usize;
    nth(&mut values, index).unwrap_or(0.0)
}

/// Median, of an even number of values the upper of the middle two; 0 for no values.
pub(crate) fn median(values: impl IntoIterator<Item: Borrow<f64>>) -> f64 {
    quantile(values, 0.5)
}

/// Median of few values, of an even number the mean of the middle two; 0 for no values.
pub(crate) fn median_of_few(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    let middle = [values.len() / 2, values.len().saturating_sub(1) / 2];
    mean(middle.map(|index| nth(&mut sorted, index).unwrap_or(0.0)))
}

/// Mean of exponentially distributed values, as the bins of a noise's spectrum are, from their median, which is ln 2 of it:
/// single lines among them do not count. 0 for no values.
pub(crate) fn exponential_mean(values: impl IntoIterator<Item: Borrow<f64>>) -> f64 {
    median(values) / LN_2
}

/// Standard error of the mean of `n` values of such a variance, whose neighbours have such a covariance; their correlation
/// counts up to `most`.
fn error_of_mean(n: f64, variance: f64, covariance: f64, most: f64) -> f64 {
    let autocorrelation = if variance > 0.0 { (covariance / variance).clamp(0.0, most) } else { 0.0 };
    let independent = (n * (1.0 - autocorrelation) / (1.0 + autocorrelation)).max(2.0);
    (variance / independent).sqrt()
}

/// Mean and its standard error, of values correlated with their neighbours by up to 0.9.
pub(crate) fn mean_and_error(values: &[f64]) -> (f64, f64) {
    let (n, mean) = (values.len() as f64, mean(values));
    let free = (n - 1.0).max(1.0);
    let squares: f64 = values.iter().map(|x| (x - mean).powi(2)).sum();
    let products: f64 = values.windows(2).map(|pair| (pair[0] - mean) * (pair[1] - mean)).sum();
    (mean, error_of_mean(n, squares / free, products / free, 0.9))
}

/// Standard error of the mean of values without correlation, from the differences between neighbours: what moves many of them
/// together does not count. 0 for fewer than two values.
pub(crate) fn error_by_neighbours(values: &[f64]) -> f64 {
    let steps = values.windows(2).map(|pair| pair[1] - pair[0]);
    (mean_square(steps) / (2.0 * (values.len() as f64).max(1.0))).sqrt()
}

/// Running sums of a stream of values that may be correlated with their neighbours by up to 0.95, in constant memory.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Series {
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
    /// Standard deviation of the single values.
    pub deviation: f64,
    /// Standard error of the mean.
    pub error: f64,
}

impl Series {
    /// Takes the next value.
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

    /// `None` for fewer than three values.
    pub(crate) fn finish(&self) -> Option<Steady> {
        let n = self.count;
        if n < 3.0 {
            return None;
        }
        let mean = self.sum / n;
        let variance = ((self.squares - n * mean * mean) / (n - 1.0)).max(0.0);
        let lag = self.products - mean * (2.0 * self.sum - self.first - self.last) + (n - 1.0) * mean * mean;
        let error = error_of_mean(n, variance, lag / (n - 1.0), 0.95);
        Some(Steady { mean, deviation: variance.sqrt(), error })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn medians_and_quantiles_of_few_values_are_those_of_the_definition() {
        assert_eq!((median([3.0, 1.0, 2.0]), median([4.0, 1.0, 2.0, 3.0])), (2.0, 3.0));
        assert_eq!((median_of_few(&[3.0, 1.0, 2.0]), median_of_few(&[4.0, 1.0, 2.0, 3.0])), (2.0, 2.5));
        assert_eq!((median(&[] as &[f64]), median_of_few(&[]), median_of_few(&[7.0])), (0.0, 0.0, 7.0));
        let hundred: Vec<f64> = (0..=100).rev().map(f64::from).collect();
        assert_eq!((quantile(&hundred, 0.05), quantile(&hundred, 1.0)), (5.0, 100.0));
        assert_eq!((mean([1.0, 2.0, 6.0]), rms([3.0, -3.0]), mean(&[] as &[f64])), (3.0, 3.0, 0.0));
    }

    #[test]
    fn running_sums_give_what_the_plain_formulas_give() {
        let values: Vec<f64> =
            (0..200).map(|k| 3.0 + (f64::from(k) * 0.3).sin() + 0.01 * f64::from(k)).collect();
        let mut series = Series::default();
        values.iter().for_each(|&x| series.add(x));
        let got = series.finish().unwrap();
        let (mean, error) = mean_and_error(&values);
        crate::assert_within!(got.mean, mean, 1e-12, "");
        // The plain one counts correlation up to 0.9, this one up to 0.95.
        assert!(got.error >= error - 1e-12 && got.error < 1.5 * error, "{} and {error}", got.error);
        assert!(Series::default().finish().is_none());
    }
}
