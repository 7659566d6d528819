//! Where a tone sounds alone: stretches of it without data, speech or music beside it, to some ten milliseconds.
//!
//! The recording is looked at in short windows around each tone. A window holds the tone alone if the tone is there and
//! little else is near it. Both edges lie where half of what begins there lies within the window: a Hann window is even,
//! so that what it smears it smears both ways alike.

use super::alignment::Stretch;
use super::error::CaptureError;
use super::lines::NEAR;
use super::source::{Source, extend_mended};
use crate::signal::spectrum::hann;
use crate::signal::statistics::{median, quantile};
use inner_loops::complex_forward;
use num_complex::Complex64;
use std::ops::Range;

/// Tones that are looked at, Hz: lower ones need longer windows, and hum lies near them; beside higher ones lies hiss only.
const LOOKED_AT_HZ: Range<f64> = 250.0..5000.0;
/// Length of a window, s and turns of the tone: the longer counts.
const WINDOW: (f64, f64) = (0.04, 12.0);
/// From window to window, s.
const HOP_S: f64 = 0.005;
/// Looked at before and behind where the tone is believed, s.
const AROUND_S: f64 = 0.4;
/// A tone that wanders stays within this share of its frequency, beside the window's own width.
const OWN: f64 = 0.06;
/// What else is near a tone that is alone is weaker than the tone by this ratio of powers ...
const COMPANY: f64 = 0.05;
/// ... or no stronger than this many times what usually is near it.
const USUAL: f64 = 4.0;
/// Half of the tone's amplitude, as a ratio of powers.
const HALF: f64 = 0.25;
/// Company that is shorter is a click or a crackle, s.
const COMPANY_S: f64 = 0.06;
/// The tone alone for less, with company on both sides, is a piece of data, s.
const MOMENT_S: f64 = 0.04;
/// A tone that is gone for less is in a dropout, s.
const GONE_S: f64 = 0.2;

/// A stretch in which a tone is alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Alone {
    /// Where, s of the return.
    pub stretch: Stretch,
    /// Whether its start and its end were seen; otherwise the tone goes on beyond what was looked at.
    pub ends: [bool; 2],
}

/// Powers of the tone and of what is near it, window by window.
struct Windows {
    tone: Vec<f64>,
    near: Vec<f64>,
    /// Middle of the first window, s of the return, and from window to window.
    first_s: f64,
    hop_s: f64,
    /// Windows in half a window's length.
    half: usize,
}

impl Windows {
    fn of(source: &dyn Source, hz: f64, believed: Stretch) -> Result<Self, CaptureError> {
        let rate_hz = source.rate_hz();
        let length = (WINDOW.0.max(WINDOW.1 / hz) * rate_hz).round() as usize;
        let hop = ((HOP_S * rate_hz).round() as usize).max(1);
        let first = ((believed.from_s - AROUND_S) * rate_hz).floor().max(0.0) as u64;
        let last = ((believed.to_s + AROUND_S) * rate_hz).ceil().max(0.0) as u64;
        let window = hann(length);
        let step_hz = rate_hz / length as f64;
        let bin = |hz: f64| (hz / step_hz).round().max(1.0) as usize;
        // A Hann window's line is four bins wide.
        let reach = ((OWN * hz / step_hz) as usize).max(2);
        let own = bin(hz).saturating_sub(reach).max(1)..bin(hz) + reach + 1;
        let near = bin(NEAR.start * hz)..bin(NEAR.end * hz).min(length / 2).max(own.end);
        let forward = complex_forward(length);
        let (mut tone, mut beside) = (Vec::new(), Vec::new());
        let mut pending = [Vec::new(), Vec::new()];
        source.read(first, last, &mut |block| {
            for (channel, block) in pending.iter_mut().zip(block) {
                extend_mended(channel, block);
            }
            let mut at = 0;
            while at + length <= pending[0].len() {
                let pieces = pending[0][at..].iter().zip(&pending[1][at..]).zip(&window);
                let mut bins: Vec<Complex64> =
                    pieces.map(|((left, right), w)| Complex64::new(left * w, right * w)).collect();
                forward.process(&mut bins);
                // The two channels' powers together, out of one transform.
                let power = |k: usize| (bins[k].norm_sqr() + bins[length - k].norm_sqr()) / 2.0;
                let own_power: f64 = own.clone().map(power).sum();
                tone.push(own_power);
                beside.push((near.clone().map(power).sum::<f64>() - own_power).max(0.0));
                at += hop;
            }
            pending.iter_mut().for_each(|channel| drop(channel.drain(..at)));
        })?;
        Ok(Self {
            tone,
            near: beside,
            first_s: (first as f64 + length as f64 / 2.0) / rate_hz,
            hop_s: hop as f64 / rate_hz,
            half: (length / 2).div_ceil(hop),
        })
    }

    fn count(&self, seconds: f64) -> usize {
        (seconds / self.hop_s).round() as usize
    }

    fn at_s(&self, index: usize) -> f64 {
        self.first_s + index as f64 * self.hop_s
    }
}

/// What a window holds.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Holds {
    Alone,
    Company,
    Nothing,
}

/// The stretches of `believed` and a little around it in which the tone of `hz` is alone, in order; `None` for a tone that
/// is too low, too high or too short to be looked at.
///
/// # Errors
/// If the source cannot be read.
pub(super) fn alone(
    source: &dyn Source,
    hz: f64,
    believed: Stretch,
) -> Result<Option<Vec<Alone>>, CaptureError> {
    if !LOOKED_AT_HZ.contains(&hz) || hz * NEAR.end > 0.48 * source.rate_hz() {
        return Ok(None);
    }
    let windows = Windows::of(source, hz, believed)?;
    let inside: Vec<usize> = (0..windows.tone.len())
        .filter(|&k| (believed.from_s..believed.to_s).contains(&windows.at_s(k)))
        .collect();
    if inside.len() < 2 * windows.half {
        return Ok(None);
    }
    // Where data was taken in, the purest half of it is the tone.
    let usual_tone = median(inside.iter().map(|&k| windows.tone[k]));
    let usual_near = quantile(inside.iter().map(|&k| windows.near[k]), 0.3);
    let most_near = (COMPANY * usual_tone).max(USUAL * usual_near);
    let holds = |k: usize| match () {
        () if windows.near[k] > most_near => Holds::Company,
        () if windows.tone[k] < HALF * usual_tone => Holds::Nothing,
        () => Holds::Alone,
    };
    let mut kinds: Vec<Holds> = (0..windows.tone.len()).map(holds).collect();
    // Data has moments of the tone alone in it.
    let mut last = None;
    for k in 0..kinds.len() {
        if kinds[k] == Holds::Company {
            if let Some(last) = last.filter(|last| k - last <= windows.count(MOMENT_S)) {
                kinds[last..k].fill(Holds::Company);
            }
            last = Some(k);
        }
    }
    // Breaks: runs of windows that do not hold the tone alone, long enough to be none of the tape's faults.
    let mut stretches = Vec::new();
    let mut from: Option<usize> = None;
    let mut k = 0;
    let (company, gone) = (windows.count(COMPANY_S), windows.count(GONE_S));
    while k < kinds.len() {
        if kinds[k] == Holds::Alone {
            from.get_or_insert(k);
            k += 1;
            continue;
        }
        let end = (k..kinds.len()).find(|&m| kinds[m] == Holds::Alone).unwrap_or(kinds.len());
        let with = kinds[k..end].iter().filter(|kind| **kind == Holds::Company).count();
        let breaks = with >= company || end - k >= gone || end == kinds.len() || from.is_none();
        if breaks && let Some(from) = from.take() {
            stretches.push((from, k));
        }
        k = end;
    }
    if let Some(from) = from {
        stretches.push((from, kinds.len()));
    }
    let edge = |outwards: &mut dyn Iterator<Item = usize>| {
        let around: Vec<usize> = outwards.take(4 * windows.half + company).collect();
        // What begins here has come to its level once the window lies in it. What is over soon is the tone's own start.
        let behind = &around[(2 * windows.half).min(around.len())..];
        let half = (median(behind.iter().map(|&k| windows.near[k])) / 2.0).max(most_near);
        let begins = |steps: usize| {
            let next = &around[steps..(steps + company).min(around.len())];
            let with = next.iter().filter(|&&k| windows.near[k] > half).count();
            windows.near[around[steps]] > half && with * 4 >= next.len() * 3
        };
        (0..around.len()).find(|&steps| begins(steps) || windows.tone[around[steps]] < HALF * usual_tone)
    };
    let edged = stretches.into_iter().map(|(from, to)| {
        // From a window's half inside outwards: company shows before its middle is reached.
        let outer = (from + windows.half).min(to);
        let start =
            edge(&mut (0..outer).rev()).map(|steps| windows.at_s(outer - 1 - steps) + 0.5 * windows.hop_s);
        let inner = to.saturating_sub(windows.half).max(from);
        let end =
            edge(&mut (inner..kinds.len())).map(|steps| windows.at_s(inner + steps) - 0.5 * windows.hop_s);
        Alone {
            stretch: Stretch {
                from_s: start.unwrap_or(believed.from_s.min(windows.at_s(from))),
                to_s: end.unwrap_or(believed.to_s.max(windows.at_s(to - 1))),
            },
            ends: [start.is_some(), end.is_some()],
        }
    });
    Ok(Some(edged.collect()))
}
