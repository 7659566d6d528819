//! Frequency weighting of wow and flutter: IEC 60386:1972 + A1:1988 = DIN 45507 = CCIR Rec. 409 = IEEE Std 193 = AES6.
//!
//! The table's values are from memory; only the shape (about 6 dB an octave down above and below 4 Hz, a further
//! drop below 0.5 Hz: published abstract of AES6-2008) was seen. Verify against a bought copy before claiming
//! conformity.

use num_complex::Complex64;

/// One row of the table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// Modulation frequency, Hz.
    pub hz: f64,
    /// Response, dB re 4 Hz.
    pub db: f64,
    /// Tolerance upwards and downwards, dB; `None` where the standard sets none.
    pub tolerance_db: Option<(f64, f64)>,
}

const fn row(hz: f64, db: f64, plus: f64, minus: f64) -> Row {
    Row { hz, db, tolerance_db: Some((plus, minus)) }
}

/// The table of the standard (from memory).
pub const TABLE: [Row; 17] = [
    Row { hz: 0.1, db: -48.0, tolerance_db: None },
    row(0.2, -30.6, 10.0, -4.0),
    row(0.315, -19.7, 4.0, -4.0),
    row(0.4, -15.0, 4.0, -4.0),
    row(0.63, -8.4, 2.0, -2.0),
    row(0.8, -6.0, 2.0, -2.0),
    row(1.0, -4.2, 2.0, -2.0),
    row(1.6, -1.8, 2.0, -2.0),
    row(2.0, -0.9, 2.0, -2.0),
    row(4.0, 0.0, 0.0, 0.0),
    row(6.3, -0.9, 2.0, -2.0),
    row(10.0, -2.1, 2.0, -2.0),
    row(20.0, -5.9, 2.0, -2.0),
    row(40.0, -10.4, 2.0, -2.0),
    row(63.0, -14.2, 2.0, -2.0),
    row(100.0, -17.3, 2.0, -2.0),
    row(200.0, -23.0, 2.0, -2.0),
];

/// Response at `hz`, dB: the table's rows exactly, between them a smooth curve over log frequency that never
/// overshoots (Fritsch and Carlson, SIAM J. Numer. Anal. 17, 1980), beyond them the slope of the last two rows.
pub fn response_db(hz: f64) -> f64 {
    if !(hz > 0.0) {
        return f64::NEG_INFINITY;
    }
    let x = |i: usize| TABLE[i].hz.ln();
    let secant = |i: usize| (TABLE[i + 1].db - TABLE[i].db) / (x(i + 1) - x(i));
    let last = TABLE.len() - 1;
    let at = hz.ln();
    if at <= x(0) {
        return TABLE[0].db + secant(0) * (at - x(0));
    }
    if at >= x(last) {
        return TABLE[last].db + secant(last - 1) * (at - x(last));
    }
    let slope = |i: usize| {
        if i == 0 {
            return secant(0);
        }
        if i == last {
            return secant(last - 1);
        }
        let (a, b) = (secant(i - 1), secant(i));
        if a * b <= 0.0 {
            return 0.0;
        }
        // Weighted harmonic mean.
        let (ha, hb) = (x(i) - x(i - 1), x(i + 1) - x(i));
        let (wa, wb) = (2.0 * hb + ha, hb + 2.0 * ha);
        (wa + wb) / (wa / a + wb / b)
    };
    let i = TABLE.partition_point(|row| row.hz.ln() <= at) - 1;
    let h = x(i + 1) - x(i);
    let t = (at - x(i)) / h;
    let (a, b) = (slope(i) * h, slope(i + 1) * h);
    let (y0, y1) = (TABLE[i].db, TABLE[i + 1].db);
    (2.0 * t.powi(3) - 3.0 * t * t + 1.0) * y0
        + (t.powi(3) - 2.0 * t * t + t) * a
        + (3.0 * t * t - 2.0 * t.powi(3)) * y1
        + (t.powi(3) - t * t) * b
}

/// Zeros at 0 Hz and real poles of a network that follows the table within 1 dB from 0.2 Hz on (least squares over
/// the rows): it lends the weighting its phase, which the standard does not fix.
const NETWORK_ZEROS: i32 = 3;
const NETWORK_POLES_HZ: [f64; 4] = [0.4975, 0.4975, 0.9517, 11.753];

/// Complex response at `hz`: magnitude of the table, phase of a network of resistors and capacitors that comes close
/// to it. 0 at 0 Hz.
pub fn response(hz: f64) -> Complex64 {
    if !(hz > 0.0) {
        return Complex64::default();
    }
    let network = NETWORK_POLES_HZ
        .iter()
        .fold(Complex64::i().powi(NETWORK_ZEROS), |value, pole| value / Complex64::new(1.0, hz / pole));
    Complex64::from_polar(10f64.powf(response_db(hz) / 20.0), network.arg())
}

/// Tolerance of the standard at one of its rows: (least, most) response in dB; `None` between rows, or where it sets
/// none.
pub fn mask_db(hz: f64) -> Option<(f64, f64)> {
    let row = TABLE.iter().find(|row| (row.hz / hz - 1.0).abs() < 1e-6)?;
    row.tolerance_db.map(|(plus, minus)| (row.db + minus, row.db + plus))
}
