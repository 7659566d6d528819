//! A-weighting of IEC 61672-1:2013.

/// Pole frequencies of the A-weighting (IEC 61672-1 annex E; digits from memory, the rounded ones are printed).
const POLES_HZ: [f64; 4] = [20.598997, 107.65265, 737.86223, 12_194.217];

/// A-weighting at `hz`, dB, 0 at 1 kHz; minus infinity at 0 Hz.
///
/// A(f) = 20 lg[f4^2 f^4 / ((f^2 + f1^2) sqrt((f^2 + f2^2)(f^2 + f3^2)) (f^2 + f4^2))] less the same at 1 kHz.
pub fn a_weighting_db(hz: f64) -> f64 {
    raw_db(hz) - raw_db(1000.0)
}

fn raw_db(hz: f64) -> f64 {
    let [f1, f2, f3, f4] = POLES_HZ.map(|f| f * f);
    let x = hz * hz;
    20.0 * (f4 * x * x / ((x + f1) * ((x + f2) * (x + f3)).sqrt() * (x + f4))).log10()
}
