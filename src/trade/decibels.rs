//! Decibels of amplitude and power ratios, as every curve of this room uses them.

/// 20 lg of an amplitude ratio, dB: -inf at 0, NaN below.
pub(super) fn db_from_ratio(ratio: f64) -> f64 {
    20.0 * ratio.log10()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ratio_of_ten_is_twenty_db() {
        assert_within!(db_from_ratio(10.0), 20.0, 1e-12, "dB");
        assert_eq!(db_from_ratio(0.0), f64::NEG_INFINITY);
    }
}
