//! A tone whose speed is known, in hiss, with faults of level.

use deckproof::internals::measure::{FlutterMeter, FlutterPlan, Meter};
use deckproof::reading::{FileClock, Flutter};
use std::f64::consts::TAU;

/// Amplitude of the tone.
pub const TONE: f64 = 0.25;
/// Normal hiss: 50 dB below the tone, in 20 kHz.
pub const HISS_DB: f64 = -50.0;

/// Gaussian noise of variance 1 (Box and Muller), frozen.
pub struct Gauss {
    state: u64,
    spare: Option<f64>,
}

impl Gauss {
    pub fn new(seed: u64) -> Self {
        Self { state: seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1, spare: None }
    }

    pub fn uniform(&mut self) -> f64 {
        self.state =
            self.state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let mixed = (self.state ^ (self.state >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        ((mixed >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    pub fn next(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let (radius, angle) = ((-2.0 * self.uniform().ln()).sqrt(), TAU * self.uniform());
        self.spare = Some(radius * angle.sin());
        radius * angle.cos()
    }
}

/// A line of flutter: Hz, percent peak, phase in rad.
pub type Line = (f64, f64, f64);

/// What is played.
pub struct Played<'a> {
    pub rate_hz: f64,
    pub seconds: f64,
    pub carrier_hz: f64,
    /// How far off the carrier is, percent; the meter is told.
    pub off_percent: f64,
    pub lines: &'a [Line],
    /// Further deviation, percent against s; integrated sample by sample.
    pub course: &'a dyn Fn(f64) -> f64,
    /// Gain of either channel against s.
    pub gain: &'a dyn Fn(usize, f64) -> f64,
    /// Hiss in 20 kHz re the tone, dB, of either channel.
    pub hiss_db: [f64; 2],
    pub seed: u64,
}

impl Default for Played<'_> {
    fn default() -> Self {
        Self {
            rate_hz: 48_000.0,
            seconds: 33.0,
            carrier_hz: 3150.0,
            off_percent: 0.0,
            lines: &[],
            course: &|_| 0.0,
            gain: &|_, _| 1.0,
            hiss_db: [HISS_DB; 2],
            seed: 1,
        }
    }
}

impl Played<'_> {
    pub fn samples(&self) -> [Vec<f64>; 2] {
        let mut gauss = [Gauss::new(2 * self.seed), Gauss::new(2 * self.seed + 1)];
        let hiss = self
            .hiss_db
            .map(|db| TONE / 2f64.sqrt() * 10f64.powf(db / 20.0) * (self.rate_hz / 40_000.0).sqrt());
        let hz = self.carrier_hz * (1.0 + self.off_percent / 100.0);
        let mut extra_s = 0.0;
        let mut out = [Vec::new(), Vec::new()];
        for n in 0..(self.seconds * self.rate_hz) as usize {
            let t = n as f64 / self.rate_hz;
            let moved: f64 = self
                .lines
                .iter()
                .map(|(f, p, phase)| -p / 100.0 / (TAU * f) * (TAU * f * t + phase).cos())
                .sum();
            let tone = TONE * (TAU * (hz * (t + moved + extra_s)).rem_euclid(1.0)).sin();
            extra_s += (self.course)(t) / 100.0 / self.rate_hz;
            for side in 0..2 {
                out[side].push(tone * (self.gain)(side, t) + hiss[side] * gauss[side].next());
            }
        }
        out
    }

    pub fn read(&self) -> Flutter {
        self.read_expecting(self.carrier_hz * (1.0 + self.off_percent / 100.0))
    }

    pub fn read_expecting(&self, hz: f64) -> Flutter {
        let samples = self.samples();
        let mut meter = FlutterMeter::new(
            self.rate_hz,
            FlutterPlan { programme_hz: self.carrier_hz, expected_hz: hz, clock: FileClock::default() },
        )
        .unwrap();
        for (left, right) in samples[0].chunks(8192).zip(samples[1].chunks(8192)) {
            meter.feed([left, right]);
        }
        meter.finish().0.expect("there is a tone")
    }
}

/// The target of the design: 3 % of the value or 0.003 % absolute.
pub fn target(value: f64) -> f64 {
    (0.03 * value).max(0.003)
}

/// Gaussian noise with power as 1/f between two rates, `rms` percent, 1000 values a second.
pub fn smooth_noise(rms: f64, low_hz: f64, high_hz: f64, seconds: f64, seed: u64) -> Vec<f64> {
    use rustfft::num_complex::Complex64;
    let count = (1000.0 * (seconds + 7.0)) as usize;
    let mut gauss = Gauss::new(seed);
    let mut bins: Vec<Complex64> = (0..count)
        .map(|k| {
            let hz = k as f64 * 1000.0 / count as f64;
            let size = if hz >= low_hz && hz <= high_hz { hz.powf(-0.5) } else { 0.0 };
            Complex64::new(gauss.next(), gauss.next()) * size
        })
        .collect();
    inner_loops::complex_forward(count).process(&mut bins);
    let power = bins.iter().map(|z| z.re * z.re).sum::<f64>() / count as f64;
    bins.iter().map(|z| z.re * rms / power.sqrt()).collect()
}
