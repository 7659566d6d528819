//! Figures of the jobs in rounds: level and pairs of tones against the rounds, sensitivity and distortion against the steps of a bias sweep, and mistracking.

use super::Plot;
use super::axes::{Axis, Frame};
use super::svg::Stroke;
use crate::judge::Reading;
use crate::reading::figures::{frequency, programme_level};
use crate::reading::{BiasSweep, Pair, ReductionTracking};

type Points = Vec<(f64, f64)>;

/// The figures that the reading can fill: `rounds`, `bias-sweep`, `bias-sweep-distortion`, `noise-reduction`.
pub(super) fn rounds(reading: &Reading) -> Vec<Plot> {
    let mut figures = Vec::new();
    if let Some(sweep) = &reading.bias_sweep {
        figures.extend(sensitivity(sweep));
        figures.extend(distortion(sweep));
    } else {
        figures.extend(trimmed(reading));
    }
    figures.extend(reading.noise_reduction.as_ref().and_then(mistracking));
    figures
}

const SIDES: [(Stroke, &str); 2] = [(Stroke::Left, "left"), (Stroke::Right, "right")];

fn finite(value: Option<f64>) -> Option<f64> {
    value.filter(|value| value.is_finite())
}

fn round_axis(sweep: &BiasSweep) -> Option<Axis> {
    axis(sweep.steps.first()?.round, sweep.steps.last()?.round)
}

fn axis(first: u32, last: u32) -> Option<Axis> {
    let step = (last.saturating_sub(first) / 16).max(1) as usize;
    let ticks = (first..=last).step_by(step).map(|round| (f64::from(round), round.to_string())).collect();
    let (low, high) = (f64::from(first) - 0.5, f64::from(last) + 0.5);
    (last > first).then(|| Axis { label: "round".to_owned(), low, high, log: false, ticks })
}

fn range(lines: &[(Points, Stroke, String)]) -> Option<(f64, f64)> {
    let values = || lines.iter().flat_map(|line| line.0.iter().map(|point| point.1));
    let (low, high) = (values().reduce(f64::min)?, values().reduce(f64::max)?);
    Some((low - 0.2, high + 0.2))
}

/// Values of a step against its round.
fn course(sweep: &BiasSweep, side: usize, value: impl Fn(&crate::reading::BiasStep) -> Pair) -> Points {
    sweep.steps.iter().filter_map(|step| Some((f64::from(step.round), finite(value(step)[side])?))).collect()
}

fn draw(name: &'static str, caption: String, x: Axis, y: Axis, lines: &[(Points, Stroke, String)]) -> Plot {
    let mut frame = Frame::new(&caption, x, y);
    for (points, stroke, label) in lines {
        frame.line(points, *stroke, label);
        frame.marks(points, *stroke);
    }
    Plot { name, caption, svg: frame.finish() }
}

/// Level, and the highest pair of tones, round by round: what somebody turned.
fn trimmed(reading: &Reading) -> Option<Plot> {
    let x = axis(reading.rounds.first()?.round, reading.rounds.last()?.round)?;
    let pair = reading.bias.iter().max_by(|a, b| a.high_hz.total_cmp(&b.high_hz));
    let mut lines: Vec<(Points, Stroke, String)> = Vec::new();
    for (side, (stroke, name)) in SIDES.into_iter().enumerate() {
        let initial = name[..1].to_uppercase();
        let level =
            reading.rounds.iter().filter_map(|row| Some((f64::from(row.round), finite(row.level_db[side])?)));
        lines.push((level.collect(), stroke, format!("{initial} level")));
        if let Some(pair) = pair {
            let rows =
                reading.bias.iter().filter(|row| (row.low_hz, row.high_hz) == (pair.low_hz, pair.high_hz));
            let points =
                rows.filter_map(|row| Some((f64::from(row.round), finite(row.difference_db[side])?)));
            lines.push((points.collect(), stroke, format!("{initial} {}", frequency(pair.high_hz))));
        }
    }
    lines.retain(|line| !line.0.is_empty());
    let (low, high) = range(&lines)?;
    let above = pair.map(|pair| {
        format!("; {} above {}, which bias turns", frequency(pair.high_hz), frequency(pair.low_hz))
    });
    let caption = format!(
        "Level round by round, return minus programme{}. Left solid with discs, right dashed with squares.",
        above.unwrap_or_default()
    );
    Some(draw("rounds", caption, x, Axis::linear("gain, difference, dB", low, high, true), &lines))
}

fn sensitivity(sweep: &BiasSweep) -> Option<Plot> {
    let x = round_axis(sweep)?;
    let high_hz: Vec<f64> = sweep.steps.first()?.high.iter().map(|high| high.hz).collect();
    let mut lines = Vec::new();
    for (side, (stroke, name)) in SIDES.into_iter().enumerate() {
        let initial = name[..1].to_uppercase();
        lines.push((
            course(sweep, side, |step| step.low_db),
            stroke,
            format!("{initial} {}", frequency(sweep.low_hz)),
        ));
        for &hz in &high_hz {
            let points = course(sweep, side, |step| {
                step.high.iter().find(|high| high.hz == hz).map_or([None; 2], |high| high.db)
            });
            lines.push((points, stroke, format!("{initial} {}", frequency(hz))));
        }
    }
    lines.retain(|line| !line.0.is_empty());
    let (low, high) = range(&lines)?;
    let caption = "Sensitivity against the steps of the bias: gain, return minus programme. Left solid with discs, right \
                   dashed with squares."
        .to_owned();
    Some(draw("bias-sweep", caption, x, Axis::linear("gain, dB", low, high, true), &lines))
}

fn distortion(sweep: &BiasSweep) -> Option<Plot> {
    let x = round_axis(sweep)?;
    let mut lines: Vec<(Points, Stroke, String)> = SIDES
        .into_iter()
        .enumerate()
        .map(|(side, (stroke, name))| (course(sweep, side, |step| step.k3_percent), stroke, name.to_owned()))
        .collect();
    lines.retain(|line| !line.0.is_empty());
    let (_, high) = range(&lines)?;
    let tone = sweep.level_hz.map_or("the loud tone".to_owned(), frequency);
    let caption = format!(
        "Third harmonic of {tone} against the steps of the bias. Left solid with discs, right dashed with squares."
    );
    let y = Axis::linear("third harmonic, %", 0.0, high, false);
    Some(draw("bias-sweep-distortion", caption, x, y, &lines))
}

fn mistracking(found: &ReductionTracking) -> Option<Plot> {
    let mut levels_db: Vec<f64> = found.rows.iter().map(|row| row.programme_db).collect();
    levels_db.dedup();
    let mut lines: Vec<(Points, Stroke, String)> = Vec::new();
    for (side, (stroke, name)) in SIDES.into_iter().enumerate() {
        for &level_db in &levels_db {
            let rows = found.rows.iter().filter(|row| row.programme_db == level_db);
            let points: Points =
                rows.filter_map(|row| Some((row.hz, finite(row.mistracking_db[side])?))).collect();
            lines.push((
                points,
                stroke,
                format!("{} {}", name[..1].to_uppercase(), programme_level(level_db)),
            ));
        }
    }
    lines.retain(|line| !line.0.is_empty());
    let (low, high) = range(&lines)?;
    let caption = "Gain with noise reduction in minus gain with it out, by level of the programme. Left solid with discs, right \
                   dashed with squares."
        .to_owned();
    let x = Axis::frequency("frequency, Hz", 100.0, 20_000.0);
    Some(draw("noise-reduction", caption, x, Axis::linear("in minus out, dB", low, high, true), &lines))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::show::tests::sample;

    #[test]
    fn trimming_has_a_figure_of_its_own_and_a_sweep_has_not() {
        let mut reading = sample("rounds");
        let names = |reading: &Reading| rounds(reading).iter().map(|figure| figure.name).collect::<Vec<_>>();
        assert_eq!(names(&reading), ["bias-sweep", "bias-sweep-distortion", "noise-reduction"]);
        reading.bias_sweep = None;
        assert_eq!(names(&reading), ["rounds", "noise-reduction"]);
        let svg = &rounds(&reading)[0].svg;
        // Level and one pair, both channels.
        assert_eq!(svg.matches("<polyline class=\"left\"").count(), 2);
        assert_eq!(svg.matches("<polyline class=\"right\"").count(), 2);
        assert!(svg.contains(">L 15 kHz<") && svg.contains(">R level<"));
        reading.rounds.truncate(1);
        assert_eq!(names(&reading), ["noise-reduction"]);
    }
}
