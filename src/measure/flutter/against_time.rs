//! The deviation of the speed over time, as a chart recorder draws it.

use crate::measure::flutter::deviation::{Course, band_gain};
use crate::reading::{FileClock, MeanSpeed, SpeedAgainstTime};
use crate::signal::fm::filter_by_response;
use num_complex::Complex64;
use std::f64::consts::PI;

/// Highest rate in the course, Hz: what the eye can follow; the filter falls from here over a quarter of it.
const HIGHEST_HZ: f64 = 20.0;
/// Pieces at most: as many as a figure has room for.
const MOST_PIECES: usize = 400;

/// The course without `settle` values at either end; `clock` starts at the first value that counts. It is one of several with
/// `count` values that count in all, whose charts have pieces of one length. `None` if nothing is left of it.
pub(crate) fn chart(
    course: &Course,
    settle: usize,
    clock: FileClock,
    count: usize,
) -> Option<SpeedAgainstTime> {
    let [lowest_hz, _, highest_hz] = course.band_hz;
    let rise = band_gain(lowest_hz, highest_hz);
    let fall = |hz: f64| 0.5 + 0.5 * (PI * ((hz - HIGHEST_HZ) / (0.25 * HIGHEST_HZ)).clamp(0.0, 1.0)).cos();
    let slow = filter_by_response(&course.percent, course.rate_hz, |hz| {
        Complex64::new(if hz > 2.0 * HIGHEST_HZ { 0.0 } else { rise(hz) * fall(hz) }, 0.0)
    });
    let inside = slow.get(settle..slow.len().checked_sub(settle)?).filter(|inside| !inside.is_empty())?;
    let length = count.max(inside.len()).div_ceil(MOST_PIECES);
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
        band_hz: [lowest_hz, HIGHEST_HZ],
        piece_s: length as f64 / course.rate_hz,
        pieces,
    })
}

/// Length of the pieces whose mean speed is stated, s; longer where there were more than [`MOST_PIECES`].
const MEAN_S: f64 = 1.0;

/// The mean frequency of each piece of all courses, Hz, and what it is off by from their common mean, percent; drift is in it.
/// Each course comes with the values to leave out at either end and a clock that starts at the first that counts.
pub(crate) fn mean_speed<'a>(
    courses: impl Iterator<Item = (&'a Course, usize, FileClock)> + Clone,
) -> Vec<MeanSpeed> {
    let inside = |course: &Course, settle: usize| {
        let last = course.cycles.len().saturating_sub(settle + 1);
        (last > settle).then_some((settle, last))
    };
    let turned = |course: &Course, from: usize, to: usize| course.cycles[to] - course.cycles[from];
    let (mut cycles, mut total_s) = (0.0, 0.0);
    for (course, settle, _) in courses.clone() {
        if let Some((from, to)) = inside(course, settle) {
            cycles += turned(course, from, to);
            total_s += (to - from) as f64 / course.rate_hz;
        }
    }
    let mean_hz = cycles / total_s;
    let piece_s = MEAN_S.max(total_s / MOST_PIECES as f64);
    let mut pieces = Vec::new();
    for (course, settle, clock) in courses {
        let Some((from, to)) = inside(course, settle) else { continue };
        // Even pieces, so that none is short.
        let count = (((to - from) as f64 / course.rate_hz / piece_s).round() as usize).max(1);
        let place = |k: usize| from + (to - from) * k / count;
        for k in 0..count {
            let (from, to) = (place(k), place(k + 1));
            let hz = turned(course, from, to) * course.rate_hz / (to - from) as f64;
            let at_s = clock.at(((from + to) as f64 / 2.0 - settle as f64) / course.rate_hz);
            pieces.push(MeanSpeed { at_s, hz, percent: 100.0 * (hz / mean_hz - 1.0) });
        }
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::flutter::deviation::BAND_HZ;
    use std::f64::consts::TAU;

    /// The chart of a course that is the only one.
    fn chart(course: &Course, settle: usize, clock: FileClock) -> Option<SpeedAgainstTime> {
        super::chart(course, settle, clock, 0)
    }

    fn at(from_s: f64) -> FileClock {
        FileClock::default().starting_at(from_s)
    }

    fn course(seconds: f64, deviation: impl Fn(f64) -> f64) -> Course {
        let rate_hz = 1000.0;
        Course {
            percent: (0..(seconds * rate_hz) as usize).map(|n| deviation(n as f64 / rate_hz)).collect(),
            cycles: vec![],
            rate_hz,
            band_hz: BAND_HZ,
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
    fn several_courses_have_pieces_of_one_length() {
        let lengths = [10.0, 30.0].map(|seconds| {
            let found = super::chart(&course(seconds, |_| 0.1), 1000, at(0.0), 36_000).unwrap();
            (found.piece_s, found.pieces.len())
        });
        assert_eq!(lengths, [(0.09, 89), (0.09, 312)]);
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
    fn the_mean_speed_holds_what_drifts_and_what_lies_between_two_tones() {
        // 3150 Hz that falls by 0.5 % in 10 s, and the same tone 1 % lower.
        let tone = |hz: f64, slope: f64| {
            let cycles = |t: f64| hz * (t + slope * t * t / 2.0);
            Course {
                cycles: (0..10_001).map(|n| cycles(f64::from(n) / 1000.0)).collect(),
                ..course(10.001, |_| 0.0)
            }
        };
        let (first, second) = (tone(3150.0, -0.0005), tone(3118.5, 0.0));
        let means = mean_speed([(&first, 500, at(2.0)), (&second, 500, at(20.0))].into_iter());
        assert_eq!(means.len(), 18, "{means:?}");
        crate::assert_within!(means[0].at_s.seconds(), 2.5, 0.01, "s");
        crate::assert_within!(means[0].hz, 3150.0 * (1.0 - 0.0005), 0.01, "Hz");
        crate::assert_within!(means[8].hz - means[0].hz, -3150.0 * 0.004, 0.01, "Hz");
        crate::assert_within!(means[17].at_s.seconds(), 28.5, 0.01, "s");
        crate::assert_within!(means[17].hz, 3118.5, 0.01, "Hz");
        let mean = means.iter().map(|mean| mean.percent).sum::<f64>() / 18.0;
        crate::assert_within!(mean, 0.0, 1e-3, "%");
    }

    #[test]
    fn short_courses_have_fewer_pieces_and_empty_ones_none() {
        assert_eq!(chart(&course(0.3, |_| 0.1), 50, at(0.0)).unwrap().pieces.len(), 200);
        assert!(chart(&course(0.1, |_| 0.1), 50, at(0.0)).is_none());
        assert!(chart(&course(0.1, |_| 0.1), 90, at(0.0)).is_none());
    }
}
