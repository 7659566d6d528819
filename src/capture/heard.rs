//! What a recording without slates holds: steady tones, sweeps, silences, noise, and the rest.

use super::alignment::Stretch;
use super::edges::edges;
use super::error::CaptureError;
use super::glides::{Glide, glides};
use super::lines::{Frames, LineFinder};
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
/// Silences and noises shorter than this are not listed, s.
const LEAST_SILENCE_S: f64 = 0.6;
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
    let place = |track: &Track| heard_tone(source, &frames, track);
    let pure = pure.iter().map(place).collect::<Result<Vec<_>, _>>()?;
    let impure = impure.iter().map(place).collect::<Result<Vec<_>, _>>()?;
    let mut tones: Vec<HeardTone> = pure.into_iter().filter(|tone| tone.steady.length_s() > 0.8).collect();
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
    // As long as a filter of a low tone rings, s.
    const RINGS_S: f64 = 0.1;
    for k in 1..tones.len() {
        let (from_s, to_s) = (tones[k].heard.from_s, tones[k - 1].heard.to_s);
        if to_s > from_s && tones[k].heard.to_s > to_s {
            let middle_s = (from_s + to_s) / 2.0;
            tones[k - 1].heard.to_s = middle_s;
            tones[k].heard.from_s = middle_s;
            tones[k - 1].steady.to_s = tones[k - 1].steady.to_s.min(middle_s - RINGS_S);
            tones[k].steady.from_s = tones[k].steady.from_s.max(middle_s + RINGS_S);
        }
    }
}

fn heard_tone(source: &dyn Source, frames: &Frames, track: &Track) -> Result<HeardTone, CaptureError> {
    let hz = track.hz();
    // A line is seen from about the middle of a frame on.
    let believed = Stretch { from_s: frames.at_s(track.first()), to_s: frames.at_s(track.last()) };
    let power = [0, 1].map(|side| median(track.points.iter().map(|point| point.1.power[side])));
    let least = power[0].max(power[1]) * 10f64.powf(-CROSSTALK_DB / 10.0);
    let on = power.map(|power| power > least);
    let sides = edges(source, hz, believed)?;
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
    Between { stretch, dbfs: [level(0), level(1)], kind }
}

/// Neighbours of one kind as one.
fn joined(pieces: Vec<Between>) -> Vec<Between> {
    let mut found: Vec<Between> = Vec::new();
    for piece in pieces {
        match found.last_mut() {
            Some(last) if last.kind == BetweenKind::Other && piece.kind == BetweenKind::Other => {
                last.stretch.to_s = piece.stretch.to_s;
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
