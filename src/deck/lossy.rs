//! A sketch of a lossy codec on the way: lapped transform, a masking threshold, whole numbers, a low-pass.
//!
//! It is no certain codec. Blocks of 2048 samples overlap by half under a sine window; in each band the noise that the
//! ear is taken not to hear is so many dB below the band's own power and what louder neighbours mask; coefficients are
//! rounded to steps that make that noise, so that weak ones beside strong ones vanish.

use super::{DeckFile, ratio_of_db};
use rustfft::Fft;
use rustfft::num_complex::Complex64;
use std::f64::consts::PI;
use std::sync::Arc;

/// Coefficients of a block.
const COUNT: usize = 1024;
/// Masking falls off by this much a band (about a third of an octave) upwards and downwards, dB.
const FALL_DB: [f64; 2] = [6.0, 12.0];
/// Nothing below this is heard at all, dBFS a coefficient.
const SILENT_DBFS: f64 = -110.0;

/// The codec for one channel; what comes out is as late as what goes in.
pub(crate) struct Lossy {
    kept: usize,
    /// Power of the noise allowed over that of the band.
    share: f64,
    window: Vec<f64>,
    bands: Vec<(usize, usize)>,
    forward: Arc<dyn Fft<f64>>,
    pending: Vec<f64>,
    overlap: Vec<f64>,
    fresh: Vec<f64>,
    opening: bool,
    fed: u64,
    sent: u64,
}

impl Lossy {
    /// The codec of `file` at `rate_hz`; `None` if nothing is lossy.
    pub(crate) fn new(file: &DeckFile, rate_hz: f64) -> Option<Self> {
        let lossy = file.capture.lossy?;
        let kept = (2.0 * lossy.low_pass_hz / rate_hz * COUNT as f64).round().min(COUNT as f64) as usize;
        let mut bands = Vec::new();
        let mut from = 0usize;
        while from < kept {
            // Four coefficients or a quarter of the frequency.
            let to = (from + (from / 4).max(4)).min(kept);
            bands.push((from, to));
            from = to;
        }
        Some(Self {
            kept,
            share: ratio_of_db(-lossy.masking_db).powi(2),
            window: (0..2 * COUNT).map(|n| (PI * (n as f64 + 0.5) / (2 * COUNT) as f64).sin()).collect(),
            bands,
            forward: inner_loops::complex_forward(2 * COUNT),
            // The first block begins before the first sample.
            pending: vec![0.0; COUNT],
            overlap: vec![0.0; COUNT],
            fresh: vec![0.0; COUNT],
            opening: true,
            fed: 0,
            sent: 0,
        })
    }

    /// Takes samples and appends those that are ready to `out`.
    pub(crate) fn push(&mut self, samples: &[f64], out: &mut Vec<f64>) {
        self.fed += samples.len() as u64;
        self.pending.extend_from_slice(samples);
        while self.pending.len() >= 2 * COUNT {
            self.block(out);
        }
    }

    /// Appends what is still inside to `out`.
    pub(crate) fn flush(&mut self, out: &mut Vec<f64>) {
        while self.sent < self.fed {
            self.pending.resize(2 * COUNT, 0.0);
            self.block(out);
        }
    }

    fn block(&mut self, out: &mut Vec<f64>) {
        let n0 = (COUNT as f64 + 1.0) / 2.0;
        // Forward: X[k] = sum w x cos(pi/N (n + n0) (k + 1/2)), by a complex transform of twice the length.
        let mut work: Vec<Complex64> = (0..2 * COUNT)
            .map(|n| {
                let turn = -PI * n as f64 / (2 * COUNT) as f64;
                Complex64::from_polar(self.window[n] * self.pending[n], turn)
            })
            .collect();
        self.forward.process(&mut work);
        let twiddle = |k: usize| Complex64::from_polar(1.0, -PI / COUNT as f64 * n0 * (k as f64 + 0.5));
        let mut coefficients: Vec<f64> = (0..self.kept).map(|k| (work[k] * twiddle(k)).re).collect();
        self.round(&mut coefficients);
        // Backward: y[n] = 2/N w sum X cos(...); the overlapping halves add up to the signal.
        work.iter_mut().for_each(|z| *z = Complex64::default());
        for (k, x) in coefficients.iter().enumerate() {
            work[k] = twiddle(k) * *x;
        }
        self.forward.process(&mut work);
        for (n, z) in work.iter().enumerate() {
            let turn = Complex64::from_polar(1.0, -PI * n as f64 / (2 * COUNT) as f64);
            let y = 2.0 / COUNT as f64 * self.window[n] * (z * turn).re;
            if n < COUNT {
                self.overlap[n] += y;
            } else {
                self.fresh[n - COUNT] = y;
            }
        }
        // The first half of the first block lies before the first sample.
        if !std::mem::take(&mut self.opening) {
            let count = ((self.fed - self.sent) as usize).min(COUNT);
            out.extend_from_slice(&self.overlap[..count]);
            self.sent += count as u64;
        }
        std::mem::swap(&mut self.overlap, &mut self.fresh);
        self.pending.drain(..COUNT);
    }

    /// Rounds the coefficients to steps of their band.
    fn round(&self, coefficients: &mut [f64]) {
        let power = |&(from, to): &(usize, usize)| {
            coefficients[from..to].iter().map(|x| x * x).sum::<f64>() / (to - from) as f64
        };
        let own: Vec<f64> = self.bands.iter().map(power).collect();
        let [up, down] = FALL_DB.map(|db| ratio_of_db(-db).powi(2));
        let mut masked = own.clone();
        for k in 1..masked.len() {
            masked[k] = masked[k].max(masked[k - 1] * up);
        }
        for k in (1..masked.len()).rev() {
            masked[k - 1] = masked[k - 1].max(masked[k] * down);
        }
        // A sine of amplitude 1 has coefficients of about COUNT / 2.
        let silent = (ratio_of_db(SILENT_DBFS) * COUNT as f64 / 2.0).powi(2);
        for (&(from, to), masked) in self.bands.iter().zip(masked) {
            let step = (12.0 * (masked * self.share).max(silent)).sqrt();
            for x in &mut coefficients[from..to] {
                *x = (*x / step).round() * step;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deck::LossyCodec;
    use crate::signal::test_signals::{Random, sampled};

    fn through(samples: &[f64], low_pass_hz: f64, masking_db: f64) -> Vec<f64> {
        let mut file = DeckFile::default();
        file.capture.lossy = Some(LossyCodec { low_pass_hz, masking_db });
        let mut codec = Lossy::new(&file, 48_000.0).unwrap();
        let mut out = Vec::new();
        for block in samples.chunks(777) {
            codec.push(block, &mut out);
        }
        codec.flush(&mut out);
        out
    }

    fn noise_and_tone(tone: f64) -> Vec<f64> {
        let mut random = Random(5);
        sampled(48_000.0, 48_000, |t| {
            0.001 * (random.share() - 0.5) + tone * (std::f64::consts::TAU * 3150.0 * t).sin()
        })
    }

    fn rms_of_differences(samples: &[f64]) -> f64 {
        // Twice a first difference: little but treble.
        let treble = samples.windows(3).map(|w| (w[0] - 2.0 * w[1] + w[2]).powi(2)).sum::<f64>();
        (treble / samples.len() as f64).sqrt()
    }

    #[test]
    fn without_masking_and_low_pass_only_what_is_not_heard_is_lost() {
        // Rounding noise of variance v in each of N coefficients is noise of variance 2 v / N in the samples.
        let floor = ratio_of_db(SILENT_DBFS) * (COUNT as f64 / 2.0) * (2.0 / COUNT as f64).sqrt();
        for count in [1usize, 1023, 1024, 5000, 48_000] {
            let samples: Vec<f64> = noise_and_tone(0.25)[..count].to_vec();
            let out = through(&samples, 24_000.0, 90.0);
            assert_eq!(out.len(), count);
            let lost = out.iter().zip(&samples).map(|(a, b)| (a - b).powi(2)).sum::<f64>() / count as f64;
            // A lone sample lies below what the codec takes to be heard.
            assert!(count == 1 || lost.sqrt() < 1.15 * floor, "{count}: {} of {floor}", lost.sqrt());
        }
    }

    #[test]
    fn hiss_vanishes_beside_a_loud_tone_and_stays_alone() {
        let hiss = noise_and_tone(0.0);
        let kept = rms_of_differences(&through(&hiss, 24_000.0, 15.0)) / rms_of_differences(&hiss);
        assert!(kept > 0.9, "{kept}");
        let beside: Vec<f64> =
            noise_and_tone(0.25).iter().zip(&hiss).map(|(both, hiss)| both - hiss).collect();
        let (tone, both) = (through(&beside, 24_000.0, 15.0), through(&noise_and_tone(0.25), 24_000.0, 15.0));
        let residual: Vec<f64> = both.iter().zip(&tone).map(|(a, b)| a - b).collect();
        assert!(rms_of_differences(&residual) < 0.7 * rms_of_differences(&hiss), "hiss beside the tone");
    }

    #[test]
    fn above_the_low_pass_nothing_is_left() {
        let hiss = noise_and_tone(0.0);
        let out = through(&hiss, 8000.0, 40.0);
        assert!(rms_of_differences(&out) < 0.15 * rms_of_differences(&hiss));
    }
}
