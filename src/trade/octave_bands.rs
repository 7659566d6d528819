//! Octave-fraction bands of IEC 61260-1:2014, base ten.

/// One third-octave band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThirdOctave {
    /// Number of the band: 0 at 1 kHz.
    pub number: i32,
    /// Name of the band (ISO 266), Hz.
    pub nominal_hz: f64,
    /// Exact mid-band frequency, Hz: 1000 G^(x/3), G = 10^(3/10).
    pub mid_hz: f64,
    /// Lower edge, Hz: mid G^(-1/6).
    pub lower_hz: f64,
    /// Upper edge, Hz: mid G^(1/6).
    pub upper_hz: f64,
}

/// The ten nominal values of a decade (ISO 266, R10).
const NOMINAL: [f64; 10] = [1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0];

/// Band `number` (0 at 1 kHz), IEC 61260-1:2014 equations 1 to 5 with b = 3.
pub fn third_octave(number: i32) -> ThirdOctave {
    let mid_hz = 1000.0 * 10f64.powf(f64::from(number) / 10.0);
    let half = 10f64.powf(0.05);
    let nominal_hz =
        NOMINAL[number.rem_euclid(10) as usize] * 10f64.powi(3 + number.div_euclid(10));
    ThirdOctave { number, nominal_hz, mid_hz, lower_hz: mid_hz / half, upper_hz: mid_hz * half }
}

/// All third-octave bands whose exact mid-band frequency lies from `from_hz` to `to_hz`, rising.
pub fn third_octaves(from_hz: f64, to_hz: f64) -> Vec<ThirdOctave> {
    if !(from_hz > 0.0 && to_hz >= from_hz && to_hz.is_finite()) {
        return Vec::new();
    }
    let first = (10.0 * (from_hz / 1000.0).log10() - 1e-9).ceil() as i32;
    let last = (10.0 * (to_hz / 1000.0).log10() + 1e-9).floor() as i32;
    (first..=last).map(third_octave).collect()
}
