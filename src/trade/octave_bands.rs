//! Bands of octave filters: exact base-ten mid-bands and edges of IEC 61260-1:2014, nominal values of ISO 266.

/// Octave ratio G = 10^(3/10) of the base-ten system (IEC 61260-1:2014 equation 1).
pub fn octave_ratio() -> f64 {
    10f64.powf(0.3)
}

/// Frequency that band numbers count from, Hz (IEC 61260-1:2014).
pub const REFERENCE_HZ: f64 = 1000.0;
/// Band number of the third octave at 20 Hz nominal, the lowest in audio.
pub const LOWEST_AUDIO_THIRD_OCTAVE: i32 = -17;
/// Band number of the third octave at 20 kHz nominal, the highest in audio.
pub const HIGHEST_AUDIO_THIRD_OCTAVE: i32 = 13;

/// Nominal mid-bands of one decade (ISO 266, R10), Hz, from band number 0.
const NOMINAL_DECADE_HZ: [f64; 10] =
    [1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0];

/// One third-octave band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThirdOctave {
    /// Nominal mid-band, for people, Hz (ISO 266).
    pub nominal_hz: f64,
    /// Exact mid-band, Hz.
    pub mid_hz: f64,
    /// Exact lower edge, Hz.
    pub lower_hz: f64,
    /// Exact upper edge, Hz; the lower edge of the next band up to rounding.
    pub upper_hz: f64,
}

/// Exact mid-band in Hz of band number `x` of 1/`b`-octave bands (`b` above 0), 0 at or next above 1 kHz:
/// 1000 G^(x/b) for odd b, 1000 G^((2x+1)/(2b)) for even b (IEC 61260-1:2014 equations 2 and 3).
pub fn mid_hz(x: i32, b: u32) -> f64 {
    REFERENCE_HZ * 10f64.powf(0.3 * exponent(x, b))
}

/// Exact lower and upper edge in Hz of band number `x` of 1/`b`-octave bands (`b` above 0): f_m G^(-1/(2b)) and
/// f_m G^(1/(2b)) (IEC 61260-1:2014 equations 4 and 5).
pub fn edges_hz(x: i32, b: u32) -> (f64, f64) {
    let half = 0.5 / f64::from(b);
    let edge = |side: f64| REFERENCE_HZ * 10f64.powf(0.3 * (exponent(x, b) + side));
    (edge(-half), edge(half))
}

/// Exponent of G of band `x` of 1/`b` octaves.
fn exponent(x: i32, b: u32) -> f64 {
    let (x, b) = (f64::from(x), f64::from(b));
    if b % 2.0 == 1.0 { x / b } else { (2.0 * x + 1.0) / (2.0 * b) }
}

/// Third-octave band number `x`: 0 is 1 kHz, -17 is 20 Hz, 13 is 20 kHz.
pub fn third_octave(x: i32) -> ThirdOctave {
    let (lower_hz, upper_hz) = edges_hz(x, 3);
    let decade = x.div_euclid(10);
    // rem_euclid(10) is 0..=9, so the index holds. Dividing keeps 31.5 exact where a factor of 0.01 would not.
    let mantissa_hz = NOMINAL_DECADE_HZ[x.rem_euclid(10) as usize];
    let nominal_hz = if decade < 0 {
        mantissa_hz / 10f64.powi(decade.saturating_neg())
    } else {
        mantissa_hz * 10f64.powi(decade)
    };
    ThirdOctave { nominal_hz, mid_hz: mid_hz(x, 3), lower_hz, upper_hz }
}

/// The third-octave bands whose nominal mid-bands lie in `from_hz..=to_hz`, ascending; nothing if there is none, or if
/// an end is NaN, not above 0 (`from_hz`) or infinite.
///
/// ```
/// let nominal_hz: Vec<f64> = deckproof::internals::trade::octave_bands::third_octaves(25.0, 40.0).map(|b| b.nominal_hz).collect();
/// assert_eq!(nominal_hz, [25.0, 31.5, 40.0]);
/// ```
pub fn third_octaves(from_hz: f64, to_hz: f64) -> impl Iterator<Item = ThirdOctave> {
    let usable = from_hz > 0.0 && to_hz.is_finite() && from_hz <= to_hz;
    let number = |hz: f64| 10.0 * (hz / REFERENCE_HZ).log10();
    // One band more at each end, because nominal values are rounded; the filter decides. `as` saturates.
    let (first, last) =
        if usable { (number(from_hz).floor() as i32 - 1, number(to_hz).ceil() as i32 + 1) } else { (0, -1) };
    (first..=last)
        .map(third_octave)
        .filter(move |band| band.nominal_hz >= from_hz && band.nominal_hz <= to_hz)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn an_audio_band_has_31_third_octaves() {
        let bands: Vec<_> = third_octaves(20.0, 20_000.0).collect();
        assert_eq!(bands.len(), 31);
        assert_eq!(bands.first(), Some(&third_octave(LOWEST_AUDIO_THIRD_OCTAVE)));
        assert_eq!(bands.last(), Some(&third_octave(HIGHEST_AUDIO_THIRD_OCTAVE)));
    }

    #[test]
    fn unusable_ends_give_no_bands() {
        for (from_hz, to_hz) in
            [(0.0, 100.0), (f64::NAN, 100.0), (20.0, f64::INFINITY), (200.0, 20.0), (21.0, 24.0)]
        {
            assert_eq!(third_octaves(from_hz, to_hz).count(), 0, "{from_hz} to {to_hz}");
        }
    }

    #[test]
    fn octaves_and_half_octaves_follow_the_parity_of_b() {
        // b = 1: one octave up is G, not 2. b = 2: band 0 sits a quarter octave above 1 kHz (equation 3).
        assert_within!(mid_hz(1, 1), 1995.262315, 1e-6, "Hz");
        assert_within!(mid_hz(0, 2), 1000.0 * octave_ratio().powf(0.25), 1e-9, "Hz");
    }

    proptest! {
        #[test]
        fn bands_touch_and_the_middle_is_the_geometric_mean(x in -60i32..60, b in 1u32..25) {
            let (lower_hz, upper_hz) = edges_hz(x, b);
            let (next_hz, _) = edges_hz(x + 1, b);
            // Rounding of f64 powers, relative.
            prop_assert!((upper_hz / next_hz - 1.0).abs() < 1e-12);
            prop_assert!(((lower_hz * upper_hz).sqrt() / mid_hz(x, b) - 1.0).abs() < 1e-12);
            prop_assert!((upper_hz / lower_hz / octave_ratio().powf(1.0 / f64::from(b)) - 1.0).abs() < 1e-12);
        }
    }
}
