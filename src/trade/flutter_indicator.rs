//! Time response of the quasi-peak indicator of a flutter meter: IEC 60386:1972 (the same requirements stand in
//! DIN 45507, CCIR Rec. 409, IEEE Std 193 and AES6-1982).
//!
//! Unidirectional rectangular pulses of frequency deviation, one a second, with the weighting in circuit; their height is
//! the peak-to-peak value of the 4 Hz sine that reads 100 %. Confidence: the values for 60 ms and for the fall are those of
//! the published abstract of AES6-1982, everything else is from memory; nothing may be called conforming on it.
//!
//! The table leaves open what a reading of slow wow is: indicators that keep every row differ by 20 to 30 % below 1 Hz.
//! AES6-2008 prefers the 2-sigma figure to this indicator (published abstract).

/// One pulse length and what the indicator must show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PulseRow {
    /// Length of the pulse, ms.
    pub pulse_ms: f64,
    /// Highest indication, percent of that of the 4 Hz sine.
    pub indication_percent: f64,
    /// Tolerance both ways, percentage points.
    pub tolerance_percent: f64,
}

/// Highest indication by pulse length (60 ms: abstract of AES6-1982; the rest and all tolerances from memory).
pub const PULSES: [PulseRow; 4] =
    [row(10.0, 21.0, 3.0), row(30.0, 62.0, 6.0), row(60.0, 90.0, 6.0), row(100.0, 100.0, 4.0)];
/// Lowest indication between pulses of 100 ms, percent of the highest (abstract of AES6-1982; tolerance from memory).
pub const FALL: PulseRow = row(100.0, 40.0, 4.0);
/// Pulses a second.
pub const PULSES_PER_S: f64 = 1.0;

const fn row(pulse_ms: f64, indication_percent: f64, tolerance_percent: f64) -> PulseRow {
    PulseRow { pulse_ms, indication_percent, tolerance_percent }
}
