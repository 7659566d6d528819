//! Response from a sweep, in third octaves.
//!
//! The sweep is cut into overlapping frames. Where in a frame the sweep stands is known from the time map; the power
//! within a band that follows it (wide enough for flutter and for what the frame itself smears) is the sweep's, less
//! the noise whose density is read beside the band. The frames are averaged within each third octave.

use crate::measure::meter::Meter;
use crate::signal::fit::Line;
use crate::signal::spectrum::hann;
use crate::signal::statistics::{exponential_mean, mean, median};
use inner_loops::Precision;
use num_complex::Complex64;
use realfft::RealToComplex;
use std::sync::Arc;

/// The sweep as it is expected in the return.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SweepPlace {
    /// Frequency at the start, in the programme, Hz.
    pub from_hz: f64,
    /// Frequency at the end, in the programme, Hz.
    pub to_hz: f64,
    /// Time ratio: the return runs this much too fast.
    pub ratio: f64,
    /// Where the sweep starts, s after the first sample fed (negative if before it).
    pub start_s: f64,
    /// Length of the sweep in the return, s.
    pub length_s: f64,
}

impl SweepPlace {
    /// Frequency in the programme that sounds at `at_s`.
    fn programme_hz(&self, at_s: f64) -> f64 {
        self.from_hz * (self.to_hz / self.from_hz).powf((at_s - self.start_s) / self.length_s)
    }
}

/// Level of the sweep where it passes one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SweepPoint {
    /// Frequency in the programme, Hz.
    pub hz: f64,
    /// Mean square of the sweep, `[left, right]`; `None` where noise hides it.
    pub power: [Option<f64>; 2],
}

/// Follows a sweep in both channels.
pub struct SweepMeter {
    rate_hz: f64,
    place: SweepPlace,
    /// Long frames for low frequencies, short ones for high.
    frames: [Frames; 2],
}

/// Frequency in the programme where the short frames take over, Hz.
const TAKE_OVER_HZ: f64 = 700.0;
/// Half width of the band that belongs to the sweep, as a share of the frequency: flutter of 1 % and a map that is
/// off by some milliseconds stay inside.
const FOLLOW: f64 = 0.025;

struct Frames {
    window: Vec<f64>,
    /// Sum of the window's squares.
    window_power: f64,
    forward: Arc<dyn RealToComplex<f64>>,
    pending: [Vec<f64>; 2],
    first: u64,
    points: Vec<SweepPoint>,
    time: Vec<f64>,
    bins: [Vec<Complex64>; 2],
    scratch: Vec<Complex64>,
}

impl Frames {
    fn new(length: usize) -> Self {
        let forward = f64::real_forward(length);
        let window = hann(length);
        Self {
            window_power: window.iter().map(|w| w * w).sum(),
            window,
            pending: [Vec::new(), Vec::new()],
            first: 0,
            points: Vec::new(),
            time: forward.make_input_vec(),
            bins: [forward.make_output_vec(), forward.make_output_vec()],
            scratch: forward.make_scratch_vec(),
            forward,
        }
    }

    fn feed(&mut self, block: [&[f64]; 2], rate_hz: f64, place: &SweepPlace, range_hz: (f64, f64)) {
        let length = self.window.len();
        self.pending[0].extend_from_slice(block[0]);
        self.pending[1].extend_from_slice(block[1]);
        let mut at = 0;
        while self.pending[0].len() - at >= length {
            let middle_s = (self.first as f64 + length as f64 / 2.0) / rate_hz;
            let hz = place.programme_hz(middle_s);
            let half_s = length as f64 / rate_hz / 2.0;
            let inside =
                middle_s - half_s >= place.start_s && middle_s + half_s <= place.start_s + place.length_s;
            if inside && hz >= range_hz.0 && hz < range_hz.1 {
                self.transform(at);
                // Between the half-height points of the window, and what the window itself smears.
                let smear_hz = 2.5 * rate_hz / length as f64;
                let ends = [-0.7, 0.7].map(|at| place.ratio * place.programme_hz(middle_s + at * half_s));
                // A sweep may fall.
                let low = ends[0].min(ends[1]) * (1.0 - FOLLOW) - smear_hz;
                let high = ends[0].max(ends[1]) * (1.0 + FOLLOW) + smear_hz;
                let power = [0, 1].map(|channel| self.power(channel, low, high, rate_hz));
                self.points.push(SweepPoint { hz, power });
            }
            at += length / 2;
            self.first += length as u64 / 2;
        }
        self.pending[0].drain(..at);
        self.pending[1].drain(..at);
    }

    /// Spectra of the frame that starts at sample `at` of those that wait.
    fn transform(&mut self, at: usize) {
        for channel in 0..2 {
            for ((slot, x), w) in self.time.iter_mut().zip(&self.pending[channel][at..]).zip(&self.window) {
                *slot = x * w;
            }
            // The buffers are made for this plan, so the transform cannot refuse them.
            let _ =
                self.forward.process_with_scratch(&mut self.time, &mut self.bins[channel], &mut self.scratch);
        }
    }

    fn power(&self, channel: usize, low_hz: f64, high_hz: f64, rate_hz: f64) -> Option<f64> {
        let length = self.window.len() as f64;
        let bins = &self.bins[channel];
        let bin = |hz: f64| (hz * length / rate_hz).round().clamp(0.0, bins.len() as f64 - 1.0) as usize;
        let (low, high) = (bin(low_hz), bin(high_hz));
        if high_hz > 0.495 * rate_hz {
            return None;
        }
        let width = high - low + 1;
        let inside: f64 = bins[low..=high].iter().map(Complex64::norm_sqr).sum();
        let beside = bins[low.saturating_sub(width).max(1).min(low)..low]
            .iter()
            .chain(&bins[high + 1..(high + 1 + width).min(bins.len())])
            .map(Complex64::norm_sqr);
        let noise = exponential_mean(beside) * width as f64;
        let scale = 2.0 / (length * self.window_power);
        let power = (inside - noise) * scale;
        (power > 1e-15 && power.is_finite() && noise * scale < power).then_some(power)
    }
}

impl Meter for SweepMeter {
    type Plan = SweepPlace;
    type Output = Vec<SweepPoint>;

    fn new(rate_hz: f64, place: SweepPlace) -> Option<Self> {
        let even = |seconds: f64| ((rate_hz * seconds) as usize).next_power_of_two();
        Some(Self { rate_hz, place, frames: [Frames::new(even(0.3)), Frames::new(even(0.06))] })
    }

    fn feed(&mut self, block: [&[f64]; 2]) {
        let [long, short] = &mut self.frames;
        long.feed(block, self.rate_hz, &self.place, (0.0, TAKE_OVER_HZ));
        short.feed(block, self.rate_hz, &self.place, (TAKE_OVER_HZ, f64::INFINITY));
    }

    /// The sweep's power frame by frame, by rising frequency.
    fn finish(self) -> Vec<SweepPoint> {
        let [long, short] = self.frames;
        let mut points = long.points;
        points.extend(short.points);
        points.sort_by(|a, b| a.hz.total_cmp(&b.hz));
        points
    }
}

/// Mean level of the points from `low_hz` to `high_hz`, dB re full-scale mean square, with its expanded uncertainty;
/// `None` for fewer than two points, or if noise hides more than a quarter of them.
pub fn band_level(points: &[SweepPoint], channel: usize, low_hz: f64, high_hz: f64) -> Option<(f64, f64)> {
    let inside = points.iter().filter(|point| point.hz >= low_hz && point.hz < high_hz);
    let all: Vec<(f64, Option<f64>)> = inside.map(|point| (point.hz.ln(), point.power[channel])).collect();
    let levels: Vec<(f64, f64)> =
        all.iter().filter_map(|(x, power)| power.map(|power| (*x, 10.0 * power.log10()))).collect();
    if levels.len() < 2 || levels.len() * 4 < all.len() * 3 {
        return None;
    }
    // Levels, not powers: within a third octave a steep slope must not be ruled by its upper end, and a dropout
    // counts as one frame, which lies far below the others' slope.
    let first = off_the_slope(&levels);
    let middle = median(&first);
    let kept: Vec<(f64, f64)> =
        levels.iter().zip(&first).filter(|(_, off)| **off > middle - 2.0).map(|(level, _)| *level).collect();
    let mean = mean(kept.iter().map(|level| level.1));
    // The slope itself is no uncertainty. Frames overlap by half: each counts as two thirds of one.
    let off = off_the_slope(&kept);
    let free = (kept.len() as f64 - 2.0).max(1.0);
    let variance = off.iter().map(|off| off * off).sum::<f64>() / free;
    Some((mean, (2.0 * (1.5 * variance / kept.len() as f64).sqrt()).hypot(0.03)))
}

/// Distance of each (log frequency, level) from the straight line through all of them, dB.
fn off_the_slope(levels: &[(f64, f64)]) -> Vec<f64> {
    let line = Line::through(levels.iter().copied());
    levels.iter().map(|level| level.1 - line.at(level.0)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::{Random, uneven_s};
    use std::f64::consts::TAU;

    #[test]
    fn a_sweep_through_a_known_filter_reads_as_the_filter() {
        // One-pole low-pass by its own difference equation; its response is known in closed form.
        for rate_hz in [44_100.0, 48_000.0] {
            let (from, to, length) = (20.0, 20_000.0, 30.0);
            let ratio = 1.02;
            let lead = 0.5;
            let k = f64::ln(to / from);
            let pole: f64 = 0.6;
            let mut state = 0.0;
            let mut random = Random(5);
            let frames = ((lead + length / ratio + 0.5) * rate_hz) as usize;
            let samples: Vec<f64> = (0..frames)
                .map(|n| {
                    let t = uneven_s((n as f64 / rate_hz - lead) * ratio, &[(5.0, 0.2, 0.0)]);
                    let x = if (0.0..length).contains(&t) {
                        0.05 * (TAU * from * length / k * ((k * t / length).exp() - 1.0)).sin()
                    } else {
                        0.0
                    };
                    state = pole * state + (1.0 - pole) * x;
                    state + 0.0008 * (random.share() - 0.5)
                })
                .collect();
            let place =
                SweepPlace { from_hz: from, to_hz: to, ratio, start_s: lead, length_s: length / ratio };
            let mut meter = SweepMeter::new(rate_hz, place).unwrap();
            for block in samples.chunks(4001) {
                meter.feed([block, block]);
            }
            let points = meter.finish();
            for third in [-14, -10, -4, 0, 4, 8, 10, 12] {
                let middle = 1000.0 * 10f64.powf(f64::from(third) / 10.0);
                let (level, _) =
                    band_level(&points, 0, middle * 10f64.powf(-0.05), middle * 10f64.powf(0.05)).unwrap();
                let w = TAU * middle * ratio / rate_hz;
                let gain = (1.0 - pole) / (1.0 + pole * pole - 2.0 * pole * w.cos()).sqrt();
                let want = 20.0 * (0.05 * gain).log10() - 3.0103;
                // The design's target for sweeps.
                crate::assert_within!(level, want, 0.3, "dB", "{middle} Hz at {rate_hz}");
            }
        }
    }
}
