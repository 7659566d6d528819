//! What moves with a steady tone is followed by that tone's own phase: harmonics, difference tones, leakage.
//!
//! Wow and flutter move a harmonic of order k by k times the fundamental's deviation. Turned back by k times the
//! fundamental's phase it stands still, and can be added up over the whole part: its band is then as narrow as the part
//! is long, so that hiss and components of hum beside it stay outside. The residual of the noise is known from the lines next
//! to it, and is subtracted as power.
//!
//! Flutter of 0.1 % at 4 Hz spreads a third harmonic of 945 Hz over tens of hertz, in which hiss and hum lie; the
//! fundamental is 30 dB and more louder. Difference tones follow `n f2 - m f1` in the same way. Leakage follows the
//! driven channel a little more loosely, because azimuth wander moves its phase. Hum does not follow: where one of its
//! components could lie on the harmonic, its neighbours in the grid of 50 or 60 Hz say how strong it may be.

use crate::signal::baseband::Band;
use crate::signal::statistics::{exponential_mean, median};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Distance of the noise's lines from the middle, in lines of the part's length; a Hann window's main lobe ends at 2.
const BESIDE: std::ops::RangeInclusive<usize> = 4..=30;
/// Share of the usual amplitude below which a sample lies in a dropout.
const DROPOUT: f64 = 0.8;
/// Hum has no lines of weight above this, Hz (common practice, no source).
const HIGHEST_HUM_HZ: f64 = 2500.0;
/// Power systems keep their frequency within this share.
const MAINS_WITHIN: f64 = 0.002;

/// Amplitude of something that was followed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Amplitude {
    /// Power (square of the amplitude) with the noise subtracted; may be below 0 where there is only noise.
    pub power: f64,
    /// Power from which it is detected beside noise: noise alone gets there once in some thousand times.
    detection_power: f64,
    /// Power below which it surely lies if it was not detected.
    below_power: f64,
    /// Noise power of a single line.
    each: f64,
    /// Standard deviation of the power by noise alone.
    spread: f64,
    /// Amplitude of mains hum that may hide in it; 0 where none can.
    pub hum: f64,
}

impl Amplitude {
    /// The amplitude, if it can be told from noise and hum.
    pub fn detected(&self) -> Option<f64> {
        let amplitude = self.power.max(0.0).sqrt();
        (self.power > self.detection_power && amplitude > 3.0 * self.hum).then_some(amplitude)
    }

    /// What an amplitude that was not detected surely lies below.
    pub fn limit(&self) -> f64 {
        self.below_power.sqrt() + 3.0 * self.hum
    }

    /// Expanded uncertainty (k = 2) of the amplitude by noise and hum.
    pub fn uncertainty(&self) -> f64 {
        let along =
            self.each / 2.0 + self.spread.powi(2) / (4.0 * self.power.max(self.detection_power).max(1e-30));
        (2.0 * along.sqrt()).hypot(self.hum)
    }
}

/// A tone's phase and amplitude against time.
pub(crate) struct Course {
    /// The tone as it turns, of amplitude 1, against a tone of `centre_hz`.
    turns: Vec<Complex64>,
    centre_hz: f64,
    rate_hz: f64,
    first_s: f64,
    /// Weight of each sample: rises and falls over the part, and is 0 in dropouts.
    weights: Vec<f64>,
    /// Mean amplitude.
    pub amplitude: f64,
    /// Mean frequency, Hz.
    pub hz: f64,
}

impl Course {
    /// The course of the tone in `band`; `None` if there is none, or too little of it.
    pub fn new(band: &Band) -> Option<Self> {
        let sizes: Vec<f64> = band.samples.iter().map(|z| z.norm()).collect();
        let usual = median(&sizes);
        if sizes.len() < 4 * BESIDE.end() || !(usual > 1e-7) {
            return None;
        }
        // The neighbourhood of a dropout is left out, too: a band's edges ring for about its inverse width.
        let guard = (0.02 * band.rate_hz).ceil() as usize;
        let mut sound = vec![true; sizes.len()];
        for (k, size) in sizes.iter().enumerate() {
            if *size < DROPOUT * usual {
                sound[k.saturating_sub(guard)..(k + guard + 1).min(sizes.len())].fill(false);
            }
        }
        // A tone that fades all the time is what it is.
        if sound.iter().filter(|sound| **sound).count() * 2 < sizes.len() {
            sound.fill(true);
        }
        let count = sizes.len() as f64;
        let weights: Vec<f64> = sound
            .iter()
            .enumerate()
            .map(|(k, sound)| if *sound { 0.5 - 0.5 * (TAU * (k as f64 + 0.5) / count).cos() } else { 0.0 })
            .collect();
        let total: f64 = weights.iter().sum();
        let amplitude = weights.iter().zip(&sizes).map(|(w, size)| w * size).sum::<f64>() / total;
        let turns: Vec<Complex64> = band
            .samples
            .iter()
            .map(|z| if z.norm() > 0.0 { z / z.norm() } else { Complex64::from(1.0) })
            .collect();
        let (mut step, mut share) = (0.0, 0.0);
        for (k, pair) in turns.windows(2).enumerate() {
            step += weights[k] * (pair[1] * pair[0].conj()).arg();
            share += weights[k];
        }
        let hz = band.centre_hz + step / share * band.rate_hz / TAU;
        if !(amplitude.is_finite() && hz.is_finite()) {
            return None;
        }
        Some(Self {
            turns,
            centre_hz: band.centre_hz,
            rate_hz: band.rate_hz,
            first_s: band.first_s,
            weights,
            amplitude,
            hz,
        })
    }

    fn time_s(&self, index: usize) -> f64 {
        self.first_s + index as f64 / self.rate_hz
    }

    /// Length of what counts, s.
    fn length_s(&self) -> f64 {
        self.weights.len() as f64 / self.rate_hz
    }
}

/// Whole number of turns of each course that a product makes: `[(2, f1), (-1, f2)]` for 2 f1 - f2.
pub(crate) type Product<'a> = &'a [(i32, &'a Course)];

/// `band` turned back by the phase of `product`, so that what moves with it stands still.
///
/// `None` if the bands are not of one kind.
fn still(band: &Band, product: Product<'_>) -> Option<Vec<Complex64>> {
    let (_, first) = product.first()?;
    let alike = |course: &&Course| {
        course.turns.len() == band.samples.len()
            && course.rate_hz == band.rate_hz
            && (course.first_s - band.first_s).abs() < 1e-9
    };
    if !product.iter().map(|(_, course)| course).all(alike) {
        return None;
    }
    let centre_hz: f64 = product.iter().map(|(order, course)| f64::from(*order) * course.centre_hz).sum();
    let off_hz = band.centre_hz - centre_hz;
    let turned = band.samples.iter().enumerate().map(|(k, z)| {
        let back = product
            .iter()
            .map(|(order, course)| {
                let turn = course.turns[k].powi(order.abs());
                if *order > 0 { turn.conj() } else { turn }
            })
            .product::<Complex64>();
        z * back * Complex64::from_polar(1.0, TAU * (off_hz * first.time_s(k)).rem_euclid(1.0))
    });
    Some(turned.collect())
}

/// Amplitude of what moves with `product` in `band`, its phase standing still.
///
/// `None` if the bands are not of one kind, or a sample was no number.
pub(crate) fn follow(band: &Band, product: Product<'_>) -> Option<Amplitude> {
    let mut samples = still(band, product)?;
    let (_, first) = product.first()?;
    let weights: Vec<f64> = (0..samples.len())
        .map(|k| product.iter().map(|(_, course)| course.weights[k]).fold(f64::INFINITY, f64::min))
        .collect();
    let total: f64 = weights.iter().sum();
    if !(total > 0.0) {
        return None;
    }
    let mean = samples.iter().zip(&weights).map(|(z, w)| z * w).sum::<Complex64>() / total;
    for z in &mut samples {
        *z -= mean;
    }
    let line = |samples: &[Complex64], cycles: f64| {
        let turned = samples.iter().zip(&weights).enumerate();
        let sum: Complex64 = turned
            .map(|(k, (z, w))| z * w * Complex64::from_polar(1.0, -TAU * (cycles * k as f64).rem_euclid(1.0)))
            .sum();
        sum.norm_sqr() / (total * total)
    };
    let count = samples.len() as f64;
    let beside = BESIDE.flat_map(|k| [k as f64, -(k as f64)]).map(|k| line(&samples, k / count));
    let noise = exponential_mean(beside);
    let hz: f64 = product.iter().map(|(order, course)| f64::from(*order) * course.hz).sum();
    let hum = hidden_hum(
        hz,
        first.length_s(),
        |at_hz| {
            // Hum stands at its own frequency, whatever the tape does: it is looked for in the band as it is.
            line(&band.samples, (at_hz - band.centre_hz) / band.rate_hz)
        },
        noise,
        band.rate_hz,
    );
    let power = mean.norm_sqr() - noise;
    // A line of noise has an exponential distribution: beyond 9 times its mean lies 1 in 8000. What is below that is
    // surely below (3 + sqrt 2)^2 times it: twice the noise's spread along the amplitude is sqrt 2.
    let (detection_power, below_power) = (8.0 * noise, 19.5 * noise);
    (power.is_finite() && noise.is_finite()).then_some(Amplitude {
        power,
        detection_power,
        below_power,
        each: noise,
        spread: noise,
        hum,
    })
}

/// Amplitude of mains hum that may lie on a line at `hz`, judged by its neighbours; 0 if no harmonic of 50 or 60 Hz
/// comes near, or the neighbours do not stand out of the noise.
fn hidden_hum(hz: f64, length_s: f64, power_at: impl Fn(f64) -> f64, noise: f64, rate_hz: f64) -> f64 {
    let mut most = 0.0f64;
    if hz > HIGHEST_HUM_HZ {
        return 0.0;
    }
    for mains_hz in [50.0, 60.0] {
        let order = (hz / mains_hz).round();
        let reach_hz = MAINS_WITHIN * hz + 2.0 / length_s;
        if order < 1.0 || (order * mains_hz - hz).abs() > reach_hz {
            continue;
        }
        for neighbour in [-2.0, -1.0, 1.0, 2.0] {
            let middle_hz = (order + neighbour) * mains_hz;
            if middle_hz <= 0.0 || (middle_hz - hz).abs() > 0.3 * rate_hz {
                continue;
            }
            let half = (MAINS_WITHIN * middle_hz * length_s).ceil() as i32;
            for k in -half..=half {
                let power = power_at(middle_hz + f64::from(k) / length_s);
                // 16: noise in one of some dozens of lines does not get there.
                if power > 16.0 * noise {
                    most = most.max(power);
                }
            }
        }
    }
    most.sqrt()
}

/// Amplitude of what moves with `product` in `band`, its phase free to wander by up to `half_hz`: the power of all lines
/// within `half_hz` is added up.
///
/// `None` as for [`follow`], or if the part is too short for a band that narrow.
pub(crate) fn follow_loosely(band: &Band, product: Product<'_>, half_hz: f64) -> Option<Amplitude> {
    let mut samples = still(band, product)?;
    let (_, first) = product.first()?;
    // The steady part is taken out first: holes in the weights (dropouts) would spread it over the lines beside.
    let total: f64 = first.weights.iter().sum();
    let mean = samples.iter().zip(&first.weights).map(|(z, w)| z * w).sum::<Complex64>() / total;
    for z in &mut samples {
        *z -= mean;
    }
    let rest = narrow_power(&samples, &first.weights, band.rate_hz, 0.0, half_hz)?;
    let power = rest.power + mean.norm_sqr();
    power.is_finite().then_some(Amplitude { power, ..rest })
}

/// Amplitude within `half_hz` of `middle_hz` in complex samples at `rate_hz`, by their weighted spectrum.
///
/// `None` if there are too few samples for a band that narrow, or a sample was no number.
pub(crate) fn narrow_power(
    samples: &[Complex64],
    weights: &[f64],
    rate_hz: f64,
    middle_hz: f64,
    half_hz: f64,
) -> Option<Amplitude> {
    let count = samples.len() as f64;
    let step_hz = rate_hz / count;
    let inner = (half_hz / step_hz).ceil() as i32;
    let outer = 4 * inner + 8;
    if f64::from(outer) * step_hz > 0.3 * rate_hz || inner < 2 {
        return None;
    }
    let square: f64 = weights.iter().map(|w| w * w).sum();
    let line = |k: i32| {
        let cycles = (middle_hz + f64::from(k) * step_hz) / rate_hz;
        let turned = samples.iter().zip(weights).enumerate();
        let sum: Complex64 = turned
            .map(|(n, (z, w))| z * w * Complex64::from_polar(1.0, -TAU * (cycles * n as f64).rem_euclid(1.0)))
            .sum();
        // A steady tone of amplitude a adds up to a^2 over its lines; noise to its power.
        sum.norm_sqr() / (square * count)
    };
    let inside: Vec<f64> = (-inner..=inner).map(line).collect();
    let beside: Vec<f64> = (inner + 4..=outer).flat_map(|k| [line(k), line(-k)]).collect();
    let each = exponential_mean(&beside);
    let expected = each * inside.len() as f64;
    let power = inside.iter().sum::<f64>() - expected;
    // A Hann window makes 1.5 lines resemble each other: the spread of the sum, and that of the median beside.
    let lines = inside.len() as f64;
    let spread = each * (1.5 * lines).sqrt().hypot(lines * 1.6 / (beside.len() as f64 / 1.5).sqrt());
    (power.is_finite() && spread.is_finite()).then_some(Amplitude {
        power,
        detection_power: 4.0 * spread,
        below_power: 6.5 * spread,
        each: 1.5 * each,
        spread,
        hum: 0.0,
    })
}
