//! Preferred values of resistors and capacitors: IEC 60063, series E6 and E24, from memory.

/// Series E24: values of one decade, as sold with tolerances of 5 %.
pub const E24: [f64; 24] = [
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8,
    7.5, 8.2, 9.1,
];

/// Series E6: values of one decade, as sold with tolerances of 20 %.
pub const E6: [f64; 6] = [1.0, 1.5, 2.2, 3.3, 4.7, 6.8];

/// The value of `series` nearest to `value` in ratio, any decade; `None` if `value` is not above 0 or not finite.
pub fn nearest(series: &[f64], value: f64) -> Option<f64> {
    around(series, value)?.min_by(|a, b| (a / value).ln().abs().total_cmp(&(b / value).ln().abs()))
}

/// The least value of `series` that is not below `value`, any decade; `None` as in [`nearest`].
pub fn at_least(series: &[f64], value: f64) -> Option<f64> {
    // A part in a million: a value that stands in the series is not below itself for the rounding of its decade.
    around(series, value)?.filter(|candidate| *candidate >= value * (1.0 - 1e-6)).min_by(f64::total_cmp)
}

fn around(series: &[f64], value: f64) -> Option<impl Iterator<Item = f64>> {
    if !(value > 0.0 && value.is_finite()) {
        return None;
    }
    let decade = value.log10().floor();
    Some((-1..=1).flat_map(move |step| {
        series.iter().map(move |mantissa| mantissa * 10f64.powf(decade + f64::from(step)))
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn series_rise_evenly_and_e6_is_every_fourth_of_e24() {
        // Steps of a series of n are the n-th root of 10, as printed to two digits: within 5 % of it.
        for (k, pair) in E24.windows(2).enumerate() {
            assert!((pair[1] / pair[0] / 10f64.powf(1.0 / 24.0)).ln().abs() < 0.06, "step {k}");
        }
        for (k, value) in E6.iter().enumerate() {
            assert_eq!(*value, E24[4 * k]);
        }
    }

    #[test]
    fn the_nearest_is_nearest_in_ratio_and_the_next_is_not_smaller() {
        for (value, near, up) in [
            (33_323.0, 33e3, 36e3),
            (9.4, 9.1, 10.0),
            (10.0, 10.0, 10.0),
            (0.95, 0.91, 1.0),
            (4700.0, 4.7e3, 4.7e3),
        ] {
            assert_within!(nearest(&E24, value).unwrap() / near, 1.0, 1e-9, "", "{value}");
            assert_within!(at_least(&E24, value).unwrap() / up, 1.0, 1e-9, "", "{value}");
        }
        for wrong in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!((nearest(&E24, wrong), at_least(&E6, wrong)), (None, None));
        }
    }
}
