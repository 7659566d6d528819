//! A-weighting: IEC 61672-1:2013, Table 3 with the acceptance limits of class 1, and the formula.
//!
//! The table was read in two public transcriptions. The pole frequencies' last digits are from memory (20.6, 107.7,
//! 737.9, 12194 Hz and +2.00 dB were read).

use super::weighting_table::{WeightingRow, neighbours};

/// Poles on the negative real axis, Hz: the first and the last are double (IEC 61672-1, last digits from memory).
pub const POLES_HZ: [f64; 6] = [20.598997, 20.598997, 107.65265, 737.86223, 12194.217, 12194.217];
/// Number of zeros, all at 0 Hz.
pub const ZEROS_AT_DC: usize = 4;
/// Gain of the formula that puts 1 kHz at 0 dB, as the document rounds it. [`a_weighting_db`] does not use it: it is
/// normalised at 1 kHz exactly (1.99966 dB), with which the formula rounds to the table at every row, 160 Hz included.
pub const PUBLISHED_GAIN_DB: f64 = 2.00;

/// Table 3 at the exact frequencies 1000 * 10^(n/10), 10 Hz to 20 kHz, with class 1 acceptance limits.
pub const TABLE: [WeightingRow; 34] = [
    WeightingRow::new(10.0, -70.4, 3.0, f64::NEG_INFINITY),
    WeightingRow::new(12.5893, -63.4, 2.5, f64::NEG_INFINITY),
    WeightingRow::new(15.8489, -56.7, 2.0, -4.0),
    WeightingRow::new(19.9526, -50.5, 2.0, -2.0),
    WeightingRow::new(25.1189, -44.7, 2.0, -1.5),
    WeightingRow::new(31.6228, -39.4, 1.5, -1.5),
    WeightingRow::new(39.8107, -34.6, 1.0, -1.0),
    WeightingRow::new(50.1187, -30.2, 1.0, -1.0),
    WeightingRow::new(63.0957, -26.2, 1.0, -1.0),
    WeightingRow::new(79.4328, -22.5, 1.0, -1.0),
    WeightingRow::new(100.0, -19.1, 1.0, -1.0),
    WeightingRow::new(125.8925, -16.1, 1.0, -1.0),
    WeightingRow::new(158.4893, -13.4, 1.0, -1.0),
    WeightingRow::new(199.5262, -10.9, 1.0, -1.0),
    WeightingRow::new(251.1886, -8.6, 1.0, -1.0),
    WeightingRow::new(316.2278, -6.6, 1.0, -1.0),
    WeightingRow::new(398.1072, -4.8, 1.0, -1.0),
    WeightingRow::new(501.1872, -3.2, 1.0, -1.0),
    WeightingRow::new(630.9573, -1.9, 1.0, -1.0),
    WeightingRow::new(794.3282, -0.8, 1.0, -1.0),
    WeightingRow::new(1000.0, 0.0, 0.7, -0.7),
    WeightingRow::new(1258.9254, 0.6, 1.0, -1.0),
    WeightingRow::new(1584.8932, 1.0, 1.0, -1.0),
    WeightingRow::new(1995.2623, 1.2, 1.0, -1.0),
    WeightingRow::new(2511.8864, 1.3, 1.0, -1.0),
    WeightingRow::new(3162.2777, 1.2, 1.0, -1.0),
    WeightingRow::new(3981.0717, 1.0, 1.0, -1.0),
    WeightingRow::new(5011.8723, 0.5, 1.5, -1.5),
    WeightingRow::new(6309.5734, -0.1, 1.5, -2.0),
    WeightingRow::new(7943.2823, -1.1, 1.5, -2.5),
    WeightingRow::new(10000.0, -2.5, 2.0, -3.0),
    WeightingRow::new(12589.2541, -4.3, 2.0, -5.0),
    WeightingRow::new(15848.9319, -6.6, 2.5, -16.0),
    WeightingRow::new(19952.6231, -9.3, 3.0, f64::NEG_INFINITY),
];

/// A-weighting in dB at `hz` (0 or above) by the formula, exactly 0 dB at 1 kHz. -inf at 0 Hz.
pub fn a_weighting_db(hz: f64) -> f64 {
    raw_db(hz) - raw_db(1e3)
}

/// Lowest and highest A-weighted response in dB that class 1 allows at `hz`; `None` outside 10 Hz to 20 kHz (exact
/// frequencies, so up to 19 952.6 Hz).
///
/// On a row: the row. Between two rows: the formula with the tighter of their limits, which is at least as strict as
/// the document (which, from memory, allows the wider).
pub fn mask_db(hz: f64) -> Option<(f64, f64)> {
    let (low, high) = neighbours(&TABLE, hz)?;
    if low.hz == high.hz {
        return Some(low.mask_db());
    }
    let response_db = a_weighting_db(hz);
    Some((
        response_db + low.tolerance_minus_db.max(high.tolerance_minus_db),
        response_db + low.tolerance_plus_db.min(high.tolerance_plus_db),
    ))
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
        // The published gain has two decimals: half a unit.
        assert_within!(raw_db(1e3) + PUBLISHED_GAIN_DB, 0.0, 0.005, "dB");
        assert_eq!(a_weighting_db(0.0), f64::NEG_INFINITY);
    }

    #[test]
    fn the_formula_stays_inside_its_own_mask() {
        for step in 0..=3300 {
            let hz = 10.0 * 10f64.powf(f64::from(step) / 1000.0);
            let Some((min_db, max_db)) = mask_db(hz) else { continue };
            let db = a_weighting_db(hz);
            assert!(min_db <= db && db <= max_db, "{hz} Hz: {db} dB, allowed {min_db} to {max_db} dB");
        }
        assert_eq!(mask_db(9.9), None);
        assert_eq!(mask_db(20_000.0), None);
    }
}
