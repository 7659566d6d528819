//! Spectrum of the flutter, and single lines in it.
//!
//! A line is looked for at several resolutions: over the whole tone, where a steady line is sharpest, and over halves,
//! quarters and so on of it, where a line that moves (a reel hub turns faster as its pack shrinks) still stands in one
//! place. What the finer resolution has found explains what a coarser one shows, or the line is a smeared one.
//!
//! A steady line is subtracted as the sine that fits best, and the rest is searched again: under a window alone its
//! skirt hid 0.005 % at 0.3 Hz beside 0.5 %. Steady lines of 0.005 % peak, 0.3 Hz apart, are found in hiss 50 dB down
//! in 33 s, of 0.05 % and more in 10 s (`tests/flutter/lines.rs`; `pair.rs` tells the nearest apart). A line that moves
//! evenly is stated with its power to 2 % and its range to 10 %.

use crate::measure::flutter::deviation::{Course, one_sided};
use crate::measure::flutter::movement::add_movement;
use crate::measure::flutter::pair::Bins;
use crate::reading::FlutterLine;
use crate::signal::last_fast_length;
use crate::signal::statistics::{mean, median};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Lines weaker than this are not listed, percent peak.
const LEAST_LINE_PERCENT: f64 = 0.002;
/// Lines that are listed at most.
const MOST_LINES: usize = 20;
/// Standard deviations of a normal variate by which a line exceeds the floor. At the finest of five resolutions noise does so once
/// in 10^7 values; a tone of a minute has some 3 x 10^4 of them, so that about one reading in a hundred lists a false line.
const CLEARANCE: f64 = 5.2;
/// Coarsest resolution, s: shorter pieces tell nothing that a deck's part could be known by.
const SHORTEST_S: f64 = 2.0;
/// Bins that a line must lie above 0 Hz at any but the finest resolution: a smeared line is narrower than some
/// eighth of its rate.
const LEAST_BINS: usize = 30;
/// Bins on either side that belong to a line (Hann window).
const OWN: usize = 3;
/// Times that found lines are subtracted and the rest is searched.
const ROUNDS: usize = 3;
/// Bins from a line that was subtracted within which its remains are not taken for another.
const APART: f64 = 4.5;
/// Share of a coarser line's power that one steady line must have to explain it: noise about it makes up the rest.
const EXPLAINED_BY_ONE: f64 = 0.7;
/// The same of a smeared line, or of several: less would leave out the ends of the range that it moves over.
const EXPLAINED: f64 = 0.93;
/// Bins within which lines disturb each other.
const BESIDE: f64 = 7.0;

/// A line as it is found.
#[derive(Clone, Copy)]
struct Found {
    hz: f64,
    /// Mean square, percent squared.
    power: f64,
    /// Range of rates, Hz; 0 for a steady line.
    width_hz: f64,
}

/// Mean squares bin by bin at one resolution.
struct Resolution {
    step_hz: f64,
    /// Bin `k` is at `k * step_hz`.
    power: Vec<f64>,
    /// Independent pieces that were averaged.
    pieces: f64,
    /// Up to here lines are looked for, Hz.
    highest_hz: f64,
}

impl Resolution {
    fn of(percent: &[f64], rate_hz: f64, length: usize, highest_hz: f64) -> Option<Self> {
        let hop = if length < percent.len() { length / 2 } else { length };
        let starts = (0..=percent.len().checked_sub(length)?).step_by(hop.max(1));
        let mut power = Vec::new();
        let mut count = 0.0;
        for from in starts {
            let bins = one_sided(&percent[from..from + length], rate_hz);
            power.resize(bins.len() + 1, 0.0);
            for (sum, bin) in power[1..].iter_mut().zip(&bins) {
                *sum += bin.1;
            }
            count += 1.0;
        }
        power.iter_mut().for_each(|sum| *sum /= count);
        // Neighbours under a Hann window at half overlap resemble each other by a sixth (Welch 1967).
        let pieces = count / (1.0 + 2.0 * (count - 1.0) / count / 36.0);
        Some(Self { step_hz: rate_hz / length as f64, power, pieces, highest_hz })
    }

    /// Quantile of the mean of exponential variates (mean 1) that lies `deviations` above the median of a normal one
    /// (Wilson and Hilferty 1931).
    fn quantile(&self, deviations: f64) -> f64 {
        let ninth = 1.0 / (9.0 * self.pieces);
        (1.0 - ninth + deviations * ninth.sqrt()).powi(3)
    }

    /// Mean noise about bin `k`: the greater of what lies below and above it, so that no edge of a band makes a line.
    fn floor(&self, k: usize, width: usize) -> f64 {
        let beside = |from: usize, to: usize| {
            let to = to.min(self.power.len());
            if to < from + 8 { 0.0 } else { median(&self.power[from..to]) }
        };
        let below = beside(k.saturating_sub(OWN + width).max(1), k.saturating_sub(OWN));
        below.max(beside(k + OWN + 1, k + OWN + 1 + width)) / self.quantile(0.0)
    }

    fn floor_at(&self, k: usize) -> f64 {
        // Two hertz about, or half the rate: as many bins as still see the same spectrum.
        let wide = (2.0f64.min(0.5 * k as f64 * self.step_hz) / self.step_hz) as usize;
        self.floor(k, wide.max(40))
    }

    /// Bins that stand above all their neighbours and above the noise.
    fn peaks(&self, first: usize) -> Vec<(usize, f64)> {
        let last = ((self.highest_hz / self.step_hz) as usize).min(self.power.len().saturating_sub(OWN + 1));
        let enough = self.quantile(CLEARANCE);
        (first.max(OWN + 1)..=last)
            .filter(|&k| (k - OWN..=k + OWN).all(|m| self.power[m] <= self.power[k]))
            .filter_map(|k| {
                let floor = self.floor_at(k);
                // The skirt of a strong line that wanders is no line: close by, it must stand out as well.
                let near = self.floor(k, 12);
                (self.power[k] > enough * floor && self.power[k] > 0.4 * enough * near).then_some((k, floor))
            })
            .collect()
    }

    /// Power above `floor` between two bins, its middle and its spread (standard deviation), Hz.
    fn line(&self, from: usize, to: usize, floor: f64) -> (f64, f64, f64) {
        let (mut sum, mut moment, mut square) = (0.0, 0.0, 0.0);
        for k in from..=to.min(self.power.len() - 1) {
            let (hz, power) = (k as f64 * self.step_hz, (self.power[k] - floor).max(0.0));
            sum += power;
            moment += power * hz;
            square += power * hz * hz;
        }
        let hz = moment / sum;
        (sum, hz, (square / sum - hz * hz).max(0.0).sqrt())
    }
}

/// Single lines, strongest first.
pub(crate) fn lines(course: &Course) -> Vec<FlutterLine> {
    let percent = quickly(&course.percent);
    let n = percent.len();
    let [lowest_hz, _, highest_hz] = course.band_hz;
    let Some(finest) = Resolution::of(percent, course.rate_hz, n, highest_hz) else { return Vec::new() };
    if finest.power.len() < 64 {
        return Vec::new();
    }
    let mut found = sharp(&finest);
    // A strong steady line's skirt hides weak ones beside it: it is subtracted, and the residual is looked at again.
    let mut residual = percent.to_vec();
    let window: Vec<f64> = (0..n).map(|k| 1.0 - (TAU * (k as f64 + 0.5) / n as f64).cos()).collect();
    let mut new = found.clone();
    for _ in 0..ROUNDS {
        let steady = new.iter().filter(|line| line.width_hz == 0.0);
        if steady.map(|line| subtract(&mut residual, &window, line.hz / course.rate_hz)).count() == 0 {
            break;
        }
        let Some(finer) = Resolution::of(&residual, course.rate_hz, n, highest_hz) else { break };
        let apart_hz = APART * finer.step_hz;
        let known = |line: &Found| found.iter().any(|known| (known.hz - line.hz).abs() < apart_hz);
        new = sharp(&finer).into_iter().filter(|line| !known(line)).collect();
        found.extend(&new);
    }
    let mut length = n / 2;
    while length as f64 > SHORTEST_S * course.rate_hz {
        if let Some(coarse) = Resolution::of(percent, course.rate_hz, length, highest_hz) {
            smear(&coarse, &finest, &mut found);
        }
        length /= 2;
    }
    tell_apart(&Bins::of(percent, course.rate_hz), &finest, &mut found);
    let mut lines: Vec<FlutterLine> = found
        .into_iter()
        .filter(|line| line.hz >= lowest_hz)
        .map(|line| FlutterLine {
            hz: line.hz,
            percent_peak: (2.0 * line.power).sqrt(),
            width_hz: (line.width_hz > 0.0).then_some(line.width_hz),
            drift_hz_per_min: None,
            drift_uncertainty_hz_per_min: None,
            part: None,
            harmonic: None,
            could_be: false,
        })
        .filter(|line| line.percent_peak >= LEAST_LINE_PERCENT)
        .collect();
    lines.sort_by(|a, b| b.percent_peak.total_cmp(&a.percent_peak));
    lines.truncate(MOST_LINES);
    add_movement(&mut lines, &course.percent, course.rate_hz);
    lines
}

/// Lines of the finest resolution; peaks without a valley between them are one line.
fn sharp(finest: &Resolution) -> Vec<Found> {
    let mut groups: Vec<(usize, usize, f64)> = Vec::new();
    for (k, floor) in finest.peaks(1) {
        if let Some(last) = groups.last_mut() {
            let lower = finest.power[k].min(finest.power[last.1]);
            let valley = finest.power[last.1..=k].iter().copied().fold(f64::INFINITY, f64::min);
            if valley > 0.1 * lower && valley > 8.0 * floor {
                last.1 = k;
                last.2 = last.2.max(floor);
                continue;
            }
        }
        groups.push((k, k, floor));
    }
    groups
        .into_iter()
        .map(|(from, to, floor)| {
            // A steady line's neighbours stand above a twentieth of it in five bins at most.
            let enough = (0.05 * finest.power[from].max(finest.power[to])).max(8.0 * floor);
            let stands = |k: &usize| finest.power[*k] > enough;
            let from = (1..=from).rev().take_while(stands).last().unwrap_or(from);
            let to = (to..finest.power.len()).take_while(stands).last().unwrap_or(to);
            let (power, hz, spread) = finest.line(from.saturating_sub(2).max(1), to + 2, floor);
            Found { hz, power, width_hz: if to - from > 4 { width(spread, finest.step_hz) } else { 0.0 } }
        })
        .collect()
}

/// Puts two lines in for each that is a pair, and for each two whose rates pull at each other; among more, lines stay what
/// they are.
fn tell_apart(bins: &Bins, finest: &Resolution, found: &mut Vec<Found>) {
    found.sort_by(|a, b| a.hz.total_cmp(&b.hz));
    let beside = |a: &Found, b: &Found| b.hz - a.hz <= BESIDE * finest.step_hz;
    let told: Vec<Found> = found
        .chunk_by(beside)
        .flat_map(|group| {
            let hz = mean(group.iter().map(|line| line.hz));
            let near =
                group.len() == 1 || group.len() == 2 && group[1].hz - group[0].hz < APART * finest.step_hz;
            let floor = finest.floor_at((hz / finest.step_hz).round() as usize);
            let pair = if near { bins.pair(hz, floor) } else { None };
            let of =
                |pair: [(f64, f64); 2]| pair.map(|(hz, power)| Found { hz, power, width_hz: 0.0 }).to_vec();
            pair.map_or_else(|| group.to_vec(), of)
        })
        .collect();
    *found = told;
}

/// The course but for less than a hundredth at its end, of a length that transforms quickly, and half of it and so on, too.
fn quickly(percent: &[f64]) -> &[f64] {
    let length = last_fast_length(percent.len(), 32);
    if length > 0 { &percent[..length] } else { percent }
}

/// Turns of a sine of `cycles` a sample that are made by multiplication before the next is made afresh.
const TURNS: usize = 256;

/// Takes the sine of `cycles` a sample off that fits best under a Hann `window` (mean 1).
fn subtract(values: &mut [f64], window: &[f64], cycles: f64) {
    let step = Complex64::from_polar(1.0, TAU * cycles);
    let fresh = |block: usize| Complex64::from_polar(1.0, TAU * (cycles * (block * TURNS) as f64).fract());
    let mut share = Complex64::new(0.0, 0.0);
    for (block, (values, window)) in values.chunks(TURNS).zip(window.chunks(TURNS)).enumerate() {
        let mut turn = fresh(block);
        for (x, w) in values.iter().zip(window) {
            share += turn.conj() * (x * w);
            turn *= step;
        }
    }
    share *= 2.0 / values.len() as f64;
    for (block, values) in values.chunks_mut(TURNS).enumerate() {
        let mut turn = fresh(block);
        for value in values {
            *value -= (turn * share).re;
            turn *= step;
        }
    }
}

/// Full width of the range that a rate moves over evenly, from the standard deviation of its power; the window's own share
/// subtracted.
fn width(spread_hz: f64, step_hz: f64) -> f64 {
    // The power of a Hann window's line has a standard deviation of 0.58 bins. An even course under the window's square has
    // one of 0.1414 of its length.
    1.0 / 0.1414 * (spread_hz.powi(2) - (0.58 * step_hz).powi(2)).max(0.01 * step_hz * step_hz).sqrt()
}

/// Puts smeared lines in for whatever of this resolution's lines is not explained by `found`.
fn smear(coarse: &Resolution, finest: &Resolution, found: &mut Vec<Found>) {
    for (k, floor) in coarse.peaks(LEAST_BINS) {
        let (power, hz, _) = coarse.line(k - 2, k + 2, floor);
        let reach_hz = 2.5 * coarse.step_hz;
        let explained = |line: &Found| (line.hz - hz).abs() <= reach_hz;
        let known: Vec<Found> = found.iter().copied().filter(explained).collect();
        let sum: f64 = known.iter().map(|line| line.power).sum();
        let one = known.len() == 1 && known[0].width_hz == 0.0;
        if sum >= if one { EXPLAINED_BY_ONE } else { EXPLAINED } * power && known.len() <= 3 {
            continue;
        }
        found.retain(|line| !explained(line));
        let bin = |hz: f64| (hz / finest.step_hz).round().max(1.0) as usize;
        // The same floor in the finer bins: a density.
        let floor = floor * finest.step_hz / coarse.step_hz;
        let (fine, fine_hz, spread) = finest.line(bin(hz - reach_hz), bin(hz + reach_hz), floor);
        let place = if fine > 0.0 { fine_hz } else { hz };
        found.push(Found { hz: place, power, width_hz: width(spread, finest.step_hz) });
    }
}

/// Percent rms, line by line: 0.1 Hz apart up to 20 Hz, 1 Hz above; and the bandwidth of each, Hz.
pub(crate) fn spectrum(course: &Course) -> (Vec<[f64; 2]>, Vec<f64>) {
    let bins = one_sided(quickly(&course.percent), course.rate_hz);
    let step_hz = bins.first().map_or(0.0, |bin| bin.0);
    let (mut rows, mut widths_hz): (Vec<[f64; 2]>, Vec<f64>) = Default::default();
    for (hz, power) in bins.into_iter().filter(|bin| bin.0 >= course.band_hz[0] && bin.0 <= course.band_hz[2])
    {
        let grid = if hz < 20.0 { (hz * 10.0).round() / 10.0 } else { hz.round() };
        match rows.last_mut() {
            Some(last) if (last[0] - grid).abs() < 1e-9 => last[1] += power,
            _ => {
                rows.push([grid, power]);
                widths_hz.push(0.0);
            }
        }
        if let Some(width_hz) = widths_hz.last_mut() {
            *width_hz += step_hz;
        }
    }
    (rows.into_iter().map(|[hz, power]| [hz, power.sqrt()]).collect(), widths_hz)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::flutter::deviation::BAND_HZ;
    use crate::signal::test_signals::white;

    #[test]
    fn noise_of_one_density_reads_alike_below_and_above_the_change_of_bandwidth() {
        let course = Course {
            percent: white(1.0, 60_000, 1),
            cycles: vec![],
            rate_hz: 1000.0,
            band_hz: BAND_HZ,
            noise_at_1hz: 0.0,
            drift_percent_per_min: 0.0,
            bridged: 0.0,
            shares: [0.5; 2],
        };
        let (rows, widths_hz) = spectrum(&course);
        assert_eq!(rows.len(), widths_hz.len());
        // Up to an edge of the band in the middle of a row.
        let all: f64 = widths_hz.iter().sum();
        assert!((all - (BAND_HZ[2] - BAND_HZ[0])).abs() < 0.5, "{all}");
        let density = |from_hz: f64, to_hz: f64| {
            let inside = rows.iter().zip(&widths_hz).filter(|(row, _)| row[0] >= from_hz && row[0] <= to_hz);
            mean(inside.map(|(row, width_hz)| row[1].powi(2) / width_hz).collect::<Vec<_>>())
        };
        // 100 rows of 6 bins, 80 of 60: 4 and 1.4 %, thrice.
        let ratio = density(10.0, 19.9) / density(20.0, 99.0);
        assert!((ratio - 1.0).abs() < 0.13, "{ratio}");
    }
}
