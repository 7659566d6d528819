//! What a recording without slates holds: steady tones, sweeps, silences, noise, and the rest.

use super::alignment::Stretch;
use super::alone::{Alone, alone};
use super::edges::edges;
use super::error::CaptureError;
use super::glides::{Glide, glides};
use super::lines::{Frames, Line, LineFinder};
use super::source::{Source, extend_mended};
use super::tracks::{Track, db, tones};
use crate::signal::statistics::{median, quantile};
use std::ops::Range;

/// A steady tone as it came back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeardTone {
    /// Frequency in the return, Hz (median over its frames).
    pub hz: f64,
    /// From where it is heard on any channel to where it ends on the last, s of the return.
    pub heard: Stretch,
    /// Where it sounds on all channels that have it.
    pub steady: Stretch,
    /// Which channels have it, as they stand in the file.
    pub on: [bool; 2],
    /// Rough level of each channel, dBFS.
    pub dbfs: [f64; 2],
    /// It has strong harmonics, as squares and pulses have: its level says nothing.
    pub rich: bool,
}

/// A stretch without tones, and its level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Between {
    /// Where, s of the return.
    pub stretch: Stretch,
    /// Median level of each channel, dBFS.
    pub dbfs: [f64; 2],
    /// What it seems to be.
    pub kind: BetweenKind,
    /// For how long its level moves as that of speech and music does, s: data keeps its level.
    pub moving_s: f64,
}

/// What lies between tones.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BetweenKind {
    /// Even and quiet: hiss of tape or of amplifiers.
    Silence,
    /// Even, with a spectrum like noise, and loud.
    Noise,
    /// Nothing at all: the recorder was muted or the file was edited.
    Nothing,
    /// Speech, music or something else that moves.
    Other,
}

/// Everything that was heard.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Heard {
    /// Tones of a test recording, in order of time.
    pub tones: Vec<HeardTone>,
    /// Steady, but rich in harmonics or in company: notes, pulses, data.
    pub impure: Vec<HeardTone>,
    /// Continuous sweeps.
    pub sweeps: Vec<Glide>,
    /// What lies between them.
    pub between: Vec<Between>,
}

/// A channel has a tone if it is not weaker than the other's by more than this, dB: below is crosstalk.
const CROSSTALK_DB: f64 = 24.0;
/// Switches and clamping stages of the recorder make the level jump for so long where a tone begins, s.
const THUMP_S: f64 = 0.1;
/// Shorter tones tell nothing, s.
const LEAST_TONE_S: f64 = 0.8;
/// Silences and noises shorter than this are not listed, s.
const LEAST_SILENCE_S: f64 = 0.6;
/// The level of speech and music moves by more than this within so long, dB and s (80 % of the time).
const MOVES: (f64, f64) = (3.0, 3.0);
/// Even within this, either way, dB.
const EVEN_DB: f64 = 3.0;
/// A silence is quieter than the loudest tone by this, dB.
const QUIET_DB: f64 = 18.0;
/// Below this there is no hiss of anything, dBFS.
const NOTHING_DBFS: f64 = -110.0;

/// Listens to `source` once, then to the edges of every tone.
///
/// # Errors
/// If the source cannot be read.
pub fn hear(source: &dyn Source) -> Result<Heard, CaptureError> {
    let mut finder = LineFinder::new(source.rate_hz());
    let mut mended = [Vec::new(), Vec::new()];
    source.read(0, u64::MAX, &mut |block| {
        for (mended, samples) in mended.iter_mut().zip(block) {
            mended.clear();
            extend_mended(mended, samples);
        }
        finder.feed([&mended[0], &mended[1]]);
    })?;
    let frames = finder.finish();
    let (pure, impure) = tones(&frames);
    let mut tones = Vec::new();
    for steady in &pure {
        let stretches = alone(source, steady.track.hz(), believed(&frames, &steady.track))?;
        let stretches = stretches.map_or(vec![None], |stretches| stretches.into_iter().map(Some).collect());
        for alone in stretches {
            let heard = heard_tone(source, &frames, &steady.track, alone)?;
            add(&mut tones, HeardTone { rich: steady.rich, ..heard });
        }
    }
    let place = |track: &Track| heard_tone(source, &frames, track, None);
    let impure = impure.iter().map(place).collect::<Result<Vec<_>, _>>()?;
    tones.retain(|tone| tone.steady.length_s() > LEAST_TONE_S);
    tones.sort_by(|a, b| a.heard.from_s.total_cmp(&b.heard.from_s));
    part_neighbours(&mut tones);
    let within = |stretch: Stretch| -> Range<usize> {
        let frame = |s: f64| (s / frames.hop_s).max(0.0) as usize;
        frame(stretch.from_s - frames.length_s)..frame(stretch.to_s) + 1
    };
    let of_tones: Vec<Range<usize>> = tones.iter().map(|tone| within(tone.heard)).collect();
    let sweeps = glides(&frames, &of_tones);
    let mut taken: Vec<Stretch> = tones.iter().map(|tone| tone.heard).collect();
    taken.extend(sweeps.iter().map(|glide| Stretch { from_s: glide.from_s - 0.1, to_s: glide.to_s + 0.1 }));
    taken.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    let loudest = tones.iter().flat_map(|tone| tone.dbfs).fold(-20.0, f64::max);
    let mut between = between(&frames, &taken, source.frames() as f64 / source.rate_hz(), loudest);
    if let (Some(first), Some(last)) = (taken.first(), taken.last()) {
        let of_the_tape =
            |piece: &Between| piece.stretch.from_s > first.from_s && piece.stretch.to_s < last.to_s;
        louder_are_noise(&mut between, of_the_tape);
    }
    Ok(Heard { tones, impure, sweeps, between })
}

/// Even noise that stands far above the quietest silence of the same tape was recorded as noise.
///
/// Only what lies between tones is looked at: before and behind them may be a leader, which has no hiss of tape.
fn louder_are_noise(between: &mut [Between], of_the_tape: impl Fn(&Between) -> bool) {
    // Silences of one tape, erased here and virgin there, differ by some decibels.
    const APART_DB: f64 = 10.0;
    let loud = |piece: &Between| piece.dbfs[0].max(piece.dbfs[1]);
    let silent = |piece: &Between| piece.kind == BetweenKind::Silence && of_the_tape(piece);
    let Some(quietest) = between.iter().filter(|piece| silent(piece)).map(loud).reduce(f64::min) else {
        return;
    };
    for piece in between {
        if silent(piece) && loud(piece) > quietest + APART_DB {
            piece.kind = BetweenKind::Noise;
        }
    }
}

/// Low tones that follow each other without a pause are nearer than their filters can tell: they share what both claim.
fn part_neighbours(tones: &mut [HeardTone]) {
    // As long as a filter of a low tone rings, s, and as far as such a tone may be misplaced.
    const RINGS_S: f64 = 0.1;
    const MISPLACED_S: f64 = 0.5;
    for k in 1..tones.len() {
        let (from_s, to_s) = (tones[k].heard.from_s, tones[k - 1].heard.to_s);
        if to_s > from_s && to_s < from_s + MISPLACED_S && tones[k].heard.to_s > to_s {
            let middle_s = (from_s + to_s) / 2.0;
            tones[k - 1].heard.to_s = middle_s;
            tones[k].heard.from_s = middle_s;
            tones[k - 1].steady.to_s = tones[k - 1].steady.to_s.min(middle_s - RINGS_S);
            tones[k].steady.from_s = tones[k].steady.from_s.max(middle_s + RINGS_S);
        }
    }
}

/// Adds a tone, or puts it in the place of a shorter piece of itself: two tracks may lead to one tone.
fn add(tones: &mut Vec<HeardTone>, tone: HeardTone) {
    const SAME: f64 = 0.02;
    let same = |other: &HeardTone| {
        let common_s = other.heard.to_s.min(tone.heard.to_s) - other.heard.from_s.max(tone.heard.from_s);
        (other.hz / tone.hz - 1.0).abs() < SAME
            && common_s > 0.5 * other.heard.length_s().min(tone.heard.length_s())
    };
    match tones.iter_mut().find(|other| same(other)) {
        Some(other) if other.heard.length_s() >= tone.heard.length_s() => {}
        Some(other) => *other = tone,
        None => tones.push(tone),
    }
}

/// Where frames have a tone, s of the return.
fn believed(frames: &Frames, track: &Track) -> Stretch {
    // A line is seen from about the middle of a frame on.
    Stretch { from_s: frames.at_s(track.first()), to_s: frames.at_s(track.last()) }
}

/// The tone of `track`, no further than where it is `alone`, if that is known.
fn heard_tone(
    source: &dyn Source,
    frames: &Frames,
    track: &Track,
    alone: Option<Alone>,
) -> Result<HeardTone, CaptureError> {
    let believed = alone.map_or_else(|| believed(frames, track), |alone| alone.stretch);
    let points: Vec<&Line> = track
        .points
        .iter()
        .filter(|point| (believed.from_s..believed.to_s).contains(&frames.at_s(point.0)))
        .map(|point| &point.1)
        .collect();
    let hz = if points.is_empty() { track.hz() } else { median(points.iter().map(|line| line.hz)) };
    let power = [0, 1].map(|side| median(points.iter().map(|line| line.power[side])));
    let least = power[0].max(power[1]) * 10f64.powf(-CROSSTALK_DB / 10.0);
    let on = power.map(|power| power > least);
    let mut sides = edges(source, hz, believed)?;
    if let Some(alone) = alone {
        for side in &mut sides {
            // A tone that begins with a thump is there from the thump on.
            let near = |own_s: f64, seen_s: f64| (own_s - seen_s).abs() < THUMP_S;
            if alone.ends[0] {
                let seen_s = alone.stretch.from_s;
                side.from_s = if near(side.from_s, seen_s) { seen_s } else { side.from_s.max(seen_s) };
            }
            if alone.ends[1] {
                let seen_s = alone.stretch.to_s;
                side.to_s = if near(side.to_s, seen_s) { seen_s } else { side.to_s.min(seen_s) };
            }
        }
    }
    let of = |pick: fn(&Stretch) -> f64, join: fn(f64, f64) -> f64| {
        [0, 1].into_iter().filter(|&side| on[side]).map(|side| pick(&sides[side])).reduce(join)
    };
    let from = |stretch: &Stretch| stretch.from_s;
    let to = |stretch: &Stretch| stretch.to_s;
    Ok(HeardTone {
        hz,
        heard: Stretch {
            from_s: of(from, f64::min).unwrap_or(believed.from_s),
            to_s: of(to, f64::max).unwrap_or(believed.to_s),
        },
        steady: Stretch {
            from_s: of(from, f64::max).unwrap_or(believed.from_s),
            to_s: of(to, f64::min).unwrap_or(believed.to_s),
        },
        on,
        dbfs: power.map(|power| db(2.0 * power)),
        rich: false,
    })
}

/// What lies in the gaps between the stretches that are `taken`, in order.
fn between(frames: &Frames, taken: &[Stretch], duration_s: f64, loudest_dbfs: f64) -> Vec<Between> {
    let mut gaps = Vec::new();
    let mut from_s = 0.0;
    for stretch in taken {
        if stretch.from_s > from_s {
            gaps.push(Stretch { from_s, to_s: stretch.from_s });
        }
        from_s = stretch.to_s.max(from_s);
    }
    gaps.push(Stretch { from_s, to_s: duration_s });
    gaps.into_iter().flat_map(|gap| in_gap(frames, gap, loudest_dbfs)).collect()
}

fn in_gap(frames: &Frames, gap: Stretch, loudest_dbfs: f64) -> Vec<Between> {
    // Frames that lie wholly in the gap.
    let first = (gap.from_s / frames.hop_s).ceil().max(0.0) as usize;
    let inside: Vec<usize> = (first..frames.frames.len())
        .take_while(|&k| frames.at_s(k) + frames.length_s / 2.0 <= gap.to_s)
        .collect();
    if inside.len() < 3 {
        return vec![];
    }
    let level = |k: usize| db(2.0 * frames.frames[k].upper);
    let stretch_of = |from: usize, to: usize| Stretch {
        from_s: frames.at_s(from) - frames.length_s / 2.0,
        to_s: frames.at_s(to) + frames.length_s / 2.0,
    };
    // Even pieces: each begins where the level keeps within some decibels for a while.
    let least = frames.count(LEAST_SILENCE_S);
    let mut found: Vec<Between> = Vec::new();
    let mut rest_from = inside[0];
    let mut at = 0;
    let kind_of_rest =
        |from: usize, to: usize| piece(frames, from, to, stretch_of(from, to), BetweenKind::Other);
    while at + least <= inside.len() {
        let usual = median(inside[at..at + least].iter().map(|&k| level(k)));
        let even = |k: usize| (level(k) - usual).abs() < EVEN_DB;
        if !inside[at..at + least].iter().all(|&k| even(k)) {
            at += 1;
            continue;
        }
        // A click does not end it.
        let mut end = at + least;
        while end < inside.len()
            && (even(inside[end]) || inside[end..].iter().skip(1).take(3).filter(|&&k| even(k)).count() > 1)
        {
            end += 1;
        }
        let (from, to) = (inside[at], inside[end - 1]);
        if from > rest_from + 2 {
            found.push(kind_of_rest(rest_from, from - 1));
        }
        let crowded = (from..=to)
            .filter(|&k| frames.frames[k].lines.iter().filter(|line| line.hz > 700.0).count() > 2)
            .count();
        let kind = if usual < NOTHING_DBFS {
            BetweenKind::Nothing
        } else if crowded * 3 > to - from + 1 {
            BetweenKind::Other
        } else if usual < loudest_dbfs - QUIET_DB {
            BetweenKind::Silence
        } else {
            BetweenKind::Noise
        };
        found.push(piece(frames, from, to, stretch_of(from, to), kind));
        rest_from = to + 1;
        at = end;
    }
    let last = inside[inside.len() - 1];
    if last > rest_from + 2 {
        found.push(kind_of_rest(rest_from, last));
    }
    joined(found)
}

fn piece(frames: &Frames, from: usize, to: usize, stretch: Stretch, kind: BetweenKind) -> Between {
    let level = |side: usize| {
        let values = (from..=to).map(|k| db(2.0 * frames.frames[k].total[side]));
        if kind == BetweenKind::Other { quantile(values, 0.8) } else { median(values) }
    };
    let levels: Vec<f64> = (from..=to).map(|k| db(frames.frames[k].total.iter().sum())).collect();
    let half = frames.count(MOVES.1 / 2.0);
    let moves = |k: &usize| {
        let around = &levels[k.saturating_sub(half)..(k + half + 1).min(levels.len())];
        quantile(around, 0.9) - quantile(around, 0.1) > MOVES.0
    };
    let moving = (0..levels.len()).filter(moves).count();
    Between { stretch, dbfs: [level(0), level(1)], kind, moving_s: moving as f64 * frames.hop_s }
}

/// Neighbours of one kind as one.
fn joined(pieces: Vec<Between>) -> Vec<Between> {
    let mut found: Vec<Between> = Vec::new();
    for piece in pieces {
        match found.last_mut() {
            Some(last) if last.kind == BetweenKind::Other && piece.kind == BetweenKind::Other => {
                last.stretch.to_s = piece.stretch.to_s;
                last.moving_s += piece.moving_s;
                for side in 0..2 {
                    last.dbfs[side] = last.dbfs[side].max(piece.dbfs[side]);
                }
            }
            _ => found.push(piece),
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_that_was_recorded_is_no_silence_of_the_tape() {
        let piece = |from_s: f64, dbfs: f64| Between {
            stretch: Stretch { from_s, to_s: from_s + 5.0 },
            dbfs: [dbfs, dbfs - 1.0],
            kind: BetweenKind::Silence,
            moving_s: 0.0,
        };
        // A leader, tape erased and virgin, pink noise, a pause behind the last tone.
        let mut pieces = [
            piece(0.0, -80.0),
            piece(20.0, -60.0),
            piece(40.0, -55.0),
            piece(60.0, -35.0),
            piece(90.0, -40.0),
        ];
        louder_are_noise(&mut pieces, |piece| piece.stretch.from_s > 10.0 && piece.stretch.to_s < 80.0);
        let noise = pieces.map(|piece| piece.kind == BetweenKind::Noise);
        assert_eq!(noise, [false, false, false, true, false]);
    }
}
