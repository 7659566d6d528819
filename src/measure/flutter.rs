//! Wow and flutter of a steady tone near 3 kHz.
//!
//! The tone of both channels together is demodulated; the deviation, in percent of the mean frequency, is what the
//! speed does. Slow drift (the best parabola) is not flutter. The noise that the demodulator makes of hiss is
//! known from the density beside the tone, and is taken off the figures. Bands: no standard fixes them, so they are
//! part of the reading.

use super::steady::running;
use super::tone::{mean_and_error, median};
use crate::reading::{Flutter, FlutterLine};
use crate::signal::baseband::{Band, Baseband};
use crate::signal::fm::{demodulate, detrend, filter_by_response};
use crate::signal::nth;
use crate::signal::spectrum::periodogram;
use crate::trade::flutter_weighting;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Unweighted band from low to high, and the split between wow and flutter, Hz.
pub const BAND_HZ: [f64; 3] = [0.1, 6.0, 200.0];
/// What filters need at either end of the stretch before their output counts, s: as much as a stretch can spare, between
/// these.
const SETTLE_S: (f64, f64) = (0.5, 1.5);
/// Lines weaker than this are not listed, percent peak.
const LEAST_LINE_PERCENT: f64 = 0.002;
/// Lines that are listed at most.
const MOST_LINES: usize = 12;

/// Follows a tone in both channels and reads its flutter.
pub struct FlutterMeter {
    programme_hz: f64,
    channels: [Baseband; 2],
}

impl FlutterMeter {
    /// A meter for a tone of `programme_hz` that is expected at `expected_hz` in samples at `rate_hz`.
    pub fn new(rate_hz: f64, programme_hz: f64, expected_hz: f64) -> Self {
        let flat_hz = 1.3 * BAND_HZ[2] + 60.0 + 0.02 * expected_hz;
        Self { programme_hz, channels: Baseband::pair(rate_hz, expected_hz, flat_hz, 0.4 * flat_hz) }
    }

    /// Feeds a block `[left, right]`; blocks of any size give the same result.
    pub fn feed(&mut self, block: [&[f64]; 2]) {
        self.channels[0].feed(block[0]);
        self.channels[1].feed(block[1]);
    }

    /// The flutter; `from_s` is the place of the first sample fed, s of the return. Also the two channels' bands, as far
    /// as the tape ran.
    ///
    /// `None` if less than 3 s were fed, there is no tone or a sample was no number.
    pub fn finish(self, from_s: f64) -> (Option<Flutter>, [Band; 2]) {
        let bands = running(self.channels.map(Baseband::finish));
        (read(&bands, self.programme_hz, from_s), bands)
    }
}

/// The relative deviation of the tone's frequency, in percent, and the noise in it.
struct Course {
    percent: Vec<f64>,
    rate_hz: f64,
    /// Variance of the deviation by noise per hertz at 1 Hz, percent squared; grows with frequency squared.
    noise_at_1hz: f64,
}

fn read(bands: &[Band; 2], programme_hz: f64, from_s: f64) -> Option<Flutter> {
    let rate_hz = bands[0].rate_hz;
    let (both, first_s) = together(bands);
    if both.len() as f64 / rate_hz < 3.0 {
        return None;
    }
    let course = course(&both, rate_hz, bands[0].centre_hz)?;
    let [low, split, high] = BAND_HZ;
    let flat = band_pass(&course, low, high);
    let weighted = filter_by_response(&course.percent, rate_hz, flutter_weighting::response);
    // Peaks and percentiles cannot be rid of noise afterwards: they are read from a course that was freed of it.
    let gain = course.freeing_gain();
    let freed = Course {
        percent: filter_by_response(&course.percent, rate_hz, |hz| Complex64::new(gain(hz), 0.0)),
        rate_hz: course.rate_hz,
        noise_at_1hz: course.noise_at_1hz,
    };
    let freed_flat = band_pass(&freed, low, high);
    let freed_weighted = filter_by_response(&freed.percent, rate_hz, flutter_weighting::response);
    let settle_s = (both.len() as f64 / rate_hz / 6.0).clamp(SETTLE_S.0, SETTLE_S.1);
    let inside = |values: &[f64]| -> Vec<f64> {
        let settle = (settle_s * rate_hz) as usize;
        values[settle..values.len() - settle].to_vec()
    };
    let (flat, weighted) = (inside(&flat), inside(&weighted));
    let (freed_flat, freed_weighted) = (inside(&freed_flat), inside(&freed_weighted));
    let wow = inside(&band_pass(&course, low, split));
    let fast = inside(&band_pass(&course, split, high));
    let noise = |weight: &dyn Fn(f64) -> f64| course.noise_power(weight);
    let within = |from: f64, to: f64| move |hz: f64| f64::from(hz >= from && hz <= to);
    let flat_noise = noise(&within(low, high));
    let weighted_noise = noise(&|hz| flutter_weighting::response(hz).norm_sqr());
    let clean = |values: &[f64], noise: f64| (mean_square(values) - noise).max(0.0).sqrt();
    let mut sizes: Vec<f64> = freed_weighted.iter().map(|x| x.abs()).collect();
    let exceeded_by_5_percent = (sizes.len() as f64 * 0.95) as usize;
    let two_sigma = nth(&mut sizes, exceeded_by_5_percent).unwrap_or(0.0);
    let seconds: Vec<f64> = weighted.chunks_exact((2.0 * rate_hz) as usize).map(mean_square).collect();
    let (mean, error) =
        if seconds.len() > 1 { mean_and_error(&seconds) } else { (mean_square(&weighted), 0.0) };
    let spread = if mean > 0.0 { error / mean / 2.0 } else { 0.0 };
    let rms = clean(&flat, flat_noise);
    Some(Flutter {
        carrier_hz: programme_hz,
        measured_from_s: from_s + first_s + settle_s,
        measured_to_s: from_s + first_s + both.len() as f64 / rate_hz - settle_s,
        weighted_quasi_peak_percent: Some(quasi_peak(&freed_weighted, rate_hz)),
        weighted_rms_percent: Some(clean(&weighted, weighted_noise)),
        two_sigma_percent: Some(two_sigma),
        unweighted_peak_percent: Some(freed_flat.iter().fold(0.0, |most: f64, x| most.max(x.abs()))),
        unweighted_rms_percent: Some(rms),
        wow_rms_percent: Some(clean(&wow, noise(&within(low, split)))),
        flutter_rms_percent: Some(clean(&fast, noise(&within(split, high)))),
        uncertainty_percent: Some(
            (2.0 * spread * rms).hypot(0.01 * rms).hypot(0.0005).hypot(0.1 * flat_noise.sqrt()),
        ),
        band_hz: BAND_HZ,
        lines: lines(&course),
        spectrum: spectrum(&course),
    })
}

/// Both channels in phase, each weighed by its amplitude: hiss of one is halved by the other.
pub(super) fn together(bands: &[Band; 2]) -> (Vec<Complex64>, f64) {
    let cross: Complex64 =
        bands[0].samples.iter().zip(&bands[1].samples).map(|(left, right)| right.conj() * left).sum();
    let power = [0, 1].map(|channel| bands[channel].samples.iter().map(Complex64::norm_sqr).sum::<f64>());
    let strongest = power[0].max(power[1]).max(1e-300);
    let weight = power.map(|power| if power > 0.01 * strongest { (power / strongest).sqrt() } else { 0.0 });
    let turn = if cross.norm() > 0.0 { cross / cross.norm() } else { Complex64::new(1.0, 0.0) };
    let both = bands[0]
        .samples
        .iter()
        .zip(&bands[1].samples)
        .map(|(left, right)| left * weight[0] + right * turn * weight[1])
        .collect();
    (both, bands[0].first_s)
}

fn course(samples: &[Complex64], rate_hz: f64, centre_hz: f64) -> Option<Course> {
    let tone = demodulate(samples, rate_hz)?;
    let mean_hz = centre_hz + tone.mean_hz;
    let mut percent: Vec<f64> = tone.deviation_hz.iter().map(|hz| 100.0 * hz / mean_hz).collect();
    detrend(&mut percent);
    // Noise beside the tone, beyond the flutter's own side bands. Only half of it turns the phase.
    let beside: Vec<f64> = periodogram(samples, rate_hz)
        .into_iter()
        .filter(|(hz, _)| {
            let away = (hz - tone.mean_hz).abs();
            away > 1.1 * BAND_HZ[2] && away < 1.3 * BAND_HZ[2] + 60.0
        })
        .map(|bin| bin.1)
        .collect();
    let density = median(&beside) / std::f64::consts::LN_2 / rate_hz;
    let phase_density = density / tone.amplitude.powi(2);
    phase_density.is_finite().then(|| Course {
        percent,
        rate_hz,
        noise_at_1hz: phase_density * (100.0 / mean_hz).powi(2),
    })
}

/// Width over which flutter and noise are compared, Hz: wide enough not to ring longer than the ends that are cut.
const COMPARE_HZ: f64 = 4.0;

/// Standard deviations by which a stretch of noise is taken to exceed its mean at most.
const NOISE_CHANCE: f64 = 2.5;

impl Course {
    /// Gain by frequency that lets flutter pass and holds noise back: 1 - noise / power, smoothed (Wiener).
    fn freeing_gain(&self) -> impl Fn(f64) -> f64 + use<> {
        let bins = one_sided(self);
        let step = bins.first().map_or(1.0, |bin| bin.0);
        let half = ((COMPARE_HZ / step / 2.0).round() as usize).max(2);
        let mut sums = vec![0.0];
        for bin in &bins {
            sums.push(sums[sums.len() - 1] + bin.1);
        }
        let gains: Vec<f64> = (0..bins.len())
            .map(|k| {
                let (from, to) = (k.saturating_sub(half), (k + half + 1).min(bins.len()));
                let density = (sums[to] - sums[from]) / ((to - from) as f64 * step);
                let noise = self.noise_at_1hz * bins[k].0.powi(2);
                // What exceeds the noise by less than its own chance is noise: let through, it would add to peaks.
                let chance = 1.0 + NOISE_CHANCE / ((to - from) as f64).sqrt();
                if density > noise * chance { 1.0 - noise / density } else { 0.0 }
            })
            .collect();
        // Without corners, so that the filter does not ring.
        let mut sums = vec![0.0];
        for gain in &gains {
            sums.push(sums[sums.len() - 1] + gain);
        }
        let smooth: Vec<f64> = (0..gains.len())
            .map(|k| {
                let (from, to) = (k.saturating_sub(half / 2), (k + half / 2 + 1).min(gains.len()));
                (sums[to] - sums[from]) / (to - from) as f64
            })
            .collect();
        move |hz| smooth.get(((hz / step).round() as usize).saturating_sub(1)).copied().unwrap_or(0.0)
    }

    /// Variance by noise under a power weight, percent squared.
    fn noise_power(&self, weight: &dyn Fn(f64) -> f64) -> f64 {
        (1..=2 * BAND_HZ[2] as usize)
            .map(|k| {
                let hz = k as f64 - 0.5;
                self.noise_at_1hz * hz * hz * weight(hz)
            })
            .sum()
    }
}

fn mean_square(values: &[f64]) -> f64 {
    values.iter().map(|x| x * x).sum::<f64>() / values.len().max(1) as f64
}

/// The course between two frequencies: flat between them, edges of a raised cosine beyond them.
fn band_pass(course: &Course, low_hz: f64, high_hz: f64) -> Vec<f64> {
    let edge = |x: f64| match x {
        ..=0.0 => 0.0,
        1.0.. => 1.0,
        _ => 0.5 - 0.5 * (std::f64::consts::PI * x).cos(),
    };
    filter_by_response(&course.percent, course.rate_hz, |hz| {
        // At a split between bands the two edges must add up in power: a narrow edge is near enough.
        let rise =
            if low_hz < 1.0 { edge((hz - 0.5 * low_hz) / (0.5 * low_hz)) } else { f64::from(hz >= low_hz) };
        let fall = if high_hz > 100.0 {
            1.0 - edge((hz - high_hz) / (0.2 * high_hz))
        } else {
            f64::from(hz < high_hz)
        };
        Complex64::new(rise * fall, 0.0)
    })
}

/// Time constants of the quasi-peak indicator, s: chosen to meet the pulse table of IEC 60386.
const CHARGE_S: f64 = 0.031;
const DISCHARGE_S: f64 = 0.95;

/// What the quasi-peak indicator shows: the median of the highest readings of each second.
fn quasi_peak(weighted: &[f64], rate_hz: f64) -> f64 {
    let reading = indicator(weighted, rate_hz);
    let settled = &reading[((1.5 * rate_hz) as usize).min(reading.len() / 2)..];
    let highest: Vec<f64> = settled
        .chunks_exact((rate_hz as usize).max(1))
        .map(|second| second.iter().copied().fold(0.0, f64::max))
        .collect();
    median(&highest) / steady_reading(rate_hz)
}

fn indicator(values: &[f64], rate_hz: f64) -> Vec<f64> {
    let charge = 1.0 - (-1.0 / (CHARGE_S * rate_hz)).exp();
    let discharge = (-1.0 / (DISCHARGE_S * rate_hz)).exp();
    let mut shown = 0.0;
    values
        .iter()
        .map(|x| {
            let size = x.abs();
            shown = if size > shown { shown + charge * (size - shown) } else { shown * discharge };
            shown
        })
        .collect()
}

/// What the indicator shows of a 4 Hz sine of amplitude 1, by which it is calibrated.
fn steady_reading(rate_hz: f64) -> f64 {
    let sine: Vec<f64> =
        (0..(4.0 * rate_hz) as usize).map(|n| (TAU * 4.0 * n as f64 / rate_hz).sin()).collect();
    let shown = indicator(&sine, rate_hz);
    shown[shown.len() / 2..].iter().copied().fold(0.0, f64::max)
}

/// Percent rms, line by line: 0.1 Hz apart up to 20 Hz, 1 Hz above.
fn spectrum(course: &Course) -> Vec<[f64; 2]> {
    let bins = one_sided(course);
    let mut rows: Vec<[f64; 2]> = Vec::new();
    for (hz, power) in bins.into_iter().filter(|bin| bin.0 >= BAND_HZ[0] && bin.0 <= BAND_HZ[2]) {
        let grid = if hz < 20.0 { (hz * 10.0).round() / 10.0 } else { hz.round() };
        match rows.last_mut() {
            Some(last) if (last[0] - grid).abs() < 1e-9 => last[1] += power,
            _ => rows.push([grid, power]),
        }
    }
    rows.into_iter().map(|[hz, power]| [hz, power.sqrt()]).collect()
}

/// Mean squares of the course, bin by bin from 0 Hz on; their sum is the whole mean square.
fn one_sided(course: &Course) -> Vec<(f64, f64)> {
    let complex: Vec<Complex64> = course.percent.iter().map(|&x| Complex64::new(x, 0.0)).collect();
    let n = complex.len() as f64;
    periodogram(&complex, course.rate_hz)
        .into_iter()
        .filter(|bin| bin.0 > 0.0)
        .map(|(hz, power)| (hz, 2.0 * power / n))
        .collect()
}

/// Single lines, strongest first.
fn lines(course: &Course) -> Vec<FlutterLine> {
    let bins = one_sided(course);
    if bins.len() < 16 {
        return Vec::new();
    }
    let step = bins[1].0 - bins[0].0;
    let mut found = Vec::new();
    for k in 3..bins.len() - 3 {
        let (hz, power) = bins[k];
        if hz > BAND_HZ[2] {
            break;
        }
        if (k - 3..=k + 3).any(|m| bins[m].1 > power) {
            continue;
        }
        // Two hertz or a tenth around, less the line itself.
        let reach = ((2.0f64).max(0.1 * hz) / step) as usize;
        let around: Vec<f64> = (k.saturating_sub(reach.max(12))..(k + reach.max(12)).min(bins.len()))
            .filter(|m| m.abs_diff(k) > 3)
            .map(|m| bins[m].1)
            .collect();
        let floor = median(&around) / std::f64::consts::LN_2;
        // The highest of some thousand bins of noise stands about 9 dB above their mean.
        if power < 16.0 * floor {
            continue;
        }
        // A Hann window spreads a line over its neighbours: power and place from all of them.
        let (mut sum, mut moment) = (0.0, 0.0);
        for (at, p) in &bins[k - 2..=k + 2] {
            sum += (p - floor).max(0.0);
            moment += (p - floor).max(0.0) * at;
        }
        let percent_peak = (2.0 * sum).sqrt();
        if percent_peak >= LEAST_LINE_PERCENT {
            found.push(FlutterLine { hz: moment / sum, percent_peak, part: None });
        }
    }
    found.sort_by(|a, b| b.percent_peak.total_cmp(&a.percent_peak));
    found.truncate(MOST_LINES);
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A 3150 Hz tone under sines of speed (Hz, percent peak), in hiss of rms `noise` against amplitude 0.25.
    fn tone(rate_hz: f64, seconds: f64, wobble: &[(f64, f64)], noise: f64) -> [Vec<f64>; 2] {
        let mut state = 11u64;
        let mut random = || {
            (0..12)
                .map(|_| {
                    state =
                        state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                    (state >> 33) as f64 / (1u64 << 31) as f64
                })
                .sum::<f64>()
                - 6.0
        };
        let mut out = [Vec::new(), Vec::new()];
        for n in 0..(seconds * rate_hz) as usize {
            let t = n as f64 / rate_hz;
            let moved: f64 = t + wobble
                .iter()
                .enumerate()
                .map(|(k, (hz, percent))| -percent / 100.0 / (TAU * hz) * (TAU * hz * t + k as f64).cos())
                .sum::<f64>();
            let clean = 0.25 * (TAU * 3150.0 * 1.01 * moved).sin();
            out[0].push(clean + noise * random());
            out[1].push(0.8 * clean + noise * random());
        }
        out
    }

    fn flutter(samples: &[Vec<f64>; 2], rate_hz: f64) -> Flutter {
        let mut meter = FlutterMeter::new(rate_hz, 3150.0, 3150.0 * 1.01);
        for (left, right) in samples[0].chunks(5000).zip(samples[1].chunks(5000)) {
            meter.feed([left, right]);
        }
        meter.finish(0.0).0.unwrap()
    }

    /// The target of the design: 3 % of the value or 0.003 % absolute.
    fn target(value: f64) -> f64 {
        (0.03 * value).max(0.003)
    }

    #[test]
    fn a_sine_of_4_hz_reads_its_amplitude_in_every_kind() {
        for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
            // Hiss 50 dB below the tone in 20 kHz.
            let noise = 0.25 / 2f64.sqrt() * 10f64.powf(-2.5) * f64::sqrt(rate_hz / 40_000.0);
            let found = flutter(&tone(rate_hz, 22.0, &[(4.0, 0.1)], noise), rate_hz);
            let check = |got: Option<f64>, want: f64, kind: &str| {
                crate::assert_within!(got.unwrap(), want, target(want), "%", "{kind} at {rate_hz}");
            };
            check(found.weighted_quasi_peak_percent, 0.1, "quasi-peak");
            check(found.weighted_rms_percent, 0.1 / 2f64.sqrt(), "weighted rms");
            // The value that a sine exceeds 5 % of the time: sin(0.95 pi / 2).
            check(found.two_sigma_percent, 0.0997, "2-sigma");
            check(found.unweighted_peak_percent, 0.1, "peak");
            check(found.unweighted_rms_percent, 0.1 / 2f64.sqrt(), "rms");
            check(found.wow_rms_percent, 0.1 / 2f64.sqrt(), "wow");
            check(found.flutter_rms_percent, 0.0, "flutter");
            crate::assert_within!(found.lines[0].hz, 4.0, 0.05, "Hz", "line");
            crate::assert_within!(found.lines[0].percent_peak, 0.1, 0.003, "%", "line");
        }
    }

    #[test]
    fn slow_and_fast_lines_stand_apart_and_are_weighted() {
        let wobble = [(0.8, 0.12), (12.7, 0.05), (98.3, 0.02)];
        let found = flutter(&tone(48_000.0, 40.0, &wobble, 0.0002), 48_000.0);
        let rms = |pick: &[(f64, f64)]| (pick.iter().map(|(_, a)| a * a / 2.0).sum::<f64>()).sqrt();
        let unweighted = rms(&wobble);
        crate::assert_within!(found.unweighted_rms_percent.unwrap(), unweighted, target(unweighted), "%");
        crate::assert_within!(found.wow_rms_percent.unwrap(), rms(&wobble[..1]), target(0.085), "%");
        crate::assert_within!(found.flutter_rms_percent.unwrap(), rms(&wobble[1..]), target(0.038), "%");
        for (hz, percent) in wobble {
            let line = found.lines.iter().find(|line| (line.hz - hz).abs() < 0.05);
            let line = line.unwrap_or_else(|| panic!("no line at {hz} Hz: {:?}", found.lines));
            crate::assert_within!(line.percent_peak, percent, target(percent), "%", "{hz} Hz");
        }
        assert_eq!(found.lines.len(), 3, "{:?}", found.lines);
    }

    #[test]
    fn a_steady_tone_in_hiss_has_no_flutter() {
        let noise = 0.25 / 2f64.sqrt() * 10f64.powf(-2.0);
        let found = flutter(&tone(48_000.0, 20.0, &[], noise), 48_000.0);
        // Hiss 40 dB below the tone: what is left of it must stay under the absolute target.
        for (kind, got) in [
            ("rms", found.unweighted_rms_percent),
            ("weighted", found.weighted_rms_percent),
            ("quasi-peak", found.weighted_quasi_peak_percent),
        ] {
            crate::assert_within!(got.unwrap(), 0.0, 0.003, "%", "{kind}");
        }
        assert!(found.lines.is_empty(), "{:?}", found.lines);
    }

    #[test]
    fn dropouts_and_loudness_do_not_read_as_flutter() {
        let mut samples = tone(48_000.0, 20.0, &[], 0.00005);
        for channel in &mut samples {
            for (n, x) in channel.iter_mut().enumerate() {
                let t = n as f64 / 48_000.0;
                *x *= 1.0 + 0.1 * (TAU * 6.0 * t).sin();
                if n % 30_000 < 700 {
                    *x *= 0.5;
                }
            }
        }
        let found = flutter(&samples, 48_000.0);
        crate::assert_within!(found.unweighted_rms_percent.unwrap(), 0.0, 0.003, "%");
        crate::assert_within!(found.weighted_quasi_peak_percent.unwrap(), 0.0, 0.003, "%");
    }
}
