//! Bands of octave filters: exact base-ten mid-bands and edges of IEC 61260-1:2014, nominal values of ISO 266.

/// Frequency that band numbers count from, Hz (IEC 61260-1:2014).
const REFERENCE_HZ: f64 = 1000.0;

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

/// Exact frequency in Hz `octaves` above 1 kHz: 1000 G^octaves with the octave ratio G = 10^(3/10) of the base-ten system
/// (IEC 61260-1:2014 equations 1 and 2).
fn exact_hz(octaves: f64) -> f64 {
    REFERENCE_HZ * 10f64.powf(0.3 * octaves)
}

/// Third-octave band number `x`: 0 is 1 kHz, -17 is 20 Hz, 13 is 20 kHz.
pub fn third_octave(x: i32) -> ThirdOctave {
    // Edges lie half a band away (equations 4 and 5).
    let (octaves, half) = (f64::from(x) / 3.0, 0.5 / 3.0);
    let decade = x.div_euclid(10);
    // rem_euclid(10) is 0..=9, so the index holds. Dividing keeps 31.5 exact where a factor of 0.01 would not.
    let mantissa_hz = NOMINAL_DECADE_HZ[x.rem_euclid(10) as usize];
    let nominal_hz = if decade < 0 {
        mantissa_hz / 10f64.powi(decade.saturating_neg())
    } else {
        mantissa_hz * 10f64.powi(decade)
    };
    ThirdOctave {
        nominal_hz,
        mid_hz: exact_hz(octaves),
        lower_hz: exact_hz(octaves - half),
        upper_hz: exact_hz(octaves + half),
    }
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
        assert_eq!(bands.first(), Some(&third_octave(-17)));
        assert_eq!(bands.last(), Some(&third_octave(13)));
    }

    #[test]
    fn unusable_ends_give_no_bands() {
        for (from_hz, to_hz) in
            [(0.0, 100.0), (f64::NAN, 100.0), (20.0, f64::INFINITY), (200.0, 20.0), (21.0, 24.0)]
        {
            assert_eq!(third_octaves(from_hz, to_hz).count(), 0, "{from_hz} to {to_hz}");
        }
    }

    proptest! {
        #[test]
        fn bands_touch_and_the_middle_is_the_geometric_mean(x in -60i32..60) {
            let (band, next) = (third_octave(x), third_octave(x + 1));
            // Rounding of f64 powers, relative.
            prop_assert!((band.upper_hz / next.lower_hz - 1.0).abs() < 1e-12);
            prop_assert!(((band.lower_hz * band.upper_hz).sqrt() / band.mid_hz - 1.0).abs() < 1e-12);
            prop_assert!((band.upper_hz / band.lower_hz / 10f64.powf(0.1) - 1.0).abs() < 1e-12);
        }
    }
}
