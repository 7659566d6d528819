//! Tape equalisation: recorded flux against frequency, and the playback response that undoes it.
//!
//! IEC 60094-1:1981 clause 15 (formula) and 15.1 (time constants). That the formula and the time constants stand there
//! is published; the exact form of the formula is from memory.

use std::f64::consts::TAU;

/// Low-frequency time constant of both equalisations, us (IEC 60094-1 clause 15.1).
pub const LOW_TIME_CONSTANT_US: f64 = 3180.0;

/// The two equalisations of the compact cassette.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Equalisation {
    /// 3180 us and 120 us: type I tape.
    Us120,
    /// 3180 us and 70 us: tape of types II, III and IV.
    Us70,
}

impl Equalisation {
    /// Both, 120 us first.
    pub const ALL: [Self; 2] = [Self::Us120, Self::Us70];

    /// High-frequency time constant, us (IEC 60094-1 clause 15.1).
    pub fn high_time_constant_us(self) -> f64 {
        match self {
            Self::Us120 => 120.0,
            Self::Us70 => 70.0,
        }
    }

    /// Name as printed on decks and tapes.
    pub fn name(self) -> &'static str {
        match self {
            Self::Us120 => "120 us",
            Self::Us70 => "70 us",
        }
    }
}

/// Frequency in Hz at which a time constant of `time_constant_us` (above 0) turns: 1 / (2 pi t).
pub fn turnover_hz(time_constant_us: f64) -> f64 {
    1e6 / (TAU * time_constant_us)
}

/// Recorded short-circuit flux in dB at `hz` (above 0) for a flat playback, raw as the formula gives it, so not 0 at any
/// particular frequency: N(f) = 10 lg(1 + 1/(2 pi f t2)^2) - 10 lg(1 + (2 pi f t1)^2), t2 = 3180 us (IEC 60094-1:1981
/// clause 15). High frequencies are negative. +inf at 0 Hz.
pub fn flux_db(equalisation: Equalisation, hz: f64) -> f64 {
    let low = hz / turnover_hz(LOW_TIME_CONSTANT_US);
    let high = hz / turnover_hz(equalisation.high_time_constant_us());
    10.0 * (1.0 + 1.0 / (low * low)).log10() - 10.0 * (1.0 + high * high).log10()
}

/// Recorded flux in dB at `hz`, 0 dB at `reference_hz` (both above 0); see [`flux_db`].
pub fn flux_relative_db(equalisation: Equalisation, hz: f64, reference_hz: f64) -> f64 {
    flux_db(equalisation, hz) - flux_db(equalisation, reference_hz)
}

/// Gain in dB at `hz` (above 0) of a right playback amplifier alone, behind an ideal head whose voltage grows with
/// frequency: minus [`flux_db`] - 20 lg(f / `reference_hz`), 0 dB at `reference_hz`.
pub fn amplifier_db(equalisation: Equalisation, hz: f64, reference_hz: f64) -> f64 {
    -flux_relative_db(equalisation, hz, reference_hz) - 20.0 * (hz / reference_hz).log10()
}

/// What a playback at `used` of a tape recorded for `recorded_for` adds at `hz` in dB, 0 dB at `reference_hz`: the error
/// of a wrong switch. A 70 us tape carries more treble flux than 120 us playback expects, so it comes out too bright
/// (positive).
pub fn wrong_switch_db(recorded_for: Equalisation, used: Equalisation, hz: f64, reference_hz: f64) -> f64 {
    flux_relative_db(recorded_for, hz, reference_hz) - flux_relative_db(used, hz, reference_hz)
}

/// What a playback whose treble time constant is `actual_us` instead of `nominal_us` adds at `hz` in dB, 0 dB in the bass:
/// 10 lg(1 + (2 pi f ta)^2) - 10 lg(1 + (2 pi f tn)^2) (IEC 60094-1:1981 clause 15). All above 0. A smaller time
/// constant loses treble.
pub fn treble_error_db(actual_us: f64, nominal_us: f64, hz: f64) -> f64 {
    let term_db = |us: f64| 10.0 * (hz / turnover_hz(us)).powi(2).ln_1p() / std::f64::consts::LN_10;
    term_db(actual_us) - term_db(nominal_us)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn flux_is_half_power_apart_at_the_upper_turnover() {
        // At f = 1/(2 pi t1) the upper term is exactly 10 lg 2; the lower one adds what 3180 us leaves there.
        for equalisation in Equalisation::ALL {
            let hz = turnover_hz(equalisation.high_time_constant_us());
            let low_db = 10.0 * (1.0 + (turnover_hz(LOW_TIME_CONSTANT_US) / hz).powi(2)).log10();
            assert_within!(
                flux_db(equalisation, hz),
                low_db - 10.0 * 2f64.log10(),
                1e-12,
                "dB",
                "{equalisation:?}"
            );
        }
    }

    #[test]
    fn a_70_us_tape_is_too_bright_at_120_us() {
        assert!(wrong_switch_db(Equalisation::Us70, Equalisation::Us120, 1e4, 400.0) > 4.0);
        assert!(wrong_switch_db(Equalisation::Us120, Equalisation::Us70, 1e4, 400.0) < -4.0);
        assert_eq!(wrong_switch_db(Equalisation::Us70, Equalisation::Us70, 1e4, 400.0), 0.0);
        // A switch in the wrong place is a wrong time constant.
        let [at_10k, at_400] = [1e4, 400.0].map(|hz| treble_error_db(70.0, 120.0, hz));
        let switch_db = wrong_switch_db(Equalisation::Us120, Equalisation::Us70, 1e4, 400.0);
        assert_within!(at_10k - at_400, switch_db, 1e-12, "dB");
    }

    proptest! {
        #[test]
        fn flux_falls_with_frequency(hz in 1.0..40_000.0f64) {
            for equalisation in Equalisation::ALL {
                prop_assert!(flux_db(equalisation, hz * 1.01) < flux_db(equalisation, hz));
            }
        }
    }
}
