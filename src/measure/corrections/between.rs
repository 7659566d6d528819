//! Responses between the frequencies at which they were measured: what a loopback capture and a card have in common.

use crate::reading::{Pair, ResponsePoint};

/// A value with its expanded uncertainty.
pub(crate) type Estimate = (f64, f64);

/// Left minus right, where there are both.
pub(crate) fn difference(pair: Pair) -> Option<f64> {
    Some(pair[0]? - pair[1]?)
}

/// How far beyond the outermost tones their slope is believed, as a ratio: a fast tape moves its tones that far.
const BEYOND: f64 = 1.07;

/// The places on either side of `x` in rising `points`, and how far between them it lies (0 to 1, a little more beyond
/// the ends). `None` farther out than [`BEYOND`].
pub(crate) fn neighbours(points: &[f64], x: f64) -> Option<(usize, usize, f64)> {
    let last = points.len().checked_sub(1)?;
    if x < points[0] / BEYOND || x > points[last] * BEYOND {
        return None;
    }
    if last == 0 {
        return Some((0, 0, 0.0));
    }
    let after = points.partition_point(|&point| point < x).clamp(1, last);
    let (low, high) = (points[after - 1], points[after]);
    let share = if high > low { (x - low) / (high - low) } else { 0.0 };
    Some((after - 1, after, share))
}

/// Response at `hz` of `points` by rising frequency, straight over log frequency between measured points.
pub(crate) fn between(points: &[ResponsePoint], channel: usize, hz: f64) -> Option<Estimate> {
    let known: Vec<(f64, Estimate)> = points
        .iter()
        .filter_map(|point| Some((point.hz.ln(), (point.db[channel]?, point.uncertainty_db[channel]?))))
        .collect();
    let hz_of_points: Vec<f64> = known.iter().map(|point| point.0.exp()).collect();
    let (a, b, _) = neighbours(&hz_of_points, hz)?;
    let ((low, low_db), (high, high_db)) = (known[a], known[b]);
    let share = if high > low { (hz.ln() - low) / (high - low) } else { 0.0 };
    Some((low_db.0 + (high_db.0 - low_db.0) * share, low_db.1.max(high_db.1)))
}

/// Left minus right of the gains near `hz`.
pub(crate) fn nearest_difference(points: &[ResponsePoint], hz: f64) -> Option<f64> {
    let distance = |point: &&ResponsePoint| (point.hz / hz).ln().abs();
    let nearest = points.iter().min_by(|a, b| distance(a).total_cmp(&distance(b)))?;
    // Farther off than a third octave it would be a guess.
    nearest.difference_db.filter(|_| distance(&nearest) < 0.24)
}

/// Two frequencies are one tone if they differ by less than this, as a logarithm: tape speeds differ by less.
pub(crate) const SAME_TONE: f64 = 0.01;

/// Response at `hz` of `points` by rising frequency: that of the tone itself, or between two with what may be missed there.
///
/// Half-way between two points a curve that never turns back may lie a quarter of their difference off the straight line
/// and seldom more; that is added to the uncertainty.
pub(crate) fn estimate_at(points: &[ResponsePoint], channel: usize, hz: f64) -> Option<Estimate> {
    let distance = |point: &&ResponsePoint| (point.hz / hz).ln().abs();
    let known = || points.iter().filter(|point| point.db[channel].is_some());
    let nearest = known().min_by(|a, b| distance(a).total_cmp(&distance(b)))?;
    if distance(&nearest) < SAME_TONE {
        return Some((nearest.db[channel]?, nearest.uncertainty_db[channel]?));
    }
    let (db, uncertainty) = between(points, channel, hz)?;
    let (low, high) = around(points, channel, hz)?;
    let step = (high.1 - low.1).abs();
    let span = (high.0 / low.0).ln();
    let share = if span > 0.0 { (hz / low.0).ln() / span } else { 0.0 };
    let missed = if (0.0..=1.0).contains(&share) {
        share * (1.0 - share) * step
    } else {
        (-share).max(share - 1.0) * step
    };
    Some((db, uncertainty.hypot(missed)))
}

/// How steeply the response changes at `hz`, dB for each unit of the natural logarithm of frequency; 0 where nobody knows.
pub(crate) fn slope_db(points: &[ResponsePoint], channel: usize, hz: f64) -> f64 {
    let Some((low, high)) = around(points, channel, hz) else { return 0.0 };
    if high.0 > low.0 { (high.1 - low.1) / (high.0 / low.0).ln() } else { 0.0 }
}

/// The known points (Hz, dB) on either side of `hz`, or the nearest two on one side.
fn around(points: &[ResponsePoint], channel: usize, hz: f64) -> Option<((f64, f64), (f64, f64))> {
    let known: Vec<(f64, f64)> =
        points.iter().filter_map(|point| Some((point.hz, point.db[channel]?))).collect();
    let last = known.len().checked_sub(1)?;
    let after = known.partition_point(|point| point.0 < hz).clamp(1.min(last), last);
    Some((known[after.saturating_sub(1)], known[after]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_response_is_interpolated_between_its_points_and_not_beyond() {
        let point = |hz, db| ResponsePoint {
            hz,
            db: [Some(db), None],
            uncertainty_db: [Some(0.1), None],
            difference_db: None,
            difference_uncertainty_db: None,
        };
        let points = [point(100.0, 0.0), point(400.0, -2.0)];
        assert_eq!(between(&points, 0, 100.0), Some((0.0, 0.1)));
        crate::assert_within!(between(&points, 0, 200.0).unwrap().0, -1.0, 1e-12, "dB");
        // A fast tape moves its tones a little beyond; farther out nothing is said.
        crate::assert_within!(between(&points, 0, 420.0).unwrap().0, -2.0704, 1e-4, "dB");
        assert_eq!(between(&points, 0, 93.0), None);
        assert_eq!(between(&points, 0, 430.0), None);
        assert_eq!(between(&points, 1, 200.0), None);
    }

    #[test]
    fn a_tone_that_was_measured_is_taken_as_it_is_and_another_less_surely() {
        let point = |hz, db| ResponsePoint {
            hz,
            db: [Some(db), None],
            uncertainty_db: [Some(0.1), None],
            difference_db: None,
            difference_uncertainty_db: None,
        };
        let points = [point(4000.0, 0.0), point(8000.0, -2.0), point(16_000.0, -8.0)];
        assert_eq!(estimate_at(&points, 0, 8040.0), Some((-2.0, 0.1)));
        // Half-way between 0 and -2 dB: a quarter of 2 dB may be missed.
        let (db, uncertainty) = estimate_at(&points, 0, 4000.0 * 2f64.sqrt()).unwrap();
        crate::assert_within!(db, -1.0, 1e-12, "dB");
        crate::assert_within!(uncertainty, 0.5f64.hypot(0.1), 1e-12, "dB");
        assert_eq!(estimate_at(&points, 0, 3000.0), None);
        assert_eq!(estimate_at(&points, 1, 8000.0), None);
        crate::assert_within!(slope_db(&points, 0, 9000.0), -6.0 / 2f64.ln(), 1e-12, "dB");
        assert_eq!(slope_db(&points[..1], 0, 4000.0), 0.0);
        assert_eq!(slope_db(&[], 0, 4000.0), 0.0);
    }
}
