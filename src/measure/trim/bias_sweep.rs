//! What a bias sweep shows: where sensitivity peaks, how far past its peak each step is, where the response is flat and
//! where distortion is lowest.
//!
//! The unit of the steps is the round: nothing in the return says how far a trimmer was turned.
//!
//! Overbias is stated in dB past the peak of sensitivity, as the trade sets it (common practice, no source). Which way
//! the bias ran is told by the treble, which more bias erases.

use crate::measure::trim::pause_noise::PauseNoise;
use crate::measure::trim::peak::{Point, peak};
use crate::reading::{BiasBalance, BiasHigh, BiasPeak, BiasStep, BiasSweep, FileTime, Level, Pair};
use crate::signal::fit::Line;

/// Gain and its expanded uncertainty, dB, `[left, right]`.
type Gain = [Option<(f64, f64)>; 2];

/// The figures of one round of a sweep.
#[derive(Debug, Clone)]
pub(crate) struct SweepRound {
    pub round: u32,
    pub at_s: FileTime,
    pub level_hz: Option<f64>,
    pub level: Gain,
    pub low_hz: f64,
    pub low: Gain,
    pub high: Vec<(f64, Gain)>,
    /// Third harmonic of the loud tone and its expanded uncertainty, percent.
    pub k3_percent: Gain,
    /// Noise of its pause.
    pub pause: Option<PauseNoise>,
}

/// The treble must move by this much along the sweep to tell its direction, dB.
const LEAST_TILT_DB: f64 = 1.0;

/// The sweep; `None` without rounds. `level` are the level tones outside the rounds: noise is stated against them, so that
/// it does not move with the sensitivity.
pub(crate) fn bias_sweep(rounds: &[SweepRound], level: &[Level]) -> Option<BiasSweep> {
    let first = rounds.first()?;
    let high_hz: Vec<f64> = first.high.iter().map(|high| high.0).collect();
    let rising = rising(rounds);
    let low_peak = peak_of(first.low_hz, rounds, |round| round.low);
    let high_peaks: Vec<BiasPeak> =
        high_hz.iter().map(|&hz| peak_of(hz, rounds, |round| high(round, hz))).collect();
    let (noise_reference, reference_dbfs) = reference(level);
    let steps = rounds
        .iter()
        .map(|round| BiasStep {
            round: round.round,
            at_s: round.at_s,
            level_db: values(round.level),
            low_db: values(round.low),
            low_uncertainty_db: uncertainties(round.low),
            high: high_hz
                .iter()
                .zip(&high_peaks)
                .map(|(&hz, peak)| BiasHigh {
                    hz,
                    db: values(high(round, hz)),
                    uncertainty_db: uncertainties(high(round, hz)),
                    past_peak_db: past_peak(round, hz, peak, rising),
                })
                .collect(),
            k3_percent: values(round.k3_percent),
            k3_uncertainty_percent: uncertainties(round.k3_percent),
            noise_a_weighted_db: [0, 1]
                .map(|channel| Some(round.pause?.dbfs(channel)? - reference_dbfs[channel]?)),
            noise_uncertainty_db: [0, 1].map(|channel| {
                reference_dbfs[channel]?;
                Some(round.pause?.uncertainty_db())
            }),
        })
        .collect();
    let k3_peak = [0, 1].map(|channel| {
        let points: Vec<Point> = rounds
            .iter()
            .filter_map(|round| {
                let (percent, uncertainty) = round.k3_percent[channel].filter(|k3| k3.0 > 0.0)?;
                // The lowest distortion is the peak of its negative level.
                Some((f64::from(round.round), -20.0 * percent.log10(), 8.686 * uncertainty / percent))
            })
            .collect();
        peak(&points)
    });
    let balance = high_hz.iter().map(|&hz| balance(rounds, hz)).collect();
    Some(BiasSweep {
        level_hz: first.level_hz,
        low_hz: first.low_hz,
        noise_reference,
        steps,
        rising,
        peaks: std::iter::once(low_peak).chain(high_peaks).collect(),
        balance,
        lowest_k3_round: k3_peak.map(|peak| peak.map(|peak| peak.at)),
        lowest_k3_uncertainty_rounds: k3_peak.map(|peak| peak.map(|peak| peak.uncertainty)),
    })
}

fn values(gain: Gain) -> Pair {
    gain.map(|gain| gain.map(|gain| gain.0))
}

fn uncertainties(gain: Gain) -> Pair {
    gain.map(|gain| gain.map(|gain| gain.1))
}

fn high(round: &SweepRound, hz: f64) -> Gain {
    round.high.iter().find(|high| high.0 == hz).map_or([None; 2], |high| high.1)
}

/// High minus low and its uncertainty.
fn tilt(round: &SweepRound, hz: f64, channel: usize) -> Option<(f64, f64)> {
    let (high, low) = (high(round, hz)[channel]?, round.low[channel]?);
    Some((high.0 - low.0, high.1.hypot(low.1)))
}

/// Level of the loudest level tone less its level in the programme.
fn reference(level: &[Level]) -> (String, Pair) {
    let tone = level.iter().max_by(|a, b| a.programme_db.total_cmp(&b.programme_db));
    match tone {
        Some(tone) => (
            format!("the level tone of {} Hz before the rounds, converted to 0 dB of the programme", tone.hz),
            tone.return_dbfs.map(|dbfs| dbfs.map(|dbfs| dbfs - tone.programme_db)),
        ),
        None => ("full scale of the recording (no level tone outside the rounds)".to_owned(), [Some(0.0); 2]),
    }
}

/// Whether bias rose from round to round: more bias erases treble, so high minus low falls.
fn rising(rounds: &[SweepRound]) -> Option<bool> {
    let hz = rounds.first()?.high.iter().map(|high| high.0).fold(f64::NEG_INFINITY, f64::max);
    let slopes: Vec<f64> = [0, 1]
        .into_iter()
        .filter_map(|channel| {
            let points: Vec<(f64, f64)> = rounds
                .iter()
                .filter_map(|round| Some((f64::from(round.round), tilt(round, hz, channel)?.0)))
                .collect();
            if points.len() < 3 {
                return None;
            }
            let length = points[points.len() - 1].0 - points[0].0;
            Some(Line::through(points.iter().copied()).slope * length)
        })
        .collect();
    let fall = slopes.iter().copied().min_by(|a, b| b.abs().total_cmp(&a.abs()))?;
    // Channels that run against each other tell nothing.
    let agree = slopes.iter().all(|slope| slope.signum() == fall.signum() || slope.abs() < LEAST_TILT_DB);
    (agree && fall.abs() >= LEAST_TILT_DB).then_some(fall < 0.0)
}

fn peak_of(hz: f64, rounds: &[SweepRound], gain: impl Fn(&SweepRound) -> Gain) -> BiasPeak {
    let found = [0, 1].map(|channel| {
        let points: Vec<Point> = rounds
            .iter()
            .filter_map(|round| {
                gain(round)[channel].map(|(db, uncertainty)| (f64::from(round.round), db, uncertainty))
            })
            .collect();
        peak(&points)
    });
    BiasPeak {
        hz,
        round: found.map(|peak| peak.map(|peak| peak.at)),
        uncertainty_rounds: found.map(|peak| peak.map(|peak| peak.uncertainty)),
        db: found.map(|peak| peak.map(|peak| peak.height)),
    }
}

/// How far the gain has fallen from its peak: positive where there is more bias than at the peak.
fn past_peak(round: &SweepRound, hz: f64, peak: &BiasPeak, rising: Option<bool>) -> Pair {
    [0, 1].map(|channel| {
        let (gain, top_db, top) = (high(round, hz)[channel]?.0, peak.db[channel]?, peak.round[channel]?);
        let behind = f64::from(round.round) > top;
        // At the top a step may stand a little above the parabola.
        let fallen_db = (top_db - gain).max(0.0);
        Some(if behind == rising? { fallen_db } else { -fallen_db })
    })
}

fn balance(rounds: &[SweepRound], hz: f64) -> BiasBalance {
    let mut balance =
        BiasBalance { high_hz: hz, round: [None; 2], uncertainty_rounds: [None; 2], best_round: [None; 2] };
    for channel in 0..2 {
        let tilts: Vec<(u32, f64, f64)> = rounds
            .iter()
            .filter_map(|round| {
                tilt(round, hz, channel).map(|(db, uncertainty)| (round.round, db, uncertainty))
            })
            .collect();
        let crossing = tilts.windows(2).find(|pair| (pair[0].1 > 0.0) != (pair[1].1 > 0.0));
        if let Some([a, b]) = crossing {
            let slope = (b.1 - a.1) / f64::from(b.0 - a.0);
            balance.round[channel] = Some(f64::from(a.0) - a.1 / slope);
            balance.uncertainty_rounds[channel] = Some(a.2.max(b.2) / slope.abs());
        }
        let Some(nearest) = tilts.iter().min_by(|a, b| a.1.abs().total_cmp(&b.1.abs())) else { continue };
        let k3 = |number: u32| {
            let round = rounds.iter().find(|round| round.round == number)?;
            round.k3_percent[channel].map(|k3| k3.0)
        };
        let alike = tilts.iter().filter(|tilt| tilt.1.abs() - nearest.1.abs() <= nearest.2);
        let best = alike.filter_map(|tilt| Some((tilt.0, k3(tilt.0)?))).min_by(|a, b| a.1.total_cmp(&b.1));
        balance.best_round[channel] = Some(best.map_or(nearest.0, |best| best.0));
    }
    balance
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::FileClock;

    /// A sweep of `count` rounds: 10 kHz peaks at round 4, 1 kHz at round 8, K3 is lowest at round 9.
    fn sweep(count: u32, falling: bool) -> Vec<SweepRound> {
        (1..=count)
            .map(|number| {
                let bias = f64::from(if falling { count + 1 - number } else { number });
                let both = |db: f64| [Some((db, 0.02)); 2];
                SweepRound {
                    round: number,
                    at_s: FileClock::default().at(10.0 * f64::from(number)),
                    level_hz: Some(315.0),
                    level: both(0.0),
                    low_hz: 1000.0,
                    low: both(-0.03 * (bias - 8.0).powi(2)),
                    high: vec![(10_000.0, both(2.0 - 0.1 * (bias - 4.0).powi(2)))],
                    k3_percent: [Some((10f64.powf(0.02 * (bias - 9.0).powi(2) / 20.0 * 5.0), 0.02)), None],
                    pause: Some(PauseNoise { a_weighted: [0.5e-6; 2], length_s: 2.5 }),
                }
            })
            .collect()
    }

    #[test]
    fn peaks_overbias_balance_and_distortion_stand_where_they_are() {
        for falling in [false, true] {
            let got = bias_sweep(&sweep(14, falling), &[]).unwrap();
            let place = |bias: f64| if falling { 15.0 - bias } else { bias };
            assert_eq!(got.rising, Some(!falling));
            crate::assert_within!(got.peaks[0].round[0].unwrap(), place(8.0), 0.01, "rounds");
            crate::assert_within!(got.peaks[1].round[1].unwrap(), place(4.0), 0.01, "rounds");
            crate::assert_within!(got.lowest_k3_round[0].unwrap(), place(9.0), 0.05, "rounds");
            assert_eq!(got.lowest_k3_round[1], None);
            let step = got.steps.iter().find(|step| f64::from(step.round) == place(9.0)).unwrap();
            crate::assert_within!(step.high[0].past_peak_db[0].unwrap(), 2.5, 0.01, "dB");
            let early = got.steps.iter().find(|step| f64::from(step.round) == place(2.0)).unwrap();
            crate::assert_within!(early.high[0].past_peak_db[0].unwrap(), -0.4, 0.01, "dB");
            // 2 - 0.1 (b - 4)^2 + 0.03 (b - 8)^2 = 0 at b = 8.480; straight lines between rounds add up to 0.02.
            crate::assert_within!(got.balance[0].round[0].unwrap(), place(8.480), 0.03, "rounds");
            crate::assert_within!(step.noise_a_weighted_db[0].unwrap(), -60.0, 1e-9, "dB");
        }
    }

    #[test]
    fn a_sweep_that_stops_early_names_no_peak_and_no_overbias() {
        let got = bias_sweep(&sweep(3, false), &[]).unwrap();
        assert_eq!(got.peaks[1].round, [None; 2]);
        assert!(got.steps.iter().all(|step| step.high[0].past_peak_db == [None; 2]));
        assert_eq!(bias_sweep(&[], &[]), None);
    }

    #[test]
    fn rounds_that_are_alike_have_no_direction() {
        let mut rounds = sweep(10, false);
        for round in &mut rounds {
            round.high[0].1 = [Some((0.2, 0.02)); 2];
            round.low = [Some((0.1, 0.02)); 2];
        }
        let got = bias_sweep(&rounds, &[]).unwrap();
        assert_eq!((got.rising, got.peaks[0].round), (None, [None; 2]));
    }
}
