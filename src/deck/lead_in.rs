//! Something else on the tape before the programme: blank tape, or invented sound like music or like speech.

use super::{DeckFile, LeadInKind, Purpose, generator, ratio_of_db};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rustfft::num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// Fades at both ends, s.
const FADE_S: f64 = 0.05;
/// How much is made and thrown away to learn the sound's level, s.
const TRIAL_S: f64 = 8.0;

/// Makes the lead-in a block at a time.
pub(crate) struct LeadInSound {
    voice: Voice,
    gain: f64,
    rate_hz: f64,
    frames: u64,
    done: u64,
}

#[derive(Clone)]
enum Voice {
    Silence,
    Music(Band),
    Speech(Speaker),
}

impl LeadInSound {
    /// The lead-in of `file` at `rate_hz`; `seed` fixes it.
    pub(crate) fn new(file: &DeckFile, seed: u64, rate_hz: f64) -> Option<Self> {
        let lead_in = file.capture.lead_in?;
        let rng = generator(seed, Purpose::LeadIn, 0);
        let voice = match lead_in.kind {
            LeadInKind::Silence => Voice::Silence,
            LeadInKind::Music => Voice::Music(Band::new(rng, rate_hz)),
            LeadInKind::Speech => Voice::Speech(Speaker::new(rng, rate_hz)),
        };
        let mut trial = voice.clone();
        let count = (TRIAL_S * rate_hz) as usize;
        let power: f64 = (0..count).map(|_| trial.next()).map(|[l, r]| (l * l + r * r) / 2.0).sum();
        let rms = (power / count as f64).sqrt();
        let gain = if rms > 0.0 { ratio_of_db(lead_in.level_dbfs) / 2f64.sqrt() / rms } else { 0.0 };
        Some(Self { voice, gain, rate_hz, frames: frames(file, rate_hz), done: 0 })
    }

    /// Appends at most `wanted` frames; the number of them, 0 at the end.
    pub(crate) fn pull(&mut self, buffers: &mut [Vec<f64>; 2], wanted: usize) -> usize {
        let count = (self.frames - self.done).min(wanted as u64);
        for n in self.done..self.done + count {
            let edge = n.min(self.frames - 1 - n) as f64 / self.rate_hz;
            let fade = if edge < FADE_S { 0.5 - 0.5 * (PI * edge / FADE_S).cos() } else { 1.0 };
            let frame = self.voice.next();
            for (buffer, x) in buffers.iter_mut().zip(frame) {
                // Keeps the odd pile of voices below full scale.
                buffer.push(fade * 0.95 * (self.gain * x / 0.95).tanh());
            }
        }
        self.done += count;
        count as usize
    }
}

/// Frames of the lead-in of `file` at `rate_hz`.
pub(crate) fn frames(file: &DeckFile, rate_hz: f64) -> u64 {
    file.capture.lead_in.map_or(0, |lead_in| (lead_in.seconds * rate_hz).round() as u64)
}

impl Voice {
    fn next(&mut self) -> [f64; 2] {
        match self {
            Self::Silence => [0.0; 2],
            Self::Music(band) => band.next(),
            Self::Speech(speaker) => [speaker.next(); 2],
        }
    }
}

/// Chords of decaying partials, glides, bursts of noise, on a steady beat.
#[derive(Clone)]
struct Band {
    rng: ChaCha8Rng,
    rate_hz: f64,
    until_beat: u32,
    partials: Vec<Partial>,
    glide: [f64; 4],
    burst: [f64; 3],
}

#[derive(Clone, Copy)]
struct Partial {
    z: Complex64,
    turn: Complex64,
    pan: [f64; 2],
}

impl Band {
    fn new(rng: ChaCha8Rng, rate_hz: f64) -> Self {
        Self { rng, rate_hz, until_beat: 0, partials: Vec::new(), glide: [0.0; 4], burst: [0.0, 0.0, 0.5] }
    }

    fn beat(&mut self) {
        self.until_beat = (0.23 * self.rate_hz) as u32;
        self.partials.retain(|partial| partial.z.norm_sqr() > 1e-8);
        if self.rng.random_bool(0.55) {
            let root_hz = 82.0 * 2f64.powf(f64::from(self.rng.random_range(0..5u8)) / 5.0);
            for ratio in [1.0, 1.25, 1.5, 2.0] {
                let hz = root_hz * ratio * 2f64.powi(self.rng.random_range(0..3));
                let pan = self.rng.random_range(0.2..0.8);
                for k in 1..7 {
                    // A touch of stretch keeps the partials apart from exact harmonics.
                    let partial_hz = hz * f64::from(k) * (1.0 + 2e-4 * f64::from(k * k));
                    let decay_s = 0.9 / f64::from(k).sqrt();
                    if partial_hz < 0.4 * self.rate_hz {
                        self.partials.push(Partial {
                            z: Complex64::from_polar(0.3 / f64::from(k), TAU * self.rng.random::<f64>()),
                            turn: Complex64::from_polar(
                                (-1.0 / (decay_s * self.rate_hz)).exp(),
                                TAU * partial_hz / self.rate_hz,
                            ),
                            pan: [1.0 - pan, pan],
                        });
                    }
                }
            }
        }
        if self.rng.random_bool(0.2) {
            // Phase, frequency, factor of the frequency per frame, amplitude.
            let octaves_per_s = self.rng.random_range(-2.5..2.5);
            let factor = 2f64.powf(octaves_per_s / self.rate_hz);
            self.glide = [self.glide[0], self.rng.random_range(300.0..1500.0), factor, 0.25];
        }
        if self.rng.random_bool(0.5) {
            // Amplitude, factor per frame, pan.
            let decay_s = self.rng.random_range(0.015..0.07);
            self.burst = [0.4, (-1.0 / (decay_s * self.rate_hz)).exp(), self.rng.random_range(0.3..0.7)];
        }
    }

    fn next(&mut self) -> [f64; 2] {
        if self.until_beat == 0 {
            self.beat();
        }
        self.until_beat -= 1;
        let mut frame = [0.0; 2];
        for partial in &mut self.partials {
            partial.z *= partial.turn;
            frame[0] += partial.pan[0] * partial.z.re;
            frame[1] += partial.pan[1] * partial.z.re;
        }
        let [phase, hz, factor, amplitude] = &mut self.glide;
        *hz = (*hz * *factor).min(0.3 * self.rate_hz);
        *phase = (*phase + *hz / self.rate_hz).fract();
        *amplitude *= 1.0 - 1.5 / self.rate_hz;
        let glide = 0.5 * *amplitude * (TAU * *phase).sin();
        let [loud, fall, pan] = &mut self.burst;
        *loud *= *fall;
        let burst = if *loud > 1e-5 {
            let draw: f64 = StandardNormal.sample(&mut self.rng);
            draw * *loud
        } else {
            0.0
        };
        [frame[0] + glide + burst * (1.0 - *pan), frame[1] + glide + burst * *pan]
    }
}

/// Syllables of pulses through three formants, hissing consonants, pauses.
#[derive(Clone)]
struct Speaker {
    rng: ChaCha8Rng,
    rate_hz: f64,
    remaining: u32,
    length: u32,
    kind: Sound,
    pitch_hz: f64,
    phase: f64,
    formants: [[f64; 5]; 3],
    last: f64,
}

#[derive(Clone, Copy, PartialEq)]
enum Sound {
    Vowel,
    Consonant,
    Pause,
}

impl Speaker {
    fn new(rng: ChaCha8Rng, rate_hz: f64) -> Self {
        let kind = Sound::Pause;
        let formants = [[0.0; 5]; 3];
        Self { rng, rate_hz, remaining: 0, length: 1, kind, pitch_hz: 120.0, phase: 0.0, formants, last: 0.0 }
    }

    fn turn_to_next(&mut self) {
        let draw = self.rng.random::<f64>();
        self.kind = match self.kind {
            Sound::Vowel if draw < 0.12 => Sound::Pause,
            Sound::Vowel if draw < 0.65 => Sound::Consonant,
            _ => Sound::Vowel,
        };
        let seconds = match self.kind {
            Sound::Vowel => self.rng.random_range(0.09..0.26),
            Sound::Consonant => self.rng.random_range(0.04..0.12),
            Sound::Pause => self.rng.random_range(0.2..0.7),
        };
        self.length = (seconds * self.rate_hz) as u32 + 1;
        self.remaining = self.length;
        if self.kind == Sound::Vowel {
            self.pitch_hz = self.rng.random_range(95.0..170.0);
            let ranges = [(280.0, 800.0, 80.0), (850.0, 2200.0, 110.0), (2300.0, 3100.0, 170.0)];
            for (formant, (low, high, width)) in self.formants.iter_mut().zip(ranges) {
                // Two-pole resonator: a1, a2, gain; its two past outputs stay.
                let hz: f64 = self.rng.random_range(low..high);
                let r = (-PI * width / self.rate_hz).exp();
                let cos = (TAU * hz / self.rate_hz).cos();
                formant[..3].copy_from_slice(&[2.0 * r * cos, -r * r, (1.0 - r) * 4.0]);
            }
        }
    }

    fn next(&mut self) -> f64 {
        if self.remaining == 0 {
            self.turn_to_next();
        }
        self.remaining -= 1;
        let progress = 1.0 - f64::from(self.remaining) / f64::from(self.length);
        let envelope = (PI * progress).sin().max(0.0).sqrt();
        let draw: f64 = StandardNormal.sample(&mut self.rng);
        let (pulse, hiss) = match self.kind {
            Sound::Vowel => {
                self.phase += self.pitch_hz * (1.1 - 0.2 * progress) / self.rate_hz;
                let fires = self.phase >= 1.0;
                self.phase = self.phase.fract();
                (if fires { envelope } else { 0.0 } + 0.002 * draw * envelope, 0.0)
            }
            Sound::Consonant => (0.0, envelope * draw),
            Sound::Pause => (0.0, 0.0),
        };
        let mut sum = 0.0;
        for [a1, a2, gain, y1, y2] in &mut self.formants {
            let y = *gain * pulse + *a1 * *y1 + *a2 * *y2;
            (*y2, *y1) = (*y1, if y.abs() < 1e-30 { 0.0 } else { y });
            sum += y;
        }
        let hiss = (hiss - std::mem::replace(&mut self.last, hiss)) * 0.03;
        sum + hiss
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deck::LeadIn;

    #[test]
    fn sounds_have_their_length_and_about_their_level_and_repeat_by_seed() {
        for kind in [LeadInKind::Music, LeadInKind::Speech, LeadInKind::Silence] {
            let mut file = DeckFile::default();
            file.capture.lead_in = Some(LeadIn { kind, seconds: 12.0, level_dbfs: -18.0 });
            let make = |seed: u64| {
                let mut sound = LeadInSound::new(&file, seed, 48_000.0).unwrap();
                let mut all = [Vec::new(), Vec::new()];
                while sound.pull(&mut all, 1000) > 0 {}
                all
            };
            let all = make(1);
            assert_eq!(all[0].len(), 576_000);
            assert_eq!(all, make(1));
            if kind != LeadInKind::Silence {
                assert_ne!(all, make(2));
                let power: f64 = all.iter().flatten().map(|x| x * x).sum::<f64>() / 576_000.0;
                assert_within!(10.0 * power.log10(), -18.0, 2.5, "dB", "{kind:?}");
                assert!(all.iter().flatten().all(|x| x.abs() < 1.0));
            }
        }
    }
}
