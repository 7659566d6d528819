//! What stepped tones, sweep and noise say of the response at the frequencies of the tones, where they say the same.
//!
//! They were recorded at different times, so a level that wanders moves each of them by itself; all bands of the noise sound
//! at once, and it moves the noise's response hardly at all.

use crate::reading::{Pair, ResponsePoint};

/// A tone stands for one frequency and a band for a third octave: ripple between the two, expanded (k = 2), dB (from memory).
const TONE_AGAINST_BAND_DB: f64 = 0.12;

/// A value and its expanded uncertainty, dB.
type Said = (f64, f64);

/// Rows at the frequencies of `steps`; where only the step says anything, or they contradict each other, it is the step's own.
/// Empty without steps, or if there is nothing beside them.
pub(crate) fn combined(
    steps: &[ResponsePoint],
    sweep: &[ResponsePoint],
    noise: &[ResponsePoint],
    reference_hz: f64,
) -> Vec<ResponsePoint> {
    if sweep.is_empty() && noise.is_empty() {
        return Vec::new();
    }
    let row = |step: &ResponsePoint| {
        if (step.hz / reference_hz).ln().abs() < 1e-6 {
            return step.clone();
        }
        let of_channel = |channel: usize| {
            let own = step.db[channel].zip(step.uncertainty_db[channel])?;
            let relative = |point: &ResponsePoint| point.db[channel].zip(point.uncertainty_db[channel]);
            Some(agreed(own, [sweep, noise].map(|bands| at(bands, step.hz, relative))))
        };
        let both = [0, 1].map(of_channel);
        let own = difference(step);
        let apart = own.map(|own| agreed(own, [sweep, noise].map(|bands| at(bands, step.hz, difference))));
        ResponsePoint {
            hz: step.hz,
            db: both.map(|said| said.map(|said| said.0)),
            uncertainty_db: both.map(|said| said.map(|said| said.1)),
            difference_db: apart.map(|said| said.0),
            difference_uncertainty_db: apart.map(|said| said.1),
        }
    };
    steps.iter().map(row).collect()
}

/// Left minus right of a point, as sure as both channels together.
fn difference(point: &ResponsePoint) -> Option<Said> {
    let [left, right]: Pair = point.uncertainty_db;
    point.difference_db.zip(left.zip(right).map(|(left, right)| left.hypot(right)))
}

/// What bands say of a tone at `hz`: between the two nearest, as sure as the less sure, less what a curve through four of them
/// bends in between.
fn at(bands: &[ResponsePoint], hz: f64, of: impl Fn(&ResponsePoint) -> Option<Said>) -> Option<Said> {
    let after = bands.partition_point(|band| band.hz < hz);
    let (a, b) = (bands.get(after.checked_sub(1)?)?, bands.get(after)?);
    let ((low, u_low), (high, u_high)) = (of(a)?, of(b)?);
    // Wider gaps than a third octave are no neighbours.
    if b.hz / a.hz > 1.3 {
        return None;
    }
    let share = (hz / a.hz).ln() / (b.hz / a.hz).ln();
    let slope = high - low;
    let beside = |index: Option<usize>, from: f64, sign: f64| {
        let (value, _) = of(bands.get(index?)?)?;
        Some((sign * (value - from) - slope).abs())
    };
    let bends = [beside(after.checked_sub(2), low, -1.0), beside(Some(after + 1), high, 1.0)];
    // At the end of the bands nothing shows how the response bends.
    let bend = bends.into_iter().flatten().reduce(f64::max).filter(|_| bends.iter().all(Option::is_some))?;
    let uncertainty = u_low.max(u_high).hypot(TONE_AGAINST_BAND_DB).hypot(bend / 4.0);
    Some((low + share * slope, uncertainty))
}

/// The mean of all, by how sure each is, if none contradicts it; else `own`.
fn agreed(own: Said, others: [Option<Said>; 2]) -> Said {
    let all: Vec<Said> = std::iter::once(own).chain(others.into_iter().flatten()).collect();
    let weight = |said: &Said| said.1.max(1e-6).powi(-2);
    let weights: f64 = all.iter().map(weight).sum();
    let mean = all.iter().map(|said| weight(said) * said.0).sum::<f64>() / weights;
    let contradicts = |said: &Said| (said.0 - mean).abs() > said.1;
    if all.len() == 1 || all.iter().any(contradicts) {
        return own;
    }
    // Wider where they scatter more than they say (Birge's ratio; Particle Data Group, Review, section 5.2, from memory).
    let misfit: f64 = all.iter().map(|said| 4.0 * weight(said) * (said.0 - mean).powi(2)).sum();
    let wider = (misfit / (all.len() - 1) as f64).sqrt().max(1.0);
    (mean, (wider / weights.sqrt()).min(own.1))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(points: &[(f64, f64, f64)]) -> Vec<ResponsePoint> {
        points
            .iter()
            .map(|&(hz, db, uncertainty)| ResponsePoint {
                hz,
                db: [Some(db), None],
                uncertainty_db: [Some(uncertainty), None],
                difference_db: None,
                difference_uncertainty_db: None,
            })
            .collect()
    }

    #[test]
    fn agreeing_witnesses_narrow_the_response_and_contradicting_ones_leave_it() {
        let steps = row(&[(400.0, 0.0, 0.1), (8000.0, -1.0, 0.4)]);
        let bands =
            |db: f64, uncertainty| row(&[5040.0, 6350.0, 8000.0, 10_080.0].map(|hz| (hz, db, uncertainty)));
        let of = |sweep: &[ResponsePoint], noise: &[ResponsePoint]| {
            let rows = combined(&steps, sweep, noise, 400.0);
            assert_eq!(rows.len(), 2);
            assert_eq!(rows[0], steps[0]);
            (rows[1].db[0].unwrap(), rows[1].uncertainty_db[0].unwrap())
        };
        // By hand: sigma^2 of a band 0.38^2 + 0.12^2 = 0.1588; weights 6.25 and 6.297.
        let (db, uncertainty) = of(&bands(-0.8, 0.38), &[]);
        crate::assert_within!(db, -0.8996, 0.0005, "dB");
        crate::assert_within!(uncertainty, 0.2823, 0.0005, "dB");
        assert_eq!(of(&bands(0.5, 0.2), &[]), (-1.0, 0.4));
        let (db, uncertainty) = of(&bands(-0.9, 0.2), &bands(-0.9, 0.2));
        assert!((-0.95..-0.9).contains(&db) && uncertainty < 0.16, "{db} {uncertainty}");
        assert!(combined(&steps, &[], &[], 400.0).is_empty());
    }

    #[test]
    fn bands_that_bend_between_are_less_sure_and_their_ends_say_nothing() {
        let db = |db: &Option<Said>| db.map_or(f64::NAN, |said| said.1);
        let of = |point: &ResponsePoint| point.db[0].zip(point.uncertainty_db[0]);
        let straight =
            row(&[(5040.0, 0.0, 0.1), (6350.0, 0.0, 0.1), (8000.0, 0.0, 0.1), (10_080.0, 0.0, 0.1)]);
        let bent = row(&[(5040.0, 0.0, 0.1), (6350.0, 0.0, 0.1), (8000.0, -1.0, 0.1), (10_080.0, -4.0, 0.1)]);
        crate::assert_within!(db(&at(&straight, 7000.0, of)), 0.1f64.hypot(0.12), 1e-9, "dB");
        assert!(db(&at(&bent, 7000.0, of)) > 0.5);
        assert_eq!(at(&straight, 5500.0, of), None);
        assert_eq!(at(&straight, 9000.0, of), None);
    }
}
