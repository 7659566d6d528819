//! Jumps of the phase within a long tone: there samples went missing, or came twice, on the way into the file.
//!
//! A jump is a step of phase, in both channels at once, between two courses that go on as before. Flutter bends the phase, and
//! on real tapes by a tenth of a turn within milliseconds; but what it does at each rate is known from the rest of the tone.
//! So the steps of phase from sample to sample are weighed at each rate by how little flutter and noise make there (the
//! matched filter in coloured noise): a jump stands out as its own size, flutter as what is left of it. How far it stands out
//! says how sure it is.
//!
//! A jump that the band's filter has smoothed goes straight from one phase to the other, so that the tone sinks in between.
//! It must explain the samples about it far better than a smooth course does: a click turns the phase and turns it back, and
//! a jerk of the tape turns it at full level. Whole turns leave no trace.

use crate::measure::tone::together::together;
use crate::reading::{FileClock, FileTime};
use crate::signal::baseband::Band;
use crate::signal::fm::filter_by_response;
use crate::signal::spectrum::periodogram;
use crate::signal::statistics::{mean, median, quantile};
use num_complex::Complex64;
use std::f64::consts::{LN_2, PI, TAU};

/// A jump of the phase.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhaseJump {
    /// Where it is, s from the first sample fed.
    pub at_s: f64,
    /// How far the phase jumps, turns of the tone from -0.5 to 0.5; whole ones are not seen.
    pub turns: f64,
    /// How many standard deviations of what flutter and noise make that is.
    pub sigmas: f64,
}

impl PhaseJump {
    pub(crate) fn in_file(&self, clock: FileClock) -> PhaseJumpInFile {
        PhaseJumpInFile { at_s: clock.at(self.at_s), sure: self.sigmas >= SURE_SIGMAS }
    }
}

/// A jump of the flutter tone's phase, in the file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhaseJumpInFile {
    /// Where it is.
    pub at_s: FileTime,
    /// Whether flutter cannot have made it; otherwise it hardly can.
    pub sure: bool,
}

/// A smaller turn is no jump, whatever the noise.
const LEAST_TURNS: f64 = 0.12;
/// Noise makes half a turn a little more.
const MOST_TURNS: f64 = 0.65;
/// Least standard deviations of a jump. In 10 000 s of tones with the flutter, hiss, dropouts and clicks of
/// `tests/flutter/phase_jumps.rs` and nothing lost, none was found.
const LEAST_SIGMAS: f64 = 8.0;
/// Standard deviations of a jump that is sure.
const SURE_SIGMAS: f64 = 12.0;
/// Pieces of which the spectrum of the steps is taken, s.
const PIECE_S: f64 = 0.25;
/// Least variance that a step is taken to have, turns squared: a clean file has no more to tell.
const LEAST_VARIANCE: f64 = 1e-6;
/// A jump leaves at most the first share of the power that a smooth course leaves there, and the second or this many times
/// what a smooth course leaves elsewhere.
const UNEXPLAINED: [f64; 2] = [0.18, 0.05];
const UNEXPLAINED_ELSEWHERE: f64 = 4.0;
/// Terms of the smooth course: a cubic, beyond which there is little flutter within so short a time, and a kink, as the speed is
/// another one behind what was lost.
const TERMS: usize = 5;
const KINK: usize = 4;
/// Time on either side over which the noise is taken, s.
const NEAR_S: f64 = 0.3;
/// Level and frequency are taken over this time on either side, s, ...
const SIDE_S: f64 = 0.008;
/// ... this far away: a jump is as wide as the band's filter is long, s.
const AWAY_S: f64 = 0.004;
/// Least level there, as a share of the usual one.
const LEAST_LEVEL: f64 = 0.7;
/// Most level in between: the filter overshoots by a tenth, a click by any size.
const MOST_LEVEL: f64 = 1.25;
/// The tone's frequency on either side lies within this share of its mean. Away from it there is no tone: the tape runs
/// down, or noise is in its place.
const OFF_SHARE: f64 = 0.02;
/// How far the channels' turns may differ, turns.
const ALIKE_TURNS: f64 = 0.1;
/// Within this time a phase that jumps back was never lost, s.
const BACK_S: f64 = 0.08;

/// Finds where the phase of a long tone jumps; the bands are flat over `flat_hz` on either side of it.
pub fn phase_jumps(bands: &[Band; 2], flat_hz: f64) -> Vec<PhaseJump> {
    let rate_hz = bands[0].rate_hz;
    let (both, first_s) = together(bands);
    let count = |length_s: f64| ((length_s * rate_hz) as usize).max(2);
    let (side, away) = (count(SIDE_S), count(AWAY_S));
    let reach = side + away;
    if both.len() < 4 * count(PIECE_S) {
        return Vec::new();
    }
    let usual_step = both.windows(2).map(|pair| pair[1] * pair[0].conj()).sum::<Complex64>().arg();
    let steps = steps(&both, usual_step);
    let Some(weights) = Weights::of(&steps, rate_hz, flat_hz) else { return Vec::new() };
    let seen = weights.apply(&steps);
    let sizes: Vec<f64> = seen.iter().map(|x| x.abs()).collect();
    // Standard deviations of a normal variate from its median and from what it exceeds in 5 and in 1 % of the time.
    let everywhere =
        (median(&sizes) / 0.6745).max(quantile(&sizes, 0.95) / 1.960).max(quantile(&sizes, 0.99) / 2.576);
    let usual = median(both.iter().map(|z| z.norm()));
    let power = [0, 1].map(|channel| bands[channel].samples.iter().map(Complex64::norm_sqr).sum::<f64>());
    let live: Vec<usize> = (0..2).filter(|&channel| power[channel] > 0.01 * power[1 - channel]).collect();
    // What flutter and hiss usually leave of a smooth course.
    let elsewhere = median(both.chunks_exact(2 * reach).map(|samples| unexplained(samples, None)));
    let step = StepResponse { rate_hz, flat_hz, elsewhere };
    let mut found: Vec<PhaseJump> = Vec::new();
    for k in reach..seen.len().saturating_sub(reach + 1) {
        let largest = sizes[k - reach..=k + reach].iter().all(|&size| size <= sizes[k]);
        if sizes[k] < LEAST_TURNS.max(LEAST_SIGMAS * everywhere) || !largest {
            continue;
        }
        let from = k.saturating_sub(count(NEAR_S));
        let to = (k + count(NEAR_S)).min(sizes.len());
        let near = sizes[from..k - reach].iter().chain(&sizes[k + reach..to]);
        let sigma = everywhere.max(median(near) / 0.6745);
        let turns = seen[k];
        let least = LEAST_TURNS.max(LEAST_SIGMAS * sigma);
        // More than half a turn goes the other way about; nearly a whole one is a click or a dropout that the phase went around.
        if turns.abs() < least || turns.abs() > MOST_TURNS {
            continue;
        }
        // The samples that step `k` leads from and to.
        let before = &both[k + 1 - away - side..k + 1 - away];
        let after = &both[k + 1 + away..k + 1 + away + side];
        let there = [before, after].iter().all(|samples| {
            let level = mean(samples.iter().map(|z| z.norm()));
            let step = samples.windows(2).map(|pair| pair[1] * pair[0].conj()).sum::<Complex64>().arg();
            let off = (step - usual_step + PI).rem_euclid(TAU) - PI;
            level > LEAST_LEVEL * usual && off.abs() < OFF_SHARE * bands[0].centre_hz * TAU / rate_hz
        });
        let alike = || {
            let slice = from..to + 1;
            live.iter().all(|&channel| {
                let one =
                    weights.apply(&self::steps(&bands[channel].samples[slice.clone()], usual_step))[k - from];
                let apart = one - turns;
                (apart - apart.round()).abs() < ALIKE_TURNS + 3.0 * sigma
            })
        };
        // Between two phases the tone only sinks.
        let most = both[k + 1 - away..k + 1 + away].iter().map(|z| z.norm()).fold(0.0, f64::max);
        if !there || most > MOST_LEVEL * usual || !alike() {
            continue;
        }
        if let Some((turns, place)) = step.fitted(&both[k + 1 - reach..k + 1 + reach], turns, sigma.max(0.01))
        {
            let at_s = first_s + (k as f64 + 0.5 + place) / rate_hz;
            found.push(PhaseJump { at_s, turns, sigmas: turns.abs() / sigma });
        }
    }
    without_return(found)
}

/// Turns of the phase from sample to sample, less the usual one.
fn steps(samples: &[Complex64], usual: f64) -> Vec<f64> {
    let back = Complex64::from_polar(1.0, -usual);
    samples.windows(2).map(|pair| (pair[1] * pair[0].conj() * back).arg() / TAU).collect()
}

/// What the band's filter makes of a jump: the tone goes straight from one phase to the other, and sinks in between.
struct StepResponse {
    rate_hz: f64,
    flat_hz: f64,
    /// Power that a smooth course usually leaves.
    elsewhere: f64,
}

impl StepResponse {
    /// Share of the way from 0 to 1, `after` samples behind the middle: the filter goes down by half a cosine from `flat_hz` on.
    fn at(&self, after: f64) -> f64 {
        const PARTS: usize = 64;
        let gone_hz = 1.4 * self.flat_hz;
        let width_hz = gone_hz / PARTS as f64;
        let part = |n: usize| {
            let hz = (n as f64 + 0.5) * width_hz;
            let gain =
                0.5 + 0.5 * (PI * ((hz - self.flat_hz) / (gone_hz - self.flat_hz)).clamp(0.0, 1.0)).cos();
            gain * (TAU * hz * after / self.rate_hz).sin() / (PI * hz)
        };
        0.5 + width_hz * (0..PARTS).map(part).sum::<f64>()
    }

    /// Size, turns, and place, samples from the middle of `samples`, of the jump near `turns` that explains them best;
    /// `None` if a smooth course without a jump does nearly as well.
    fn fitted(&self, samples: &[Complex64], turns: f64, sigma: f64) -> Option<(f64, f64)> {
        let middle = (samples.len() as f64 - 1.0) / 2.0;
        let smooth = unexplained(samples, None);
        let [most, least] = UNEXPLAINED.map(|share| share * smooth);
        let mut best = (most.min(least.max(UNEXPLAINED_ELSEWHERE * self.elsewhere)), None);
        for place in (-4..=4).map(|n| f64::from(n) / 4.0) {
            let way: Vec<f64> = (0..samples.len()).map(|n| self.at(n as f64 - middle - place)).collect();
            for turns in (-4..=4).map(|n| turns + 0.75 * f64::from(n) * sigma) {
                let turn = Complex64::from_polar(1.0, TAU * turns) - 1.0;
                let jump: Vec<Complex64> = way.iter().map(|share| 1.0 + turn * share).collect();
                let rest = unexplained(samples, Some(&jump));
                if rest < best.0 {
                    best = (rest, Some((turns - turns.round(), place)));
                }
            }
        }
        best.1
    }
}

/// Power that is left of `samples` beside the smooth course that fits best, or that course times `jump`.
fn unexplained(samples: &[Complex64], jump: Option<&[Complex64]>) -> f64 {
    let product =
        |a: &[Complex64], b: &[Complex64]| a.iter().zip(b).map(|(a, b)| a.conj() * b).sum::<Complex64>();
    let jump = jump.map_or_else(|| vec![Complex64::ONE; samples.len()], <[Complex64]>::to_vec);
    // The course is looked for about the samples' own mean frequency.
    let unjumped: Vec<Complex64> = jump.iter().zip(samples).map(|(jump, z)| jump.conj() * z).collect();
    let step = product(&unjumped, &unjumped[1..]).arg();
    let half = samples.len() as f64 / 2.0;
    let mut rest = samples.to_vec();
    let mut basis: Vec<Vec<Complex64>> = Vec::with_capacity(TERMS);
    for term in 0..TERMS {
        let size = |n: usize| {
            let at = (n as f64 + 0.5) / half - 1.0;
            if term == KINK { at.abs() } else { at.powi(term as i32) }
        };
        let mut one: Vec<Complex64> = jump
            .iter()
            .enumerate()
            .map(|(n, jump)| jump * Complex64::from_polar(1.0, step * n as f64) * size(n))
            .collect();
        for other in &basis {
            let share = product(other, &one);
            one.iter_mut().zip(other).for_each(|(x, y)| *x -= share * y);
        }
        let norm = product(&one, &one).re.sqrt().max(1e-300);
        one.iter_mut().for_each(|x| *x /= norm);
        let share = product(&one, &rest);
        rest.iter_mut().zip(&one).for_each(|(x, y)| *x -= share * y);
        basis.push(one);
    }
    rest.iter().map(Complex64::norm_sqr).sum()
}

/// Without those that the phase comes back from.
fn without_return(found: Vec<PhaseJump>) -> Vec<PhaseJump> {
    let back = |a: &PhaseJump, b: &PhaseJump| {
        let left = a.turns + b.turns;
        let sigma = a.turns.abs() / a.sigmas + b.turns.abs() / b.sigmas;
        a != b && (a.at_s - b.at_s).abs() < BACK_S && (left - left.round()).abs() < 0.05 + 2.0 * sigma
    };
    found.iter().filter(|a| !found.iter().any(|b| back(a, b))).copied().collect()
}

/// How much the steps count at each rate.
struct Weights {
    rate_hz: f64,
    step_hz: f64,
    /// At `k * step_hz`; a step of one turn comes out as 1.
    weights: Vec<f64>,
}

impl Weights {
    /// One over the power of `steps` at each rate, in the band up to `flat_hz`.
    fn of(steps: &[f64], rate_hz: f64, flat_hz: f64) -> Option<Self> {
        let length = (PIECE_S * rate_hz) as usize;
        // The median over the pieces: what happens in a few of them is not what the tone is like.
        let pieces: Vec<Vec<f64>> = (0..=steps.len().checked_sub(length)?)
            .step_by((length / 2).max(1))
            .map(|from| {
                let piece: Vec<Complex64> = steps[from..from + length].iter().map(|&x| x.into()).collect();
                periodogram(&piece, rate_hz).into_iter().filter(|bin| bin.0 >= 0.0).map(|bin| bin.1).collect()
            })
            .collect();
        let bins = pieces.first()?.len();
        let power: Vec<f64> = (0..bins).map(|k| median(pieces.iter().map(|piece| piece[k])) / LN_2).collect();
        let step_hz = rate_hz / length as f64;
        let within_hz = flat_hz.min(0.4 * rate_hz);
        let edge = |hz: f64| 0.5 + 0.5 * (PI * ((hz / within_hz - 0.7) / 0.3).clamp(0.0, 1.0)).cos();
        let mut weights: Vec<f64> = (0..bins)
            .map(|k| {
                let near = &power[k.saturating_sub(1)..(k + 2).min(bins)];
                edge(k as f64 * step_hz) / mean(near).max(LEAST_VARIANCE)
            })
            .collect();
        let whole = (weights[0] + 2.0 * weights[1..].iter().sum::<f64>()) * step_hz / rate_hz;
        weights.iter_mut().for_each(|weight| *weight /= whole);
        whole.is_finite().then_some(Self { rate_hz, step_hz, weights })
    }

    fn at(&self, hz: f64) -> f64 {
        let place = hz / self.step_hz;
        let [a, b] = [0, 1].map(|more| self.weights.get(place as usize + more).copied().unwrap_or(0.0));
        a + (b - a) * place.fract()
    }

    fn apply(&self, steps: &[f64]) -> Vec<f64> {
        filter_by_response(steps, self.rate_hz, |hz| Complex64::new(self.at(hz), 0.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::baseband::Baseband;
    use crate::signal::test_signals::{Random, uneven_s};

    const FLAT_HZ: f64 = 380.0;

    /// Both channels of 3150 Hz with wow of 1 % at 2 Hz and flutter of 0.1 % at 25 Hz, in hiss; samples `cut` are left out, and
    /// `more` is done to a sample of a channel at a time.
    fn bands(cut: std::ops::Range<usize>, more: impl Fn(usize, f64, f64) -> f64) -> [Band; 2] {
        let rate_hz = 48_000.0;
        let mut random = Random(3);
        [0, 1].map(|channel| {
            let samples: Vec<f64> = (0..192_000usize)
                .filter(|n| !cut.contains(n))
                .map(|n| {
                    let t = n as f64 / rate_hz;
                    let moved = uneven_s(t, &[(2.0, 1.0, 0.0), (25.0, 0.1, 0.0)]);
                    more(channel, t, 0.25 * (TAU * 3150.0 * moved).sin()) + 0.001 * random.normal()
                })
                .collect();
            let mut meter = Baseband::new(rate_hz, 3150.0, FLAT_HZ, 0.4 * FLAT_HZ);
            meter.feed(&samples);
            meter.finish()
        })
    }

    fn found(cut: std::ops::Range<usize>, more: impl Fn(usize, f64, f64) -> f64) -> Vec<PhaseJump> {
        phase_jumps(&bands(cut, more), FLAT_HZ)
    }

    #[test]
    fn lost_samples_are_found_in_flutter_with_place_and_size() {
        // Where they are lost the tone runs 1 % fast: 20.55, 32.48 and some 317.4 turns of it.
        for (lost, turns) in [(310usize, 0.55), (490, 0.48), (4800, 0.42)] {
            let found = found(96_000..96_000 + lost, |_, _, x| x);
            assert_eq!(found.len(), 1, "{lost}: {found:?}");
            crate::assert_within!(found[0].at_s, 2.0, 0.001, "s", "{lost}");
            let apart = found[0].turns - turns;
            crate::assert_within!(apart - apart.round(), 0.0, 0.05, "turns", "{lost}");
            assert!(found[0].sigmas > SURE_SIGMAS, "{lost}: {found:?}");
        }
    }

    #[test]
    fn a_loss_of_whole_turns_leaves_no_trace() {
        // 20.02 turns: what the guide (`warnings`) says cannot be seen.
        assert_eq!(found(96_000..96_302, |_, _, x| x), []);
    }

    #[test]
    fn what_is_no_loss_is_no_jump() {
        assert_eq!(found(0..0, |_, _, x| x), [], "flutter");
        let within = |t: f64, from_s: f64, length_s: f64| (from_s..from_s + length_s).contains(&t);
        let dropout = |channel, t, x| if channel == 0 && within(t, 1.0, 0.03) { 0.004 * x } else { x };
        assert_eq!(found(0..0, dropout), [], "a dropout of one track");
        for length_s in [0.000_03, 0.0003, 0.001] {
            let click = |_, t, x| if within(t, 1.0, length_s) { 0.9 } else { x };
            assert_eq!(found(0..0, click), [], "a click of {length_s} s");
        }
        let one_track = |channel, t, x: f64| if channel == 1 && t > 2.0 { -x } else { x };
        assert_eq!(found(0..0, one_track), [], "one track alone");
    }

    #[test]
    fn a_jerk_of_the_tape_is_no_jump() {
        // Half a turn within 4 ms: the tone keeps its level.
        let rate_hz = 48_000.0;
        let samples: Vec<f64> = (0..192_000usize)
            .map(|n| {
                let t = n as f64 / rate_hz;
                let jerk = 0.5 * (0.5 - 0.5 * (PI * ((t - 2.0) / 0.004).clamp(0.0, 1.0)).cos());
                0.25 * (TAU * (3150.0 * t + jerk)).sin()
            })
            .collect();
        let mut meter = Baseband::new(rate_hz, 3150.0, FLAT_HZ, 0.4 * FLAT_HZ);
        meter.feed(&samples);
        let band = meter.finish();
        assert_eq!(phase_jumps(&[band.clone(), band], FLAT_HZ), []);
    }
}
