//! The deviation of the speed over time, as a chart recorder draws it.

use crate::measure::flutter::deviation::{BAND_HZ, Course, band_gain};
use crate::reading::{FileClock, SpeedAgainstTime};
use crate::signal::fm::filter_by_response;
use num_complex::Complex64;
use std::f64::consts::PI;

/// Highest rate in the course, Hz: what the eye can follow; the filter falls from here over a quarter of it.
const HIGHEST_HZ: f64 = 20.0;
/// Pieces at most: as many as a figure has room for.
const MOST_PIECES: usize = 400;

/// The course without `settle` values at either end; `clock` starts at the first value that counts. `None` if nothing is left
/// of it.
pub(crate) fn chart(course: &Course, settle: usize, clock: FileClock) -> Option<SpeedAgainstTime> {
    let rise = band_gain(BAND_HZ[0], BAND_HZ[2]);
    let fall = |hz: f64| 0.5 + 0.5 * (PI * ((hz - HIGHEST_HZ) / (0.25 * HIGHEST_HZ)).clamp(0.0, 1.0)).cos();
    let slow = filter_by_response(&course.percent, course.rate_hz, |hz| {
        Complex64::new(if hz > 2.0 * HIGHEST_HZ { 0.0 } else { rise(hz) * fall(hz) }, 0.0)
    });
    let inside = slow.get(settle..slow.len().checked_sub(settle)?).filter(|inside| !inside.is_empty())?;
    let length = inside.len().div_ceil(MOST_PIECES);
    let pieces = inside
        .chunks(length)
        .enumerate()
        .map(|(k, piece)| {
            let middle = k as f64 * length as f64 + 0.5 * (piece.len() as f64 - 1.0);
            let (low, high) = piece
                .iter()
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(*x), high.max(*x)));
            (clock.at(middle / course.rate_hz), low, high)
        })
        .collect();
    Some(SpeedAgainstTime {
        band_hz: [BAND_HZ[0], HIGHEST_HZ],
        piece_s: length as f64 / course.rate_hz,
        pieces,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn at(from_s: f64) -> FileClock {
        FileClock::default().starting_at(from_s)
    }

    fn course(seconds: f64, deviation: impl Fn(f64) -> f64) -> Course {
        let rate_hz = 1000.0;
        Course {
            percent: (0..(seconds * rate_hz) as usize).map(|n| deviation(n as f64 / rate_hz)).collect(),
            cycles: vec![],
            rate_hz,
            noise_at_1hz: 0.0,
            drift_percent_per_min: 0.0,
            bridged: 0.0,
            shares: [0.5; 2],
        }
    }

    #[test]
    fn peaks_are_kept_and_fast_flutter_is_left_out() {
        let found = chart(
            &course(60.0, |t| 0.2 * (TAU * 5.0 * t).sin() + 0.3 * (TAU * 60.0 * t).sin()),
            1000,
            at(7.0),
        );
        let found = found.unwrap();
        assert_eq!((found.pieces.len(), found.band_hz), (400, [0.1, 20.0]));
        crate::assert_within!(found.piece_s, 58.0 / 400.0, 1e-9, "s");
        for (k, (at_s, low, high)) in found.pieces.iter().enumerate() {
            // 0.145 s of 5 Hz (0.2 s) may miss one of the two peaks, but not both. Near its ends the course is continued by
            // its own mirror image, whose kink the slow edge of the band spreads.
            let least = if (40..360).contains(&k) { 0.1995 } else { 0.196 };
            let most = low.abs().max(*high);
            assert!(most > least && most < 0.4 - least, "{at_s:?}: {low} to {high}");
        }
        crate::assert_within!(found.pieces[0].0.seconds(), 7.0 + 0.5 * (0.145 - 0.001), 1e-9, "s");
    }

    #[test]
    fn a_jerk_stands_where_it_was() {
        // 0.4 % for a tenth of a second.
        let found = chart(&course(40.0, |t| if (t - 25.3).abs() < 0.05 { 0.4 } else { 0.0 }), 500, at(100.5))
            .unwrap();
        let most = found.pieces.iter().max_by(|a, b| a.2.total_cmp(&b.2)).unwrap();
        // The first value that counts lies 0.5 s into the course, at 100.5 s of the return.
        crate::assert_within!(most.0.seconds(), 125.3, found.piece_s, "s");
        assert!(most.2 > 0.35, "{most:?}");
    }

    #[test]
    fn short_courses_have_fewer_pieces_and_empty_ones_none() {
        assert_eq!(chart(&course(0.3, |_| 0.1), 50, at(0.0)).unwrap().pieces.len(), 200);
        assert!(chart(&course(0.1, |_| 0.1), 50, at(0.0)).is_none());
        assert!(chart(&course(0.1, |_| 0.1), 90, at(0.0)).is_none());
    }
}
