//! How the rate of a flutter line changes along the tone: a reel hub turns faster or slower as its pack changes, a
//! capstan does not.
//!
//! The course is turned back by the line's rate and thinned out; then every even change of rate is tried (the power of a
//! chirp, as a periodogram is that of a sine). Where the power is greatest is the most likely change, and how sharply it
//! falls beside it, against the noise, says how sure that is.
//!
//! A pack of tape grows or shrinks by a thickness each turn, so its rate changes by 2 pi h f^3 / v a second
//! (`src/trade/cassette_parts.rs`). A line counts as a reel only if the change fits a thickness that tapes have. The
//! sign says which reel.

use crate::reading::FlutterLine;
use crate::signal::fit::top_of_row;
use crate::signal::statistics::exponential_mean;
use crate::trade::Medium;
use crate::trade::cassette_parts::{PACK, TAPE_UM, hub_change_hz_per_s};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Lines above this are left alone: no hub turns as fast, Hz.
const FASTEST_HZ: f64 = 4.0;
/// Pieces that the course is thinned out to; lines apart by whole multiples of this many bins fall into zeros of the
/// piece's window.
const PIECES: usize = 256;
/// Furthest rate from the listed one, in bins (one over the length of the tone).
const WIDEST_BINS: f64 = 3.0;
/// Largest change that is looked for, bins; of a longer tone only the middle is taken, in which a reel moves less.
const MOST_CHANGE_BINS: f64 = 20.0;
/// Steps of the search, bins.
const STEP_BINS: f64 = 0.25;
/// Bins beside the line in which the noise is read.
const BESIDE_BINS: (usize, usize) = (12, 60);
/// Least power over the noise's at which a change is stated.
const LEAST_OVER_NOISE: f64 = 16.0;
/// Least number of turns in the tone.
const LEAST_TURNS: f64 = 8.0;
/// Another line that near leaves neither alone, bins.
const NEAR_BINS: f64 = 6.0;
/// What an even change may be off by itself (the change of a hub is not quite even), bins.
const LEAST_UNCERTAINTY_BINS: f64 = 0.05;

/// Fills in how lines below 4 Hz move; `percent` is the course of the deviation at `rate_hz`.
pub(crate) fn add_movement(lines: &mut [FlutterLine], percent: &[f64], rate_hz: f64) {
    let whole_s = percent.len() as f64 / rate_hz;
    let places: Vec<(f64, f64)> = lines.iter().map(|line| (line.hz, line.percent_peak)).collect();
    for line in lines.iter_mut() {
        // A weak line close by is part of a strong one's skirt, and does not disturb it.
        let length_s = whole_s.min(longest_s(line.hz));
        let disturbed = places.iter().any(|&(hz, peak)| {
            hz != line.hz && (hz - line.hz).abs() < NEAR_BINS / length_s && peak > 0.2 * line.percent_peak
        });
        if line.hz > FASTEST_HZ || line.hz * length_s < LEAST_TURNS || disturbed {
            continue;
        }
        let frames = ((length_s * rate_hz) as usize).min(percent.len());
        let from = (percent.len() - frames) / 2;
        if let Some((change_bins, uncertainty_bins)) = change(&percent[from..from + frames], rate_hz, line.hz)
        {
            // Bins over the tone are Hz per (length squared).
            let per_minute = 60.0 / (length_s * length_s);
            line.drift_hz_per_min = Some(change_bins * per_minute);
            line.drift_uncertainty_hz_per_min = Some(uncertainty_bins * per_minute);
        }
    }
}

/// Length of a tone in which no reel that turns at `hz`, or makes it by a harmonic, changes by more than is looked for.
fn longest_s(hz: f64) -> f64 {
    let speed_mm_s = Medium::COMPACT_CASSETTE.speed_mm_s;
    let fastest_hz = Medium::COMPACT_CASSETTE.rotation_hz(PACK.least_mm);
    let order = (hz / fastest_hz).ceil().max(1.0);
    (MOST_CHANGE_BINS / (order * hub_change_hz_per_s(hz / order, TAPE_UM.1, speed_mm_s))).sqrt()
}

/// Change of rate over the whole course and its expanded uncertainty, in bins.
fn change(percent: &[f64], rate_hz: f64, hz: f64) -> Option<(f64, f64)> {
    let pieces = thinned(percent, rate_hz, hz)?;
    // Place in the tone, -1/2 to 1/2, and a Hann window over it.
    let count = pieces.len() as f64;
    let placed: Vec<(f64, Complex64)> = pieces
        .iter()
        .enumerate()
        .map(|(k, piece)| {
            let at = (k as f64 + 0.5) / count - 0.5;
            (at, piece * (1.0 + (TAU * at).cos()))
        })
        .collect();
    let beside = (BESIDE_BINS.0..BESIDE_BINS.1).flat_map(|bins| [bins as f64, -(bins as f64)]).map(|bins| {
        let turned = placed.iter().map(|(at, piece)| piece * Complex64::from_polar(1.0, -TAU * bins * at));
        turned.sum::<Complex64>().norm_sqr()
    });
    let noise = exponential_mean(beside);
    if !(noise > 0.0) {
        return None;
    }
    let steps = ((MOST_CHANGE_BINS + 2.0) / STEP_BINS) as i32;
    let rates = (WIDEST_BINS / STEP_BINS) as usize;
    let by_step: Vec<Complex64> =
        placed.iter().map(|(at, _)| Complex64::from_polar(1.0, -TAU * STEP_BINS * at)).collect();
    // Greatest power over all rates about the listed one, by parabola between the steps.
    let crest = |change_bins: f64| {
        let lowest = -WIDEST_BINS;
        let mut turned: Vec<Complex64> = placed
            .iter()
            .map(|(at, piece)| {
                piece * Complex64::from_polar(1.0, -TAU * (lowest * at + 0.5 * change_bins * at * at))
            })
            .collect();
        let mut row = Vec::with_capacity(2 * rates + 1);
        for _ in 0..=2 * rates {
            row.push(turned.iter().sum::<Complex64>().norm_sqr());
            turned.iter_mut().zip(&by_step).for_each(|(turned, step)| *turned *= step);
        }
        let best = (0..row.len()).max_by(|&a, &b| row[a].total_cmp(&row[b])).unwrap_or(0);
        match (best.checked_sub(1).map(|k| row[k]), row.get(best + 1)) {
            (Some(before), Some(&after)) => top_of_row([before, row[best], after]).1,
            _ => row[best],
        }
    };
    let crests: Vec<f64> = (-steps..=steps).map(|step| crest(f64::from(step) * STEP_BINS)).collect();
    let best = (0..crests.len()).max_by(|&a, &b| crests[a].total_cmp(&crests[b]))?;
    // At the edge the line moves more than is looked for, or is none.
    let around = [*crests.get(best.checked_sub(1)?)?, crests[best], *crests.get(best + 1)?];
    let (offset, highest) = top_of_row(around);
    if highest < LEAST_OVER_NOISE * noise {
        return None;
    }
    let curvature = (2.0 * around[1] - around[0] - around[2]) / (STEP_BINS * STEP_BINS) / noise;
    let change_bins = (best as f64 - f64::from(steps) + offset) * STEP_BINS;
    let uncertainty_bins = (2.0 / curvature.sqrt()).hypot(LEAST_UNCERTAINTY_BINS);
    (change_bins.is_finite() && uncertainty_bins.is_finite()).then_some((change_bins, uncertainty_bins))
}

/// The course turned back by `hz`, in [`PIECES`] pieces, each under a Hann window two pieces long.
fn thinned(percent: &[f64], rate_hz: f64, hz: f64) -> Option<Vec<Complex64>> {
    let hop = percent.len() / PIECES;
    if hop < 4 {
        return None;
    }
    let window: Vec<f64> =
        (0..2 * hop).map(|k| 1.0 - (TAU * (k as f64 + 0.5) / (2 * hop) as f64).cos()).collect();
    let step = Complex64::from_polar(1.0, -TAU * hz / rate_hz);
    let piece = |from: usize| {
        let start = (hz / rate_hz * from as f64).fract();
        let mut turn = Complex64::from_polar(1.0, -TAU * start);
        let mut sum = Complex64::new(0.0, 0.0);
        for (x, w) in percent[from..from + 2 * hop].iter().zip(&window) {
            sum += turn * (x * w);
            turn *= step;
        }
        sum
    };
    Some((0..PIECES - 1).map(|k| piece(k * hop)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::{Random, sampled};

    const RATE_HZ: f64 = 200.0;

    /// A line of 0.02 % that moves, a capstan's of 0.1 % and noise.
    fn course(hz: f64, change_hz: f64, length_s: f64, noise: f64, seed: u64) -> Vec<f64> {
        let mut random = Random(seed);
        sampled(RATE_HZ, (length_s * RATE_HZ) as usize, |t| {
            let from_middle = t - 0.5 * length_s;
            let turns = hz * t + 0.5 * change_hz / length_s * from_middle * from_middle;
            0.02 * (TAU * turns).sin() + 0.1 * (TAU * 6.06 * t).sin() + noise * (random.share() - 0.5)
        })
    }

    #[test]
    fn an_even_change_is_found_with_its_sign_within_its_uncertainty() {
        let (mut held, mut all, mut wrong_way) = (0, 0, 0);
        for (k, &(hz, change_hz, length_s)) in
            [(0.5, 0.02, 65.0), (0.5, -0.02, 65.0), (0.35, 0.006, 65.0), (0.6, 0.1, 180.0), (1.9, 0.0, 65.0)]
                .iter()
                .enumerate()
        {
            for seed in 0..20 {
                let percent = course(hz, change_hz, length_s, 0.2, 1 + seed + 100 * k as u64);
                let Some((bins, uncertainty)) = change(&percent, RATE_HZ, hz) else { continue };
                let want = change_hz * length_s;
                all += 1;
                held += usize::from((bins - want).abs() <= uncertainty);
                wrong_way += usize::from(bins.abs() > uncertainty && bins * want < 0.0);
            }
        }
        assert!(all >= 90, "{all}");
        // k = 2 means 95 of 100; of so many, five more outside are chance.
        assert!(held * 100 >= 90 * all, "{held} of {all}");
        assert_eq!(wrong_way, 0);
    }

    #[test]
    fn a_steady_line_beside_a_strong_one_does_not_move() {
        let percent = course(1.5, 0.0, 65.0, 0.01, 9);
        let (bins, uncertainty) = change(&percent, RATE_HZ, 1.5).unwrap();
        assert!(bins.abs() <= uncertainty && uncertainty < 0.1, "{bins} +- {uncertainty}");
    }

    #[test]
    fn too_short_a_course_tells_nothing() {
        assert!(change(&[0.0; 900], RATE_HZ, 0.5).is_none());
        assert!(change(&[0.0; 20_000], RATE_HZ, 0.5).is_none());
    }
}
