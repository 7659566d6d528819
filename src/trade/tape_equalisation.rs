//! Tape flux against frequency: IEC 60094-1:1981 clause 15.

use std::f64::consts::TAU;

/// Replay equalisation of a cassette (IEC 60094-1 clause 15.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Equalisation {
    /// 120 us and 3180 us: type I.
    Us120,
    /// 70 us and 3180 us: types II, III and IV.
    Us70,
}

impl Equalisation {
    /// (t1, t2): treble and bass time constant, us.
    pub fn time_constants_us(self) -> (f64, f64) {
        match self {
            Self::Us120 => (120.0, 3180.0),
            Self::Us70 => (70.0, 3180.0),
        }
    }
}

/// Recorded short-circuit flux level at `hz` for a flat replay, dB:
/// N(f) = 10 lg(1 + 1/(2 pi f t2)^2) - 10 lg(1 + (2 pi f t1)^2).
///
/// Not normalised: subtract the value at the frequency that is to be 0 dB. The form of the formula is from memory;
/// formula and time constants are known to stand there.
pub fn flux_db(equalisation: Equalisation, hz: f64) -> f64 {
    let (t1, t2) = equalisation.time_constants_us();
    let w = TAU * hz * 1e-6;
    10.0 * (1.0 + (w * t2).powi(-2)).log10() - 10.0 * (1.0 + (w * t1).powi(2)).log10()
}

/// What a right replay chain does to that flux, dB: the inverse of [`flux_db`].
pub fn replay_db(equalisation: Equalisation, hz: f64) -> f64 {
    -flux_db(equalisation, hz)
}
