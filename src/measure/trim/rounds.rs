//! What is measured in rounds: the same tones again and again, while somebody turns a trimmer between them.
//!
//! Each round stands for itself. A trimmer that was turned while a tone sounded shows as a step of that tone's level
//! much larger than the tape's own unsteadiness; then the tone is taken from its steady stretch, and only the tones of
//! the round on the longer side of the step are stated, since the others belong to another setting.
//!
//! A part of a round has `-round-N` at the end of its id. Rounds are measured from the parts that serve `bias`,
//! `bias-sweep` and noise reduction, so that no other section sees levels that somebody turned. The slate in each round
//! is the time to turn: it lasts three seconds, tells by ear when tones come next, and stands any change of level.

use crate::capture::{CaptureError, Stretch};
use crate::measure::distortion::harmonics::{DistortionMeter, PlayedStep, distortion};
use crate::measure::playback::{FADE_S, Playback, SILENCE_MARGIN_S};
use crate::measure::response::steps::PlayedTone;
use crate::measure::tone::level_wander::LevelWander;
use crate::measure::tone::meter::{ToneLevel, ToneMeter};
use crate::measure::trim::bias_sweep::{SweepRound, bias_sweep};
use crate::measure::trim::level_step::{LevelStep, level_step};
use crate::measure::trim::noise_reduction::{ReductionTone, tracking};
use crate::measure::trim::pause_noise::{PauseMeter, PauseNoise};
use crate::measure::trim::source::{hold_against, source};
use crate::programme::{Channels, PlacedPart, Serves, Signal, Timeline};
use crate::reading::{BiasPair, FileTime, Measured, Pair, Round, SourceTone, minus};
use crate::signal::statistics::median;
use rayon::prelude::*;

/// A step smaller than this is the tape's unsteadiness, dB (common practice, no source).
const LEAST_STEP_DB: f64 = 0.4;
/// What a step must exceed of the steps usual at its frequency in all rounds, ...
const OVER_USUAL: f64 = 3.0;
/// ... but no step above this is usual, dB.
const MOST_USUAL_DB: f64 = 1.5;
/// A step must exceed the scatter beside it so many times.
const OVER_SCATTER: f64 = 3.0;
/// The loud tone of a round stands at least this much above the others, dB.
const LOUDER_DB: f64 = 10.0;
/// Only tones at least this loud show distortion above hiss, dB.
const LOUD_DB: f64 = -10.0;
/// A high tone is at least so many times the low one.
const HIGHER: f64 = 3.0;

/// A tone of a round as it was heard.
struct Heard<'a> {
    part: &'a PlacedPart,
    hz: f64,
    stretch: Stretch,
    levels: [Option<ToneLevel>; 2],
    steps: [Option<LevelStep>; 2],
    /// Third harmonic and its expanded uncertainty, percent; of loud tones of a bias sweep.
    k3_percent: [Option<(f64, f64)>; 2],
}

/// The tones of one round with the setting that most of them were recorded at.
struct Settled {
    round: u32,
    serves: Serves,
    at_s: FileTime,
    tones: Vec<SettledTone>,
    /// Where a tone moved, what is to be said of it, and which tone it was, Hz.
    moved: Option<(FileTime, String, f64)>,
}

#[derive(Debug, Clone, Copy)]
struct SettledTone {
    hz: f64,
    programme_db: f64,
    /// Gain and its expanded uncertainty, dB.
    gain: [Option<(f64, f64)>; 2],
}

/// Measures every part that serves bias, a bias sweep or noise reduction, and adds the sections to `facts`. Their level tones
/// are what noise is stated against. `wander` of the level counts in all of them.
///
/// # Errors
/// If the source cannot be read.
pub(crate) fn add_rounds(
    facts: &mut Measured,
    playback: &Playback<'_>,
    timeline: &Timeline,
    wander: &[LevelWander; 2],
) -> Result<(), CaptureError> {
    let serving = |part: &&PlacedPart| {
        use Serves as S;
        matches!(part.serves, S::Source | S::Bias | S::BiasSweep | S::ReductionOut | S::ReductionIn)
            && part.channels == Channels::Both
    };
    let parts: Vec<&PlacedPart> = timeline.parts.iter().filter(serving).collect();
    if parts.is_empty() {
        return Ok(());
    }
    let bench = Bench { playback, wander };
    let heard: Vec<Heard> = parts
        .par_iter()
        .map(|part| bench.hear(part))
        .collect::<Result<Vec<_>, _>>()?
        .into_iter()
        .flatten()
        .collect();
    let pauses: Vec<(&PlacedPart, PauseNoise)> = parts
        .par_iter()
        .map(|part| Ok(bench.pause(part)?.map(|noise| (*part, noise))))
        .collect::<Result<Vec<_>, CaptureError>>()?
        .into_iter()
        .flatten()
        .collect();
    let settled: Vec<Settled> = numbers(timeline)
        .into_iter()
        .filter_map(|(serves, round)| bench.settle(serves, round, &heard))
        .collect();
    let sweep: Vec<SweepRound> = settled
        .iter()
        .filter(|round| round.serves == Serves::BiasSweep)
        .filter_map(|round| {
            let roles = round.roles()?;
            let pause = pauses
                .iter()
                .find(|(part, _)| part.serves == Serves::BiasSweep && part.round() == Some(round.round));
            Some(SweepRound {
                round: round.round,
                at_s: round.at_s,
                level_hz: roles.loud.map(|tone| tone.hz),
                level: roles.loud.map_or([None; 2], |tone| tone.gain),
                low_hz: roles.low.hz,
                low: roles.low.gain,
                high: roles.high.iter().map(|tone| (tone.hz, tone.gain)).collect(),
                k3_percent: round.k3_percent(&heard),
                pause: pause.map(|(_, noise)| *noise),
            })
        })
        .collect();
    let tones = |serves: Serves| -> Vec<ReductionTone> {
        let of_half = heard.iter().filter(|heard| heard.part.serves == serves);
        of_half.map(|heard| (heard.part.level_db, heard.hz, bench.gains(heard.part, heard.levels))).collect()
    };
    let half_pause =
        |serves: Serves| pauses.iter().find(|(part, _)| part.serves == serves).map(|(_, noise)| *noise);
    facts.rounds = round_rows(&settled, &heard, playback.options.reference_dbfs);
    facts.bias = pair_rows(&settled);
    let at_source = heard.iter().filter(|heard| heard.part.serves == Serves::Source);
    let noise = [Serves::Source, Serves::Bias].map(half_pause);
    facts.source =
        source(playback.alignment, timeline, at_source.map(|heard| bench.at_source(heard)).collect(), noise);
    if let Some(source) = &facts.source {
        hold_against(source, &mut facts.rounds, &mut facts.bias);
    }
    facts.bias_sweep = bias_sweep(&sweep, &facts.level);
    facts.noise_reduction = tracking(
        &tones(Serves::ReductionOut),
        &tones(Serves::ReductionIn),
        half_pause(Serves::ReductionOut),
        half_pause(Serves::ReductionIn),
    );
    Ok(())
}

/// Rounds in the order of the programme, with what they serve.
fn numbers(timeline: &Timeline) -> Vec<(Serves, u32)> {
    let mut numbers = Vec::new();
    for part in &timeline.parts {
        if let (Serves::Bias | Serves::BiasSweep, Some(round)) = (part.serves, part.round())
            && !numbers.contains(&(part.serves, round))
        {
            numbers.push((part.serves, round));
        }
    }
    numbers
}

struct Bench<'a> {
    playback: &'a Playback<'a>,
    wander: &'a [LevelWander; 2],
}

impl Bench<'_> {
    /// Gain of a level in the return, and its expanded uncertainty, dB.
    fn gain(&self, part: &PlacedPart, (dbfs, uncertainty_db): (f64, f64)) -> (f64, f64) {
        (dbfs - self.playback.options.reference_dbfs - part.level_db, uncertainty_db)
    }

    fn gains(&self, part: &PlacedPart, levels: [Option<ToneLevel>; 2]) -> [Option<(f64, f64)>; 2] {
        levels.map(|level| level.map(|level| self.gain(part, (level.dbfs, level.uncertainty_db))))
    }

    /// The tone of `part` over all of its length.
    fn hear<'p>(&self, part: &'p PlacedPart) -> Result<Option<Heard<'p>>, CaptureError> {
        let Signal::Tone { hz } = part.signal else { return Ok(None) };
        let Some(stretch) = self.playback.alignment.steady(part, FADE_S) else { return Ok(None) };
        let expected_hz = hz * self.playback.alignment.ratio(part);
        let Some(tone) = self.playback.run::<ToneMeter>(stretch, expected_hz)?.flatten() else {
            return Ok(None);
        };
        let steps = [0, 1].map(|channel| {
            let level = tone.levels[channel]?;
            level_step(&tone.band[channel], level.noise_share)
        });
        let k3_percent = self.k3_percent(part, hz, stretch)?;
        let at_s = (stretch.from_s + stretch.to_s) / 2.0;
        let played = PlayedTone { part: &part.id, hz, programme_db: part.level_db, at_s, tone: &tone };
        let levels = [0, 1].map(|channel| {
            // At the source no tape wanders.
            let wander = Some(self.wander).filter(|_| part.serves != Serves::Source);
            let uncertainty_db = played.uncertainty_db(channel, wander)?;
            Some(ToneLevel { uncertainty_db, ..tone.levels[channel]? })
        });
        Ok(Some(Heard { part, hz, stretch, levels, steps, k3_percent }))
    }

    /// Third harmonic of a loud tone and its expanded uncertainty, percent.
    fn k3_percent(
        &self,
        part: &PlacedPart,
        hz: f64,
        stretch: Stretch,
    ) -> Result<[Option<(f64, f64)>; 2], CaptureError> {
        if !matches!(part.serves, Serves::Bias | Serves::BiasSweep) || part.level_db < LOUD_DB {
            return Ok([None; 2]);
        }
        let expected_hz = hz * self.playback.alignment.ratio(part);
        let Some(harmonics) = self.playback.run::<DistortionMeter>(stretch, expected_hz)?.flatten() else {
            return Ok([None; 2]);
        };
        let step = PlayedStep { part: &part.id, hz, programme_db: part.level_db, harmonics: &harmonics };
        let found = distortion(&[step], [None; 2]);
        let Some(row) = found.as_ref().and_then(|found| found.steps.first()) else { return Ok([None; 2]) };
        Ok([0, 1].map(|channel| row.k3_percent[channel].zip(row.k3_uncertainty_percent[channel])))
    }

    fn at_source(&self, heard: &Heard<'_>) -> SourceTone {
        let gain = self.gains(heard.part, heard.levels);
        SourceTone {
            at_s: self.playback.alignment.clock.at(heard.stretch.from_s),
            hz: heard.hz,
            programme_db: heard.part.level_db,
            gain_db: value(gain),
            uncertainty_db: gain.map(|gain| gain.map(|gain| gain.1)),
        }
    }

    /// Gain of a tone before (0) or behind (1) a step in it.
    fn side(&self, heard: &Heard<'_>, side: usize) -> [Option<(f64, f64)>; 2] {
        let gain = self.gains(heard.part, heard.levels);
        [0, 1].map(|channel| {
            gain[channel]?;
            Some(self.gain(heard.part, heard.steps[channel]?.sides[side]?))
        })
    }

    /// A-weighted noise of a silent part.
    fn pause(&self, part: &PlacedPart) -> Result<Option<PauseNoise>, CaptureError> {
        if part.signal != Signal::Silence {
            return Ok(None);
        }
        let Some(stretch) = self.playback.alignment.steady(part, SILENCE_MARGIN_S) else { return Ok(None) };
        Ok(self.playback.run::<PauseMeter>(stretch, stretch.length_s())?.flatten())
    }

    /// The tones of one round at the setting of most of them.
    fn settle(&self, serves: Serves, round: u32, all: &[Heard<'_>]) -> Option<Settled> {
        let tones: Vec<&Heard> = all
            .iter()
            .filter(|heard| heard.part.serves == serves && heard.part.round() == Some(round))
            .collect();
        let first = tones.first()?;
        let moved = tones.iter().enumerate().filter_map(|(index, tone)| Some((index, moved(tone, all)?)));
        // The largest step counts: that is the turn.
        let moved = moved.max_by(|a, b| a.1.step.db.abs().total_cmp(&b.1.step.db.abs()));
        let start = |heard: &Heard| self.playback.alignment.clock.starting_at(heard.stretch.from_s);
        let mut settled =
            Settled { round, serves, at_s: start(first).at(0.0), tones: Vec::new(), moved: None };
        for (index, heard) in tones.iter().enumerate() {
            let mut gain = self.gains(heard.part, heard.levels);
            if let Some((at, _)) = &moved {
                let keeps_later = 2 * at < tones.len();
                if index == *at {
                    gain = self.side(heard, usize::from(keeps_later));
                } else if (index < *at) == keeps_later {
                    gain = [None; 2];
                }
            }
            settled.tones.push(SettledTone { hz: heard.hz, programme_db: heard.part.level_db, gain });
        }
        settled.moved = moved
            .map(|(index, moved)| (start(tones[index]).at(moved.step.at_s), moved.words, tones[index].hz));
        Some(settled)
    }
}

/// A step that is none of the tape's own.
struct Moved {
    step: LevelStep,
    words: String,
}

fn moved(tone: &Heard<'_>, all: &[Heard<'_>]) -> Option<Moved> {
    let channel = (0..2).filter(|&channel| {
        let Some(step) = tone.steps[channel] else { return false };
        let usual: Vec<f64> = all
            .iter()
            .filter(|other| other.hz == tone.hz && other.part.level_db == tone.part.level_db)
            .filter_map(|other| Some(other.steps[channel]?.db.abs()))
            .collect();
        // Of one or two rounds nothing is usual.
        let usual_db = if usual.len() > 2 { median(&usual).min(MOST_USUAL_DB) } else { 0.0 };
        let least_db = LEAST_STEP_DB.max(OVER_USUAL * usual_db).max(OVER_SCATTER * step.scatter_db);
        step.db.abs() > least_db
    });
    let size = |channel: usize| tone.steps[channel].map_or(0.0, |step| step.db.abs());
    let channel = channel.max_by(|&a, &b| size(a).total_cmp(&size(b)))?;
    let step = tone.steps[channel]?;
    let words = format!(
        "the tone of {} Hz moved by {:+.1} dB on the {} channel while it sounded",
        tone.hz,
        step.db,
        ["left", "right"][channel]
    );
    Some(Moved { step, words })
}

/// What each tone of a round is for.
struct Roles {
    loud: Option<SettledTone>,
    low: SettledTone,
    high: Vec<SettledTone>,
}

impl Settled {
    /// The loud tone, the low one, and those at least [`HIGHER`] times as high; `None` without a pair.
    fn roles(&self) -> Option<Roles> {
        let loud = self.loud();
        let quiet =
            || self.tones.iter().filter(|tone| loud.is_none_or(|loud| tone.programme_db < loud.programme_db));
        let low = *quiet().min_by(|a, b| a.hz.total_cmp(&b.hz))?;
        let high: Vec<SettledTone> = quiet()
            .filter(|tone| tone.hz >= HIGHER * low.hz && tone.programme_db == low.programme_db)
            .copied()
            .collect();
        (!high.is_empty()).then_some(Roles { loud, low, high })
    }

    /// Third harmonic of the loud tone and its uncertainty, percent, where that tone belongs to the round's setting.
    fn k3_percent(&self, heard: &[Heard<'_>]) -> [Option<(f64, f64)>; 2] {
        let Some(loud) = self.loud() else { return [None; 2] };
        if self.moved.as_ref().is_some_and(|moved| moved.2 == loud.hz) {
            return [None; 2];
        }
        let is_loud = |tone: &&Heard| {
            tone.part.serves == self.serves && tone.part.round() == Some(self.round) && tone.hz == loud.hz
        };
        let k3_percent = heard.iter().find(is_loud).map_or([None; 2], |tone| tone.k3_percent);
        [0, 1].map(|channel| k3_percent[channel].filter(|_| loud.gain[channel].is_some()))
    }

    fn loud(&self) -> Option<SettledTone> {
        let loudest = *self.tones.iter().max_by(|a, b| a.programme_db.total_cmp(&b.programme_db))?;
        let others = self.tones.iter().filter(|tone| tone.programme_db < loudest.programme_db);
        let next_db = others.map(|tone| tone.programme_db).fold(f64::NEG_INFINITY, f64::max);
        (loudest.programme_db - next_db >= LOUDER_DB).then_some(loudest)
    }
}

fn value(gain: [Option<(f64, f64)>; 2]) -> Pair {
    gain.map(|gain| gain.map(|gain| gain.0))
}

fn round_rows(settled: &[Settled], heard: &[Heard<'_>], reference_dbfs: f64) -> Vec<Round> {
    let mut before: Pair = [None; 2];
    settled
        .iter()
        .map(|round| {
            let loud = round.loud();
            let gain = loud.map_or([None; 2], |tone| tone.gain);
            let level_db = value(gain);
            let k3_percent = round.k3_percent(heard);
            let row = Round {
                round: round.round,
                at_s: round.at_s,
                level_hz: loud.map(|tone| tone.hz),
                reference_dbfs: level_db.map(|gain| gain.map(|gain| gain + reference_dbfs)),
                level_db,
                level_uncertainty_db: gain.map(|gain| gain.map(|gain| gain.1)),
                level_difference_db: level_db[0].zip(level_db[1]).map(|(left, right)| left - right),
                change_db: minus(level_db, before),
                moved_at_s: round.moved.as_ref().map(|moved| moved.0),
                moved: round.moved.as_ref().map(|moved| moved.1.clone()),
                k3_percent: value(k3_percent),
                k3_uncertainty_percent: k3_percent.map(|k3| k3.map(|k3| k3.1)),
            };
            before = [0, 1].map(|channel| level_db[channel].or(before[channel]));
            row
        })
        .collect()
}

fn pair_rows(settled: &[Settled]) -> Vec<BiasPair> {
    let mut before: Vec<(f64, Pair)> = Vec::new();
    let mut rows = Vec::new();
    for round in settled {
        let Some(roles) = round.roles() else { continue };
        for high in &roles.high {
            let [low_db, high_db] = [value(roles.low.gain), value(high.gain)];
            let difference_db = minus(high_db, low_db);
            let last = before.iter_mut().find(|entry| entry.0 == high.hz);
            let change_db = last.as_ref().map_or([None; 2], |last| minus(difference_db, last.1));
            match last {
                Some(last) => last.1 = [0, 1].map(|channel| difference_db[channel].or(last.1[channel])),
                None => before.push((high.hz, difference_db)),
            }
            rows.push(BiasPair {
                round: round.round,
                at_s: round.at_s,
                low_hz: roles.low.hz,
                high_hz: high.hz,
                programme_db: roles.low.programme_db,
                low_db,
                high_db,
                difference_db,
                uncertainty_db: [0, 1]
                    .map(|channel| Some(roles.low.gain[channel]?.1.hypot(high.gain[channel]?.1))),
                change_db,
            });
        }
    }
    rows
}
