//! The needle of the flutter meter, live: what it shows near the end of what was heard so far.

use crate::measure::flutter::deviation::Course;
use crate::measure::flutter::figures::Views;
use crate::reading::FileClock;
use crate::signal::baseband::Band;

/// What the filters need at either end, s: the needle is late by so much.
const SETTLE_S: f64 = 0.5;

/// Weighted quasi-peak that the needle showed at most in the second that ended half a second before `bands` do, percent.
///
/// `bands` are those of a [`FlutterMeter`](crate::measure::FlutterMeter) for a tone near `expected_hz`; some six seconds are
/// enough. `None` for less than three, or without a tone.
pub fn needle_percent(bands: &[Band; 2], expected_hz: f64) -> Option<f64> {
    let course = Course::of(bands, expected_hz)?;
    let settle = (SETTLE_S * course.rate_hz) as usize;
    Some(Views::new(&course, settle, FileClock::default()).needle())
}
