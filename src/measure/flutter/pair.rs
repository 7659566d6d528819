//! Two steady lines so close that one transform of the tone shows them as one.
//!
//! The bins about the line are explained in three ways: by one sine, by two, and by one line whose rate and strength change
//! evenly along the tone. Two lines are told only if two sines leave no more than noise, and leave far less than the other
//! ways do. Of a line that wanders in any other way two sines leave much, of noise the others leave as little: both stay one
//! line.

use inner_loops::Precision;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};
use std::sync::LazyLock;

/// Bins on either side that are explained.
const REACH: i32 = 6;
/// Furthest rates from the line's own, bins, and the steps in which they are tried.
const FURTHEST: f64 = 3.5;
const STEP: f64 = 0.25;
/// Two lines nearer to each other than this are not told apart, bins: twice as far apart as under no window at all.
const LEAST_APART: f64 = 1.5;
/// What one line must leave beyond two, and beyond a moving one, as a multiple of the noise in a bin.
const LEAST_GAIN: [f64; 2] = [50.0, 30.0];
/// What two may leave in all bins, as a multiple of the noise in a bin: of 13 bins with six numbers fitted.
const MOST_LEFT: f64 = 22.0;
/// Share of the line's power that two may leave: noise is not quite even.
const MOST_LEFT_SHARE: f64 = 0.003;
/// Weakest power of one as a share of the other's.
const LEAST_SHARE: f64 = 0.02;
/// Largest change of rate that a moving line is tried with, bins along the tone, and the steps.
const MOST_CHANGE: f64 = 8.0;
const CHANGE_STEP: f64 = 0.5;
/// Points of a tone by which a moving line's bins are made.
const POINTS: usize = 64;

/// The course's spectrum under a Hann window, and what sines and moving lines look like in it.
pub(super) struct Bins {
    /// Bin `k` is at `k` over the course's length.
    bins: Vec<Complex64>,
    step_hz: f64,
}

type Row = [Complex64; 2 * REACH as usize + 1];

impl Bins {
    pub fn of(percent: &[f64], rate_hz: f64) -> Self {
        let n = percent.len();
        let mut windowed: Vec<f64> = percent
            .iter()
            .enumerate()
            .map(|(k, x)| x * (0.5 - 0.5 * (TAU * k as f64 / n as f64).cos()))
            .collect();
        let forward = f64::real_forward(n);
        let mut bins = forward.make_output_vec();
        // The buffers are made for this plan, so the transform cannot refuse them.
        let _ = forward.process(&mut windowed, &mut bins);
        bins.iter_mut().for_each(|bin| *bin /= n as f64);
        Self { bins, step_hz: rate_hz / n as f64 }
    }

    /// Rate, Hz, and mean square of the two lines that the one at `hz` is; `floor` is the noise's mean square in a bin.
    pub fn pair(&self, hz: f64, floor: f64) -> Option<[(f64, f64); 2]> {
        let middle = (hz / self.step_hz).round() as i32;
        // The mirror image at negative rates is as far away as the line is from 0 Hz.
        if middle < 2 * REACH - 5 || (middle + REACH) as usize >= self.bins.len() {
            return None;
        }
        let seen: Row = std::array::from_fn(|k| self.bins[(middle - REACH) as usize + k]);
        // Mean squares are 16/3 of these bins' squares under a Hann window.
        let noise = 3.0 / 16.0 * floor;
        let whole = power(&seen);
        let count = (2.0 * FURTHEST / STEP) as usize + 1;
        let places: Vec<f64> = (0..count).map(|k| k as f64 * STEP - FURTHEST).collect();
        let sines: Vec<Row> = places.iter().map(|&at| sine(at)).collect();
        let one = places.iter().map(|&at| whole - explained(&seen, &[sine(at)]).0);
        let one = one.fold(f64::INFINITY, f64::min);
        let mut best = (f64::INFINITY, [0.0; 2]);
        for (k, first) in sines.iter().enumerate() {
            for (m, second) in sines.iter().enumerate().skip(k + (LEAST_APART / STEP) as usize) {
                let left = whole - explained(&seen, &[*first, *second]).0;
                if left < best.0 {
                    best = (left, [places[k], places[m]]);
                }
            }
        }
        let mut step = STEP / 2.0;
        while step > 0.002 {
            for (a, b) in [
                (step, 0.0),
                (-step, 0.0),
                (0.0, step),
                (0.0, -step),
                (step, step),
                (-step, -step),
                (step, -step),
                (-step, step),
            ] {
                let places = [best.1[0] + a, best.1[1] + b];
                let left = whole - explained(&seen, &places.map(sine)).0;
                if left < best.0 {
                    best = (left, places);
                }
            }
            step *= 0.7;
        }
        let (two, places) = best;
        let enough = two < (MOST_LEFT * noise).max(MOST_LEFT_SHARE * whole)
            && one - two > (LEAST_GAIN[0] * noise).max(4.0 * two)
            && places[1] - places[0] >= LEAST_APART;
        let powers = explained(&seen, &places.map(sine)).1.map(|size| 2.0 * size.norm_sqr());
        if !enough || powers[0].min(powers[1]) < LEAST_SHARE * powers[0].max(powers[1]) {
            return None;
        }
        let moving = self::moving(&seen, whole);
        (moving - two > (LEAST_GAIN[1] * noise).max(2.0 * two))
            .then(|| [0, 1].map(|k| ((f64::from(middle) + places[k]) * self.step_hz, powers[k])))
    }
}

fn power(row: &Row) -> f64 {
    row.iter().map(Complex64::norm_sqr).sum()
}

/// The bins of a sine of amplitude 2, `at` bins from the middle one.
fn sine(at: f64) -> Row {
    let plain = |x: f64| {
        let size = if x.abs() < 1e-9 { 1.0 } else { (PI * x).sin() / (PI * x) };
        Complex64::from_polar(size, PI * x)
    };
    std::array::from_fn(|k| {
        let x = at - f64::from(k as i32 - REACH);
        0.5 * plain(x) - 0.25 * (plain(x - 1.0) + plain(x + 1.0))
    })
}

/// Power that up to two shapes explain, and the size of each.
fn explained<const N: usize>(seen: &Row, shapes: &[Row; N]) -> (f64, [Complex64; 2]) {
    let product = |a: &Row, b: &Row| a.iter().zip(b).map(|(a, b)| a.conj() * b).sum::<Complex64>();
    let first = product(&shapes[0], seen);
    let own = power(&shapes[0]);
    let Some(second) = shapes.get(1) else { return (first.norm_sqr() / own, [first / own, Complex64::ZERO]) };
    let (cross, other, last) = (product(&shapes[0], second), power(second), product(second, seen));
    let scale = own * other - cross.norm_sqr();
    let sizes = [(first * other - cross * last) / scale, (last * own - cross.conj() * first) / scale];
    ((sizes[0].conj() * first + sizes[1].conj() * last).re, sizes)
}

/// Least power that one line leaves whose rate and strength change evenly.
fn moving(seen: &Row, whole: f64) -> f64 {
    // The same for every tone.
    static SHAPES: LazyLock<Vec<[Row; 2]>> = LazyLock::new(moving_shapes);
    SHAPES.iter().map(|shapes| whole - explained(seen, shapes).0).fold(f64::INFINITY, f64::min)
}

/// The bins of moving lines: of even strength, and of one that changes evenly through 0.
fn moving_shapes() -> Vec<[Row; 2]> {
    let changes = (MOST_CHANGE / CHANGE_STEP) as i32;
    let places = (2.0 * FURTHEST / STEP) as i32;
    let shape = |change: f64, at: f64| {
        let mut shapes = [[Complex64::ZERO; 2 * REACH as usize + 1]; 2];
        for n in 0..POINTS {
            let t = (n as f64 + 0.5) / POINTS as f64;
            let from_middle = t - 0.5;
            let window = (0.5 - 0.5 * (TAU * t).cos()) / POINTS as f64;
            let turns = (at + f64::from(REACH)) * t + 0.5 * change * from_middle * from_middle;
            let mut turn = Complex64::from_polar(window, TAU * turns);
            let back = Complex64::from_polar(1.0, -TAU * t);
            for k in 0..shapes[0].len() {
                shapes[0][k] += turn;
                shapes[1][k] += turn * from_middle;
                turn *= back;
            }
        }
        shapes
    };
    (-changes..=changes)
        .flat_map(|change| (0..=2 * places).map(move |place| (change, place)))
        .map(|(change, place)| {
            shape(f64::from(change) * CHANGE_STEP, f64::from(place) * STEP / 2.0 - FURTHEST)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::Random;

    const RATE_HZ: f64 = 200.0;
    const LENGTH_S: f64 = 10.0;
    /// Mean square in a bin of the noise of rms 0.02 % that the courses here are in.
    const FLOOR: f64 = 2.0 * 0.02 * 0.02 / (RATE_HZ * LENGTH_S);

    fn pair(hz: f64, course: impl Fn(f64) -> f64, seed: u64) -> Option<[(f64, f64); 2]> {
        let mut random = Random(seed);
        let percent: Vec<f64> = (0..(RATE_HZ * LENGTH_S) as usize)
            .map(|n| course(n as f64 / RATE_HZ) + 0.02 * random.normal())
            .collect();
        Bins::of(&percent, RATE_HZ).pair(hz, FLOOR)
    }

    #[test]
    fn two_lines_a_quarter_and_half_a_hertz_apart_are_told_with_rates_and_sizes() {
        for (seed, apart_hz, second) in [(1, 0.25, 0.1), (2, 0.3, 0.025), (3, 0.3, 0.1), (4, 0.5, 0.05)] {
            for hz in [1.0, 4.83, 24.1] {
                let course = |t: f64| {
                    0.1 * (TAU * hz * t).sin() + second * (TAU * (hz + apart_hz) * t + seed as f64).sin()
                };
                let [low, high] =
                    pair(hz + 0.1, course, seed).unwrap_or_else(|| panic!("{hz} {apart_hz} {second}"));
                // Six standard deviations of the noise, as much again for the two being near.
                crate::assert_within!(low.0, hz, 0.02, "Hz", "{hz} {apart_hz}");
                crate::assert_within!(high.0, hz + apart_hz, 0.02, "Hz", "{hz} {apart_hz}");
                crate::assert_within!((2.0 * low.1).sqrt(), 0.1, 0.01, "%", "{hz} {apart_hz}");
                crate::assert_within!((2.0 * high.1).sqrt(), second, 0.01, "%", "{hz} {apart_hz}");
            }
        }
    }

    #[test]
    fn one_line_is_no_pair_however_it_moves() {
        for seed in 0..20 {
            let phase = seed as f64;
            let even = move |hz: f64, change_hz: f64| {
                move |t: f64| {
                    0.1 * (TAU * (hz * t + change_hz / LENGTH_S / 2.0 * t * (t - LENGTH_S)) + phase).sin()
                }
            };
            for hz in [1.03, 6.06, 30.0] {
                assert_eq!(pair(hz, even(hz, 0.0), seed), None, "steady at {hz} Hz");
                assert_eq!(pair(hz, even(hz, 0.3), seed), None, "moving at {hz} Hz");
                let fading = |t: f64| (1.0 - 0.08 * t) * even(hz, 0.0)(t);
                assert_eq!(pair(hz, fading, seed), None, "fading at {hz} Hz");
                assert_eq!(pair(hz, |_| 0.0, seed), None, "noise at {hz} Hz");
            }
        }
    }
}
