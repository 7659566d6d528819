//! Figures of the jobs in rounds: level and pairs of tones against the rounds, sensitivity and distortion against the steps of a bias sweep, and mistracking.

use super::axes::{Axis, Frame};
use super::svg::Stroke;
use super::{Plot, RINGS, judged, judged_of, reads};
use crate::judge::Reading;
use crate::reading::figures::UnitKind::Rounds;
use crate::reading::figures::{frequency, programme_level};
use crate::reading::{BiasSweep, Pair, ReductionTracking};

type Points = Vec<(f64, f64)>;

/// The figures that the reading can fill: `rounds`, `bias-sweep`, `bias-sweep-distortion`, `noise-reduction`.
pub(super) fn rounds(reading: &Reading) -> Vec<Plot> {
    let mut figures = Vec::new();
    if let Some(sweep) = &reading.bias_sweep {
        let chosen = chosen(reading, sweep);
        figures.extend(sensitivity(reading, sweep, chosen.as_ref()));
        figures.extend(distortion(sweep, chosen.as_ref()));
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
    let step = last.saturating_sub(first).div_ceil(18).max(1) as usize;
    let ticks = (first..=last).step_by(step).map(|round| (f64::from(round), round.to_string())).collect();
    let (low, high) = (f64::from(first) - 0.5, f64::from(last) + 0.5);
    (last > first).then(|| Axis { label: "round".to_owned(), low, high, log: false, ticks })
}

/// One line, how heavy it is, and its name.
struct Line {
    points: Points,
    stroke: Stroke,
    weight: f64,
    name: String,
}

/// Of lines that lie side by side the first is the heaviest.
fn weight(place: usize) -> f64 {
    1.4 * 0.6f64.powi(place as i32)
}

fn line(side: usize, place: usize, points: Points, name: &str) -> Line {
    let (stroke, word) = SIDES[side];
    Line { points, stroke, weight: weight(place), name: format!("{} {name}", word[..1].to_uppercase()) }
}

/// The round that is the best compromise, left and right, by the high tone that bias is judged by.
struct Chosen {
    high_hz: f64,
    round: [Option<u32>; 2],
}

fn chosen(reading: &Reading, sweep: &BiasSweep) -> Option<Chosen> {
    let high_hz = judged(reading, "bias").find_map(|(finding, _)| finding.at_hz)?;
    let balance = sweep.balance.iter().find(|balance| balance.high_hz == high_hz)?;
    Some(Chosen { high_hz, round: balance.best_round })
}

impl Chosen {
    fn draw(&self, frame: &mut Frame) {
        match self.round {
            [Some(left), Some(right)] if left == right => {
                frame.upright(f64::from(left), false, &format!("round {left} chosen"));
            }
            both => {
                let first = both.into_iter().flatten().min();
                for (round, initial) in both.into_iter().zip(["L", "R"]) {
                    if let Some(round) = round {
                        // Away from the other one.
                        let left = Some(round) == first;
                        frame.upright(f64::from(round), left, &format!("{initial}: round {round} chosen"));
                    }
                }
            }
        }
    }

    fn in_words(&self) -> String {
        format!(
            " Chosen: of the rounds whose {} stands level with the low tone, that of the lowest third harmonic.",
            frequency(self.high_hz)
        )
    }
}

fn range(lines: &[Line]) -> Option<(f64, f64)> {
    let values = || lines.iter().flat_map(|line| line.points.iter().map(|point| point.1));
    let (low, high) = (values().reduce(f64::min)?, values().reduce(f64::max)?);
    Some((low - 0.2, high + 0.2))
}

/// Values of a step against its round.
fn course(sweep: &BiasSweep, side: usize, value: impl Fn(&crate::reading::BiasStep) -> Pair) -> Points {
    sweep.steps.iter().filter_map(|step| Some((f64::from(step.round), finite(value(step)[side])?))).collect()
}

fn draw(caption: &str, x: Axis, y: Axis, lines: &[Line]) -> Frame {
    let mut frame = Frame::new(caption, x, y);
    for Line { points, stroke, weight, name } in lines {
        frame.weighted(points, *stroke, *weight, name);
        frame.marks_weighted(points, *stroke, *weight);
    }
    frame
}

/// Level, and the pair of tones that bias is judged by (or the highest), round by round: what somebody turned.
fn trimmed(reading: &Reading) -> Option<Plot> {
    let x = axis(reading.rounds.first()?.round, reading.rounds.last()?.round)?;
    let judged_hz = judged(reading, "bias").find_map(|(finding, _)| finding.at_hz);
    let rank = |high_hz: f64| (Some(high_hz) == judged_hz, high_hz);
    let pair = reading
        .bias
        .iter()
        .max_by(|a, b| rank(a.high_hz).partial_cmp(&rank(b.high_hz)).unwrap_or(std::cmp::Ordering::Equal));
    let (mut lines, mut rings) = (Vec::new(), Vec::new());
    for side in 0..2 {
        let level =
            reading.rounds.iter().filter_map(|row| Some((f64::from(row.round), finite(row.level_db[side])?)));
        lines.push(line(side, 0, level.collect(), "level"));
        if let Some(pair) = pair {
            let rows =
                reading.bias.iter().filter(|row| (row.low_hz, row.high_hz) == (pair.low_hz, pair.high_hz));
            let points: Points = rows
                .filter_map(|row| Some((f64::from(row.round), finite(row.difference_db[side])?)))
                .collect();
            let judged =
                judged_of(reading, "bias", side).find(|(finding, _)| finding.at_hz == Some(pair.high_hz));
            // The latest round is how the deck stands.
            rings.extend(points.last().copied().zip(judged.map(|(finding, _)| reads(finding))));
            lines.push(line(side, 1, points, &frequency(pair.high_hz)));
        }
    }
    lines.retain(|line| !line.points.is_empty());
    let (low, high) = range(&lines)?;
    let above = pair.map(|pair| {
        format!("; fine: {} above {}, which bias turns", frequency(pair.high_hz), frequency(pair.low_hz))
    });
    let caption = format!(
        "Heavy: level round by round, return minus programme{}. Left solid with discs, right dashed with squares.{}",
        above.unwrap_or_default(),
        if rings.is_empty() { "" } else { RINGS }
    );
    let mut frame = draw(&caption, x, Axis::linear("gain, difference, dB", low, high, true), &lines);
    for (at, reads) in rings {
        frame.ring(at, &reads);
    }
    Some(Plot { name: "rounds", caption, svg: frame.finish() })
}

fn sensitivity(reading: &Reading, sweep: &BiasSweep, chosen: Option<&Chosen>) -> Option<Plot> {
    let x = round_axis(sweep)?;
    let high_hz: Vec<f64> = sweep.steps.first()?.high.iter().map(|high| high.hz).collect();
    let mut lines = Vec::new();
    for side in 0..2 {
        lines.push(line(side, 0, course(sweep, side, |step| step.low_db), &frequency(sweep.low_hz)));
        for (k, &hz) in high_hz.iter().enumerate() {
            let points = course(sweep, side, |step| {
                step.high.iter().find(|high| high.hz == hz).map_or([None; 2], |high| high.db)
            });
            lines.push(line(side, k + 1, points, &frequency(hz)));
        }
    }
    lines.retain(|line| !line.points.is_empty());
    let (low, high) = range(&lines)?;
    let peak = sweep.peaks.iter().find(|peak| peak.hz == sweep.low_hz);
    let peaks: Vec<_> = (0..2)
        .filter_map(|side| Some((side, (finite(peak?.round[side])?, finite(peak?.db[side])?))))
        .collect();
    // How the deck stands: the high tone of the last round, which is held against the low one.
    let rings: Vec<_> = (0..2)
        .filter_map(|side| {
            let (finding, _) = judged_of(reading, "bias", side).next()?;
            let step = sweep.steps.last()?;
            let high = step.high.iter().find(|high| Some(high.hz) == finding.at_hz)?;
            let against = format!("{} against {}", reads(finding), frequency(sweep.low_hz));
            Some(((f64::from(step.round), finite(high.db[side])?), against))
        })
        .collect();
    let mut caption = format!(
        "Sensitivity against the steps of the bias: gain, return minus programme. Left solid with discs, right dashed with squares; \
         heavy {}, the higher the tone the finer.",
        frequency(sweep.low_hz)
    );
    if !peaks.is_empty() {
        caption += &format!(" Triangles: peaks at {}, with their round.", frequency(sweep.low_hz));
    }
    caption += &chosen.map(Chosen::in_words).unwrap_or_default();
    if !rings.is_empty() {
        caption += RINGS;
    }
    // Room for what is said of rounds above, and of the rings below.
    let air = 0.15 * (high - low);
    let y = Axis::linear("gain, dB", low - air, high + air, true);
    let mut frame = draw(&caption, x, y, &lines);
    if let Some(chosen) = chosen {
        chosen.draw(&mut frame);
    }
    for (side, at) in peaks {
        let initial = SIDES[side].1[..1].to_uppercase();
        frame.peak(at, SIDES[side].0, &format!("{initial} peak {}", Rounds.of(at.0, None)));
    }
    for (at, reads) in rings {
        frame.ring(at, &reads);
    }
    Some(Plot { name: "bias-sweep", caption, svg: frame.finish() })
}

fn distortion(sweep: &BiasSweep, chosen: Option<&Chosen>) -> Option<Plot> {
    let x = round_axis(sweep)?;
    let mut lines: Vec<Line> = (0..2)
        .map(|side| {
            let points = course(sweep, side, |step| step.k3_percent);
            Line { name: SIDES[side].1.to_owned(), ..line(side, 1, points, "") }
        })
        .collect();
    lines.retain(|line| !line.points.is_empty());
    let (_, high) = range(&lines)?;
    let tone = sweep.level_hz.map_or("the loud tone".to_owned(), frequency);
    let caption = format!(
        "Third harmonic of {tone} against the steps of the bias. Left solid with discs, right dashed with squares.{}",
        chosen.map(Chosen::in_words).unwrap_or_default()
    );
    let mut frame = draw(&caption, x, Axis::linear("third harmonic, %", 0.0, high, false), &lines);
    if let Some(chosen) = chosen {
        chosen.draw(&mut frame);
    }
    Some(Plot { name: "bias-sweep-distortion", caption, svg: frame.finish() })
}

fn mistracking(found: &ReductionTracking) -> Option<Plot> {
    let mut levels_db: Vec<f64> = found.rows.iter().map(|row| row.programme_db).collect();
    levels_db.sort_by(|a, b| b.total_cmp(a));
    levels_db.dedup();
    let mut lines = Vec::new();
    for side in 0..2 {
        for (k, &level_db) in levels_db.iter().enumerate() {
            let rows = found.rows.iter().filter(|row| row.programme_db == level_db);
            let points = rows.filter_map(|row| Some((row.hz, finite(row.mistracking_db[side])?))).collect();
            lines.push(line(side, k, points, &programme_level(level_db)));
        }
    }
    lines.retain(|line| !line.points.is_empty());
    let (low, high) = range(&lines)?;
    let caption = "Gain with noise reduction in minus gain with it out, by level of the programme: the louder, the heavier. Left \
                   solid with discs, right dashed with squares."
        .to_owned();
    let x = Axis::frequency("frequency, Hz", 100.0, 20_000.0);
    let frame = draw(&caption, x, Axis::linear("in minus out, dB", low, high, true), &lines);
    Some(Plot { name: "noise-reduction", caption, svg: frame.finish() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::show::tests::sample;

    /// Width of the line with this class at this place among its like.
    fn widths<'a>(svg: &'a str, class: &str) -> Vec<&'a str> {
        let start = format!("<polyline class=\"{class}\"");
        let lines = svg.split(start.as_str()).skip(1);
        lines.map(|line| line.split("stroke-width=\"").nth(1).unwrap().split('"').next().unwrap()).collect()
    }

    #[test]
    fn a_sweep_shows_what_was_chosen_both_peaks_and_which_tone_is_which() {
        let mut reading = sample("rounds");
        let sweep = reading.bias_sweep.as_mut().unwrap();
        let low_hz = sweep.low_hz;
        let peak = sweep.peaks.iter_mut().find(|peak| peak.hz == low_hz).unwrap();
        (peak.round, peak.db) = ([Some(7.0), Some(6.2)], [Some(-0.1), Some(-0.2)]);
        let figures = rounds(&reading);
        for svg in [&figures[0].svg, &figures[1].svg] {
            assert!(svg.contains(">L: round 6 chosen<") && svg.contains(">R: round 7 chosen<"), "{svg}");
        }
        let svg = &figures[0].svg;
        assert!(svg.contains(">L peak round 7.0<") && svg.contains(">R peak round 6.2<"), "{svg}");
        assert_eq!(svg.matches("<path ").count(), 2);
        for class in ["left", "right"] {
            let mut widths = widths(svg, class);
            widths.dedup();
            assert_eq!(widths.len(), 3, "{class}: {widths:?}");
        }
        let mut without = reading.clone();
        without.bias_sweep.as_mut().unwrap().balance.clear();
        assert!(!rounds(&without)[0].svg.contains("chosen<"));
    }

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
        // The pair that was judged, not the highest.
        assert!(svg.contains(">L 10 kHz<") && svg.contains(">R level<"));
        reading.rounds.truncate(1);
        assert_eq!(names(&reading), ["noise-reduction"]);
    }
}
