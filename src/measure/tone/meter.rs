//! One steady tone, both channels: level, mutual phase and actual frequency, with noise subtracted.
//!
//! The tone is brought down to 0 Hz and measured within a band that follows its frequency: wide enough for the
//! side bands that flutter makes (they belong to the tone), narrow enough to leave most of the noise outside. What
//! noise is left inside is known from the density beside the band, and is subtracted from the power.

use crate::measure::meter::{Meter, is_clipped};
use crate::signal::DB_PER_NEPER;
use crate::signal::baseband::block_powers;
use crate::signal::baseband::{Band, Baseband};
use crate::signal::fir::low_pass;
use crate::signal::spectrum::periodogram;
use crate::signal::statistics::{error_by_neighbours, exponential_mean, mean_and_error, median, rms};
use crate::trade::sound_card::top_hz;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Half width of the band that belongs to a tone: flutter of 1 % stays inside.
fn half_band_hz(hz: f64) -> f64 {
    8.0 + 0.02 * hz
}

/// Noise power over tone power above which a level is not to be had (the noise is known to some percent only).
const NOISE_LIMIT: f64 = 1.0;

/// Least uncertainty (k = 2) of a level, dB: rounding of the band's filters at their middle, and side bands of flutter in their
/// ripple. 95 of 100 simulated returns need 0.0003 (`tests/truth/coverage.tsv`).
const LEAST_DB: f64 = 0.0005;

/// The scatter of the blocks shows a little less than levels err by: in 1200 tones of simulated returns the errors had a
/// standard deviation of 1.07 to 1.14 times what it says.
const SCATTER: f64 = 1.15;

/// Follows one tone in both channels.
pub struct ToneMeter {
    expected_hz: f64,
    channels: [Baseband; 2],
}

/// One channel's part in a tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ToneLevel {
    /// Level, dBFS (0 dBFS is a sine of amplitude 1).
    pub dbfs: f64,
    /// Expanded uncertainty (k = 2) by the tone's own scatter, dB: a wander so slow that it moves the whole tone is not in it.
    pub uncertainty_db: f64,
    /// The same without wander, as far as it is slower than a block, dB.
    pub fast_db: f64,
    /// Length of a block, s.
    pub block_s: f64,
    /// Noise power inside the tone's band over the tone's power.
    pub noise_share: f64,
    /// Noise power in one hertz over the tone's power.
    pub noise_per_hz: f64,
}

/// The phase between the channels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mutual {
    /// Right minus left, rad, within -pi to pi.
    pub phase_rad: f64,
    /// Expanded uncertainty (k = 2) of the mean, rad.
    pub uncertainty_rad: f64,
    /// Standard deviation over the blocks, rad.
    pub spread_rad: f64,
}

/// What was measured of a tone.
#[derive(Debug, Clone)]
pub struct Tone {
    /// Mean frequency, Hz.
    pub hz: f64,
    /// `[left, right]`; `None` where noise hides the tone.
    pub levels: [Option<ToneLevel>; 2],
    /// Phase right minus left, if both channels were measured.
    pub mutual: Option<Mutual>,
    /// The wider band, for what happens within the tone (dropouts, wander); time from the first sample fed.
    pub band: [Band; 2],
}

impl Meter for ToneMeter {
    /// Frequency that is expected in the return, Hz.
    type Plan = f64;
    type Output = Option<Tone>;

    /// A meter for a tone expected near `expected_hz` (within 1.5 %) in samples at `rate_hz`.
    ///
    /// `None` if the tone lies too close to half the sample rate, or where a slow capture's own filter reaches.
    fn new(rate_hz: f64, expected_hz: f64) -> Option<Self> {
        let half = half_band_hz(expected_hz);
        if !(expected_hz > 5.0 && expected_hz + half < 0.49 * rate_hz && expected_hz <= top_hz(rate_hz)) {
            return None;
        }
        let flat_hz = 3.2 * half;
        // A band wider than twice the tone takes the mirror image in and reads 5 dB too much at 20 Hz; below 15 Hz it
        // cannot be helped.
        let transition_hz = (half + 30.0).min((2.0 * expected_hz - flat_hz).max(4.0));
        Some(Self { expected_hz, channels: Baseband::pair(rate_hz, expected_hz, flat_hz, transition_hz) })
    }

    fn feed(&mut self, block: [&[f64]; 2]) {
        self.channels[0].feed(block[0]);
        self.channels[1].feed(block[1]);
    }

    /// The tone; `None` if too little was fed or a sample was no number.
    fn finish(self) -> Option<Tone> {
        let band = self.channels.map(Baseband::finish);
        let (rate_hz, centre_hz) = (band[0].rate_hz, band[0].centre_hz);
        let half = half_band_hz(self.expected_hz);
        let spectra = [0, 1].map(|channel| periodogram(&band[channel].samples, rate_hz));
        let near_hz = centroid(&spectra, self.expected_hz - centre_hz, half)?;
        let taps = low_pass(rate_hz, half, half, 60.0);
        let gain: f64 = taps.iter().map(|tap| tap * tap).sum();
        let narrow = [0, 1].map(|channel| filter(&band[channel].samples, &taps, near_hz / rate_hz));
        let size = ((rate_hz * 0.02).max(rate_hz / half).ceil() as usize).max(1);
        let powers = [0, 1].map(|channel| block_powers(&narrow[channel], size));
        if powers[0].len() < 3 {
            return None;
        }
        let noise = [0, 1].map(|channel| gain * floor(&spectra[channel], near_hz, half, centre_hz));
        let good = sound_blocks(&powers, &noise);
        let block_s = size as f64 / rate_hz;
        let levels = [0, 1].map(|channel| {
            let level = level(&powers[channel], &good, noise[channel])?;
            let noise_per_hz = level.noise_share / (gain * rate_hz);
            Some(ToneLevel { block_s, noise_per_hz, ..level })
        });
        let crosses = block_crosses(&narrow, size);
        let mutual = (levels[0].is_some() && levels[1].is_some()).then(|| mutual(&crosses, &good)).flatten();
        let offset_hz = mean_frequency(&narrow, mutual.map_or(0.0, |m| m.phase_rad), &levels, rate_hz);
        Some(Tone { hz: centre_hz + near_hz + offset_hz, levels, mutual, band })
    }
}

impl ToneMeter {
    /// The shortest stretch that a tone of `hz` can be measured from, s: what the filters need, and four blocks. `None` where
    /// there is no meter for it.
    pub fn shortest_s(rate_hz: f64, hz: f64) -> Option<f64> {
        let meter = Self::new(rate_hz, hz)?;
        let half = half_band_hz(hz);
        let band_rate_hz = meter.channels[0].output_rate_hz();
        let taps = low_pass(band_rate_hz, half, half, 60.0).len() as f64;
        Some(2.0 * meter.channels[0].margin_s() + taps / band_rate_hz + 4.0 * 0.02f64.max(1.0 / half))
    }
}

impl Tone {
    /// Adds what samples in steps of `step` (full scale 1) may do to levels and phase, at `rate_hz`; what is smaller than a step is
    /// left out.
    ///
    /// A quantiser's gain for a sine of amplitude A is wrong by at most 0.38 (q/A)^1.5 (from its describing function, from memory:
    /// A. Gelb and W. E. Vander Velde, Multiple-Input Describing Functions, 1968); noise in the signal smooths the steps away.
    pub(crate) fn quantised(&mut self, step: f64, rate_hz: f64) {
        if step <= 0.0 {
            return;
        }
        let mut worst = 0.0f64;
        for slot in &mut self.levels {
            let Some(level) = slot else { continue };
            let amplitude = 10f64.powf(level.dbfs / 20.0);
            if amplitude < step {
                *slot = None;
                continue;
            }
            let noise = level.noise_per_hz * amplitude * amplitude / 2.0 * rate_hz / 2.0;
            // The steps' own noise smooths nothing.
            let noise = if noise > step * step / 4.0 { noise - step * step / 12.0 } else { 0.0 };
            let smoothed = (-0.5 * TAU * TAU * noise / (step * step)).exp();
            let share = 0.38 * (step / amplitude).powf(1.5) * smoothed;
            let db = DB_PER_NEPER * share;
            (level.uncertainty_db, level.fast_db) = (level.uncertainty_db.hypot(db), level.fast_db.hypot(db));
            worst = worst.max(share);
        }
        self.mutual.take_if(|_| self.levels.contains(&None));
        if let Some(mutual) = &mut self.mutual {
            mutual.uncertainty_rad = mutual.uncertainty_rad.hypot(std::f64::consts::SQRT_2 * worst);
        }
    }

    /// Leaves out the levels, and the phase, of channels whose amplitude is at one of the `tops` at which they are clipped.
    pub(crate) fn without_clipped(&mut self, tops: [Option<f64>; 2]) {
        for (level, top) in self.levels.iter_mut().zip(tops) {
            level.take_if(|level| is_clipped(10f64.powf(level.dbfs / 20.0), top));
        }
        self.mutual.take_if(|_| self.levels.contains(&None));
    }
}

/// Offset from the band's centre at which the tone's power lies, Hz.
fn centroid(spectra: &[Vec<(f64, f64)>; 2], expected_hz: f64, half_hz: f64) -> Option<f64> {
    let reach_hz = half_hz * 0.75;
    let near: Vec<(f64, f64)> = spectra[0]
        .iter()
        .zip(&spectra[1])
        .filter(|(left, _)| (left.0 - expected_hz).abs() <= reach_hz)
        .map(|(left, right)| (left.0, left.1 + right.1))
        .collect();
    let peak = near.iter().max_by(|a, b| a.1.total_cmp(&b.1))?.0;
    // Flutter spreads the tone: the middle of its power counts, not the highest line.
    let around = near.iter().filter(|bin| (bin.0 - peak).abs() <= half_hz / 2.0);
    let (sum, moment) = around.fold((0.0, 0.0), |acc, bin| (acc.0 + bin.1, acc.1 + bin.1 * bin.0));
    (sum > 0.0 && sum.is_finite()).then(|| moment / sum)
}

/// Noise density (per sample) beside the tone's band.
fn floor(spectrum: &[(f64, f64)], near_hz: f64, half_hz: f64, centre_hz: f64) -> f64 {
    let beside = spectrum
        .iter()
        .filter(|(hz, _)| {
            let away = (hz - near_hz).abs();
            // Below a third of the tone lie its own mirror image and 0 Hz.
            away > 1.8 * half_hz && away < 3.1 * half_hz && centre_hz + hz > (centre_hz + near_hz) / 3.0
        })
        .map(|bin| bin.1);
    exponential_mean(beside)
}

/// Low-passes samples after turning `cycles` per sample down to 0; the ends where the filter is not full are left out.
fn filter(samples: &[Complex64], taps: &[f64], cycles: f64) -> Vec<Complex64> {
    let turned: Vec<Complex64> = samples
        .iter()
        .enumerate()
        .map(|(n, z)| z * Complex64::from_polar(1.0, -TAU * (cycles * n as f64).rem_euclid(1.0)))
        .collect();
    turned.windows(taps.len()).map(|window| window.iter().zip(taps).map(|(z, tap)| z * tap).sum()).collect()
}

fn block_crosses(narrow: &[Vec<Complex64>; 2], size: usize) -> Vec<Complex64> {
    narrow[0]
        .chunks_exact(size)
        .zip(narrow[1].chunks_exact(size))
        .map(|(left, right)| {
            left.iter().zip(right).map(|(l, r)| r * l.conj()).sum::<Complex64>() / size as f64
        })
        .collect()
}

/// Blocks without a dropout or a click in either channel; a neighbour of one is left out too.
fn sound_blocks(powers: &[Vec<f64>; 2], noise: &[f64; 2]) -> Vec<bool> {
    let count = powers[0].len();
    let mut good = vec![true; count];
    for channel in 0..2 {
        let median = median(&powers[channel]);
        // In noise a weak block says nothing.
        if noise[channel] > 0.03 * median {
            continue;
        }
        for (m, &power) in powers[channel].iter().enumerate() {
            // Too strong is a click.
            if !(0.7 * median..1.4 * median).contains(&power) {
                for slot in &mut good[m.saturating_sub(1)..(m + 2).min(count)] {
                    *slot = false;
                }
            }
        }
    }
    // A tone that fades all the time is what it is.
    if good.iter().filter(|&&good| good).count() * 2 < count { vec![true; count] } else { good }
}

fn level(powers: &[f64], good: &[bool], noise: f64) -> Option<ToneLevel> {
    let kept: Vec<f64> =
        powers.iter().zip(good).filter(|(_, good)| **good).map(|(power, _)| *power).collect();
    let (mean, error) = mean_and_error(&kept);
    let power = mean - noise;
    // 1e-14: below -140 dBFS there is only rounding.
    if !(power > 1e-14 && noise < NOISE_LIMIT * power) {
        return None;
    }
    let db = 10.0 / std::f64::consts::LN_10;
    // The density beside the band is known to about a tenth.
    let expanded = |error: f64| {
        let share = (error / power).hypot(0.1 * noise / power);
        (SCATTER * 2.0 * db * share).hypot(LEAST_DB)
    };
    Some(ToneLevel {
        dbfs: 10.0 * power.log10(),
        uncertainty_db: expanded(error),
        fast_db: expanded(error_by_neighbours(&kept)),
        block_s: 0.0,
        noise_share: noise / power,
        noise_per_hz: 0.0,
    })
}

fn mutual(crosses: &[Complex64], good: &[bool]) -> Option<Mutual> {
    let kept: Vec<Complex64> =
        crosses.iter().zip(good).filter(|(_, good)| **good).map(|(cross, _)| *cross).collect();
    let sum: Complex64 = kept.iter().sum();
    if !(sum.norm() > 0.0) {
        return None;
    }
    let offsets: Vec<f64> = kept.iter().map(|cross| (cross * sum.conj()).arg()).collect();
    let (_, error) = mean_and_error(&offsets);
    Some(Mutual { phase_rad: sum.arg(), uncertainty_rad: 2.0 * error, spread_rad: rms(&offsets) })
}

/// Mean frequency of the narrow band against 0 Hz, from the slope of the phase of both channels together, Hz.
fn mean_frequency(
    narrow: &[Vec<Complex64>; 2],
    phase_rad: f64,
    levels: &[Option<ToneLevel>; 2],
    rate_hz: f64,
) -> f64 {
    let weight = [0, 1].map(|channel| if levels[channel].is_some() { 1.0 } else { 0.0 });
    let turn = Complex64::from_polar(weight[1], -phase_rad);
    let both: Vec<Complex64> =
        narrow[0].iter().zip(&narrow[1]).map(|(left, right)| left * weight[0] + right * turn).collect();
    // Phase gained from sample to sample, weighed so that the ends count little: wow that has not come full circle
    // there would tilt the mean.
    let n = both.len() as f64;
    let (mut sum, mut total) = (0.0, 0.0);
    for (k, pair) in both.windows(2).enumerate() {
        let x = (k as f64 + 1.0) / n;
        let w = x * (1.0 - x);
        let step = pair[1] * pair[0].conj();
        if step.norm_sqr() > 0.0 {
            sum += w * step.arg();
            total += w;
        }
    }
    if total > 0.0 { sum / total / TAU * rate_hz } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::{Random, sampled, uneven_s};

    /// A tone of `amplitude` under wow of `wow_percent` peak at 3 Hz and flutter at 40 Hz, in noise of rms `noise`.
    fn fluttered(
        rate_hz: f64,
        hz: f64,
        amplitude: [f64; 2],
        phase: f64,
        noise: f64,
        seed: u64,
    ) -> [Vec<f64>; 2] {
        let mut random = Random(seed);
        let frames = (1.1 * rate_hz) as usize;
        let mut out = [Vec::new(), Vec::new()];
        for n in 0..frames {
            let t = n as f64 / rate_hz;
            let angle = TAU * hz * uneven_s(t, &[(3.0, 0.2, 1.0), (40.0, 0.1, 0.0)]);
            out[0].push(amplitude[0] * angle.sin() + noise * random.normal());
            out[1].push(amplitude[1] * (angle + phase).sin() + noise * random.normal());
        }
        out
    }

    fn measure(samples: &[Vec<f64>; 2], rate_hz: f64, expected_hz: f64) -> Tone {
        let mut meter = ToneMeter::new(rate_hz, expected_hz).unwrap();
        for (left, right) in samples[0].chunks(999).zip(samples[1].chunks(999)) {
            meter.feed([left, right]);
        }
        meter.finish().unwrap()
    }

    #[test]
    fn a_weak_high_tone_in_hiss_and_flutter_is_right() {
        // -32 dBFS in hiss 50 dB below -12 dBFS (in 20 kHz); targets of the design: 0.15 dB, 1 degree at 10 kHz.
        for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
            for (seed, hz) in [(1, 400.0), (2, 3150.0), (3, 10_000.0), (4, 16_000.0)] {
                let amplitude = 10f64.powf(-32.0 / 20.0);
                let noise = 10f64.powf(-62.0 / 20.0) / 2f64.sqrt() * f64::sqrt(rate_hz / 40_000.0);
                let samples = fluttered(rate_hz, hz, [amplitude, amplitude / 2.0], -0.7, noise, seed);
                let tone = measure(&samples, rate_hz, hz * 1.004);
                let [left, right] = tone.levels.map(Option::unwrap);
                crate::assert_within!(left.dbfs, -32.0, 0.05, "dB", "{hz} Hz left");
                crate::assert_within!(right.dbfs, -38.0206, 0.1, "dB", "{hz} Hz right");
                crate::assert_within!(
                    left.dbfs,
                    -32.0,
                    1.5 * left.uncertainty_db,
                    "dB",
                    "{hz} Hz left, stated"
                );
                let mutual = tone.mutual.unwrap();
                crate::assert_within!(mutual.phase_rad.to_degrees(), -40.107, 1.0, "deg", "{hz} Hz");
                crate::assert_within!(tone.hz, hz, hz * 3e-4, "Hz", "mean frequency");
            }
        }
    }

    #[test]
    fn low_tones_stand_clear_of_hum() {
        for hz in [40.0, 55.0, 70.0] {
            let rate_hz = 48_000.0;
            let samples = [0.03, 0.02].map(|amplitude: f64| {
                sampled(rate_hz, (1.9 * rate_hz) as usize, |t| {
                    amplitude * (TAU * hz * t).sin() + 0.001 * (TAU * 50.0 * t).sin()
                })
            });
            let tone = measure(&samples, rate_hz, hz);
            crate::assert_within!(
                tone.levels[0].unwrap().dbfs,
                20.0 * 0.03f64.log10(),
                0.05,
                "dB",
                "{hz} Hz"
            );
            crate::assert_within!(
                tone.levels[1].unwrap().dbfs,
                20.0 * 0.02f64.log10(),
                0.05,
                "dB",
                "{hz} Hz"
            );
        }
    }

    #[test]
    fn a_dropout_does_not_move_the_level() {
        let rate_hz = 48_000.0;
        let mut samples = fluttered(rate_hz, 1000.0, [0.1, 0.1], 0.0, 0.0001, 9);
        for sample in &mut samples[0][20_000..21_500] {
            *sample *= 0.3;
        }
        let tone = measure(&samples, rate_hz, 1000.0);
        crate::assert_within!(tone.levels[0].unwrap().dbfs, -20.0, 0.03, "dB");
    }

    #[test]
    fn noise_alone_is_no_tone() {
        let mut random = Random(77);
        let noise: Vec<f64> = sampled(48_000.0, 48_000, |_| 0.01 * random.normal());
        let tone = measure(&[noise, vec![0.0; 48_000]], 48_000.0, 5000.0);
        assert!(tone.levels[0].is_none_or(|level| level.noise_share > 0.2), "{:?}", tone.levels);
        assert_eq!(tone.levels[1], None);
        assert_eq!(tone.mutual, None);
    }

    #[test]
    fn too_little_gives_nothing() {
        assert!(ToneMeter::new(44_100.0, 21_900.0).is_none());
        assert!(ToneMeter::new(48_000.0, 1000.0).unwrap().finish().is_none());
    }
}
