//! Noise of a silent part: unweighted and A-weighted, and hum of the power line told apart from hiss.

use crate::reading::{Mains, Noise, Pair};
use crate::signal::spectrum::{Density, Welch};
use crate::trade::a_weighting;

/// Limits of the unweighted measurement, Hz (the design's; nominal 22.4 Hz to 22.4 kHz).
pub const UNWEIGHTED_HZ: (f64, f64) = (22.4, 22_400.0);
/// A line of hum stands this much above the noise around it (power).
const STANDS_OUT: f64 = 8.0;
/// Highest harmonic of the power line that is looked for.
const HARMONICS: usize = 12;

/// Measures the noise of a silent part in both channels.
pub struct NoiseMeter {
    rate_hz: f64,
    channels: [Welch; 2],
    frames: u64,
}

/// Noise powers (mean squares) of one channel.
#[derive(Debug, Clone, Copy, PartialEq)]
struct ChannelNoise {
    unweighted: f64,
    a_weighted: f64,
}

/// The spectra of a silent part.
#[derive(Debug, Clone)]
pub struct Silence {
    densities: [Density; 2],
    rate_hz: f64,
    seconds: f64,
}

impl NoiseMeter {
    /// A meter for samples at `rate_hz`; bins are about 0.7 Hz apart.
    pub fn new(rate_hz: f64) -> Self {
        let length = ((rate_hz * 1.36) as usize).next_power_of_two();
        let welch = || Welch::new(rate_hz, length);
        Self { rate_hz, channels: [welch(), welch()], frames: 0 }
    }

    /// Feeds a block `[left, right]`; blocks of any size give the same result.
    pub fn feed(&mut self, block: [&[f64]; 2]) {
        self.frames += block[0].len() as u64;
        self.channels[0].feed(block[0]);
        self.channels[1].feed(block[1]);
    }

    /// The spectra; `None` if less than one segment (about two seconds) was fed or a sample was no number.
    pub fn finish(self) -> Option<Silence> {
        let seconds = self.frames as f64 / self.rate_hz;
        let densities = self.channels.map(Welch::finish);
        let sound = densities.iter().all(|density| density.per_hz.iter().all(|power| power.is_finite()));
        (densities[0].segments > 0 && sound).then_some(Silence { densities, rate_hz: self.rate_hz, seconds })
    }
}

impl Silence {
    /// The noise against `reference_dbfs` (a level of the return), described by `reference` in words.
    pub fn noise(&self, reference: &str, reference_dbfs: Pair) -> Noise {
        let levels = [0, 1].map(|channel| self.channel(channel));
        let db = |power: f64, channel: usize| {
            // A sine at 0 dBFS has mean square 1/2.
            (power > 1e-18)
                .then(|| 10.0 * (2.0 * power).log10())
                .zip(reference_dbfs[channel])
                .map(|(l, r)| l - r)
        };
        // Gaussian noise of bandwidth B over T seconds: relative standard deviation 1 / sqrt(B T). Tape hiss moves
        // more than that; half a decibel of bandwidth in doubt at the edges is not in it.
        let spread_db = 2.0 * 4.343 / (2000.0 * self.seconds).sqrt();
        Noise {
            reference: reference.to_owned(),
            reference_dbfs,
            unweighted_db: [0, 1].map(|channel| db(levels[channel].unweighted, channel)),
            a_weighted_db: [0, 1].map(|channel| db(levels[channel].a_weighted, channel)),
            uncertainty_db: [0, 1]
                .map(|channel| db(levels[channel].unweighted, channel).map(|_| spread_db.hypot(0.1))),
            mains: self.mains(reference_dbfs),
        }
    }

    fn channel(&self, channel: usize) -> ChannelNoise {
        let (low, high) = (UNWEIGHTED_HZ.0, UNWEIGHTED_HZ.1.min(self.rate_hz / 2.0));
        let density = &self.densities[channel];
        ChannelNoise {
            unweighted: density.power(low, high, |_| 1.0),
            a_weighted: density.power(low, high, |hz| 10f64.powf(a_weighting::a_weighting_db(hz) / 10.0)),
        }
    }

    /// Hum: the power-line frequency (50 or 60 Hz) whose harmonics stand out of the noise.
    fn mains(&self, reference_dbfs: Pair) -> Option<Mains> {
        let best = [50.0, 60.0]
            .into_iter()
            .map(|nominal| {
                let fundamental = self.refine(nominal);
                let standing = (1..=HARMONICS).filter(|&k| self.stands(fundamental * k as f64)).count();
                (standing, fundamental)
            })
            .max_by(|a, b| a.0.cmp(&b.0).then((b.1 - 50.0).abs().total_cmp(&(a.1 - 50.0).abs())))?;
        let (standing, hz) = best;
        // The fundamental alone, or any two harmonics.
        if standing == 0 || (standing == 1 && !self.stands(hz)) {
            return None;
        }
        let dbfs = |power: f64| 10.0 * (2.0 * power).log10();
        let mut total = [0.0; 2];
        let mut lines = Vec::new();
        for k in 1..=HARMONICS {
            let at_hz = hz * k as f64;
            if !self.stands(at_hz) {
                continue;
            }
            let powers = [0, 1].map(|channel| self.line_power(channel, at_hz));
            total[0] += powers[0];
            total[1] += powers[1];
            let level = |channel: usize| {
                (powers[channel] > 0.0)
                    .then(|| dbfs(powers[channel]))
                    .zip(reference_dbfs[channel])
                    .map(|(l, r)| l - r)
            };
            lines.push((at_hz, level(0), level(1)));
        }
        let hum_db = [0, 1].map(|channel| {
            (total[channel] > 0.0)
                .then(|| dbfs(total[channel]))
                .zip(reference_dbfs[channel])
                .map(|(l, r)| l - r)
        });
        Some(Mains { hz, hum_db, lines })
    }

    /// The power line's frequency near `nominal_hz`, by the centre of its strongest of the first harmonics.
    fn refine(&self, nominal_hz: f64) -> f64 {
        let mut best = (0.0, nominal_hz);
        for k in 1..=4 {
            let at_hz = nominal_hz * k as f64;
            let step = self.densities[0].step_hz;
            // Power systems stay within 1 %.
            let range = ((at_hz * 0.99 / step) as usize, (at_hz * 1.01 / step).ceil() as usize);
            let both = |bin: usize| {
                self.densities.iter().map(|d| d.per_hz.get(bin).copied().unwrap_or(0.0)).sum::<f64>()
            };
            let Some(peak) = (range.0..=range.1).max_by(|&a, &b| both(a).total_cmp(&both(b))) else {
                continue;
            };
            if peak == 0 {
                continue;
            }
            let floor: f64 = self.densities.iter().map(|d| d.floor(at_hz * 0.85, at_hz * 1.15)).sum();
            let standing = both(peak) / floor.max(1e-30);
            let (l, m, r) = (both(peak - 1), both(peak), both(peak + 1));
            let offset = (r - l) / (l + m + r).max(1e-300);
            if standing > best.0 {
                best = (standing, (peak as f64 + offset) * step / k as f64);
            }
        }
        best.1
    }

    fn stands(&self, hz: f64) -> bool {
        self.densities.iter().any(|density| {
            let floor = density.floor(hz * 0.85 - 5.0, hz * 1.15 + 5.0);
            let half = 1.5 * density.step_hz;
            let power = density.power(hz - half, hz + half, |_| 1.0);
            power > STANDS_OUT * floor * 2.0 * half && power > 1e-15
        })
    }

    fn line_power(&self, channel: usize, hz: f64) -> f64 {
        let density = &self.densities[channel];
        let half = 2.5 * density.step_hz;
        let floor = density.floor(hz * 0.85 - 5.0, hz * 1.15 + 5.0);
        (density.power(hz - half, hz + half, |_| 1.0) - floor * 2.0 * half).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn silence(rate_hz: f64, hum: &[(f64, f64)], hiss: f64) -> Silence {
        let mut meter = NoiseMeter::new(rate_hz);
        let mut state = 1u64;
        let samples: Vec<f64> = (0..(10.0 * rate_hz) as usize)
            .map(|n| {
                let t = n as f64 / rate_hz;
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                let random = ((state >> 33) as f64 / (1u64 << 31) as f64 - 0.5) * 12f64.sqrt();
                hiss * random
                    + hum.iter().map(|(hz, amplitude)| amplitude * (TAU * hz * t).sin()).sum::<f64>()
            })
            .collect();
        for block in samples.chunks(7000) {
            meter.feed([block, block]);
        }
        meter.finish().unwrap()
    }

    #[test]
    fn white_noise_reads_its_bandwidth() {
        for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
            let noise = silence(rate_hz, &[], 0.001).noise("x", [Some(-12.0), Some(-12.0)]);
            let share = (UNWEIGHTED_HZ.1.min(rate_hz / 2.0) - 22.4) / (rate_hz / 2.0);
            let want = 10.0 * (2.0 * 1e-6 * share).log10() + 12.0;
            // 0.1 dB: ten seconds of noise.
            crate::assert_within!(noise.unweighted_db[0].unwrap(), want, 0.1, "dB", "{rate_hz}");
            assert_eq!(noise.mains, None, "{rate_hz}");
        }
    }

    #[test]
    fn a_sine_is_weighted_as_the_standard_says() {
        // 1 kHz: 0 dB; 100 Hz: -19.1 dB (IEC 61672-1 Table 3).
        for (hz, weight) in [(1000.0, 0.0), (100.0, -19.1)] {
            let noise = silence(48_000.0, &[(hz, 0.01)], 0.0).noise("x", [Some(0.0), Some(0.0)]);
            crate::assert_within!(noise.unweighted_db[0].unwrap(), -40.0, 0.01, "dB");
            crate::assert_within!(noise.a_weighted_db[0].unwrap(), -40.0 + weight, 0.1, "dB", "{hz} Hz");
        }
    }

    #[test]
    fn hum_is_told_from_hiss() {
        for hz in [49.98, 60.03] {
            let hum = [(hz, 0.001), (2.0 * hz, 0.0004), (3.0 * hz, 0.0008)];
            let noise = silence(48_000.0, &hum, 0.0005).noise("x", [Some(-12.0), Some(-12.0)]);
            let mains = noise.mains.unwrap();
            crate::assert_within!(mains.hz, hz, 0.1, "Hz");
            let want = 10.0 * (1e-6f64 + 0.16e-6 + 0.64e-6).log10() + 12.0;
            crate::assert_within!(mains.hum_db[0].unwrap(), want, 0.3, "dB");
            assert!(mains.lines.len() >= 3);
        }
    }
}
