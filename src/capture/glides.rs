//! Continuous sweeps: the strongest line of each frame, followed while it moves one way.

use super::lines::Frames;
use super::tracks::db;
use crate::signal::fit::Line;
use crate::signal::statistics::{median, rms};
use std::ops::Range;

/// A sweep spans at least this many octaves ...
const LEAST_OCTAVES: f64 = 1.5;
/// ... and this long, s.
const LEAST_S: f64 = 1.0;
/// A point lies this near to where the points before it lead, octaves, beside a bin.
const NEAR_OCTAVES: f64 = 0.05;
/// Off an even sweep by more than this (rms), it is not even in octaves per second.
const EVEN_OCTAVES: f64 = 0.03;

/// A continuous sweep as it came back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Glide {
    /// First time it was seen, s of the return.
    pub from_s: f64,
    /// Last time, s of the return.
    pub to_s: f64,
    /// Frequency there, Hz.
    pub from_hz: f64,
    /// Frequency there, Hz.
    pub to_hz: f64,
    /// It moves by equal octaves in equal times, so that its frequency is known at every moment.
    pub even: bool,
    /// Median level, dBFS, of both channels together less 3 dB.
    pub dbfs: f64,
}

/// Sweeps in the frames that are not `taken` by tones.
pub(super) fn glides(frames: &Frames, taken: &[Range<usize>]) -> Vec<Glide> {
    let free = |k: usize| !taken.iter().any(|range| range.contains(&k));
    // (time s, octaves above 1 Hz, uncertainty octaves, power)
    let points: Vec<Option<(f64, f64, f64, f64)>> = frames
        .frames
        .iter()
        .enumerate()
        .map(|(k, frame)| {
            let strongest = frame.lines.first().filter(|_| free(k))?;
            let uncertainty = 0.8 * frames.step_hz / strongest.hz * std::f64::consts::LOG2_E;
            Some((frames.at_s(k), strongest.hz.log2(), uncertainty, strongest.both()))
        })
        .collect();
    let mut found: Vec<Glide> = Vec::new();
    let mut from = 0;
    while from < points.len() {
        let Some(start) = points[from] else {
            from += 1;
            continue;
        };
        let mut run = vec![start];
        let mut missing = 0;
        for point in &points[from + 1..] {
            let fits = point.filter(|point| {
                if run.len() < 3 {
                    return (point.1 - run[run.len() - 1].1).abs() < 0.4;
                }
                let line = Line::through(run[run.len().saturating_sub(5)..].iter().map(|p| (p.0, p.1)));
                (line.at(point.0) - point.1).abs()
                    < NEAR_OCTAVES + 2.0 * point.2 + 0.3 * line.slope.abs() * frames.hop_s
            });
            match fits {
                Some(point) => {
                    run.push(point);
                    missing = 0;
                }
                None if missing < 4 => missing += 1,
                None => break,
            }
        }
        match glide(&run) {
            Some(glide) => {
                while from < points.len() && frames.at_s(from) <= glide.to_s {
                    from += 1;
                }
                found.push(glide);
            }
            None => from += 1,
        }
    }
    found
}

/// The run as a sweep, if it is long and wide enough and moves one way.
fn glide(run: &[(f64, f64, f64, f64)]) -> Option<Glide> {
    let (first, last) = (run.first()?, run.last()?);
    let octaves = last.1 - first.1;
    if run.len() < 10 || last.0 - first.0 < LEAST_S || octaves.abs() < LEAST_OCTAVES {
        return None;
    }
    let backwards = run
        .windows(2)
        .filter(|pair| (pair[1].1 - pair[0].1) * octaves.signum() < -(0.5 * pair[1].2).max(0.01))
        .count();
    if backwards * 12 > run.len() {
        return None;
    }
    // The lowest points are the least sure, and a bin wide.
    let sure: Vec<(f64, f64)> = run.iter().filter(|p| p.2 < 0.05).map(|p| (p.0, p.1)).collect();
    if sure.len() <= 6 {
        return None;
    }
    let line = Line::through(sure.iter().copied());
    let even = rms(sure.iter().map(|p| line.at(p.0) - p.1)) < EVEN_OCTAVES;
    let place = |p: &(f64, f64, f64, f64)| 2f64.powf(if even { line.at(p.0) } else { p.1 });
    let level = median(run.iter().map(|p| db(p.3)));
    Some(Glide {
        from_s: first.0,
        to_s: last.0,
        from_hz: place(first),
        to_hz: place(last),
        even,
        dbfs: level,
    })
}
