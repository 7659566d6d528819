//! A playback amplifier that is fed without a tape: its curve in both positions of the switch, with the time constants that it
//! really has.

use super::check::Check;
use super::keys::{Checked, Range, Value, tables};
use super::losses::{Losses, taps};
use super::playback_filters::Biquad;
use super::{DeckFile, Sides};
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// The curve's time constants, us (IEC 60094-1:1981 clause 15.1).
const CURVE_US: [f64; 3] = [120.0, 70.0, 3180.0];
/// Where the gain of a right amplifier is 0 dB, Hz.
const REFERENCE_HZ: f64 = 400.0;
/// Below this the bass is that of the section alone, Hz: a filter of zero phase has no room for less.
const LOWEST_HZ: f64 = 4.0;

tables! {
/// An injection in place of a tape.
#[derive(Copy)]
pub struct Injection {
    /// Where the programme is fed in.
    pub into: Input,
    /// High-frequency time constant in the position for 120 us, us. Default: 120.
    #[serde(default = "us_120")]
    pub high_120_us: Sides = 5.0 to 1000.0,
    /// High-frequency time constant in the position for 70 us, us; 120 if the switch does nothing. Default: 70.
    #[serde(default = "us_70")]
    pub high_70_us: Sides = 5.0 to 1000.0,
    /// Low-frequency time constant, us. Default: 3180.
    #[serde(default = "us_3180")]
    pub low_us: Sides = 300.0 to 30_000.0,
    /// When the deck is switched from 120 to 70 us, s of the programme. Default: never.
    pub switched_at_s: Option<f64> = 0.0 to 3600.0,
    /// Both outputs of the player meet in one wire, so that both channels get their mean. Default: false.
    #[serde(default)]
    pub one_wire: bool,
}
}

/// Where a programme is fed in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Input {
    /// Input the amplifier's input.
    Amplifier,
    /// As flux into the head, whose voltage grows with frequency.
    Loop,
}

fn us_120() -> Sides {
    Sides::both(CURVE_US[0])
}

fn us_70() -> Sides {
    Sides::both(CURVE_US[1])
}

fn us_3180() -> Sides {
    Sides::both(CURVE_US[2])
}

impl Injection {
    /// High-frequency time constant of `channel` in a position (0: 120 us, 1: 70 us), us.
    fn high_us(&self, channel: usize, position: usize) -> f64 {
        if position == 0 { self.high_120_us.of(channel) } else { self.high_70_us.of(channel) }
    }

    /// The position at `programme_s`: 0 for 120 us, 1 for 70 us.
    fn position(&self, programme_s: f64) -> usize {
        usize::from(self.switched_at_s.is_some_and(|at_s| programme_s >= at_s))
    }

    /// Gain at `hz`, as an amplitude ratio; that of a right amplifier is 1 at 400 Hz.
    pub(crate) fn gain(&self, channel: usize, position: usize, hz: f64) -> f64 {
        let size = |hz: f64, us: f64| (1.0 + (TAU * hz * us * 1e-6).powi(2)).sqrt();
        let amplifier = |hz: f64, high_us: f64, low_us: f64| size(hz, high_us) / size(hz, low_us);
        let right = amplifier(REFERENCE_HZ, CURVE_US[position], CURVE_US[2]);
        let head = match self.into {
            Input::Amplifier => 1.0,
            Input::Loop => hz / REFERENCE_HZ,
        };
        head * amplifier(hz, self.high_us(channel, position), self.low_us.of(channel)) / right
    }

    /// Deviation from the curve at `hz` in a position, dB against that at 400 Hz.
    #[cfg(feature = "internals")]
    pub(crate) fn deviation_db(&self, channel: usize, position: usize, hz: f64) -> f64 {
        let right = Self { high_120_us: us_120(), high_70_us: us_70(), low_us: us_3180(), ..*self };
        let off =
            |hz: f64| 20.0 * (self.gain(channel, position, hz) / right.gain(channel, position, hz)).log10();
        off(hz) - off(REFERENCE_HZ)
    }

    /// The section for the bass, and taps of the residual of the curve, without phase.
    fn parts(&self, channel: usize, position: usize, rate_hz: f64) -> (Biquad, Vec<f64>) {
        let low_us = self.low_us.of(channel);
        let section = match self.into {
            Input::Amplifier => Biquad::shelf(self.high_us(channel, position), low_us, rate_hz),
            Input::Loop => Biquad::high_pass_1(1e6 / (TAU * low_us), rate_hz),
        };
        let rest = |hz: f64| {
            let hz = hz.max(LOWEST_HZ);
            self.gain(channel, position, hz) / section.response(hz, rate_hz).norm()
        };
        let taps = taps(rest, rate_hz);
        (section, taps)
    }
}

/// The amplifier of both channels at work.
pub(crate) struct Injected {
    injection: Injection,
    /// For each channel, for each position: a section for the bass, and the residual of the curve, without phase.
    chains: [[(Biquad, Losses); 2]; 2],
    other: Vec<f64>,
}

impl Injected {
    pub(crate) fn new(file: &DeckFile, rate_hz: f64) -> Option<Self> {
        let injection = file.injection?;
        let chain = |channel: usize, position: usize| {
            let (section, taps) = injection.parts(channel, position, rate_hz);
            (section, Losses::of_taps(taps))
        };
        let chains = [0, 1].map(|channel| [chain(channel, 0), chain(channel, 1)]);
        Some(Self { injection, chains, other: Vec::new() })
    }

    /// Filters a block that is heard at `programme_s`; what comes out is as late as [`Losses`] is.
    pub(crate) fn run(&mut self, block: &mut [Vec<f64>; 2], programme_s: f64) {
        if self.injection.one_wire {
            let [left, right] = block;
            for (l, r) in left.iter_mut().zip(right) {
                let mean = (*l + *r) / 2.0;
                (*l, *r) = (mean, mean);
            }
        }
        let heard = self.injection.position(programme_s);
        for (samples, chain) in block.iter_mut().zip(&mut self.chains) {
            self.other.clone_from(samples);
            for (position, (section, losses)) in chain.iter_mut().enumerate() {
                // The other position runs along, so that a switch finds it settled.
                let samples = if position == heard { &mut *samples } else { &mut self.other };
                losses.run(samples);
                section.run(samples);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deck::losses::response;

    #[test]
    fn the_filters_follow_the_curve_at_every_rate() {
        // IEC 60094-1:1981 clause 15, derived: flux re 400 Hz at 40 Hz, 1, 3.15, 10 and 16 kHz; gain from flux is its inverse.
        let rows = [
            (40.0, 4.398, 4.155),
            (1000.0, -1.633, -0.692),
            (3150.0, -7.911, -4.587),
            (10_000.0, -17.312, -13.019),
            (16_000.0, -21.349, -16.97),
        ];
        for into in [Input::Amplifier, Input::Loop] {
            let text = format!(
                "[injection]\ninto = \"{}\"\n",
                if into == Input::Loop { "loop" } else { "amplifier" }
            );
            let file = DeckFile::from_toml(&text, "x").unwrap();
            for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
                for (hz, at_120_db, at_70_db) in rows {
                    let head_db = if into == Input::Loop { 0.0 } else { 20.0 * (hz / 400.0f64).log10() };
                    for (position, flux_db) in [at_120_db, at_70_db].into_iter().enumerate() {
                        let (section, taps) = file.injection.unwrap().parts(0, position, rate_hz);
                        let gain = section.response(hz, rate_hz).norm() * response(&taps, hz, rate_hz);
                        let want = -flux_db - head_db;
                        // The cut of the taps costs most in the bass; as in losses.rs.
                        assert_within!(
                            20.0 * gain.log10(),
                            want,
                            0.03,
                            "dB",
                            "{into:?} {hz} Hz at {rate_hz} Hz"
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn a_wrong_time_constant_deviates_as_the_table_says() {
        // A switch that stays at 120 us, played 70 us: the table's last column, 4.538 dB at 10 kHz and 0.246 at 400 Hz.
        let file = DeckFile::from_toml("[injection]\ninto = 'amplifier'\nhigh_70_us = 120\n", "x").unwrap();
        let injection = file.injection.unwrap();
        assert_within!(injection.deviation_db(0, 1, 10_000.0), 4.538 - 0.246, 0.002, "dB");
        assert_within!(injection.deviation_db(0, 0, 10_000.0), 0.0, 1e-12, "dB");
    }
}
