//! Reference levels: fluxivities of the trade and their ratios.
//!
//! Fluxivities are short-circuit values in nWb/m unless said otherwise; confidence stands at each.

use super::decibels::db_from_ratio;

/// Level mark of the common compander noise reduction, nWb/m, stated as short-circuit (ANSI) flux; 400 Hz (the
/// frequency is from memory).
pub const NOISE_REDUCTION_NWB_M: f64 = 200.0;
/// The same recording stated as open-circuit (DIN) flux, nWb/m; 218 is also printed (from memory).
pub const NOISE_REDUCTION_OPEN_NWB_M: f64 = 220.0;
/// Open-circuit over short-circuit statement of one flux: 220 / 200, derived from the two printed values of the
/// noise-reduction level.
pub const OPEN_OVER_SHORT_CIRCUIT: f64 = NOISE_REDUCTION_OPEN_NWB_M / NOISE_REDUCTION_NWB_M;
/// Level in dB of `nwb_m` above `reference_nwb_m` (both above 0, both stated the same way, short- or open-circuit).
pub fn level_db(nwb_m: f64, reference_nwb_m: f64) -> f64 {
    db_from_ratio(nwb_m / reference_nwb_m)
}

/// Fluxivity in nWb/m that lies `level_db` above `reference_nwb_m`; the inverse of [`level_db`].
pub fn fluxivity_nwb_m(level_db: f64, reference_nwb_m: f64) -> f64 {
    reference_nwb_m * 10f64.powf(level_db / 20.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn level_and_fluxivity_are_inverse(db in -60.0..20.0f64, reference_nwb_m in 50.0..500.0f64) {
            let back_db = level_db(fluxivity_nwb_m(db, reference_nwb_m), reference_nwb_m);
            // Rounding of f64.
            prop_assert!((back_db - db).abs() < 1e-10);
        }
    }
}
