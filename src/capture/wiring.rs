//! How the two channels are wired: swapped, inverted, one signal on both, or dead.

use super::slates::FoundSlate;
use std::f64::consts::{FRAC_PI_2, PI};

/// How the channels of the file belong to those of the programme.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Wiring {
    /// Channel 0 of the file is the right one.
    pub swapped: bool,
    /// Polarity inverted against the programme, `[left, right]` after undoing a swap.
    pub inverted: [bool; 2],
    /// Both channels carry one signal.
    pub mono: bool,
    /// No signal, or no more than crosstalk, `[left, right]` after undoing a swap.
    pub dead: [bool; 2],
    /// How much of the left channel stands in the right one, and of the right in the left, as ratios of amplitude (0 where one is
    /// dead).
    pub leaks: [f64; 2],
    /// The channels are of one polarity in some slates and of opposite polarity in others.
    pub flips: bool,
}

/// Amplitude below which a channel is dead, as a share of the other channel's (-30 dB).
const DEAD: f64 = 0.0316;

impl Wiring {
    /// Judges from what the slates' one-sided chirps and phases say, over all slates together.
    pub fn new(slates: &[FoundSlate], identical: bool) -> Self {
        let sum = |pick: fn(&FoundSlate) -> [f64; 2]| {
            slates.iter().map(pick).fold([0.0; 2], |sum, x| [sum[0] + x[0], sum[1] + x[1]])
        };
        let left_only = sum(|slate| slate.left_only);
        let right_only = sum(|slate| slate.right_only);
        let amplitude = sum(|slate| slate.amplitude);
        let dead = [0, 1].map(|channel| amplitude[channel] < DEAD * amplitude[1 - channel]);
        let swapped = !identical && left_only[1] + right_only[0] > 2.0 * (left_only[0] + right_only[1]);
        let one_signal = [0, 1].into_iter().filter(|&channel| !dead[channel]).all(|channel| {
            let (a, b) = (left_only[channel], right_only[channel]);
            a.min(b) > 0.6 * a.max(b)
        });
        let mono = identical || one_signal;
        let ratio = |into: f64, of: f64| if dead.contains(&true) || of <= 0.0 { 0.0 } else { into / of };
        let [left, right] = if swapped { [1, 0] } else { [0, 1] };
        let leaks = [ratio(left_only[right], left_only[left]), ratio(right_only[left], right_only[right])];
        // A quarter of a turn is far more than azimuth makes at the chirps' frequencies.
        let turn = |slate: &FoundSlate| {
            let [(a, x), (b, y)] = slate.phase;
            (x.min(y) > 0.5).then(|| (b - a).cos())
        };
        let turns = || slates.iter().filter_map(turn);
        let flips = !dead.contains(&true) && turns().any(|cos| cos > 0.7) && turns().any(|cos| cos < -0.7);
        let mean_phase = |channel: usize| {
            let sum: num_complex::Complex64 = slates
                .iter()
                .map(|slate| {
                    num_complex::Complex64::from_polar(slate.phase[channel].1, slate.phase[channel].0)
                })
                .sum();
            let mean = sum / slates.len().max(1) as f64;
            (mean.arg(), mean.norm())
        };
        let phases = [mean_phase(0), mean_phase(1)];
        let mut inverted = [0, 1].map(|channel| {
            let (phase, agreement) = phases[channel];
            !dead[channel] && agreement > 0.5 && phase.abs() > 0.75 * PI
        });
        if !dead[0] && !dead[1] {
            // Between the channels the phase is sure where against the programme it may not be.
            let mutual: num_complex::Complex64 = slates
                .iter()
                .map(|slate| {
                    let [(a, x), (b, y)] = slate.phase;
                    num_complex::Complex64::from_polar(x * y, b - a)
                })
                .sum();
            let opposed = mutual.arg().abs() > FRAC_PI_2;
            if opposed != (inverted[0] != inverted[1]) {
                let surer = usize::from(phases[1].0.abs() > phases[0].0.abs());
                inverted = if opposed { [surer == 0, surer == 1] } else { [inverted[0] && inverted[1]; 2] };
            }
        }
        let order = |pair: [bool; 2]| if swapped { [pair[1], pair[0]] } else { pair };
        Self { swapped, inverted: order(inverted), mono, dead: order(dead), leaks, flips }
    }

    /// The channels that exist and carry something of their own, `[left, right]`.
    pub fn there(&self) -> [bool; 2] {
        [!self.dead[0], !(self.dead[1] || self.mono)]
    }
}
