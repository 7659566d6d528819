//! Mean speed and its drift, from the chirps of all slates.

use crate::capture::FoundSlate;
use crate::programme::slate::SLOT_S;
use crate::programme::{Signal, Timeline};
use crate::reading::Speed;
use crate::signal::fit::{Line, Parabola};
use crate::signal::statistics::{mean, rms};

/// Wow moves slates against each other by less than this, s.
const LEAST_STEP_S: f64 = 0.004;
/// Jumps that add up one by one move the end by so many times what is left of them beside the best line (k = 2).
const ADD_UP: f64 = 3.0;

/// Speed over the whole return; `None` if no slate belongs to `timeline`.
///
/// Programme time is fitted against return time, by a line for the mean and by a parabola for the drift. Clocks of
/// player and sound card (some tens of parts in a million each) are not known and not in the uncertainty.
pub fn speed(slates: &[FoundSlate], timeline: &Timeline) -> Option<Speed> {
    let mut marks: Vec<(f64, f64)> = Vec::new();
    let mut groups: Vec<std::ops::Range<usize>> = Vec::new();
    for slate in slates {
        let start_s = timeline
            .parts
            .iter()
            .find(|part| matches!(part.signal, Signal::Slate { index } if index == slate.slate.index))?
            .start_s;
        let first = marks.len();
        marks.extend(slate.marks.iter().map(|(slot, at_s)| (*at_s, start_s + *slot as f64 * SLOT_S)));
        groups.push(first..marks.len());
    }
    if marks.len() < 4 {
        return None;
    }
    let line = Line::through(marks.iter().copied());
    let span = marks.iter().map(|mark| (mark.0 - line.x).abs()).fold(0.0, f64::max);
    let rms = rms(marks.iter().map(|mark| mark.1 - line.at(mark.0)));
    // Chirps of one slate share the wow of the moment: each slate counts as about two independent marks.
    let independent = (2.0 * groups.len() as f64).max(2.0);
    let spread_s = (line.squares / marks.len() as f64).sqrt();
    let sigma = rms.max(2e-6) / (independent.sqrt() * spread_s);
    // Lost samples move all slates behind them: what is left does not scatter, it steps.
    let off_s = groups
        .iter()
        .filter(|group| !group.is_empty())
        .map(|group| mean(marks[group.clone()].iter().map(|mark| mark.1 - line.at(mark.0))));
    let [lowest_s, highest_s] =
        off_s.fold([0.0f64; 2], |ends, off_s| [ends[0].min(off_s), ends[1].max(off_s)]);
    let step_s = Some(highest_s - lowest_s).filter(|step_s| *step_s > LEAST_STEP_S).unwrap_or(0.0);
    let drift = (groups.len() >= 3 && span > 15.0).then(|| {
        // d/dt of the ratio is twice the curvature.
        Some(2.0 * Parabola::through(marks.iter().copied())?.coefficients[2] * 60.0 * 100.0)
    });
    Some(Speed {
        error_percent: 100.0 * (line.slope - 1.0),
        uncertainty_percent: (200.0 * sigma)
            .max(0.0005)
            .hypot(100.0 * ADD_UP * step_s / (2.0 * span).max(1.0)),
        drift_percent_per_min: drift.flatten(),
        from_length: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::time_map::tests::{slate, timeline};

    #[test]
    fn error_and_drift_are_told_apart() {
        let starts = [2.0, 30.0, 60.0, 90.0];
        let timeline = timeline(&starts);
        // Programme time p(t) = 1.012 t + 0.5 a t^2, a = 0.03 % per minute.
        let a = 0.0003 / 60.0;
        let at = |p: f64| {
            let mut t = p / 1.012;
            for _ in 0..20 {
                t = (p - 0.5 * a * t * t) / 1.012;
            }
            t
        };
        let found = |(index, &start_s): (u8, &f64)| FoundSlate {
            marks: (0..38).map(|slot| (slot, at(start_s + slot as f64 * SLOT_S))).collect(),
            ..slate(index, at(start_s), 1.012)
        };
        let slates: Vec<FoundSlate> = (0..).zip(&starts).map(found).collect();
        let speed = speed(&slates, &timeline).unwrap();
        // Mean over 2 .. 93 s of programme: 1.2 % and the drift's half way.
        crate::assert_within!(speed.error_percent, 1.2 + 100.0 * a * at(47.5), 0.001, "%");
        crate::assert_within!(speed.drift_percent_per_min.unwrap(), 0.03, 0.0005, "%/min");
    }
}
