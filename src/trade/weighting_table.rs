//! The shape that all weighting tables share: response and tolerance at printed frequencies.

use super::decibels::interpolate_db;

/// One row of a published weighting table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeightingRow {
    /// Frequency, Hz.
    pub hz: f64,
    /// Response, dB.
    pub response_db: f64,
    /// Upper tolerance, dB, 0 or above.
    pub tolerance_plus_db: f64,
    /// Lower tolerance, dB, 0 or below; -inf where the document sets no lower limit.
    pub tolerance_minus_db: f64,
}

impl WeightingRow {
    /// Lowest and highest response that the row allows, dB.
    pub fn mask_db(&self) -> (f64, f64) {
        (self.response_db + self.tolerance_minus_db, self.response_db + self.tolerance_plus_db)
    }

    /// For tables written as arrays: hz, response, plus, minus.
    pub(super) const fn new(hz: f64, response_db: f64, plus_db: f64, minus_db: f64) -> Self {
        Self { hz, response_db, tolerance_plus_db: plus_db, tolerance_minus_db: minus_db }
    }
}

/// The rows on both sides of `hz` (the same row twice on a row); `None` outside `rows`, which ascend, and for NaN.
pub(super) fn neighbours(rows: &[WeightingRow], hz: f64) -> Option<(&WeightingRow, &WeightingRow)> {
    if let Some(row) = rows.iter().find(|row| row.hz == hz) {
        return Some((row, row));
    }
    rows.iter().zip(rows.iter().skip(1)).find(|(low, high)| low.hz < hz && hz < high.hz)
}

/// Lowest and highest allowed response in dB at `hz`, linear in dB over log frequency between the rows.
pub(super) fn interpolated_mask_db(rows: &[WeightingRow], hz: f64) -> Option<(f64, f64)> {
    let (low, high) = neighbours(rows, hz)?;
    if low.hz == high.hz {
        return Some(low.mask_db());
    }
    let (low_mask, high_mask) = (low.mask_db(), high.mask_db());
    Some((
        interpolate_db(hz, (low.hz, low_mask.0), (high.hz, high_mask.0)),
        interpolate_db(hz, (low.hz, low_mask.1), (high.hz, high_mask.1)),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROWS: [WeightingRow; 2] =
        [WeightingRow::new(100.0, 0.0, 1.0, -1.0), WeightingRow::new(400.0, 4.0, 2.0, f64::NEG_INFINITY)];

    #[test]
    fn mask_is_the_rows_on_rows_and_a_line_between() {
        assert_eq!(interpolated_mask_db(&ROWS, 100.0), Some((-1.0, 1.0)));
        assert_eq!(interpolated_mask_db(&ROWS, 400.0), Some((f64::NEG_INFINITY, 6.0)));
        let (min_db, max_db) = interpolated_mask_db(&ROWS, 200.0).unwrap();
        assert_eq!(min_db, f64::NEG_INFINITY);
        crate::assert_within!(max_db, 3.5, 1e-12, "dB");
    }

    #[test]
    fn there_is_no_mask_outside_the_table() {
        for hz in [0.0, 99.9, 400.1, f64::NAN, f64::INFINITY] {
            assert_eq!(interpolated_mask_db(&ROWS, hz), None, "{hz} Hz");
        }
    }
}
