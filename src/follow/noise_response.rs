//! Response by noise that lasts: third octaves with a memory of some seconds, so that a trimmer shows.

use super::response::{REFERENCE_HZ, point};
use super::ring::Ring;
use crate::programme::Colour;
use crate::reading::PointNow;
use crate::signal::spectrum::Welch;
use crate::signal::statistics::mean;
use crate::trade::octave_bands::{ThirdOctave, third_octaves};
use crate::trade::sound_card::top_hz;

/// Bands of the reference frequency, Hz.
const REFERENCE_BANDS_HZ: (f64, f64) = (300.0, 550.0);
/// Segments of the noise's spectrum, s.
const SEGMENT_S: f64 = 0.3;
/// Segments that a band's mean remembers: below and above 500 Hz.
const REMEMBERED: [f64; 2] = [100.0, 24.0];
const REMEMBERS_MORE_BELOW_HZ: f64 = 500.0;
/// Hum lies below this, Hz, within so many bins of a multiple of the mains; a bin of it has so many times the power of others.
const HUM_BELOW_HZ: f64 = 450.0;
const HUM_BINS: f64 = 2.0;
const STANDS_OUT: f64 = 3.0;
/// What is usual is told by the bins up to so many times below and above a band.
const BESIDE: f64 = 1.3;
/// A segment that differs by more than this from the mean belongs to another noise, dB.
const ANOTHER_NOISE_DB: f64 = 5.0;
/// White noise rises by 1 dB from third octave to third octave, pink noise not at all.
const WHITE_FROM_DB: f64 = 0.5;

/// Noise followed band by band.
pub(super) struct NoiseResponse {
    rate_hz: f64,
    welch: [Welch; 2],
    bands: Vec<ThirdOctave>,
    /// Mean power of each band in both channels.
    powers: Vec<[f64; 2]>,
    /// Mean power of each bin where hum may lie.
    low_bins: Vec<[f64; 2]>,
    segments: [f64; 2],
    /// Mean of their whole power.
    totals: [f64; 2],
    /// The next sample to be fed.
    next: u64,
    from: u64,
}

impl NoiseResponse {
    /// Of the noise that began at the sample `from`.
    pub fn new(rate_hz: f64, from: u64) -> Self {
        let length = ((rate_hz * SEGMENT_S) as usize).next_power_of_two();
        let bands: Vec<ThirdOctave> = third_octaves(31.5, 20_000.0)
            .filter(|band| band.upper_hz < (0.48 * rate_hz).min(top_hz(rate_hz)))
            .collect();
        let low_bins = (BESIDE * HUM_BELOW_HZ / rate_hz * length as f64) as usize;
        Self {
            rate_hz,
            welch: [Welch::new(rate_hz, length), Welch::new(rate_hz, length)],
            low_bins: vec![[0.0; 2]; low_bins],
            powers: vec![[0.0; 2]; bands.len()],
            bands,
            segments: [0.0; 2],
            totals: [0.0; 2],
            next: from,
            from,
        }
    }

    /// Feeds what the ring has up to the sample `to`.
    pub fn feed(&mut self, ring: &mut Ring, to: u64) {
        let next = self.next.max(ring.oldest());
        let Self { welch, bands, powers, low_bins, segments, totals, .. } = self;
        ring.read(next, to, &mut |block| {
            for channel in 0..2 {
                let step_hz = welch[channel].step_hz();
                let scale = welch[channel].scale();
                let seen = &mut segments[channel];
                let (powers, low_bins) = (&mut *powers, &mut *low_bins);
                let bands = &*bands;
                let total = &mut totals[channel];
                welch[channel].feed_each(block[channel], |bins| {
                    *seen += 1.0;
                    let all: f64 = bins.iter().map(|bin| bin.norm_sqr()).sum();
                    if *seen > 1.0 && (all / *total).log10().abs() > ANOTHER_NOISE_DB / 10.0 {
                        // Another noise, or what came before it: only this counts.
                        *seen = 1.0;
                    }
                    *total += (all - *total) / seen.min(REMEMBERED[1]);
                    let share = 1.0 / seen.min(REMEMBERED[0]);
                    for (bin, mean) in bins.iter().zip(low_bins.iter_mut()) {
                        mean[channel] += share * (bin.norm_sqr() * scale - mean[channel]);
                    }
                    for (band, power) in bands.iter().zip(powers.iter_mut()) {
                        let (from, to) = bins_of(band, step_hz, bins.len());
                        let sum: f64 = bins[from..to].iter().map(|bin| bin.norm_sqr()).sum();
                        let width = (to - from) as f64 * step_hz / (band.upper_hz - band.lower_hz);
                        let most = REMEMBERED[usize::from(band.mid_hz >= REMEMBERS_MORE_BELOW_HZ)];
                        let share = 1.0 / seen.min(most);
                        power[channel] += share * (sum * scale / width - power[channel]);
                    }
                });
            }
        });
        self.next = to;
    }

    /// Power of each band; of the low ones without bins that stand out where hum lies.
    fn without_hum(&self) -> Vec<[f64; 2]> {
        let step_hz = self.welch[0].step_hz();
        let is_at_mains = |hz: f64| {
            [50.0, 60.0].iter().any(|mains| (hz - (hz / mains).round() * mains).abs() < HUM_BINS * step_hz)
        };
        let mut powers = self.powers.clone();
        for (band, power) in self.bands.iter().zip(&mut powers).filter(|(band, _)| band.mid_hz < HUM_BELOW_HZ)
        {
            let (from, to) = bins_of(band, step_hz, self.low_bins.len());
            for channel in 0..2 {
                let about = ((from as f64 / BESIDE) as usize, (to as f64 * BESIDE) as usize);
                let about = about.0..about.1.min(self.low_bins.len());
                let elsewhere = about.filter(|bin| !is_at_mains(*bin as f64 * step_hz));
                let elsewhere: Vec<f64> = elsewhere.map(|bin| self.low_bins[bin][channel]).collect();
                if elsewhere.is_empty() {
                    continue;
                }
                let usual = mean(&elsewhere);
                let bins = self.low_bins[from..to].iter().map(|bin| bin[channel]);
                let kept: Vec<f64> = bins.filter(|bin| *bin < STANDS_OUT * usual).collect();
                let usual = if kept.is_empty() { usual } else { mean(&kept) };
                let width = (to - from) as f64 * step_hz / (band.upper_hz - band.lower_hz);
                power[channel] = usual * (to - from) as f64 / width;
            }
        }
        powers
    }

    /// How long it was fed, s.
    pub fn over_s(&self) -> f64 {
        self.next.saturating_sub(self.from) as f64 / self.rate_hz
    }

    /// Levels against the reference bands, dB; `colour` where it is known, else the one that fits better.
    pub fn points(&self, colour: Option<Colour>) -> Vec<PointNow> {
        if self.segments[0] < 3.0 {
            return Vec::new();
        }
        let db = |power: f64| 10.0 * power.max(1e-20).log10();
        let powers = self.without_hum();
        let level = |band: &[f64; 2]| db(band[0] + band[1]);
        let near = |hz: f64| self.bands.iter().position(|band| band.mid_hz > hz).unwrap_or(0);
        let (low, high) = (near(390.0), near(3900.0));
        let slope = (level(&powers[high]) - level(&powers[low])) / (high - low).max(1) as f64;
        let white = colour.map_or(slope > WHITE_FROM_DB, |colour| colour == Colour::White);
        let flat = |k: usize, channel: usize| {
            db(powers[k][channel]) - if white { 10.0 * self.bands[k].mid_hz.log10() } else { 0.0 }
        };
        let reference: Vec<usize> = (0..self.bands.len())
            .filter(|&k| {
                self.bands[k].lower_hz > 0.9 * REFERENCE_BANDS_HZ.0
                    && self.bands[k].upper_hz < 1.1 * REFERENCE_BANDS_HZ.1
            })
            .collect();
        let zero = [0, 1].map(|channel| {
            reference.iter().map(|&k| flat(k, channel)).sum::<f64>() / reference.len().max(1) as f64
        });
        let width_hz = |k: usize| self.bands[k].upper_hz - self.bands[k].lower_hz;
        let zero_u_db = self.uncertainty_db(reference.iter().map(|&k| width_hz(k)).sum(), REFERENCE_HZ);
        let at = |k: usize| {
            let own_u_db = self.uncertainty_db(width_hz(k), self.bands[k].mid_hz);
            let level = |channel: usize| {
                let is_heard = powers[k][channel] > 1e-16;
                is_heard.then(|| (flat(k, channel) - zero[channel], own_u_db.hypot(zero_u_db)))
            };
            point(self.bands[k].nominal_hz, [level(0), level(1)])
        };
        (0..self.bands.len()).map(at).collect()
    }

    /// What the chance of noise leaves of a level over `width_hz` about `hz`, expanded, dB: segments under a Hann window that
    /// overlap by half, each with one value for every 1.5 bins (Welch, 1967).
    fn uncertainty_db(&self, width_hz: f64, hz: f64) -> f64 {
        let most = REMEMBERED[usize::from(hz >= REMEMBERS_MORE_BELOW_HZ)];
        // Weights that fade reach twice as far as a mean over as many.
        let segments = self.segments[0].min(2.0 * most - 1.0);
        let bins = (width_hz / (1.5 * self.welch[0].step_hz())).max(1.0);
        2.0 * 10.0 / std::f64::consts::LN_10 / (0.95 * segments * bins).sqrt()
    }
}

/// The bins of a band, first and end.
fn bins_of(band: &ThirdOctave, step_hz: f64, count: usize) -> (usize, usize) {
    let from = (band.lower_hz / step_hz + 0.5) as usize;
    (from, ((band.upper_hz / step_hz + 0.5) as usize).clamp(from + 1, count))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::Random;
    use std::f64::consts::TAU;

    const RATE_HZ: f64 = 48_000.0;

    fn followed(seconds: f64, hum: &[(f64, f64)]) -> Vec<PointNow> {
        let (mut ring, mut random) = (Ring::new(RATE_HZ), Random(4));
        let mut followed = NoiseResponse::new(RATE_HZ, 0);
        let all: Vec<f64> = (0..(seconds * RATE_HZ) as usize)
            .map(|n| {
                let t = n as f64 / RATE_HZ;
                0.03 * random.normal() + hum.iter().map(|(hz, a)| a * (TAU * hz * t).sin()).sum::<f64>()
            })
            .collect();
        for block in all.chunks(4800) {
            ring.feed([block, block]);
            let to = ring.count();
            followed.feed(&mut ring, to);
        }
        followed.points(None)
    }

    #[test]
    fn white_noise_is_flat_and_no_further_off_than_stated() {
        let points = followed(12.0, &[]);
        let off: Vec<bool> = points
            .iter()
            .flat_map(|point| point.db.into_iter().zip(point.uncertainty_db))
            .map(|(db, u)| db.unwrap().abs() > u.unwrap())
            .collect();
        // One of twenty by chance.
        assert!(off.iter().filter(|off| **off).count() * 10 < off.len(), "{points:?}");
        assert!(points.iter().all(|point| point.uncertainty_db[0].unwrap() < 1.6), "{points:?}");
    }

    #[test]
    fn hum_is_no_bump_of_the_response() {
        let hum = [(50.0, 0.004), (100.0, 0.004), (150.0, 0.002), (250.0, 0.001)];
        for point in followed(12.0, &hum).iter().filter(|point| point.hz > 35.0 && point.hz < 500.0) {
            // In their third octaves the hum lies 6 to 12 dB above the noise.
            assert_within!(point.db[0].unwrap(), 0.0, 1.7, "dB", "{} Hz", point.hz);
        }
    }
}
