//! The course of a tone's frequency as flutter is read from it: two channels taken together, drift subtracted, the noise in
//! it known.
//!
//! No standard fixes the band or the split. A note to clause 4 of IEC 60386 A1:1988 calls a flat response from at least
//! 0.1 to 200 Hz useful, without tolerance or method; the split at 6 Hz is common practice, no source. So the band is
//! part of the reading. Slower than 0.1 Hz is drift: the best parabola is subtracted first.
//!
//! Known limits of taking both channels together: weights are those of the whole tone, so while the better of two
//! channels that differ by more than some 4 dB drops out, the tone is bridged although the other goes on. If the two
//! are never heard together, the phase between them is not known, and going from one to the other makes a jump.

use crate::signal::baseband::Band;
use crate::signal::fit::Line;
use crate::signal::fm::{demodulate, detrend, filter_by_response};
use crate::signal::spectrum::periodogram;
use crate::signal::statistics::{exponential_mean, mean};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// Unweighted band from low to high, and the split between wow and flutter, Hz.
pub const BAND_HZ: [f64; 3] = [0.1, 6.0, 200.0];
/// Share of a tone's frequency up to which it shows flutter: side bands further off meet hum, and then its own mirror image.
const SHOWN: f64 = 0.25;
/// Less of a tone shows no flutter, s.
pub(crate) const LEAST_S: f64 = 1.5;
/// A channel whose power over noise is below this share of the other's is not used: it would bring its own faults only.
const LEAST_SHARE: f64 = 0.002;
/// Noise density over tone power below which noise is taken not to go, 1/Hz: 24 bits lie 146 dB down.
const LEAST_DENSITY: f64 = 1e-19;

/// The highest rate of flutter that a tone of `carrier_hz` shows, Hz.
pub(crate) fn highest_hz(carrier_hz: f64) -> f64 {
    BAND_HZ[2].min((SHOWN * carrier_hz).floor())
}

/// Distance from the tone at which the noise beside it is taken, Hz, where flutter up to `highest_hz` is read: beyond the
/// flutter's own side bands.
pub(crate) fn beside_hz(highest_hz: f64) -> (f64, f64) {
    (1.1 * highest_hz, 1.6 * highest_hz)
}

/// Half width of the band around a tone of `carrier_hz` in which its flutter and the noise beside it lie, Hz.
pub(crate) fn flat_hz(carrier_hz: f64) -> f64 {
    beside_hz(highest_hz(carrier_hz)).1 + 0.02 * carrier_hz
}

/// The relative deviation of the tone's frequency, in percent, and the noise in it.
pub(crate) struct Course {
    pub percent: Vec<f64>,
    /// Turns of the tone up to each sample, whole ones left open: the phase against time, drift included.
    pub cycles: Vec<f64>,
    pub rate_hz: f64,
    /// Band that it shows, and the split: a short tone shows no slow wow, a low one no fast flutter.
    pub band_hz: [f64; 3],
    /// Variance of the deviation by noise per hertz at 1 Hz, percent squared; grows with frequency squared.
    pub noise_at_1hz: f64,
    /// Change along the whole course, percent per minute, subtracted.
    pub drift_percent_per_min: f64,
    /// Share of the time in which the tone was bridged.
    pub bridged: f64,
    /// Share of each channel.
    pub shares: [f64; 2],
}

/// Mean power and density of the noise beside the tone (per Hz) of one channel.
struct Heard {
    power: f64,
    density: f64,
}

impl Heard {
    fn of(samples: &[Complex64], rate_hz: f64, flat_hz: f64, beside_hz: (f64, f64)) -> Self {
        // The mean: a channel that is lost for more than half of the tone still has the rest of it to give.
        let power = mean(samples.iter().map(Complex64::norm_sqr));
        Self { power, density: density_beside(samples, rate_hz, flat_hz, beside_hz) }
    }

    /// Power over noise density.
    fn quality(&self) -> f64 {
        if self.power > 0.0 { self.power / self.density.max(LEAST_DENSITY * self.power) } else { 0.0 }
    }
}

/// Density per Hz of the noise beside the strongest line.
fn density_beside(samples: &[Complex64], rate_hz: f64, flat_hz: f64, beside_hz: (f64, f64)) -> f64 {
    let spectrum = periodogram(samples, rate_hz);
    let tone_hz = spectrum.iter().max_by(|a, b| a.1.total_cmp(&b.1)).map_or(0.0, |bin| bin.0);
    let beside = spectrum
        .into_iter()
        .filter(|(hz, _)| {
            let away = (hz - tone_hz).abs();
            hz.abs() < flat_hz && away > beside_hz.0 && away < beside_hz.1
        })
        .map(|bin| bin.1);
    exponential_mean(beside) / rate_hz
}

/// Noise of the deviation per hertz at 1 Hz, percent squared, from beyond the flutter's band. Noise that only changes the
/// amplitude, as a tape's own does in part, is in the side bands but not in the deviation: it must not be subtracted.
fn noise_at_1hz(percent: &[f64], rate_hz: f64, beside_hz: (f64, f64)) -> f64 {
    let bins = one_sided(percent, rate_hz);
    let step_hz = bins.first().map_or(1.0, |bin| bin.0);
    let beyond = bins.iter().filter(|(hz, _)| *hz > beside_hz.0 && *hz < beside_hz.1);
    exponential_mean(beyond.map(|(hz, power)| power / step_hz / (hz * hz)))
}

impl Course {
    /// The course of a tone near `carrier_hz` in both channels' bands, flat over [`flat_hz`] on either side. Each channel
    /// counts by its power over its noise, from moment to moment: one that is weak, noisy, dead or in a dropout leaves the
    /// other alone.
    ///
    /// `None` if there is no tone, or less of it than [`LEAST_S`].
    pub fn of(bands: &[Band; 2], carrier_hz: f64) -> Option<Self> {
        let rate_hz = bands[0].rate_hz;
        let length_s = bands[0].samples.len() as f64 / rate_hz;
        let highest_hz = highest_hz(carrier_hz);
        let (flat_hz, beside_hz) = (flat_hz(carrier_hz), beside_hz(highest_hz));
        let heard = [0, 1].map(|side| Heard::of(&bands[side].samples, rate_hz, flat_hz, beside_hz));
        let best = heard[0].quality().max(heard[1].quality());
        if !(best > 0.0 && best.is_finite() && highest_hz > BAND_HZ[1] && length_s >= LEAST_S) {
            return None;
        }
        let quality =
            heard.each_ref().map(|h| if h.quality() > LEAST_SHARE * best { h.quality() } else { 0.0 });
        // Amplitudes are weighed by amplitude over noise.
        let weights = [0, 1].map(|side| {
            if quality[side] > 0.0 { quality[side] / heard[side].power.sqrt() / best } else { 0.0 }
        });
        let summed = sum_in_phase(bands, weights);
        let tone = demodulate(&summed, rate_hz)?;
        let mean_hz = bands[0].centre_hz + tone.mean_hz;
        let cycles = cycles(&tone.deviation_hz, mean_hz, rate_hz, start_cycles(&summed, &bands[0]));
        let mut percent: Vec<f64> = tone.deviation_hz.iter().map(|hz| 100.0 * hz / mean_hz).collect();
        let drift_percent_per_min = 60.0 * rate_hz * Line::of(&percent).slope;
        detrend(&mut percent);
        let noise_at_1hz = noise_at_1hz(&percent, rate_hz, beside_hz);
        let total = quality[0] + quality[1];
        noise_at_1hz.is_finite().then(|| Self {
            percent,
            cycles,
            rate_hz,
            band_hz: [BAND_HZ[0].max(1.0 / length_s), BAND_HZ[1], highest_hz],
            noise_at_1hz,
            drift_percent_per_min,
            bridged: tone.bridged,
            shares: quality.map(|quality| quality / total),
        })
    }

    /// The course with what is noise held back, for figures from which noise cannot be subtracted afterwards, and the gain
    /// by frequency (0 to 1) that does it.
    pub fn denoised(&self) -> (Vec<f64>, impl Fn(f64) -> f64 + use<>) {
        let gain = self.denoising_gain();
        (filter_by_response(&self.percent, self.rate_hz, |hz| Complex64::new(gain(hz), 0.0)), gain)
    }

    /// Gain by frequency that lets flutter pass and holds noise back: 1 - noise / power, smoothed (Wiener).
    fn denoising_gain(&self) -> impl Fn(f64) -> f64 + use<> {
        let bins = one_sided(&self.percent, self.rate_hz);
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
    pub fn noise_power(&self, weight: impl Fn(f64) -> f64) -> f64 {
        (1..=2 * self.band_hz[2] as usize)
            .map(|k| {
                let hz = k as f64 - 0.5;
                self.noise_at_1hz * hz * hz * weight(hz)
            })
            .sum()
    }
}

/// Turns of the tone at the first sample, less whole ones.
fn start_cycles(summed: &[Complex64], band: &Band) -> f64 {
    summed.first().map_or(0.0, |z| z.arg() / TAU) + (band.centre_hz * band.first_s).fract()
}

/// Turns of the tone up to each sample, from the course of its frequency (trapezoids).
fn cycles(deviation_hz: &[f64], mean_hz: f64, rate_hz: f64, start: f64) -> Vec<f64> {
    let mut sum = 0.0;
    let mut last = deviation_hz.first().copied().unwrap_or(0.0);
    deviation_hz
        .iter()
        .enumerate()
        .map(|(k, &hz)| {
            // The mean by multiplication, so that rounding does not add up.
            sum += if k == 0 { 0.0 } else { (last + hz) / 2.0 / rate_hz };
            last = hz;
            start + k as f64 * mean_hz / rate_hz + sum
        })
        .collect()
}

/// Width over which flutter and noise are compared, Hz: wide enough not to ring longer than the ends that are cut.
const COMPARE_HZ: f64 = 4.0;

/// Standard deviations by which a stretch of noise is taken to exceed its mean at most.
const NOISE_CHANCE: f64 = 2.5;

/// Both channels in phase, with their weights. The phase between them is followed slowly: a tilt that wanders must not
/// read as a jump when one channel drops out.
fn sum_in_phase(bands: &[Band; 2], weights: [f64; 2]) -> Vec<Complex64> {
    let (left, right) = (&bands[0].samples, &bands[1].samples);
    let scaled = |z: &[Complex64], weight: f64| z.iter().map(|z| z * weight).collect();
    if weights[1] == 0.0 {
        return scaled(left, weights[0]);
    }
    if weights[0] == 0.0 {
        return scaled(right, weights[1]);
    }
    let length = ((ALIGN_S * bands[0].rate_hz) as usize).max(1);
    // Where one channel begins as the other ends, and in hiss, the two have no steady phase.
    let steady = |l: &[Complex64], r: &[Complex64]| {
        let cross: Complex64 = l.iter().zip(r).map(|(l, r)| r.conj() * l).sum();
        let power = |z: &[Complex64]| z.iter().map(Complex64::norm_sqr).sum::<f64>();
        if cross.norm_sqr() > LEAST_COHERENCE * power(l) * power(r) { cross } else { Complex64::ZERO }
    };
    let crosses: Vec<Complex64> =
        left.chunks(length).zip(right.chunks(length)).map(|(l, r)| steady(l, r)).collect();
    // Over five pieces; where one channel is lost for longer the phase stays what it was.
    let mut angles: Vec<Option<f64>> = (0..crosses.len())
        .map(|k| {
            let near = &crosses[k.saturating_sub(2)..(k + 3).min(crosses.len())];
            let sum = near.iter().sum::<Complex64>();
            (sum.norm() > 0.0).then(|| sum.arg())
        })
        .collect();
    let mut last = angles.iter().copied().flatten().next().unwrap_or(0.0);
    for angle in &mut angles {
        let here = angle.unwrap_or(last);
        // Unwrapped.
        last = here - TAU * ((here - last) / TAU).round();
        *angle = Some(last);
    }
    let angles: Vec<f64> = angles.into_iter().flatten().collect();
    let angle = |k: usize| {
        let place = ((k as f64 + 0.5) / length as f64 - 0.5).clamp(0.0, angles.len() as f64 - 1.0);
        let (at, share) = (place as usize, place.fract());
        angles[at] + share * (angles[(at + 1).min(angles.len() - 1)] - angles[at])
    };
    let turned = |k: usize, r: &Complex64| r * Complex64::from_polar(weights[1], angle(k));
    left.iter().zip(right).enumerate().map(|(k, (l, r))| l * weights[0] + turned(k, r)).collect()
}

/// Coherence of the channels within a piece from which on its phase counts.
const LEAST_COHERENCE: f64 = 0.5;
/// Pieces over which the phase between the channels is taken, s; five of them make one value.
const ALIGN_S: f64 = 0.1;

/// The course between two frequencies.
pub(crate) fn band_pass(percent: &[f64], rate_hz: f64, low_hz: f64, high_hz: f64) -> Vec<f64> {
    let gain = band_gain(low_hz, high_hz);
    filter_by_response(percent, rate_hz, |hz| Complex64::new(gain(hz), 0.0))
}

/// Gain of a band: 1 between its limits, edges of a raised cosine beyond them.
pub(crate) fn band_gain(low_hz: f64, high_hz: f64) -> impl Fn(f64) -> f64 {
    let edge = |x: f64| {
        let x = x.clamp(0.0, 1.0);
        0.5 - 0.5 * (PI * x).cos()
    };
    move |hz| {
        // At a split between bands the two edges must add up in power: a narrow edge is near enough.
        let rise =
            if low_hz < 1.0 { edge((hz - 0.5 * low_hz) / (0.5 * low_hz)) } else { f64::from(hz >= low_hz) };
        let fall = if high_hz > 100.0 {
            1.0 - edge((hz - high_hz) / (0.2 * high_hz))
        } else {
            f64::from(hz < high_hz)
        };
        rise * fall
    }
}

/// Mean squares of a course, bin by bin from above 0 Hz on; their sum is the whole mean square.
pub(crate) fn one_sided(percent: &[f64], rate_hz: f64) -> Vec<(f64, f64)> {
    let complex: Vec<Complex64> = percent.iter().map(|&x| Complex64::new(x, 0.0)).collect();
    let n = complex.len() as f64;
    periodogram(&complex, rate_hz)
        .into_iter()
        .filter(|bin| bin.0 > 0.0)
        .map(|(hz, power)| (hz, 2.0 * power / n))
        .collect()
}
