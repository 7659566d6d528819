//! How the level of a deck wanders, and how far that moves the mean level of one tone.
//!
//! A slow wander moves a whole tone at once, and nothing within that tone shows it. So the wander is measured once for
//! each channel, by all tones that sound in the return, each after its own mean, and by the long ones, which show the slow part.
//! Its measure is the Allan variance: half the mean square of the difference between neighbouring means, here of levels
//! over 0.05 s, 0.1 s, 0.2 s and so on. It needs no mean of its own, and from it follows how far the means of two tones
//! lie apart (D. W. Allan, Proc. IEEE 54, 1966, from memory).
//!
//! Scales that were seen by few tones, or by none, lean on their neighbours and on common practice; their figure is then the
//! mean of what they may be, which is larger than the likeliest.
//!
//! Tones count from 250 Hz on: below, hum beats. Noise that is known from beside the tone comes off. Against the
//! reference tone, tones near each other in time share the slowest part. A tone's own share is what changes from block
//! to block, or what scatters slowly beyond twice the wander: treble wanders more where the tape does not lie on well,
//! and such a tone gets more, weighed as ten values against its own few. `tests/truth/wander.rs` counts how often the
//! truth is held.

use crate::measure::tone::level_moves::LevelMoves;
use crate::measure::tone::meter::{Tone, ToneLevel};
use crate::signal::baseband::{Band, block_powers};
use crate::signal::statistics::median;

/// The shortest scale, s.
const SHORTEST_S: f64 = 0.05;
/// Number of scales, each twice as long as the one before; the longest is 51 s.
const SCALES: usize = 11;
/// What is usual before anything was measured (common practice, no source): at the shortest scale the natural logarithm of the
/// variance, dB^2, and its standard deviation. About 0.1 dB rms from 0.2 to 8 Hz.
const USUAL: (f64, f64) = (-6.9, 1.5);
/// From one scale to the next the logarithm of the variance falls by so much, give or take so much: wander of a broad
/// band falls by 0.7, below its band by 1.4 (a slow one rises by as much).
const STEP: (f64, f64) = (-0.5, 0.8);
/// Less than this is rounding, dB^2.
const LEAST_DB2: f64 = 1e-9;
/// A block of less power than this share of the usual one lies in a dropout.
const DROPOUT: f64 = 0.7;
/// Below this, hum makes tones beat, Hz.
const LEAST_HZ: f64 = 250.0;
/// A tone shows by its own scatter how much more than usual its level wanders: treble does so where the tape does not
/// lie on well. The usual counts as much as so many values of its own.
const USUAL_COUNTS: f64 = 10.0;
/// Variance in dB^2 for one of the power's share.
const DB2: f64 = 18.861;

/// Level of a tone against time.
#[derive(Debug, Clone, Default)]
pub(crate) struct LevelCourse {
    /// Means over [`SHORTEST_S`], without dropouts, dB.
    db: Vec<f64>,
    /// Variance of one of them by noise, dB^2.
    noise_db2: f64,
}

impl LevelCourse {
    /// The course of the tone in `band`, in noise that has `noise_per_hz` of the tone's power in each hertz. Empty where there is
    /// no tone.
    pub(crate) fn new(band: &Band, noise_per_hz: f64) -> Self {
        let size = ((band.rate_hz * SHORTEST_S).round() as usize).max(1);
        let powers = block_powers(&band.samples, size);
        let usual = median(&powers);
        // Below -140 dBFS there is only rounding.
        if !(usual > 1e-14 && usual.is_finite()) {
            return Self::default();
        }
        let sound = |k: usize| powers.get(k).is_none_or(|power| *power > DROPOUT * usual);
        let kept: Vec<f64> = (0..powers.len())
            .filter(|&k| sound(k) && sound(k + 1) && sound(k.wrapping_sub(1)))
            .map(|k| 10.0 * powers[k].log10())
            .collect();
        // A tone that fades all the time is what it is.
        let db = if 2 * kept.len() < powers.len() {
            powers.iter().map(|power| 10.0 * power.max(1e-14).log10()).collect()
        } else {
            kept
        };
        Self { db, noise_db2: DB2 * 2.0 * noise_per_hz / SHORTEST_S }
    }

    /// What it shows at `scale`: the variance, noise included, by how many values it is known, and the noise's part of it.
    fn seen(&self, scale: usize) -> Option<Seen> {
        let size = 1 << scale;
        let count = self.db.len();
        if count < 2 * size {
            return None;
        }
        let mut sums = vec![0.0];
        sums.extend(self.db.iter().scan(0.0, |sum, db| {
            *sum += db - self.db[0];
            Some(*sum)
        }));
        let steps = (0..=count - 2 * size)
            .map(|k| (sums[k + 2 * size] - 2.0 * sums[k + size] + sums[k]) / size as f64);
        let squares: f64 = steps.map(|step| step * step).sum();
        Some(Seen {
            db2: squares / (2 * (count - 2 * size + 1)) as f64,
            values: count as f64 / size as f64 - 1.0,
            noise_db2: self.noise_db2 / size as f64,
        })
    }
}

/// Allan variance of one course at one scale.
#[derive(Debug, Clone, Copy)]
struct Seen {
    db2: f64,
    values: f64,
    noise_db2: f64,
}

/// When a tone sounded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Sounded {
    /// Its middle, s.
    pub at_s: f64,
    /// How long it was measured, s.
    pub length_s: f64,
    /// How much more its level wanders than is usual in this return, as a ratio of variances.
    pub excess: f64,
}

/// Wander of the level of one channel.
#[derive(Debug, Clone, PartialEq)]
pub struct LevelWander {
    /// Allan variance at each scale, dB^2.
    db2: [f64; SCALES],
    /// Length of the longest course, s.
    longest_s: f64,
    /// What it did beside that.
    pub(crate) moves: LevelMoves,
}

impl LevelWander {
    /// The wander that `courses` show.
    pub(crate) fn new(courses: &[LevelCourse]) -> Self {
        let measured = std::array::from_fn(|scale| {
            pooled(&courses.iter().filter_map(|course| course.seen(scale)).collect::<Vec<_>>())
        });
        let longest = courses.iter().map(|course| course.db.len()).max().unwrap_or(0);
        Self { db2: smoothed(measured), longest_s: longest as f64 * SHORTEST_S, moves: LevelMoves::default() }
    }

    /// Allan variance over `length_s`, dB^2.
    fn at(&self, length_s: f64) -> f64 {
        let place = (length_s / SHORTEST_S).log2();
        // What is shorter than the shortest wanders less.
        let below = if place < 0.0 { length_s / SHORTEST_S } else { 1.0 };
        let place = place.clamp(0.0, (SCALES - 1) as f64);
        let k = (place as usize).min(SCALES - 2);
        let (a, b) = (self.db2[k].ln(), self.db2[k + 1].ln());
        below * (a + (b - a) * (place - k as f64)).exp()
    }

    /// Variance of the difference between two means over `length_s` whose middles lie `apart_s` apart, dB^2.
    ///
    /// Both are halves of halves ... of a stretch that holds both: down to it each halving adds half its Allan
    /// variance to each mean, and the last one stands between them.
    fn between(&self, length_s: f64, apart_s: f64) -> f64 {
        let (mut scale_s, mut sum) = (length_s.max(1e-3), 0.0);
        // Bands of a sweep lie whole lengths apart: rounding is not to choose for them.
        while 2.0 * scale_s <= 1.000_001 * apart_s {
            sum += self.at(scale_s);
            scale_s *= 2.0;
        }
        sum + 2.0 * self.at(scale_s)
    }

    /// Expanded uncertainty (k = 2) of the difference of two tones' levels by wander and moves, dB.
    pub(crate) fn of_difference_db(&self, a: Sounded, b: Sounded) -> f64 {
        let apart_s = (a.at_s - b.at_s).abs();
        let half = |tone: Sounded| 0.5 * tone.excess * self.between(tone.length_s, apart_s);
        (2.0 * (half(a) + half(b)).sqrt()).hypot(self.moves.between_db(a.at_s, b.at_s))
    }

    /// Expanded uncertainty (k = 2) of a tone's level by wander and moves, dB, against the mean over as long as wander was seen.
    pub(crate) fn of_mean_db(&self, tone: Sounded) -> f64 {
        let apart_s = self.longest_s.max(4.0 * tone.length_s);
        (2.0 * (0.5 * tone.excess * self.between(tone.length_s, apart_s)).sqrt()).hypot(self.moves.most_db())
    }

    /// Expanded uncertainty (k = 2) of the level of a tone of `length_s` by its own scatter, dB, without this wander.
    pub(crate) fn without(&self, level: &ToneLevel, length_s: f64) -> f64 {
        let wander_db2 = 4.0 * self.at(level.block_s) * level.block_s / length_s.max(level.block_s);
        let fast_db2 = level.fast_db.powi(2);
        // At most three quarters: how much of it was wander is not known well.
        let fast_db2 = (fast_db2 - wander_db2).max(fast_db2 / 4.0);
        // What is slow and more than twice the wander (as a variance) is something else.
        let slow_db2 = level.uncertainty_db.powi(2) - 8.0 * self.at(length_s);
        fast_db2.max(slow_db2).sqrt()
    }

    /// When `channel` of `tone` sounded, whose middle was at `at_s`.
    pub(crate) fn sounded(&self, tone: &Tone, channel: usize, at_s: f64) -> Sounded {
        let band = &tone.band[channel];
        let length_s = band.samples.len() as f64 / band.rate_hz;
        Sounded { at_s, length_s, excess: self.excess(&course_of(tone, channel)) }
    }

    /// How much more than usual the level of `course` wanders, as a ratio of variances, at least 1.
    fn excess(&self, course: &LevelCourse) -> f64 {
        // The longest scale at which a tone still shows something.
        let scale = (course.db.len() / 5).max(1).ilog2() as usize;
        let Some(seen) = course.seen(scale) else { return 1.0 };
        let ratio = seen.db2 / (self.db2[scale.min(SCALES - 1)] + seen.noise_db2);
        ((USUAL_COUNTS + seen.values * ratio) / (USUAL_COUNTS + seen.values)).max(1.0)
    }
}

/// Course of `channel` of a tone; empty where it shows no wander.
pub(crate) fn course_of(tone: &Tone, channel: usize) -> LevelCourse {
    match tone.levels[channel] {
        Some(level) if tone.hz > LEAST_HZ => LevelCourse::new(&tone.band[channel], level.noise_per_hz),
        _ => LevelCourse::default(),
    }
}

/// Variance without noise, dB^2, and by how many values it is known; `None` if nothing was seen.
fn pooled(seen: &[Seen]) -> Option<(f64, f64)> {
    let mut db2 = seen.iter().map(|seen| seen.db2).min_by(f64::total_cmp)?.max(LEAST_DB2);
    let mut values = 1.0;
    // Courses weigh by how well they show it, which depends on what it is.
    for _ in 0..6 {
        let weight = |seen: &Seen| seen.values.max(1.0) / (db2 + seen.noise_db2).powi(2);
        let total: f64 = seen.iter().map(weight).sum();
        let mean = seen.iter().map(|seen| weight(seen) * (seen.db2 - seen.noise_db2)).sum::<f64>() / total;
        let variance = 2.0 / total;
        db2 = mean.max(0.5 * variance.sqrt()).max(LEAST_DB2);
        values = (2.0 * db2 * db2 / variance).max(1.0);
    }
    Some((db2, values))
}

/// Mean variance at each scale by what was `measured` there (variance, dB^2, by so many values) and beside it: a random walk of
/// its logarithm from scale to scale, smoothed forwards and backwards.
fn smoothed(measured: [Option<(f64, f64)>; SCALES]) -> [f64; SCALES] {
    // Mean and variance of the logarithm: by the scales before, and with the scale itself.
    let (mut expected, mut found) = (Vec::new(), Vec::<(f64, f64)>::new());
    for scale in measured {
        let before = found.last().map(|(mean, variance)| (mean + STEP.0, variance + STEP.1.powi(2)));
        let (mut mean, mut variance) = before.unwrap_or((USUAL.0, USUAL.1.powi(2)));
        expected.push((mean, variance));
        if let Some((db2, n)) = scale {
            // Those of a chi-square of n degrees over n, to the third order of 1/n.
            let off = 1.0 / n + 1.0 / (3.0 * n * n);
            let scatter = 2.0 / n + 2.0 / (n * n) + 4.0 / (3.0 * n.powi(3));
            let gain = variance / (variance + scatter);
            mean += gain * (db2.ln() + off - mean);
            variance *= 1.0 - gain;
        }
        found.push((mean, variance));
    }
    for k in (0..SCALES - 1).rev() {
        let gain = found[k].1 / expected[k + 1].1;
        let (later, thought) = (found[k + 1], expected[k + 1]);
        found[k] =
            (found[k].0 + gain * (later.0 - thought.0), found[k].1 + gain * gain * (later.1 - thought.1));
    }
    // Mean of what has a normal logarithm.
    std::array::from_fn(|k| (found[k].0 + found[k].1 / 2.0).exp())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::Random;
    use std::f64::consts::TAU;

    /// A course of `count` blocks of a wander of `rms_db` in many lines from `low_hz` to `high_hz`, with noise of `noise_db`.
    fn wandering(
        random: &mut Random,
        count: usize,
        band_hz: (f64, f64),
        rms_db: f64,
        noise_db: f64,
    ) -> Vec<f64> {
        let lines: Vec<(f64, f64)> = (0..60)
            .map(|_| (band_hz.0 + (band_hz.1 - band_hz.0) * random.share(), TAU * random.share()))
            .collect();
        let peak_db = rms_db * (2.0 / lines.len() as f64).sqrt();
        (0..count)
            .map(|k| {
                let t_s = k as f64 * SHORTEST_S;
                let sum: f64 = lines.iter().map(|(hz, turn)| (TAU * hz * t_s + turn).sin()).sum();
                peak_db * sum + noise_db * random.normal()
            })
            .collect()
    }

    fn mean_of(db: &[f64], at: usize, count: usize) -> f64 {
        crate::signal::statistics::mean(&db[at..at + count])
    }

    #[test]
    fn means_of_short_tones_lie_as_far_apart_as_it_says() {
        for (band_hz, rms_db) in [((0.2, 8.0), 0.2), ((0.1, 1.0), 0.3), ((0.1, 3.0), 0.1)] {
            let (mut inside, mut all, mut stated, mut squares) = (0, 0, 0.0, 0.0);
            for seed in 0..30 {
                let mut random = Random(seed + 1);
                // Sixty seconds, of which 18 tones of a second and one of 16 s are heard.
                let db = wandering(&mut random, 1200, band_hz, rms_db, 0.01);
                let noise_db2 = 1e-4;
                let course =
                    |at: usize, count: usize| LevelCourse { db: db[at..at + count].to_vec(), noise_db2 };
                let mut courses: Vec<LevelCourse> = (0..18).map(|k| course(24 * k, 20)).collect();
                courses.push(course(600, 320));
                let wander = LevelWander::new(&courses);
                let sounded = |k: usize| Sounded { at_s: 1.2 * k as f64, length_s: 1.0, excess: 1.0 };
                for k in (0..18).filter(|k| *k != 6) {
                    let off_db = mean_of(&db, 24 * k, 20) - mean_of(&db, 24 * 6, 20);
                    let uncertainty_db = wander.of_difference_db(sounded(k), sounded(6));
                    inside += i32::from(off_db.abs() <= uncertainty_db);
                    all += 1;
                    stated += uncertainty_db;
                    squares += off_db * off_db;
                }
            }
            let share = f64::from(inside) / f64::from(all);
            let wide = stated / f64::from(all) / (2.0 * (squares / f64::from(all)).sqrt());
            assert!(share > 0.93 && wide < 1.4, "{band_hz:?} Hz, {rms_db} dB: {share} inside, {wide} times");
        }
    }

    #[test]
    fn a_deck_that_keeps_its_level_costs_nothing_and_one_unseen_what_is_usual() {
        let mut random = Random(7);
        let mut still = |count: usize, noise_db: f64| LevelCourse {
            db: wandering(&mut random, count, (0.2, 8.0), 0.0, noise_db),
            noise_db2: noise_db * noise_db,
        };
        let mut courses: Vec<LevelCourse> = (0..18).map(|_| still(20, 0.02)).collect();
        courses.push(still(300, 0.001));
        let tones = [0.0, 10.0].map(|at_s| Sounded { at_s, length_s: 1.0, excess: 1.0 });
        let kept = LevelWander::new(&courses).of_difference_db(tones[0], tones[1]);
        assert!(kept < 0.002, "{kept}");
        let unseen = LevelWander::new(&[]).of_difference_db(tones[0], tones[1]);
        assert!((0.05..0.3).contains(&unseen), "{unseen}");
    }

    #[test]
    fn a_dropout_is_no_wander_and_treble_that_wanders_more_is_less_sure() {
        let samples = |depth: f64, wobble: f64| -> Vec<num_complex::Complex64> {
            (0..2000)
                .map(|k| {
                    let lost = if (700..740).contains(&k) { depth } else { 1.0 };
                    let wobble = wobble * (TAU * f64::from(k) / 400.0).sin();
                    (0.1 * lost * (1.0 + wobble)).into()
                })
                .collect()
        };
        let course = |depth: f64, wobble: f64| {
            let band =
                Band { samples: samples(depth, wobble), rate_hz: 400.0, centre_hz: 3150.0, first_s: 0.0 };
            LevelCourse::new(&band, 0.0)
        };
        assert!(course(0.3, 0.0).seen(2).unwrap().db2 < 1e-9);
        let usual = LevelWander::new(&[course(1.0, 0.01), course(1.0, 0.01)]);
        crate::assert_within!(usual.excess(&course(1.0, 0.01)), 1.0, 0.3, "");
        assert!(usual.excess(&course(1.0, 0.05)) > 3.0);
        assert!(
            LevelCourse::new(
                &Band { samples: Vec::new(), rate_hz: 400.0, centre_hz: 1.0, first_s: 0.0 },
                0.0
            )
            .db
            .is_empty()
        );
    }
}
