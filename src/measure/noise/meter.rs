//! Noise of a silent part: unweighted, A-weighted and ITU-R BS.468-4 quasi-peak, and hiss without the hum.

use crate::measure::meter::Meter;
use crate::measure::noise::hum::HumBand;
use crate::measure::noise::silence::{Silence, UNWEIGHTED_HZ, weight};
use crate::signal::quasi_peak_468::QuasiPeak;
use crate::signal::spectrum::Welch;
use crate::signal::statistics::Series;
use crate::signal::weighting_468::WeightingFilter;
use std::sync::Arc;

/// The quasi-peak meter starts at rest; what it shows counts from here on, s.
const SETTLED_S: f64 = 1.5;
/// Its indication is averaged over pieces of this length, s.
const PIECE_S: f64 = 0.1;
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
    unweighted: Series,
    a_weighted: Series,
    network: WeightingFilter,
    detector: QuasiPeak,
    fed: u64,
    piece: (f64, u64),
    shown: Series,
}

impl Meter for NoiseMeter {
    /// The tape's time ratio (above 1: fast), so that hum that lies on the tape is looked for in the right place.
    type Plan = f64;
    type Output = Option<Silence>;

    fn new(rate_hz: f64, ratio: f64) -> Option<Self> {
        // Bins are about 0.7 Hz apart.
        let length = ((rate_hz * 1.36) as usize).next_power_of_two();
        let network = WeightingFilter::new(rate_hz);
        let step_hz = rate_hz / length as f64;
        let weights: Arc<[f64]> = (0..=length / 2).map(|k| weight(k as f64 * step_hz)).collect();
        let channel = || Channel {
            welch: Welch::new(rate_hz, length),
            weights: Arc::clone(&weights),
            unweighted: Series::default(),
            a_weighted: Series::default(),
            network: network.clone(),
            detector: QuasiPeak::new(rate_hz),
            fed: 0,
            piece: (0.0, 0),
            shown: Series::default(),
        };
        Some(Self { rate_hz, channels: [channel(), channel()], hum: HumBand::new(rate_hz, ratio) })
    }

    fn feed(&mut self, block: [&[f64]; 2]) {
        for (channel, samples) in self.channels.iter_mut().zip(block) {
            channel.feed(samples, self.rate_hz);
        }
        if let Some(hum) = &mut self.hum {
            hum.feed(block);
        }
    }

    /// The spectra; `None` if less than one segment (about two seconds) was fed or a sample was no number.
    fn finish(self) -> Option<Silence> {
        let components = self.hum.and_then(|hum| hum.finish().components());
        let [left, right] = self.channels;
        let steady = |of: fn(&Channel) -> &Series| [of(&left).finish(), of(&right).finish()];
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::noise::reference::Reference;
    use crate::reading::Origin;
    use crate::signal::test_signals::{Random, sampled};
    use crate::trade::itu_r_468::network;
    use std::f64::consts::TAU;

    fn against(dbfs: f64) -> Reference {
        Reference { words: "x".into(), dbfs: [Some(dbfs), Some(dbfs)], uncertainty_db: 0.0 }
    }

    fn silence(rate_hz: f64, hum: &[(f64, f64)], hiss: f64) -> Silence {
        let mut meter = NoiseMeter::new(rate_hz, 1.0).unwrap();
        let mut random = Random(1);
        let samples = sampled(rate_hz, (10.0 * rate_hz) as usize, |t| {
            hiss * random.even()
                + hum.iter().map(|(hz, amplitude)| amplitude * (TAU * hz * t).sin()).sum::<f64>()
        });
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
            .map(|hz| (network(hz).norm() / network(1e3).norm()).powi(2) * 10.0)
            .sum::<f64>()
            * 1e-6
            / 24_000.0;
        let above_db = hiss.itu468_db[0].unwrap() - 10.0 * (2.0 * weighted).log10();
        assert!((3.0..5.0).contains(&above_db), "{above_db} dB");
    }
}
