//! Mains hum: a fundamental and its harmonics, after the head or on it.

use super::{DeckFile, Purpose, generator, ratio_of_db};
use rand::RngExt;
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Hum of both channels.
#[derive(Debug, Clone)]
pub(crate) struct Hum {
    lines: Vec<Line>,
}

#[derive(Debug, Clone, Copy)]
struct Line {
    hz: f64,
    peak: [f64; 2],
    phase: f64,
}

impl Hum {
    /// The hum that `file` has after the head; `seed` fixes the phases of its harmonics.
    pub(crate) fn new(file: &DeckFile, seed: u64) -> Self {
        Self::of(file, file.electronics.hum.as_ref(), seed, 0)
    }

    /// The hum that lies on the tape.
    pub(crate) fn recorded(file: &DeckFile, seed: u64) -> Self {
        Self::of(file, file.tape.hum.as_ref(), seed, 1)
    }

    fn of(file: &DeckFile, hum: Option<&super::file::Hum>, seed: u64, stream: usize) -> Self {
        let Some(hum) = hum else { return Self { lines: Vec::new() } };
        let mut rng = generator(seed, Purpose::Hum, stream);
        let levels = std::iter::once(0.0).chain(hum.harmonics_db.iter().copied());
        let line = |(k, db): (usize, f64)| Line {
            hz: hum.hz * (k + 1) as f64,
            peak: hum.level_db.to_array().map(|level_db| ratio_of_db(level_db + db + file.reference_dbfs)),
            phase: TAU * rng.random::<f64>(),
        };
        Self { lines: levels.enumerate().map(line).collect() }
    }

    /// Frequency (Hz of true time) and level (dBFS) of every line on `channel`.
    #[cfg(feature = "internals")]
    pub(crate) fn levels(&self, channel: usize) -> Vec<(f64, f64)> {
        self.lines.iter().map(|line| (line.hz, 20.0 * line.peak[channel].log10())).collect()
    }

    /// Adds recorded hum to what the head reads of `channel` at each of `places_s`, s of the tape at nominal speed.
    pub(crate) fn add_at(
        &self,
        channel: usize,
        samples: &mut [f64],
        places_s: impl Iterator<Item = f64> + Clone,
    ) {
        for line in &self.lines {
            for (x, place_s) in samples.iter_mut().zip(places_s.clone()) {
                *x += line.peak[channel] * (TAU * (line.hz * place_s).fract() + line.phase).sin();
            }
        }
    }

    /// Adds the hum to a block whose first frame is at `start_s` of true time, frames `step_s` apart.
    pub(crate) fn add(&self, block: &mut [Vec<f64>; 2], start_s: f64, step_s: f64) {
        let [left, right] = block;
        for line in &self.lines {
            // The phase comes from the time of each block; within a block turning costs less than a sine.
            let mut z = Complex64::from_polar(1.0, TAU * (line.hz * start_s).fract() + line.phase);
            let turn = Complex64::from_polar(1.0, TAU * line.hz * step_s);
            for (l, r) in left.iter_mut().zip(right.iter_mut()) {
                *l += line.peak[0] * z.im;
                *r += line.peak[1] * z.im;
                z *= turn;
            }
        }
    }
}
