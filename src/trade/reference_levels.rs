//! Reference levels: fluxivities of the trade, their ratios, and what 0 dBFS is.
//!
//! Fluxivities are short-circuit values in nWb/m unless said otherwise; confidence stands at each.

use super::decibels::db_from_ratio;

/// Reference fluxivity of the compact cassette (4.76 and 9.5 cm/s), nWb/m: 0 dB of tape data sheets (DIN/IEC, 315 Hz).
pub const IEC_CASSETTE_NWB_M: f64 = 250.0;
/// Level mark of the common compander noise reduction, nWb/m, stated as short-circuit (ANSI) flux; 400 Hz (the
/// frequency is from memory).
pub const NOISE_REDUCTION_NWB_M: f64 = 200.0;
/// The same recording stated as open-circuit (DIN) flux, nWb/m; 218 is also printed (from memory).
pub const NOISE_REDUCTION_OPEN_NWB_M: f64 = 220.0;
/// 0 dB of the most common deck meters, nWb/m.
pub const METER_ZERO_NWB_M: f64 = 160.0;
/// Older open-reel operating level, nWb/m, 700 Hz.
pub const OPEN_REEL_OPERATING_NWB_M: f64 = 185.0;
/// Open-reel studio level, nWb/m, 1 kHz.
pub const OPEN_REEL_STUDIO_NWB_M: f64 = 320.0;
/// Tone of the cassette reference level, Hz (DIN/IEC).
pub const LEVEL_TONE_HZ: f64 = 315.0;
/// Tone of the noise-reduction level mark, Hz (from memory).
pub const NOISE_REDUCTION_TONE_HZ: f64 = 400.0;
/// Record/playback response is taken this far from the reference level so that the tape does not saturate, dB (from
/// memory).
pub const RESPONSE_TEST_LEVEL_DB: f64 = -20.0;
/// Third-harmonic distortion that defines the maximum output level (MOL), percent.
pub const MAXIMUM_OUTPUT_THIRD_HARMONIC_PERCENT: f64 = 3.0;
/// Tone of the maximum output level, Hz (from memory).
pub const MAXIMUM_OUTPUT_HZ: f64 = 315.0;
/// Tone of the saturation output level (SOL), Hz (from memory).
pub const SATURATION_OUTPUT_HZ: f64 = 10_000.0;
/// Open-circuit over short-circuit statement of one flux: 220 / 200, derived from the two printed values of the
/// noise-reduction level.
pub const OPEN_OVER_SHORT_CIRCUIT: f64 = NOISE_REDUCTION_OPEN_NWB_M / NOISE_REDUCTION_NWB_M;
/// Voltage of 0 dBu, V rms.
pub const DBU_ZERO_V: f64 = 0.775;
/// rms of a full-scale sine of amplitude 1: the level that is 0 dBFS (AES17-2015 3.12.1, IEC 61606-3 3.4).
pub const FULL_SCALE_SINE_RMS: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// Level in dB of `nwb_m` above `reference_nwb_m` (both above 0, both stated the same way, short- or open-circuit).
pub fn level_db(nwb_m: f64, reference_nwb_m: f64) -> f64 {
    db_from_ratio(nwb_m / reference_nwb_m)
}

/// Fluxivity in nWb/m that lies `level_db` above `reference_nwb_m`; the inverse of [`level_db`].
pub fn fluxivity_nwb_m(level_db: f64, reference_nwb_m: f64) -> f64 {
    reference_nwb_m * 10f64.powf(level_db / 20.0)
}

/// Open-circuit (DIN) statement in nWb/m of a short-circuit (ANSI) fluxivity.
pub fn open_from_short_circuit_nwb_m(short_circuit_nwb_m: f64) -> f64 {
    short_circuit_nwb_m * OPEN_OVER_SHORT_CIRCUIT
}

/// Short-circuit (ANSI) statement in nWb/m of an open-circuit (DIN) fluxivity.
pub fn short_from_open_circuit_nwb_m(open_circuit_nwb_m: f64) -> f64 {
    open_circuit_nwb_m / OPEN_OVER_SHORT_CIRCUIT
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn one_flux_has_two_statements() {
        assert_within!(open_from_short_circuit_nwb_m(200.0), 220.0, 1e-9, "nWb/m");
        assert_within!(short_from_open_circuit_nwb_m(220.0), 200.0, 1e-9, "nWb/m");
    }

    proptest! {
        #[test]
        fn level_and_fluxivity_are_inverse(db in -60.0..20.0f64, reference_nwb_m in 50.0..500.0f64) {
            let back_db = level_db(fluxivity_nwb_m(db, reference_nwb_m), reference_nwb_m);
            // Rounding of f64.
            prop_assert!((back_db - db).abs() < 1e-10);
        }
    }
}
