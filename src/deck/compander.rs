//! Noise reduction of an invented kind: a lift of quiet treble before the tape and its inverse behind it.
//!
//! Encoder: y = x + k h, with h the part of x above 1.5 kHz (first order) and k falling from its most to nothing as the
//! level of h rises. The decoder solves for x with the same rule, so that a chain in between that changes nothing leaves
//! nothing; a decoder that sees another level than the encoder did mistracks.

use super::check::Check;
use super::keys::{Checked, Range, Value, tables};
use super::{DeckFile, Sides, ratio_of_db};
use serde::{Deserialize, Serialize};
use std::f64::consts::PI;

/// Where the treble begins, Hz.
const FROM_HZ: f64 = 1500.0;
/// Level of the treble at which half of the lift is left, dB re 0 dB.
const HALF_DB: f64 = -30.0;
/// Time constant of the level's detector, s.
const DETECTOR_S: f64 = 0.02;

tables! {
/// Noise reduction of a deck. It is out until the technician switches it in.
#[derive(Copy)]
pub struct Reduction {
    /// Lift of the quietest treble, dB. Default: 10.
    #[serde(default = "super::keys::number::<10>")]
    pub most_db: f64 = 0.0 to 18.0,
    /// By how much the decoder's level detector reads too high, dB. Default: 0.
    #[serde(default)]
    pub level_error_db: Sides = -12.0 to 12.0,
}
}

impl Default for Reduction {
    fn default() -> Self {
        Self { most_db: 10.0, level_error_db: Sides::default() }
    }
}

/// The law of the lift.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Law {
    most: f64,
    half_power: f64,
    error_power: f64,
}

impl Law {
    /// The law of the encoder, or of the decoder of `channel`.
    pub(crate) fn encoder(file: &DeckFile) -> Self {
        let half = ratio_of_db(HALF_DB + file.reference_dbfs);
        Self {
            most: ratio_of_db(file.noise_reduction.unwrap_or_default().most_db) - 1.0,
            half_power: half * half,
            error_power: 1.0,
        }
    }

    pub(crate) fn decoder(file: &DeckFile, channel: usize) -> Self {
        let error = ratio_of_db(file.noise_reduction.unwrap_or_default().level_error_db.of(channel));
        Self { error_power: error * error, ..Self::encoder(file) }
    }

    /// The lift for a treble whose squared amplitude (twice its mean square) is `power`.
    fn lift(&self, power: f64) -> f64 {
        self.most / (1.0 + power * self.error_power / self.half_power)
    }
}

/// What [`super::Truth`] says of it.
#[cfg(feature = "internals")]
impl Law {
    /// Gain of the encoder for a tone of `amplitude` at `hz`, sample rate `rate_hz`.
    pub(crate) fn encoded(&self, amplitude: f64, hz: f64, rate_hz: f64) -> f64 {
        let treble = treble(hz, rate_hz);
        (1.0 + treble * self.lift((amplitude * treble.norm()).powi(2))).norm()
    }

    /// Amplitude that the decoder makes of a tone of `amplitude`: the one that would be encoded to it.
    pub(crate) fn decoded(&self, amplitude: f64, hz: f64, rate_hz: f64) -> f64 {
        // Encoding rises with the amplitude (for a lift below 18 dB), so halving finds it.
        let (mut low, mut high) = (0.0, amplitude);
        for _ in 0..200 {
            let middle = (low + high) / 2.0;
            if middle * self.encoded(middle, hz, rate_hz) < amplitude {
                low = middle;
            } else {
                high = middle;
            }
        }
        (low + high) / 2.0
    }

    /// Power gain of the decoder for noise at `hz` when nothing else sounds.
    pub(crate) fn noise_gain(&self, hz: f64, rate_hz: f64) -> f64 {
        1.0 / (1.0 + treble(hz, rate_hz) * self.most).norm_sqr()
    }
}

/// First-order high-pass by the bilinear transform.
fn coefficients(rate_hz: f64) -> (f64, f64) {
    let w = (PI * FROM_HZ / rate_hz).tan();
    (1.0 / (1.0 + w), (1.0 - w) / (1.0 + w))
}

/// Response of the treble's high-pass.
#[cfg(feature = "internals")]
fn treble(hz: f64, rate_hz: f64) -> rustfft::num_complex::Complex64 {
    let (c, d) = coefficients(rate_hz);
    let z = rustfft::num_complex::Complex64::cis(-2.0 * PI * hz / rate_hz);
    (1.0 - z) * c / (1.0 - z * d)
}

/// Encoder or decoder of one channel.
#[derive(Debug, Clone)]
pub(crate) struct Compander {
    law: Law,
    c: f64,
    d: f64,
    forget: f64,
    last: f64,
    treble: f64,
    power: f64,
}

impl Compander {
    pub(crate) fn new(law: Law, rate_hz: f64) -> Self {
        let (c, d) = coefficients(rate_hz);
        let forget = (-1.0 / (DETECTOR_S * rate_hz)).exp();
        Self { law, c, d, forget, last: 0.0, treble: 0.0, power: 0.0 }
    }

    /// Takes the plain signal's next sample in and gives its treble's lift.
    fn follow(&mut self, x: f64) {
        self.treble = self.c * (x - self.last) + self.d * self.treble;
        self.last = x;
        // Twice the mean square is the squared amplitude of a sine.
        self.power = self.forget * self.power + (1.0 - self.forget) * 2.0 * self.treble * self.treble;
        if self.treble.abs() < 1e-30 {
            self.treble = 0.0;
        }
    }

    /// Encodes in place.
    pub(crate) fn encode(&mut self, samples: &mut [f64]) {
        for x in samples {
            let lift = self.law.lift(self.power);
            self.follow(*x);
            *x += lift * self.treble;
        }
    }

    /// Decodes in place.
    pub(crate) fn decode(&mut self, samples: &mut [f64]) {
        for y in samples {
            let lift = self.law.lift(self.power);
            // y = x + k (c (x - last) + d treble), solved for x.
            let x = (*y - lift * (self.d * self.treble - self.c * self.last)) / (1.0 + lift * self.c);
            self.follow(x);
            *y = x;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::statistics::rms;
    use crate::signal::test_signals::sine;

    fn laws(text: &str) -> (Law, Law) {
        let file = DeckFile::from_toml(text, "a").unwrap();
        (Law::encoder(&file), Law::decoder(&file, 0))
    }

    fn tone(amplitude: f64, hz: f64, rate_hz: f64) -> Vec<f64> {
        sine(amplitude, hz, rate_hz, 40_000)
    }

    #[test]
    fn what_is_encoded_is_decoded_exactly() {
        let (encoder, decoder) = laws("[noise_reduction]\nmost_db = 10\n");
        let plain = tone(0.01, 5000.0, 48_000.0);
        let mut samples = plain.clone();
        Compander::new(encoder, 48_000.0).encode(&mut samples);
        assert!(samples.iter().zip(&plain).any(|(a, b)| (a - b).abs() > 0.005));
        Compander::new(decoder, 48_000.0).decode(&mut samples);
        for (got, want) in samples.iter().zip(&plain) {
            assert_within!(*got, *want, 1e-9, "");
        }
    }

    #[test]
    fn a_steady_tone_gets_the_gain_of_the_formula() {
        let (encoder, decoder) = laws("[noise_reduction]\nmost_db = 10\nlevel_error_db = 2\n");
        let amplitude = |samples: &[f64]| {
            let late = &samples[20_000..];
            rms(late) * 2f64.sqrt()
        };
        for hz in [500.0, 2500.0, 10_000.0] {
            for start in [0.1, 0.01, 0.002] {
                let mut samples = tone(start, hz, 48_000.0);
                Compander::new(encoder, 48_000.0).encode(&mut samples);
                let want = start * encoder.encoded(start, hz, 48_000.0);
                // The detector's ripple at twice the tone leaves a hundredth of a dB.
                assert_within!(20.0 * (amplitude(&samples) / want).log10(), 0.0, 0.02, "dB", "{hz} {start}");
                Compander::new(decoder, 48_000.0).decode(&mut samples);
                let want = decoder.decoded(want, hz, 48_000.0);
                assert_within!(20.0 * (amplitude(&samples) / want).log10(), 0.0, 0.02, "dB", "{hz} {start}");
            }
        }
    }
}
