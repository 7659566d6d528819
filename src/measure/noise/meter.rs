//! Noise of a silent part: unweighted, A-weighted and ITU-R BS.468-4 quasi-peak, and hiss without the hum.

use crate::measure::course::{Course, Steady};
use crate::measure::noise::hum::{HumBand, HumComponents};
use crate::reading::{Noise, Pair, SilentPart};
use crate::signal::quasi_peak_468::QuasiPeak;
use crate::signal::spectrum::{Density, Welch};
use crate::signal::weighting_468::WeightingFilter;
use crate::trade::a_weighting;
use std::sync::Arc;

/// Limits of the unweighted measurement, Hz (the design's; nominal 22.4 Hz to 22.4 kHz).
pub const UNWEIGHTED_HZ: (f64, f64) = (22.4, 22_400.0);
/// The quasi-peak meter starts at rest; what it shows counts from here on, s.
const SETTLED_S: f64 = 1.5;
/// Its indication is averaged over pieces of this length, s.
const PIECE_S: f64 = 0.1;
/// Flatness of filters and edges, dB: what the spread of the noise does not show.
const FLATNESS_DB: f64 = 0.05;

/// Measures the noise of a silent part in both channels.
pub struct NoiseMeter {
    rate_hz: f64,
    channels: [Channel; 2],
    hum: Option<HumBand>,
}

struct Channel {
    welch: Welch,
    /// A-weight of each bin.
    weights: Arc<[f64]>,
    unweighted: Course,
    a_weighted: Course,
    network: WeightingFilter,
    detector: QuasiPeak,
    fed: u64,
    piece: (f64, u64),
    shown: Course,
}

/// The spectra and indications of a silent part.
#[derive(Debug, Clone)]
pub struct Silence {
    densities: [Density; 2],
    rate_hz: f64,
    unweighted: [Option<Steady>; 2],
    a_weighted: [Option<Steady>; 2],
    shown: [Option<Steady>; 2],
    components: Option<HumComponents>,
}

/// A level of the return that noise is stated against.
#[derive(Debug, Clone, PartialEq)]
pub struct Reference {
    /// In words.
    pub words: String,
    /// dBFS.
    pub dbfs: Pair,
    /// Expanded uncertainty, dB.
    pub uncertainty_db: f64,
}

fn weight(hz: f64) -> f64 {
    10f64.powf(a_weighting::a_weighting_db(hz) / 10.0)
}

impl NoiseMeter {
    /// A meter for samples at `rate_hz`; bins are about 0.7 Hz apart.
    pub fn new(rate_hz: f64) -> Self {
        let length = ((rate_hz * 1.36) as usize).next_power_of_two();
        let network = WeightingFilter::new(rate_hz);
        let step_hz = rate_hz / length as f64;
        let weights: Arc<[f64]> = (0..=length / 2).map(|k| weight(k as f64 * step_hz)).collect();
        let channel = || Channel {
            welch: Welch::new(rate_hz, length),
            weights: Arc::clone(&weights),
            unweighted: Course::default(),
            a_weighted: Course::default(),
            network: network.clone(),
            detector: QuasiPeak::new(rate_hz),
            fed: 0,
            piece: (0.0, 0),
            shown: Course::default(),
        };
        Self { rate_hz, channels: [channel(), channel()], hum: HumBand::new(rate_hz) }
    }

    /// Tells the tape's time ratio (above 1: fast), so that hum that lies on the tape is looked for in the right place.
    #[must_use]
    pub fn for_ratio(mut self, ratio: f64) -> Self {
        if let Some(hum) = &mut self.hum {
            hum.set_ratio(ratio);
        }
        self
    }

    /// Feeds a block `[left, right]`; blocks of any size give the same result.
    pub fn feed(&mut self, block: [&[f64]; 2]) {
        for (channel, samples) in self.channels.iter_mut().zip(block) {
            channel.feed(samples, self.rate_hz);
        }
        if let Some(hum) = &mut self.hum {
            hum.feed(block);
        }
    }

    /// The spectra; `None` if less than one segment (about two seconds) was fed or a sample was no number.
    pub fn finish(self) -> Option<Silence> {
        let components = self.hum.and_then(|hum| hum.finish().components());
        let [left, right] = self.channels;
        let steady = |of: fn(&Channel) -> &Course| [of(&left).finish(), of(&right).finish()];
        let unweighted = steady(|channel| &channel.unweighted);
        let a_weighted = steady(|channel| &channel.a_weighted);
        let shown = steady(|channel| &channel.shown);
        let densities = [left.welch.finish(), right.welch.finish()];
        let sound = densities.iter().all(|density| density.per_hz.iter().all(|power| power.is_finite()));
        (densities[0].segments > 0 && sound).then_some(Silence {
            densities,
            rate_hz: self.rate_hz,
            unweighted,
            a_weighted,
            shown,
            components,
        })
    }
}

impl Channel {
    fn feed(&mut self, samples: &[f64], rate_hz: f64) {
        let (scale, step_hz) = (self.welch.scale(), self.welch.step_hz());
        let (low_hz, high_hz) = (UNWEIGHTED_HZ.0, UNWEIGHTED_HZ.1.min(rate_hz / 2.0));
        let (unweighted, a_weighted, weights) = (&mut self.unweighted, &mut self.a_weighted, &self.weights);
        self.welch.feed_each(samples, |bins| {
            let (mut plain, mut weighted) = (0.0, 0.0);
            let first = (low_hz / step_hz).ceil() as usize;
            let last = ((high_hz / step_hz) as usize).min(bins.len().saturating_sub(1));
            for (k, bin) in bins.iter().enumerate().take(last + 1).skip(first) {
                let power = bin.norm_sqr();
                plain += power;
                weighted += power * weights[k];
            }
            unweighted.add(plain * scale);
            a_weighted.add(weighted * scale);
        });
        let settled = (SETTLED_S * rate_hz) as u64;
        let piece = (PIECE_S * rate_hz) as u64;
        for &sample in samples {
            let shown = self.detector.indication(self.network.filter(sample));
            self.fed += 1;
            if self.fed <= settled {
                continue;
            }
            self.piece = (self.piece.0 + shown, self.piece.1 + 1);
            if self.piece.1 == piece {
                self.shown.add(self.piece.0 / piece as f64);
                self.piece = (0.0, 0);
            }
        }
    }
}

/// Level of a mean square, dBFS (a sine at 0 dBFS has mean square 1/2); `None` for what is below -180 dBFS.
fn dbfs(power: f64) -> Option<f64> {
    (power > 1e-18).then(|| 10.0 * (2.0 * power).log10())
}

impl Silence {
    /// The noise against `reference`.
    pub fn noise(&self, reference: &Reference) -> Noise {
        let db = |power: f64, channel: usize| Some(dbfs(power)? - reference.dbfs[channel]?);
        let pair = |of: &dyn Fn(usize) -> f64| [0, 1].map(|channel| db(of(channel), channel));
        let plain = |channel: usize| self.power(channel, false);
        let weighted = |channel: usize| self.power(channel, true);
        let hum = |channel: usize, weighted: bool| {
            self.components.as_ref().map_or(0.0, |components| {
                let lines = components.lines.iter().filter(|line| line.hz >= UNWEIGHTED_HZ.0);
                lines.map(|line| line.power[channel] * if weighted { weight(line.hz) } else { 1.0 }).sum()
            })
        };
        let shown_db = |channel: usize| {
            let shown = self.shown[channel]?.mean;
            // The indication is an rms.
            db(shown * shown, channel)
        };
        Noise {
            reference: reference.words.clone(),
            reference_dbfs: reference.dbfs,
            unweighted_db: pair(&plain),
            a_weighted_db: pair(&weighted),
            itu468_db: [0, 1].map(shown_db),
            itu468_spread_db: [0, 1].map(|channel| {
                shown_db(channel)?;
                self.shown[channel].map(|shown| 8.686 * shown.deviation / shown.mean)
            }),
            uncertainty_db: [0, 1]
                .map(|channel| db(plain(channel), channel).map(|_| self.uncertainty_db(channel, reference))),
            itu468_uncertainty_db: [0, 1].map(|channel| {
                shown_db(channel)?;
                let shown = self.shown[channel]?;
                // 0.15 dB: what the running network may be off by (it says so itself).
                Some((2.0 * 8.686 * shown.error / shown.mean).hypot(0.15).hypot(reference.uncertainty_db))
            }),
            unweighted_without_hum_db: pair(&|channel| plain(channel) - hum(channel, false)),
            a_weighted_without_hum_db: pair(&|channel| weighted(channel) - hum(channel, true)),
            mains: self.components.as_ref().map(|components| components.mains(reference)),
            parts: Vec::new(),
            bands: crate::measure::noise::spectrum::bands(self, reference),
        }
    }

    /// The noise as a row among those of other silent parts.
    pub fn row(&self, part: &str, purpose: &str, reference: &Reference) -> SilentPart {
        let noise = self.noise(reference);
        SilentPart {
            part: part.to_owned(),
            purpose: purpose.to_owned(),
            unweighted_db: noise.unweighted_db,
            a_weighted_db: noise.a_weighted_db,
            itu468_db: noise.itu468_db,
            uncertainty_db: noise.uncertainty_db,
            hum_db: noise.mains.map_or([None; 2], |mains| mains.hum_db),
        }
    }

    /// The components of hum that stand out.
    pub(crate) fn hum_components(&mut self) -> Option<&mut HumComponents> {
        self.components.as_mut()
    }

    /// Mean square of hiss and hum of `channel` between two frequencies.
    pub(crate) fn band_power(&self, channel: usize, low_hz: f64, high_hz: f64) -> f64 {
        self.densities[channel].power(low_hz, high_hz, |_| 1.0)
    }

    /// Independent values (of mean square) that hiss in a band of this width gave: bandwidth times time, less what the
    /// Hann window and the overlap of the segments cost.
    pub(crate) fn independent(&self, width_hz: f64) -> f64 {
        // Over one segment the variance is that of 1.944 of them (sum of w^4 over the square of the sum of w^2, times the
        // length); half-overlapping segments share 0.0857 of theirs, so it is 1.944 (1 + 2 x 0.0857) for many.
        let density = &self.densities[0];
        width_hz / density.step_hz * density.segments as f64 / 2.277
    }

    /// Sample rate, Hz.
    pub(crate) fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// A mean square of `channel` against the reference, dB.
    pub(crate) fn against_db(reference: &Reference, power: f64, channel: usize) -> Option<f64> {
        Some(dbfs(power)? - reference.dbfs[channel]?)
    }

    fn power(&self, channel: usize, weighted: bool) -> f64 {
        let (low, high) = (UNWEIGHTED_HZ.0, UNWEIGHTED_HZ.1.min(self.rate_hz / 2.0));
        self.densities[channel].power(low, high, |hz| if weighted { weight(hz) } else { 1.0 })
    }

    /// Expanded uncertainty of the plain figures, dB: how they moved from segment to segment, and the reference's own.
    fn uncertainty_db(&self, channel: usize, reference: &Reference) -> f64 {
        let spread = [self.unweighted[channel], self.a_weighted[channel]]
            .into_iter()
            .flatten()
            .filter(|steady| steady.mean > 0.0)
            .map(|steady| 2.0 * 4.343 * steady.error / steady.mean)
            .fold(None, |worst: Option<f64>, db| Some(worst.map_or(db, |worst| worst.max(db))));
        // Too short to see it move: hiss alone, of some 2000 Hz of bandwidth over two seconds, and something for the rest.
        spread.unwrap_or(0.3).hypot(FLATNESS_DB).hypot(reference.uncertainty_db)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Origin;
    use std::f64::consts::TAU;

    fn against(dbfs: f64) -> Reference {
        Reference { words: "x".into(), dbfs: [Some(dbfs), Some(dbfs)], uncertainty_db: 0.0 }
    }

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
            let noise = silence(rate_hz, &[], 0.001).noise(&against(-12.0));
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
            let noise = silence(48_000.0, &[(hz, 0.01)], 0.0).noise(&against(0.0));
            crate::assert_within!(noise.unweighted_db[0].unwrap(), -40.0, 0.01, "dB");
            crate::assert_within!(noise.a_weighted_db[0].unwrap(), -40.0 + weight, 0.1, "dB", "{hz} Hz");
        }
    }

    #[test]
    fn hum_and_hiss_do_not_bias_each_other() {
        for hz in [49.98, 60.03] {
            let hiss = 0.0005f64;
            let hum = [(hz, 0.001), (2.0 * hz, 0.0004), (3.0 * hz, 0.0008)];
            let noise = silence(48_000.0, &hum, hiss).noise(&against(-12.0));
            let bare = silence(48_000.0, &[], hiss).noise(&against(-12.0));
            let mains = noise.mains.clone().unwrap();
            crate::assert_within!(mains.hz, hz, 0.01, "Hz");
            crate::assert_within!(mains.hz, hz, mains.uncertainty_hz.unwrap(), "Hz", "as stated");
            let want = 10.0 * (1e-6f64 + 0.16e-6 + 0.64e-6).log10() + 12.0;
            crate::assert_within!(mains.hum_db[0].unwrap(), want, 0.1, "dB");
            crate::assert_within!(
                mains.hum_db[0].unwrap(),
                want,
                mains.uncertainty_db[0].unwrap(),
                "dB",
                "as stated"
            );
            assert_eq!(mains.lines.len(), 3, "{:?}", mains.lines);
            assert_eq!(mains.nominal_hz, Some(hz.round()));
            assert_eq!(mains.origin, Origin::CannotTell, "nobody has looked at the tape yet");
            // The residual has the hum's own stated uncertainty, as a share of the hiss.
            let (residual_db, hiss_db) =
                (noise.unweighted_without_hum_db[0].unwrap(), bare.unweighted_db[0].unwrap());
            let over_hiss = 10f64.powf((mains.hum_db[0].unwrap() - hiss_db) / 10.0);
            let uncertainty_db = mains.uncertainty_db[0].unwrap() * over_hiss;
            assert!(uncertainty_db < 0.4, "{uncertainty_db}");
            crate::assert_within!(residual_db, hiss_db, uncertainty_db, "dB", "{hz}, unweighted");
            let (residual_db, hiss_db) =
                (noise.a_weighted_without_hum_db[0].unwrap(), bare.a_weighted_db[0].unwrap());
            // The A curve leaves little of such hum.
            crate::assert_within!(residual_db, hiss_db, 0.05, "dB", "{hz}, A-weighted");
            assert!(noise.unweighted_db[0].unwrap() > bare.unweighted_db[0].unwrap() + 1.0);
        }
    }

    #[test]
    fn hum_alone_is_hum_and_no_hiss() {
        let noise = silence(48_000.0, &[(50.1, 0.001), (150.3, 0.0003)], 1e-6).noise(&against(0.0));
        crate::assert_within!(noise.mains.unwrap().hum_db[1].unwrap(), 10.0 * 1.09e-6f64.log10(), 0.05, "dB");
        assert!(
            noise.a_weighted_without_hum_db[0].unwrap() < -110.0,
            "{:?}",
            noise.a_weighted_without_hum_db
        );
    }

    #[test]
    fn the_quasi_peak_meter_reads_a_sine_as_its_rms_and_hiss_higher() {
        let sine = silence(44_100.0, &[(1000.0, 0.01)], 0.0).noise(&against(0.0));
        crate::assert_within!(sine.itu468_db[0].unwrap(), -40.0, 0.03, "dB");
        assert!(sine.itu468_spread_db[0].unwrap() < 0.01);
        let hiss = silence(48_000.0, &[], 0.001).noise(&against(0.0));
        // White noise of density 1e-6 / 24000: network over all frequencies, then what a quasi-peak meter adds on noise
        // (3 to 5 dB; detectors differ).
        let weighted: f64 = (1..2400)
            .map(|k| 10.0 * f64::from(k))
            .map(|hz| 10f64.powf(crate::trade::itu_r_468::weighting_db(hz) / 10.0) * 10.0)
            .sum::<f64>()
            * 1e-6
            / 24_000.0;
        let above_db = hiss.itu468_db[0].unwrap() - 10.0 * (2.0 * weighted).log10();
        assert!((3.0..5.0).contains(&above_db), "{above_db} dB");
    }
}
