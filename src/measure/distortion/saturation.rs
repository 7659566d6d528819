//! Output against input of high tones in steps: compression and the maximum output.

use crate::measure::response::steps::PlayedTone;
use crate::measure::tone::level_wander::LevelWander;
use crate::reading::{Pair, Saturation, SaturationLadder, SaturationStep};
use crate::signal::fit::top_of;

/// Beyond a summit the output falls by more than this, dB.
const LEAST_FALL_DB: f64 = 0.1;
/// Least steps of a ladder.
const LEAST_STEPS: usize = 3;

/// Ladders of the tones in `played`, the first frequency of the programme as the main one; `noise` stays empty.
///
/// `reference_dbfs` is the returned level of the programme's reference level. `None` if no frequency has three steps.
pub fn saturation(
    played: &[PlayedTone<'_>],
    reference_dbfs: Pair,
    wander: &[LevelWander; 2],
) -> Option<Saturation> {
    let mut frequencies: Vec<f64> = Vec::new();
    for tone in played {
        if !frequencies.contains(&tone.hz) {
            frequencies.push(tone.hz);
        }
    }
    let against_level = reference_dbfs.iter().any(Option::is_some);
    let mut ladders = frequencies.iter().filter_map(|hz| {
        let steps: Vec<&PlayedTone> = played.iter().filter(|tone| tone.hz == *hz).collect();
        ladder(*hz, steps, if against_level { Some(reference_dbfs) } else { None }, wander)
    });
    let main = ladders.next()?;
    let reference = if against_level {
        "the level tone as returned, converted to 0 dB of the programme"
    } else {
        "the programme's reference level with the gain of the lowest step (there was no level tone)"
    };
    Some(Saturation {
        hz: Some(main.hz),
        steps: main.steps,
        max_output_db: main.max_output_db,
        max_output_uncertainty_db: main.max_output_uncertainty_db,
        max_output_at_db: main.max_output_at_db,
        max_output_why: main.max_output_why,
        reference: reference.to_owned(),
        others: ladders.collect(),
        noise: Vec::new(),
    })
}

/// A level and its expanded uncertainty, dB.
type Level = (f64, f64);

fn ladder(
    hz: f64,
    mut tones: Vec<&PlayedTone<'_>>,
    reference_dbfs: Option<Pair>,
    wander: &[LevelWander; 2],
) -> Option<SaturationLadder> {
    tones.sort_by(|a, b| a.programme_db.total_cmp(&b.programme_db));
    tones.dedup_by(|a, b| (a.programme_db - b.programme_db).abs() < 1e-6);
    if tones.len() < LEAST_STEPS {
        return None;
    }
    let level = |tone: &PlayedTone, channel: usize| -> Option<Level> {
        Some((tone.tone.levels[channel]?.dbfs, tone.uncertainty_db(channel, Some(wander))?))
    };
    // The lowest step that can be told from noise on this channel.
    let lowest =
        [0, 1].map(|channel| tones.iter().find_map(|tone| Some((tone.programme_db, level(tone, channel)?))));
    let steps: Vec<SaturationStep> = tones
        .iter()
        .map(|tone| {
            let at = [0, 1].map(|channel| level(tone, channel).zip(lowest[channel]));
            SaturationStep {
                programme_db: tone.programme_db,
                gain_db: at
                    .map(|at| at.map(|(here, (low_db, low))| here.0 - tone.programme_db - (low.0 - low_db))),
                uncertainty_db: at.map(|at| {
                    at.filter(|(_, low)| low.0 < tone.programme_db)
                        .map(|(here, (_, low))| here.1.hypot(low.1))
                }),
                return_dbfs: at.map(|at| at.map(|(here, _)| here.0)),
            }
        })
        .collect();
    let found = [0, 1].map(|channel| {
        let points: Vec<(f64, f64, f64)> = tones
            .iter()
            .filter_map(|tone| {
                level(tone, channel).map(|(db, uncertainty)| (tone.programme_db, db, uncertainty))
            })
            .collect();
        let (low_db, (low_dbfs, _)) = lowest[channel].ok_or("the tones were not found on this channel")?;
        let reference = match reference_dbfs {
            Some(pair) => {
                pair[channel].ok_or("there is no level tone on this channel to state it against")?
            }
            None => low_dbfs - low_db,
        };
        summit(&points).map(|(at_db, dbfs, uncertainty)| (at_db, dbfs - reference, uncertainty))
    });
    let pick = |of: fn(&(f64, f64, f64)) -> f64| [0, 1].map(|k| found[k].as_ref().ok().map(of));
    Some(SaturationLadder {
        hz,
        steps,
        max_output_at_db: pick(|f| f.0),
        max_output_db: pick(|f| f.1),
        max_output_uncertainty_db: pick(|f| f.2),
        max_output_why: [0, 1].map(|k| found[k].as_ref().err().map(|why| (*why).to_owned())),
    })
}

/// Level of the programme with the highest output, that output, and its uncertainty, by a parabola through the highest
/// step and its neighbours. Or why there is none.
fn summit(points: &[(f64, f64, f64)]) -> Result<(f64, f64, f64), &'static str> {
    if points.len() < LEAST_STEPS {
        return Err("fewer than three steps stand out of the noise");
    }
    let top = (0..points.len()).max_by(|&a, &b| points[a].1.total_cmp(&points[b].1)).unwrap_or(0);
    if top == 0 {
        return Err("the output falls from the lowest step on");
    }
    if top + 1 == points.len() {
        return Err("the output still rises at the highest step");
    }
    let [a, b, c] = [points[top - 1], points[top], points[top + 1]];
    // Noise must not make a summit of a curve that has become flat: some later step lies below by more than the uncertainty.
    let falls = |later: &(f64, f64, f64)| b.1 - later.1 > b.2.hypot(later.2).max(LEAST_FALL_DB);
    if !points[top + 1..].iter().any(falls) {
        return Err("the output hardly changes at the highest steps: it may still rise");
    }
    let Some((at, high)) = top_of([a, b, c].map(|point| (point.0, point.1))) else {
        return Ok((b.0, b.1, b.2));
    };
    // A parabola for a summit that is no parabola: half of what it adds.
    Ok((at, high, b.2.hypot(0.5 * (high - b.1))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_parabola_has_its_own_summit_and_a_rising_line_has_none() {
        let parabola: Vec<(f64, f64, f64)> =
            [-8.0, -5.0, -3.0, 0.0].map(|x| (x, 1.5 - 0.1 * f64::powi(x + 4.2, 2), 0.01)).to_vec();
        let (at, high, _) = summit(&parabola).unwrap();
        crate::assert_within!(at, -4.2, 1e-9, "dB");
        crate::assert_within!(high, 1.5, 1e-9, "dB");
        let line = [-8.0, -5.0, -3.0, 0.0].map(|x| (x, x, 0.01));
        assert!(summit(&line).unwrap_err().contains("still rises"));
        let falling = [-8.0, -5.0, -3.0].map(|x| (x, -x, 0.01));
        assert!(summit(&falling).unwrap_err().contains("falls"));
        assert!(summit(&line[..2]).is_err());
        let flat = [(-2.0, 1.0, 0.3), (0.0, 1.9, 0.3), (2.0, 2.2, 0.3), (4.0, 2.0, 0.3)];
        assert!(summit(&flat).unwrap_err().contains("may still rise"));
    }
}
