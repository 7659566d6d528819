//! Lines followed from frame to frame, and which of them are steady tones of a test recording.
//!
//! A test tone is one line that keeps its frequency and level, with nothing but its own harmonics, hum and hiss beside it.
//! Squares and pulses have strong harmonics and an even level. A held note of music has company, or a level that moves;
//! speech keeps no frequency for long.

use super::lines::{Frame, Frames, Line, NEAR, OWN};
use crate::signal::statistics::{mean, median, quantile};
use std::ops::Range;

/// Shortest tone that is looked for, s.
pub(super) const SHORTEST_S: f64 = 1.1;
/// A track may be missing for this long, s: dropouts.
const GAP_S: f64 = 0.45;
/// A track of fewer points than this has shown nothing yet: a gap ends it.
const YOUNG: usize = 10;
/// From frame to frame a track moves by no more than this share of its frequency, beside three quarters of a bin.
const MOVES: f64 = 0.016;
/// A tone stays within this share of its median frequency, beside a bin.
const STEADY: f64 = 0.02;
/// Over its whole length a tone drifts by no more than this share: tapes that start late, not glides.
const DRIFTS: f64 = 0.015;
/// A jump of level by this much, dB, with both sides steady, makes two tones of one; a channel that ends before the other
/// is 3 dB.
const JUMP_DB: f64 = 4.0;
/// Another line must be weaker than a tone by this much, dB, if it is not its harmonic.
const ALONE_DB: f64 = 20.0;
/// All harmonics together are weaker than a pure tone by this much, dB: 14 % is more than tape bears; squares, pulses and
/// notes have more.
const HARMONICS_DB: f64 = 15.0;
/// The level of squares and pulses stays within this, dB (80 % of the time): that of a note does not.
const RICH_EVEN_DB: f64 = 2.5;
/// All that sounds near a tone is weaker than the tone by this much, dB.
const COMPANY_DB: f64 = 10.0;
/// Where that is asked, Hz: hum lies near lower tones, hiss near higher ones.
const COMPANY_HZ: Range<f64> = 250.0..5000.0;
/// The same before it is known what is usual in the recording.
const COMPANY_ALWAYS_HZ: Range<f64> = 700.0..5000.0;
/// Frames with company that do not end a tone: clicks.
const CLICK_FRAMES: usize = 1;

/// One line followed.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Track {
    /// Frame and line, in order.
    pub points: Vec<(usize, Line)>,
}

impl Track {
    pub fn first(&self) -> usize {
        self.points.first().map_or(0, |point| point.0)
    }

    pub fn last(&self) -> usize {
        self.points.last().map_or(0, |point| point.0)
    }

    /// Frames from first to last.
    pub fn length(&self) -> usize {
        self.last() - self.first() + 1
    }

    /// Median frequency, Hz.
    pub fn hz(&self) -> f64 {
        median(self.points.iter().map(|point| point.1.hz))
    }

    /// Median level, dB re full-scale mean square.
    pub fn db(&self) -> f64 {
        median(self.points.iter().map(|point| db(point.1.both())))
    }

    fn overlap(&self, other: &Self) -> usize {
        (self.last().min(other.last()) + 1).saturating_sub(self.first().max(other.first()))
    }
}

pub(super) fn db(power: f64) -> f64 {
    10.0 * power.max(1e-20).log10()
}

/// Follows all lines; tracks shorter than half a tone are left out.
fn follow(frames: &Frames) -> Vec<Track> {
    let gap = frames.count(GAP_S);
    let least = frames.count(SHORTEST_S / 2.0);
    let mut open: Vec<Track> = Vec::new();
    let mut done: Vec<Track> = Vec::new();
    for (k, frame) in frames.frames.iter().enumerate() {
        let mut free = vec![true; frame.lines.len()];
        // The longest track chooses first.
        open.sort_by_key(|track| std::cmp::Reverse(track.points.len()));
        for track in &mut open {
            // Over its last few points a noisy line has a surer place.
            let recent = &track.points[track.points.len().saturating_sub(3)..];
            let hz = mean(recent.iter().map(|point| point.1.hz));
            let reach_hz = (MOVES * hz).max(0.75 * frames.step_hz);
            let nearest = frame
                .lines
                .iter()
                .enumerate()
                .filter(|(n, line)| free[*n] && (line.hz - hz).abs() <= reach_hz)
                .min_by(|a, b| (a.1.hz - hz).abs().total_cmp(&(b.1.hz - hz).abs()));
            if let Some((n, line)) = nearest {
                free[n] = false;
                track.points.push((k, *line));
            }
        }
        let (still, over): (Vec<Track>, Vec<Track>) = open
            .into_iter()
            .partition(|track| k - track.last() <= if track.points.len() < YOUNG { 1 } else { gap });
        done.extend(over.into_iter().filter(|track| track.length() >= least));
        open = still;
        open.extend(
            frame
                .lines
                .iter()
                .zip(free)
                .filter(|(_, free)| *free)
                .map(|(line, _)| Track { points: vec![(k, *line)] }),
        );
    }
    done.extend(open.into_iter().filter(|track| track.length() >= least));
    done
}

/// How far the level of a tone may move, dB: treble under a wandering azimuth moves more.
fn moves_db(hz: f64) -> f64 {
    if hz < 6000.0 { 2.5 } else { 5.0 }
}

/// The track without what a voice before or behind the tone left at its ends: it begins and ends with a row of frames
/// that have the tone's level and frequency.
fn core(mut track: Track, frames: &Frames) -> Option<Track> {
    const ROW: usize = 8;
    let (hz, level) = (track.hz(), track.db());
    let good: Vec<bool> = track
        .points
        .iter()
        .map(|(_, line)| {
            (db(line.both()) - level).abs() < moves_db(hz)
                && (line.hz - hz).abs() < (STEADY * hz).max(frames.step_hz)
        })
        .collect();
    let row = |from: usize| {
        let points = track.points.get(from..from + ROW)?;
        let sound = good[from..from + ROW].iter().filter(|good| **good).count() + 1 >= ROW;
        (sound && points[ROW - 1].0 - points[0].0 <= ROW).then_some(())
    };
    let last = (track.points.len() + 1).checked_sub(ROW)?;
    let from = (0..last).find(|&k| good[k] && row(k).is_some())?;
    let to = (from..last).rev().find(|&k| good[k + ROW - 1] && row(k).is_some())? + ROW;
    track.points.truncate(to);
    track.points.drain(..from);
    Some(track)
}

/// Cuts a track where its level jumps and keeps: two tones of one frequency without a pause between.
fn at_jumps(track: Track, frames: &Frames) -> Vec<Track> {
    let side = frames.count(0.7);
    let levels: Vec<f64> = track.points.iter().map(|point| db(point.1.both())).collect();
    if levels.len() < 2 * side + 2 {
        return vec![track];
    }
    let jump = (side..levels.len() - side)
        .map(|k| {
            let (before, after) = (&levels[k - side..k], &levels[k + 1..(k + 1 + side).min(levels.len())]);
            let spread = |values: &[f64]| quantile(values, 0.85) - quantile(values, 0.15);
            let by = (median(before) - median(after)).abs();
            (k, by, by > JUMP_DB && spread(before).max(spread(after)) < 0.4 * by)
        })
        .filter(|jump| jump.2)
        .max_by(|a, b| a.1.total_cmp(&b.1));
    let Some((k, _, _)) = jump else { return vec![track] };
    let (before, after) = track.points.split_at(k);
    [before, &after[1..]]
        .into_iter()
        .flat_map(|points| at_jumps(Track { points: points.to_vec() }, frames))
        .collect()
}

/// Whether frequency and level keep as those of a tone do.
fn is_steady(track: &Track, frames: &Frames) -> bool {
    if track.length() < frames.count(SHORTEST_S) || track.points.len() * 4 < track.length() * 3 {
        return false;
    }
    let (hz, level) = (track.hz(), track.db());
    let inner = &track.points[1..track.points.len() - 1];
    let near =
        inner.iter().filter(|point| (point.1.hz - hz).abs() < (STEADY * hz).max(frames.step_hz)).count();
    let level_keeps = inner.iter().filter(|point| (db(point.1.both()) - level).abs() < moves_db(hz)).count();
    let third = (track.points.len() / 3).max(1);
    let part_hz = |points: &[(usize, Line)]| median(points.iter().map(|point| point.1.hz));
    let drift = part_hz(&track.points[track.points.len() - third..]) - part_hz(&track.points[..third]);
    near * 20 >= inner.len() * 17
        && level_keeps * 20 >= inner.len() * 15
        && drift.abs() < (DRIFTS * hz).max(0.7 * frames.step_hz)
}

/// Whether `hz` lies at a multiple of `fundamental_hz`, from the first on.
fn is_multiple(hz: f64, fundamental_hz: f64, step_hz: f64) -> bool {
    let order = (hz / fundamental_hz).round();
    order >= 1.0 && (hz - order * fundamental_hz).abs() < (0.012 * hz).max(1.2 * step_hz)
}

/// Whether the line of `track` is there at its level while other, stronger tones sound: hum, a pilot, a whistle.
fn is_always_there(track: &Track, steady: &[Track], frames: &Frames) -> bool {
    let (hz, level) = (track.hz(), track.db());
    let (mut seen, mut there) = (0, 0);
    for other in steady {
        // A harmonic comes and goes with its tone.
        if other.db() < level + 6.0 || is_multiple(hz, other.hz(), frames.step_hz) {
            continue;
        }
        for frame in &frames.frames[other.first()..=other.last()] {
            seen += 1;
            there += usize::from(frame.lines.iter().any(|line| {
                (line.hz - hz).abs() < (0.01 * hz).max(1.2 * frames.step_hz)
                    && (db(line.both()) - level).abs() < 6.0
            }));
        }
    }
    seen >= frames.count(1.0) && there * 5 > seen * 2
}

/// Whether nothing but the tone, its harmonics and what is `usual` sounds in a frame.
fn is_alone(hz: f64, frame: &Frame, usual: &[f64], step_hz: f64) -> bool {
    let own = |line: &&Line| (line.hz - hz).abs() < (0.03 * hz).max(2.0 * step_hz);
    let is_usual = |line: &&Line| usual.iter().any(|&other| (line.hz - other).abs() < 1.5 * step_hz);
    let Some(tone) = frame.lines.iter().find(own) else { return false };
    let weaker = |db: f64| tone.both() * 10f64.powf(-db / 10.0);
    let others = || frame.lines.iter().filter(|line| !own(line) && !is_usual(line));
    if others()
        .any(|line| line.both() > weaker(ALONE_DB) && !(line.hz > hz && is_multiple(line.hz, hz, step_hz)))
    {
        return false;
    }
    let usual_near: f64 = frame
        .lines
        .iter()
        .filter(|line| is_usual(line) && (line.hz - hz).abs() > OWN * hz && NEAR.contains(&(line.hz / hz)))
        .map(Line::both)
        .sum();
    !COMPANY_HZ.contains(&hz) || tone.near - usual_near < weaker(COMPANY_DB)
}

/// Whether harmonics of the tone are as strong as those of squares, pulses and notes.
fn is_rich(hz: f64, frame: &Frame, step_hz: f64) -> bool {
    let (mut own, mut harmonics) = (0.0, 0.0);
    for line in &frame.lines {
        if (line.hz - hz).abs() < (0.03 * hz).max(2.0 * step_hz) {
            own += line.both();
        } else if line.hz > hz && is_multiple(line.hz, hz, step_hz) {
            harmonics += line.both();
        }
    }
    harmonics > own * 10f64.powf(-HARMONICS_DB / 10.0)
}

/// Whether a track is one of several components of hum: other multiples of the mains' frequency stand beside it.
fn is_hum(track: &Track, frames: &Frames) -> bool {
    const ORDERS: f64 = 6.0;
    const BESIDE_DB: f64 = 12.0;
    let hz = track.hz();
    let on_grid = |hz: f64, mains_hz: f64| {
        let order = (hz / mains_hz).round();
        (1.0..=ORDERS).contains(&order) && (hz - order * mains_hz).abs() < 0.3 * frames.step_hz + 0.005 * hz
    };
    [50.0, 60.0].into_iter().filter(|&mains_hz| on_grid(hz, mains_hz)).any(|mains_hz| {
        let beside = track.points.iter().filter(|(k, own)| {
            let least = own.both() * 10f64.powf(-BESIDE_DB / 10.0);
            let other =
                |line: &&Line| (line.hz / hz - 1.0).abs() > 0.1 && !is_multiple(line.hz, hz, frames.step_hz);
            frames.frames[*k]
                .lines
                .iter()
                .filter(other)
                .any(|line| line.both() > least && on_grid(line.hz, mains_hz))
        });
        beside.count() * 2 > track.points.len()
    })
}

/// Cuts a track into what lies between frames that are not `good`; a gap of the track itself does not cut it.
fn runs(track: &Track, good: impl Fn(&(usize, Line)) -> bool) -> Vec<Track> {
    let mut runs: Vec<Track> = Vec::new();
    let mut bad = CLICK_FRAMES + 1;
    for point in &track.points {
        if !good(point) {
            bad += 1;
            continue;
        }
        match runs.last_mut() {
            Some(run) if bad <= CLICK_FRAMES => run.points.push(*point),
            _ => runs.push(Track { points: vec![*point] }),
        }
        bad = 0;
    }
    runs
}

/// Frequencies, Hz, at which a line stands in a third or more of all frames that hold no tone there.
fn always(frames: &Frames, steady: &[Track]) -> Vec<f64> {
    let Some(first) = steady.first() else { return vec![] };
    let mut own: Vec<Option<f64>> = vec![None; frames.frames.len()];
    for track in std::iter::once(first).chain(&steady[1..]) {
        own[track.first()..=track.last()].iter_mut().for_each(|slot| *slot = Some(track.hz()));
    }
    let mut counts = std::collections::BTreeMap::<i64, usize>::new();
    for (frame, own) in frames.frames.iter().zip(&own) {
        for line in &frame.lines {
            // A tone's own harmonics would count as always there on a recording of one tone.
            if own.is_none_or(|own| !is_multiple(line.hz, own, frames.step_hz)) {
                *counts.entry((line.hz / frames.step_hz).round() as i64).or_default() += 1;
            }
        }
    }
    let with =
        |bin: &i64| (bin - 1..=bin + 1).map(|bin| counts.get(&bin).copied().unwrap_or(0)).sum::<usize>();
    counts
        .keys()
        .filter(|bin| with(bin) * 3 > frames.frames.len())
        .map(|&bin| bin as f64 * frames.step_hz)
        .collect()
}

/// A tone by its track.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Steady {
    pub track: Track,
    /// It has strong harmonics, as squares and pulses have.
    pub rich: bool,
}

/// The tones of a recording by their tracks, in order of time, and steady tracks that were taken for something else.
pub(super) fn tones(frames: &Frames) -> (Vec<Steady>, Vec<Track>) {
    let steadies = |track: Track| -> Vec<Track> {
        at_jumps(track, frames)
            .into_iter()
            .filter_map(|track| core(track, frames))
            .filter(|track| is_steady(track, frames))
            .collect()
    };
    let steady: Vec<Track> = follow(frames)
        .into_iter()
        .flat_map(|track| {
            // Data takes a track over that begins as a tone: what is alone is looked at by itself.
            let alone = |point: &(usize, Line)| {
                let line = &point.1;
                !COMPANY_ALWAYS_HZ.contains(&line.hz)
                    || line.near < line.both() * 10f64.powf(-COMPANY_DB / 10.0)
            };
            let pieces = runs(&track, alone);
            let mut found: Vec<Track> = pieces.into_iter().flat_map(steadies).collect();
            if found.is_empty() {
                found = steadies(track);
            }
            found
        })
        .collect();
    let mut tones: Vec<Track> =
        steady.iter().filter(|track| !is_always_there(track, &steady, frames)).cloned().collect();
    // Of what sounds at the same time the strongest is the tone, unless it is long and the other one is shorter: then
    // that is for `is_alone` to say.
    tones.sort_by(|a, b| b.db().total_cmp(&a.db()));
    let mut kept: Vec<Track> = Vec::new();
    for track in tones {
        if kept.iter().all(|other| track.overlap(other) * 3 < track.length()) {
            kept.push(track);
        }
    }
    let usual = always(frames, &kept);
    let (mut tones, mut others): (Vec<Steady>, Vec<Track>) = Default::default();
    for track in kept {
        let hz = track.hz();
        if is_hum(&track, frames) {
            others.push(track);
            continue;
        }
        let alone = |point: &(usize, Line)| is_alone(hz, &frames.frames[point.0], &usual, frames.step_hz);
        // Mostly alone it is one tone with a click or a voice in it; otherwise what is alone is looked for.
        let mostly = track.points.iter().filter(|point| alone(point)).count() * 20 >= track.points.len() * 17;
        let mut found = if mostly { vec![track.clone()] } else { runs(&track, alone) };
        found.retain(|run| run.length() >= frames.count(SHORTEST_S));
        if found.is_empty() {
            others.push(track);
        }
        for run in found {
            let rich = run.points.iter().filter(|point| is_rich(hz, &frames.frames[point.0], frames.step_hz));
            let rich = rich.count() * 2 > run.points.len();
            let levels: Vec<f64> = run.points.iter().map(|point| db(point.1.both())).collect();
            let uneven = quantile(&levels, 0.9) - quantile(&levels, 0.1) > RICH_EVEN_DB;
            if rich && (uneven || hz < COMPANY_HZ.start) {
                others.push(run);
            } else {
                tones.push(Steady { track: run, rich });
            }
        }
    }
    tones.sort_by_key(|tone| tone.track.first());
    others.sort_by_key(Track::first);
    (tones, others)
}
