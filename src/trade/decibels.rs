//! Decibels of amplitude and power ratios, as every curve of this room uses them.

/// 20 lg of an amplitude ratio, dB: -inf at 0, NaN below.
pub(super) fn db_from_ratio(ratio: f64) -> f64 {
    20.0 * ratio.log10()
}

/// dB at `hz` on a straight line in dB over log frequency between two points `(hz, db)` (the interpolation of
/// ITU-R BS.468-4 clause 1). An infinite end gives that infinity between the points, and only there.
pub(super) fn interpolate_db(hz: f64, (low_hz, low_db): (f64, f64), (high_hz, high_db): (f64, f64)) -> f64 {
    let share = (hz / low_hz).ln() / (high_hz / low_hz).ln();
    if share <= 0.0 {
        low_db
    } else if share >= 1.0 {
        high_db
    } else if low_db.is_infinite() || high_db.is_infinite() {
        low_db + high_db
    } else {
        low_db + share * (high_db - low_db)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn interpolates_in_log_frequency() {
        // 2 kHz is half-way between 1 and 4 kHz in octaves; rounding of f64 only.
        assert_within!(interpolate_db(2e3, (1e3, 0.0), (4e3, 6.0)), 3.0, 1e-12, "dB");
        assert_eq!(interpolate_db(1e3, (1e3, 0.5), (4e3, f64::NEG_INFINITY)), 0.5);
        assert_eq!(interpolate_db(2e3, (1e3, 0.5), (4e3, f64::NEG_INFINITY)), f64::NEG_INFINITY);
    }

    #[test]
    fn a_ratio_of_ten_is_twenty_db() {
        assert_within!(db_from_ratio(10.0), 20.0, 1e-12, "dB");
        assert_eq!(db_from_ratio(0.0), f64::NEG_INFINITY);
    }
}
