//! Whether the level of a tone moved from one value to another while it sounded, as a trimmer makes it.

use crate::signal::baseband::Band;
use crate::signal::baseband::block_powers;
use crate::signal::statistics::{mean, median, rms};

/// Length of a block of the course, s.
const BLOCK_S: f64 = 0.04;
/// Fewest blocks on either side of a step.
const LEAST_BLOCKS: usize = 4;
/// Fewest blocks that are a steady stretch.
const LEAST_STEADY: usize = 4;
/// Noise power over the tone's, above which a course is noise.
const MOST_NOISE: f64 = 0.05;
/// A block belongs to a steady stretch if it lies this close to it, dB, or ...
const CLOSE_DB: f64 = 0.12;
/// ... within so many times the scatter.
const CLOSE_SCATTER: f64 = 2.0;

/// The likeliest step in the course of a tone; every course has one, of some size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LevelStep {
    /// Level behind it less level before it, dB.
    pub db: f64,
    /// Mean deviation of the course from these two levels, dB.
    pub scatter_db: f64,
    /// Where it is, s from the first input sample.
    pub at_s: f64,
    /// Steady level before it and behind it with expanded uncertainties, dBFS and dB; `None` if too little is steady.
    pub sides: [Option<(f64, f64)>; 2],
}

/// The likeliest step in `band`; `None` if the tone is too short or too noisy to tell.
pub(crate) fn level_step(band: &Band, noise_share: f64) -> Option<LevelStep> {
    if !(noise_share < MOST_NOISE) {
        return None;
    }
    let size = ((band.rate_hz * BLOCK_S).round() as usize).max(1);
    let course: Vec<f64> =
        block_powers(&band.samples, size).into_iter().map(|power| 10.0 * power.max(1e-30).log10()).collect();
    let n = course.len();
    if n < 2 * LEAST_BLOCKS || course.iter().any(|db| !db.is_finite()) {
        return None;
    }
    let deviation = |blocks: &[f64], level: f64| blocks.iter().map(|db| (db - level).abs()).sum::<f64>();
    let (at, before, after, sum) = (LEAST_BLOCKS..=n - LEAST_BLOCKS)
        .map(|at| {
            let (head, tail) = course.split_at(at);
            let (before, after) = (median(head), median(tail));
            (at, before, after, deviation(head, before) + deviation(tail, after))
        })
        .min_by(|a, b| a.3.total_cmp(&b.3))?;
    let scatter_db = sum / n as f64;
    let close_db = CLOSE_DB.max(CLOSE_SCATTER * scatter_db);
    // Steady is what lies close to the ends of the tone: a slow turn has no steady middle.
    let (first, last) = (median(&course[..LEAST_BLOCKS]), median(&course[n - LEAST_BLOCKS..]));
    let near = |level: f64| move |db: &f64| (db - level).abs() <= close_db;
    let head = course[..at].iter().take_while(|db| near(first)(db)).count();
    let tail = course[at..].iter().rev().take_while(|db| near(last)(db)).count();
    let steady = |blocks: &[f64]| {
        if blocks.len() < LEAST_STEADY {
            return None;
        }
        let n = blocks.len() as f64;
        let mean = mean(blocks);
        let spread = rms(blocks.iter().map(|db| db - mean));
        // The band is 3.2 times as wide as that in which the noise was found.
        let cleaned_db = 10.0 * (1.0 - 3.2 * noise_share).log10();
        // 0.03 dB: what so short a stretch cannot show.
        Some((mean + cleaned_db, (2.0 * spread / n.sqrt()).hypot(0.03).hypot(0.3 * cleaned_db)))
    };
    Some(LevelStep {
        db: after - before,
        scatter_db,
        at_s: band.first_s + at as f64 * size as f64 / band.rate_hz,
        sides: [steady(&course[..head]), steady(&course[n - tail..])],
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_complex::Complex64;

    fn band(db: impl Fn(f64) -> f64) -> Band {
        let samples = (0..400)
            .map(|k| Complex64::from_polar(10f64.powf(db(f64::from(k) / 400.0) / 20.0), 0.3 * f64::from(k)))
            .collect();
        Band { samples, rate_hz: 400.0, centre_hz: 1000.0, first_s: 0.1 }
    }

    #[test]
    fn a_turn_is_found_where_it_is_with_its_steady_sides() {
        // From -20 dB to -18 dB between 0.5 and 0.6 s.
        let turned = band(|t| -20.0 + 2.0 * ((t - 0.5) / 0.1).clamp(0.0, 1.0));
        let step = level_step(&turned, 0.001).unwrap();
        crate::assert_within!(step.db, 2.0, 0.01, "dB");
        crate::assert_within!(step.at_s, 0.65, 0.05, "s");
        let [before, after] = step.sides.map(Option::unwrap);
        crate::assert_within!(before.0, -20.0, 0.02, "dBFS");
        crate::assert_within!(after.0, -18.0, 0.02, "dBFS");
        assert!(step.db.abs() > 3.0 * step.scatter_db);
    }

    #[test]
    fn a_dropout_and_flutter_of_the_level_are_no_step() {
        let dropped = band(|t| if (0.4..0.5).contains(&t) { -9.0 } else { -3.0 });
        assert!(level_step(&dropped, 0.0).unwrap().db.abs() < 0.01);
        let wobbling = band(|t| 0.3 * (40.0 * t).sin());
        let step = level_step(&wobbling, 0.0).unwrap();
        assert!(step.db.abs() < 0.4, "{step:?}");
    }

    #[test]
    fn noise_and_too_little_say_nothing() {
        assert_eq!(level_step(&band(|_| 0.0), 0.1), None);
        let mut short = band(|_| 0.0);
        short.samples.truncate(100);
        assert_eq!(level_step(&short, 0.0), None);
    }
}
