//! Playback losses in dB, negative or 0, as functions of geometry and frequency.
//!
//! Spacing: R. L. Wallace, "The reproduction of magnetically recorded signals", Bell System Technical
//! Journal, October 1951. Gap: sin x / x, with the effective gap of J. Eargle, Electroacoustical Reference Data, 1994.
//! Azimuth: sin x / x over the track width.
//!
//! All functions take magnitudes: the sign of a distance, gap or angle does not matter. Frequencies and speeds are
//! above 0; at 0 Hz every loss is 0.
//!
//! Nulls: at the nulls of the gap and azimuth losses (a whole number of wavelengths across) nothing is left, and the
//! functions say `f64::NEG_INFINITY` or, where rounding hides the exact null, some hundreds of dB. There is no floor,
//! because no published formula has one. Past the first null they follow the side lobes of |sin x / x|, so that the
//! loss is not monotone there: whoever inverts it must stay before the first null.

use super::decibels::db_from_ratio;
use super::medium::{RADIANS_PER_ARCMIN, wavelength_um};
use std::f64::consts::{E, PI, TAU};

/// Ratio of the effective to the mechanical gap (Eargle, Electroacoustical Reference Data, 1994).
pub const EFFECTIVE_GAP_RATIO: f64 = 1.11;

/// Spacing loss in dB a wavelength: 20 lg e^(-2 pi) = -54.575 (Wallace 1951).
pub fn spacing_loss_db_per_wavelength() -> f64 {
    -TAU * 20.0 * E.log10()
}

/// Spacing loss in dB of a coating `distance_um` away from the head: 20 lg e^(-2 pi d / lambda) (Wallace 1951).
pub fn spacing_loss_db(distance_um: f64, hz: f64, speed_mm_s: f64) -> f64 {
    spacing_loss_db_per_wavelength() * distance_um.abs() / wavelength_um(hz, speed_mm_s)
}

/// Gap loss in dB of a gap of `gap_um`: 20 lg |sin x / x|, x = pi g / lambda. The plain formula: pass
/// [`effective_gap_um`] for the handbook's version. For the null and beyond see the module.
pub fn gap_loss_db(gap_um: f64, hz: f64, speed_mm_s: f64) -> f64 {
    db_from_ratio(sinc(PI * gap_um / wavelength_um(hz, speed_mm_s)))
}

/// Effective gap in um of a mechanical gap of `gap_um`: 1.11 g (Eargle 1994).
pub fn effective_gap_um(gap_um: f64) -> f64 {
    EFFECTIVE_GAP_RATIO * gap_um
}

/// Azimuth loss in dB of one track of `track_width_mm` read at an angle of `arcmin` minutes of arc to the recording:
/// 20 lg |sin x / x|, x = pi w tan(a) / lambda. For the null and beyond see the module.
pub fn azimuth_loss_db(arcmin: f64, track_width_mm: f64, hz: f64, speed_mm_s: f64) -> f64 {
    let across_um = track_width_mm * 1e3 * (arcmin * RADIANS_PER_ARCMIN).tan();
    db_from_ratio(sinc(PI * across_um / wavelength_um(hz, speed_mm_s)))
}

/// Azimuth loss in dB at `hz` of the tilt that loses `loss_db` (negative or 0) at `at_hz` (above 0), whatever the track
/// and the speed: x grows with frequency. Valid on the main lobe; beyond it the deepest value there is returned.
pub fn azimuth_loss_elsewhere_db(loss_db: f64, at_hz: f64, hz: f64) -> f64 {
    let end = PI * 0.999;
    let (mut low, mut high) = (0.0, end);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if db_from_ratio(sinc(middle)) > loss_db { low = middle } else { high = middle }
    }
    db_from_ratio(sinc((low * hz / at_hz).min(end)))
}

/// |sin x / x|, 1 at 0.
fn sinc(x: f64) -> f64 {
    if x == 0.0 { 1.0 } else { (x.sin() / x).abs() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trade::Medium;
    use proptest::prelude::*;

    const SPEED_MM_S: f64 = Medium::COMPACT_CASSETTE.speed_mm_s;

    #[test]
    fn nothing_wrong_loses_nothing() {
        for loss_db in [
            spacing_loss_db(0.0, 1e4, SPEED_MM_S),
            gap_loss_db(0.0, 1e4, SPEED_MM_S),
            azimuth_loss_db(0.0, 0.6, 1e4, SPEED_MM_S),
        ] {
            assert_eq!(loss_db, 0.0);
        }
    }

    #[test]
    fn loss_scales_with_frequency_as_sin_x_over_x() {
        let at_db = |hz: f64, at_10k_db: f64| azimuth_loss_elsewhere_db(at_10k_db, 10_000.0, hz);
        // 20 lg(sin x / x), numpy 2.4.6: x = 0.6 gives -0.52755 dB, x = 0.96 -1.37772 dB, x = 0.3 -0.13068 dB.
        // Tolerance: rounding of the printed values.
        assert_within!(at_db(16_000.0, -0.52755), -1.37772, 0.00005, "dB");
        assert_within!(at_db(5_000.0, -0.52755), -0.13068, 0.00002, "dB");
        assert_within!(at_db(10_000.0, -0.52755), -0.52755, 0.00001, "dB");
        // Track of 0.6 mm at 47.625 mm/s, tilted by 2, 5, 10 and 15 minutes of arc: losses at 10 and 16 kHz worked out
        // from the same formula apart from this code. Tolerance: both are rounded to 0.0005 dB; the slope carries the
        // first rounding over, at most 4 times (10 times next to the null).
        for (arcmin, at_10k, at_16k, tolerance) in [
            (2, -0.077, -0.197, 0.0025),
            (5, -0.485, -1.265, 0.0025),
            (10, -2.012, -5.630, 0.0025),
            (15, -4.852, -17.477, 0.0055),
        ] {
            assert_within!(at_db(16_000.0, at_10k), at_16k, tolerance, "dB", "{arcmin} minutes of arc");
        }
        assert_within!(at_db(16_000.0, 0.0), 0.0, 1e-6, "dB");
    }

    #[test]
    fn a_gap_of_one_wavelength_reads_nothing() {
        // 47.625 mm/s over 2 um.
        let null_hz = 23_812.5;
        assert!(gap_loss_db(2.0, null_hz, SPEED_MM_S) < -200.0);
        // Side lobe of |sin x / x| half-way to the second null: 1 / (1.5 pi).
        let lobe_db = gap_loss_db(2.0, 1.5 * null_hz, SPEED_MM_S);
        assert_within!(lobe_db, -20.0 * (1.5 * PI).log10(), 1e-9, "dB");
    }

    proptest! {
        #[test]
        fn losses_never_gain_and_forget_the_sign(
            hz in 20.0..20_000.0f64, um in 0.01..5.0f64, arcmin in 0.01..20.0f64, speed_mm_s in 20.0..400.0f64,
        ) {
            for (plus_db, minus_db) in [
                (spacing_loss_db(um, hz, speed_mm_s), spacing_loss_db(-um, hz, speed_mm_s)),
                (gap_loss_db(um, hz, speed_mm_s), gap_loss_db(-um, hz, speed_mm_s)),
                (azimuth_loss_db(arcmin, 0.6, hz, speed_mm_s), azimuth_loss_db(-arcmin, 0.6, hz, speed_mm_s)),
            ] {
                prop_assert!(plus_db <= 0.0, "gain of {plus_db} dB");
                prop_assert_eq!(plus_db, minus_db);
            }
        }

        #[test]
        fn only_the_wavelength_counts(hz in 20.0..10_000.0f64, um in 0.01..2.0f64) {
            for loss in [spacing_loss_db, gap_loss_db] {
                let slow_db = loss(um, hz, SPEED_MM_S);
                let fast_db = loss(um, 2.0 * hz, 2.0 * SPEED_MM_S);
                // Rounding of f64, relative because the loss may be large near a null.
                prop_assert!((slow_db - fast_db).abs() <= 1e-9 * (1.0 + slow_db.abs()));
            }
        }
    }
}
