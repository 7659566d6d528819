//! Sums of products.

/// Sums that run side by side.
const STRANDS: usize = 8;

/// Sum of `a[k] * b[k]`; of the longer one the end is left out.
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    let length = a.len().min(b.len());
    let (a, a_rest) = a[..length].as_chunks::<STRANDS>();
    let (b, b_rest) = b[..length].as_chunks::<STRANDS>();
    let mut sums = [0.0; STRANDS];
    for (a, b) in a.iter().zip(b) {
        for k in 0..STRANDS {
            sums[k] += a[k] * b[k];
        }
    }
    let rest: f64 = a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum();
    sums.iter().sum::<f64>() + rest
}

/// Sums of `x[k] * a[k]` and of `x[k] * b[k]`; of longer ones the end is left out.
pub fn dot_pair(x: &[f64], a: &[f64], b: &[f64]) -> (f64, f64) {
    let length = x.len().min(a.len()).min(b.len());
    let (x, x_rest) = x[..length].as_chunks::<STRANDS>();
    let (a, a_rest) = a[..length].as_chunks::<STRANDS>();
    let (b, b_rest) = b[..length].as_chunks::<STRANDS>();
    let (mut sum_a, mut sum_b) = ([0.0; STRANDS], [0.0; STRANDS]);
    for ((x, a), b) in x.iter().zip(a).zip(b) {
        for k in 0..STRANDS {
            sum_a[k] += x[k] * a[k];
            sum_b[k] += x[k] * b[k];
        }
    }
    let rest = |b: &[f64]| -> f64 { x_rest.iter().zip(b).map(|(x, b)| x * b).sum() };
    (sum_a.iter().sum::<f64>() + rest(a_rest), sum_b.iter().sum::<f64>() + rest(b_rest))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_of_any_length_are_those_of_the_plain_loop() {
        // Whole numbers: exact in any order.
        let row =
            |step: usize, length: usize| (0..length).map(|k| ((k * step) % 17) as f64).collect::<Vec<_>>();
        for length in 0..40 {
            let (x, a, b) = (row(5, length), row(7, length + 3), row(11, length));
            let plain = |b: &[f64]| x.iter().zip(b).map(|(x, b)| x * b).sum::<f64>();
            assert_eq!(dot(&x, &a), plain(&a), "{length}");
            assert_eq!(dot_pair(&x, &a, &b), (plain(&a), plain(&b)), "{length}");
        }
    }
}
