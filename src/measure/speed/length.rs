//! Absolute speed from a measured length of tape between two marks: v = length / time.
//!
//! Nothing is assumed of whoever recorded the tape: the marks are places on it, the ruler and the sound card's clock say the
//! rest.

use crate::reading::{FileClock, SpeedFromLength};
use crate::trade::Medium;
use thiserror::Error;

/// What the clock of a sound card is off by at most, parts per million, k = 2. Crystals are good to some tens; from memory.
const CLOCK_PPM: f64 = 100.0;

/// A length of tape, and where its ends are heard.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkedLength {
    /// Length between the marks, mm.
    pub length_mm: f64,
    /// Expanded uncertainty of it (k = 2), mm.
    pub length_uncertainty_mm: f64,
    /// Time of each mark, s of the return, true seconds.
    pub marks_s: [f64; 2],
    /// Tells the times of the file.
    pub clock: FileClock,
    /// Expanded uncertainty of each time, s.
    pub mark_uncertainty_s: f64,
    /// What the marks are, in words.
    pub marks: String,
}

/// Why a length says nothing.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum LengthError {
    /// The speed is no cassette deck's.
    #[error(
        "{length_mm} mm in {time_s:.3} s are {speed_mm_s:.2} mm/s, which no deck for {nominal_mm_s} mm/s runs at; check length \
         and marks"
    )]
    NoDeck {
        /// Length, mm.
        length_mm: f64,
        /// Time between the marks, s.
        time_s: f64,
        /// What follows, mm/s.
        speed_mm_s: f64,
        /// Nominal speed, mm/s.
        nominal_mm_s: f64,
    },
}

/// The speed of the tape between the marks, against that of `medium`.
///
/// The uncertainties of length, both times and clock add as squares.
///
/// # Errors
/// [`LengthError::NoDeck`] if the speed is off by more than half.
pub fn speed_from_length(marked: &MarkedLength, medium: &Medium) -> Result<SpeedFromLength, LengthError> {
    let [from_s, to_s] = marked.marks_s;
    let time_s = to_s - from_s;
    let speed_mm_s = marked.length_mm / time_s;
    let nominal_mm_s = medium.speed_mm_s;
    let error_percent = 100.0 * (speed_mm_s / nominal_mm_s - 1.0);
    if !(error_percent.abs() <= 50.0) {
        return Err(LengthError::NoDeck { length_mm: marked.length_mm, time_s, speed_mm_s, nominal_mm_s });
    }
    let time_uncertainty_s = (2f64.sqrt() * marked.mark_uncertainty_s).hypot(CLOCK_PPM * 1e-6 * time_s);
    let share = (marked.length_uncertainty_mm / marked.length_mm).hypot(time_uncertainty_s / time_s);
    Ok(SpeedFromLength {
        marks: marked.marks.clone(),
        length_mm: marked.length_mm,
        length_uncertainty_mm: marked.length_uncertainty_mm,
        from_s: marked.clock.at(from_s),
        to_s: marked.clock.at(to_s),
        time_uncertainty_s,
        speed_mm_s,
        nominal_mm_s,
        error_percent,
        uncertainty_percent: share * (100.0 + error_percent),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn marked(length_mm: f64, marks_s: [f64; 2]) -> MarkedLength {
        MarkedLength {
            length_mm,
            length_uncertainty_mm: 2.0,
            marks_s,
            clock: FileClock::default(),
            mark_uncertainty_s: 0.02,
            marks: "invented".into(),
        }
    }

    #[test]
    fn a_worked_example_by_hand() {
        // 2857.5 mm are 60 s at 47.625 mm/s (47.625 x 60 = 2857.5). Heard 59.4 s apart: 2857.5 / 59.4 = 48.10606 mm/s,
        // 60 / 59.4 - 1 = 1.010101 % fast.
        let got = speed_from_length(&marked(2857.5, [12.3, 71.7]), &Medium::COMPACT_CASSETTE).unwrap();
        assert_within!(got.speed_mm_s, 48.106_06, 1e-5, "mm/s");
        assert_within!(got.error_percent, 1.010_101, 1e-6, "%");
        // 2 / 2857.5 = 0.069991 %; sqrt 2 x 0.02 / 59.4 = 0.047617 %; 100 ppm = 0.01 %: together 0.085242 %, times 1.0101.
        assert_within!(got.uncertainty_percent, 0.086_102_6, 1e-6, "%");
        assert_within!(got.time_uncertainty_s, 0.028_901_3, 1e-6, "s");
    }

    #[test]
    fn half_speed_is_another_medium_and_nonsense_is_refused() {
        let half =
            speed_from_length(&marked(1428.75, [0.0, 60.0]), &Medium::COMPACT_CASSETTE_HALF_SPEED).unwrap();
        assert_within!(half.error_percent, 0.0, 1e-9, "%");
        for wrong in [marked(100.0, [0.0, 60.0]), marked(2857.5, [5.0, 5.0]), marked(2857.5, [60.0, 0.0])] {
            let error = speed_from_length(&wrong, &Medium::COMPACT_CASSETTE).unwrap_err().to_string();
            assert!(error.contains("check length and marks"), "{error}");
        }
    }
}
