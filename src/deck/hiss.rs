//! Noise of known density: tape hiss, amplifier noise, and the low-pass noise by which the signal is modulated.

use super::playback_filters::Biquad;
use super::{DeckFile, HissColour, Purpose, generator, ratio_of_db};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// The band in which levels of noise are stated, Hz (ITU-R BS.468-4 and IEC 60268-1 "unweighted").
pub(crate) const BAND_HZ: [f64; 2] = [22.4, 22_400.0];

/// Gaussian noise with a known density.
#[derive(Debug, Clone)]
pub(crate) struct Noise {
    rng: ChaCha8Rng,
    rms: f64,
    shape: Option<Biquad>,
    rate_hz: f64,
    scratch: Vec<f64>,
}

impl Noise {
    fn new(rng: ChaCha8Rng, rms: f64, shape: Option<Biquad>, rate_hz: f64) -> Self {
        Self { rng, rms, shape, rate_hz, scratch: Vec::new() }
    }

    /// Noise that has `dbfs` within the band; what of the band lies above half the rate counts as absent.
    fn in_band(rng: ChaCha8Rng, dbfs: f64, shape: Option<Biquad>, rate_hz: f64) -> Self {
        let mut noise = Self::new(rng, 1.0, shape, rate_hz);
        let power = band_power(rate_hz, |hz| noise.density(hz));
        noise.rms = ratio_of_db(dbfs) / power.sqrt();
        noise
    }

    /// Tape hiss of `channel`, before the playback head.
    pub(crate) fn hiss(file: &DeckFile, seed: u64, channel: usize, rate_hz: f64) -> Option<Self> {
        let hiss = file.tape.hiss?;
        let shape = match hiss.colour {
            HissColour::White => None,
            HissColour::Tape => Some(Biquad::shelf(60.0, 120.0, rate_hz)),
        };
        let dbfs = hiss.db.of(channel) + file.reference_dbfs;
        Some(Self::in_band(generator(seed, Purpose::Hiss, channel), dbfs, shape, rate_hz))
    }

    /// Noise of the playback amplifier of `channel`.
    pub(crate) fn amplifier(file: &DeckFile, seed: u64, channel: usize, rate_hz: f64) -> Option<Self> {
        let dbfs = file.electronics.noise_db?.of(channel) + file.reference_dbfs;
        Some(Self::in_band(generator(seed, Purpose::Amplifier, channel), dbfs, None, rate_hz))
    }

    /// The factor less 1 by which the signal of `channel` is modulated.
    pub(crate) fn modulation(file: &DeckFile, seed: u64, channel: usize, rate_hz: f64) -> Option<Self> {
        let modulation = file.tape.modulation_noise?;
        let shape = Biquad::low_pass_1(modulation.reach_hz, rate_hz);
        let rng = generator(seed, Purpose::Modulation, channel);
        let mut noise = Self::new(rng, 1.0, Some(shape), rate_hz);
        // Mean of |H|^2 of a first-order bilinear low-pass over all frequencies: k / (1 + k), k = tan(pi f / rate).
        let k = (std::f64::consts::PI * modulation.reach_hz / rate_hz).tan();
        noise.rms = ratio_of_db(modulation.db) / (k / (1.0 + k)).sqrt();
        // Lets the low-pass come to its steady state.
        let run_in = (2.0 * rate_hz / modulation.reach_hz) as usize + 1;
        noise.make(run_in);
        Some(noise)
    }

    /// One-sided density at `hz`, in powers of a full-scale sine per Hz.
    pub(crate) fn density(&self, hz: f64) -> f64 {
        let shape = self.shape.as_ref().map_or(1.0, |shape| shape.response(hz, self.rate_hz).norm_sqr());
        // A full-scale sine has mean square 1/2; white noise spreads its own over half the rate.
        self.rms * self.rms / 0.5 / (self.rate_hz / 2.0) * shape
    }

    fn make(&mut self, frames: usize) -> &[f64] {
        self.scratch.clear();
        for _ in 0..frames {
            let draw: f64 = StandardNormal.sample(&mut self.rng);
            self.scratch.push(draw * self.rms);
        }
        if let Some(shape) = &mut self.shape {
            shape.run(&mut self.scratch);
        }
        &self.scratch
    }

    /// Adds the noise to a block.
    pub(crate) fn add(&mut self, block: &mut [f64]) {
        let noise = self.make(block.len());
        block.iter_mut().zip(noise).for_each(|(x, n)| *x += n);
    }

    /// Adds the noise times `gain` to a block.
    pub(crate) fn add_times(&mut self, block: &mut [f64], gain: f64) {
        let noise = self.make(block.len());
        block.iter_mut().zip(noise).for_each(|(x, n)| *x += gain * n);
    }

    /// Multiplies a block by 1 plus the noise.
    pub(crate) fn modulate(&mut self, block: &mut [f64]) {
        let noise = self.make(block.len());
        block.iter_mut().zip(noise).for_each(|(x, n)| *x *= 1.0 + n);
    }
}

/// Integral of a density over the stated band, below half of `rate_hz`; Simpson's rule in the logarithm of frequency.
pub(crate) fn band_power(rate_hz: f64, density: impl Fn(f64) -> f64) -> f64 {
    let high_hz = BAND_HZ[1].min(rate_hz / 2.0);
    let intervals = 2000;
    let step = (high_hz / BAND_HZ[0]).ln() / f64::from(intervals);
    let value = |k: i32| {
        let hz = BAND_HZ[0] * (step * f64::from(k)).exp();
        let weight = if k == 0 || k == intervals {
            1.0
        } else if k % 2 == 1 {
            4.0
        } else {
            2.0
        };
        weight * density(hz) * hz
    };
    (0..=intervals).map(value).sum::<f64>() * step / 3.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn white_noise_has_its_level_in_the_band() {
        let noise = Noise::in_band(generator(1, Purpose::Hiss, 0), -60.0, None, 96_000.0);
        // By hand: the whole band to 48 kHz holds 48000/22377.6 times the power: 10^-6 * 2.14501, mean square half of it.
        assert_within!(noise.rms * noise.rms, 0.5e-6 * 48_000.0 / 22_377.6, 1e-11, "");
        let mut noise = noise;
        let sum: f64 = noise.make(200_000).iter().map(|x| x * x).sum();
        // Four standard deviations of the mean square of 200000 draws are 1.3 %.
        assert_within!(sum / 200_000.0 / (0.5e-6 * 48_000.0 / 22_377.6), 1.0, 0.013, "");
    }

    #[test]
    fn modulation_noise_has_its_rms_at_once() {
        let mut file = DeckFile::default();
        file.tape.modulation_noise = Some(crate::deck::ModulationNoise { db: -40.0, reach_hz: 500.0 });
        let mut noise = Noise::modulation(&file, 4, 1, 48_000.0).unwrap();
        let sum: f64 = noise.make(480_000).iter().map(|x| x * x).sum();
        // About pi 500 Hz 10 s = 16000 independent draws: four standard deviations are 4.5 %.
        assert_within!((sum / 480_000.0).sqrt(), 0.01, 0.000225, "");
    }
}
