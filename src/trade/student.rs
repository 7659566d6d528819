//! Few observations, their deviation and the factors that go with it: JCGM 100:2008 (Guide to the expression of uncertainty in measurement), Annex G, table G.2.

/// Student's factor for a coverage of 95.45 % (what k = 2 covers of a normal distribution) by degrees of freedom, from 1 on.
///
/// Table G.2 has two decimals; the further digits are those of `scipy.stats.t.ppf(norm.cdf(2), df)`.
const COVERS_95_45: [f64; 30] = [
    13.9677, 4.5265, 3.3068, 2.8693, 2.6486, 2.5165, 2.4288, 2.3664, 2.3198, 2.2837, 2.2549, 2.2313, 2.2118,
    2.1953, 2.1812, 2.1689, 2.1583, 2.1488, 2.1405, 2.1330, 2.1263, 2.1202, 2.1147, 2.1097, 2.1051, 2.1009,
    2.0969, 2.0933, 2.0900, 2.0868,
];

/// What a standard deviation of `count` observations is multiplied by to cover what k = 2 covers; infinite below two.
pub fn coverage_factor(count: usize) -> f64 {
    match count {
        0 | 1 => f64::INFINITY,
        _ => COVERS_95_45.get(count - 2).copied().unwrap_or_else(|| {
            // The first terms of the expansion about the normal distribution, at 2.
            let free = (count - 1) as f64;
            2.0 + 2.5 / free + 3.0625 / (free * free)
        }),
    }
}

/// Mean of a sample and its standard deviation; the deviation is 0 for fewer than two values.
pub fn mean_and_deviation(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n.max(1.0);
    let squares: f64 = values.iter().map(|x| (x - mean).powi(2)).sum();
    (mean, (squares / (n - 1.0).max(1.0)).sqrt())
}

/// What chance exceeds, either way, once in 1 / `p` times, in standard deviations of a normal distribution; `p` from 1e-12 to 1.
///
/// Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.23: within 0.00045.
pub fn normal_exceeded(p: f64) -> f64 {
    let t = (-2.0 * (p.clamp(1e-12, 1.0) / 2.0).ln()).sqrt();
    let below = 2.515517 + t * (0.802853 + t * 0.010328);
    t - below / (1.0 + t * (1.432788 + t * (0.189269 + t * 0.001308)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// JCGM 100:2008 table G.2, column 95.45 %, from memory; beyond 30 scipy.stats.t.ppf(norm.cdf(2), df), scipy 1.17.1.
    #[test]
    fn factors_are_those_of_the_guide() {
        for (free, want, rounding) in [
            (1, 13.97, 0.005),
            (2, 4.53, 0.005),
            (3, 3.31, 0.005),
            (4, 2.87, 0.005),
            (5, 2.65, 0.005),
            (10, 2.28, 0.005),
            (20, 2.13, 0.005),
            (31, 2.0839, 0.0001),
            (32, 2.0812, 0.0001),
        ] {
            crate::assert_within!(coverage_factor(free + 1), want, rounding, "", "{free} degrees of freedom");
        }
        assert_eq!(coverage_factor(1), f64::INFINITY);
    }

    /// scipy.stats.norm.isf(p / 2), scipy 1.17.1.
    #[test]
    fn normal_tails_are_those_of_tables() {
        for (p, want) in [(0.0455, 2.0), (0.0455 / 292.0, 3.7816), (0.01, 2.5758)] {
            crate::assert_within!(normal_exceeded(p), want, 0.0006, "", "{p}");
        }
    }
}
