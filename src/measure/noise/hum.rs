//! Hum of the mains: its lines found among the hiss, its exact frequency, and whether it lies on the tape.
//!
//! The band up to 1 kHz is brought to a low rate, and the comb of harmonics that stands out best is looked for near 50
//! and 60 Hz, and near the same times the tape's time ratio. Its frequency comes from all its lines together: the n-th
//! harmonic shows it n times as exactly.
//!
//! Where the tape's speed is off by more than mains are, hum on the tape stands at 50 or 60 Hz times the time ratio.
//! And flutter tells: beside the longest steady tone the components of hum are looked at twice, as they are and with
//! the tone's phase undone in proportion. The likelihoods, piece by piece of 4 s, say which of the two makes sharper
//! lines. Pieces are short because the mains wanders too, but slower than wow. When both disagree it is "cannot tell".

use crate::measure::meter::Meter;
use crate::measure::noise::reference::Reference;
use crate::reading::{Mains, Origin, Pair};
use crate::signal::baseband::{Band, Baseband};
use crate::signal::fit::top_of_row;
use crate::signal::next_fast_length;
use crate::signal::spectrum::hann;
use crate::signal::statistics::{exponential_mean, median};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Highest line that is looked for, Hz.
const HIGHEST_HZ: f64 = 1040.0;
/// Longest stretch that is looked at, s: more would not tell more, and memory must not grow.
const LONGEST_S: f64 = 60.0;
/// Nominal frequencies of mains, Hz.
const NOMINALS_HZ: [f64; 2] = [50.0, 60.0];
/// How far the mains may be off and still be looked for (share): generators, not the public grid.
const REACH: f64 = 0.01;
/// How far public mains are off, Hz (typical of large grids, from memory).
const GRID_HZ: f64 = 0.2;
/// How far a sound card's clock may be off (share; common practice, no source).
const CLOCK: f64 = 1e-4;
/// Peak of a line over the noise around it (power): noise alone does that once in 160 000 bins.
const STANDS_OUT: f64 = 12.0;
/// Zero padding of the transforms.
const PADDING: usize = 4;

/// Collects the band in which hum lies.
pub(crate) struct HumBand {
    channels: [Baseband; 2],
    left_over: u64,
    ratio: f64,
}

/// The band in which hum lies.
#[derive(Debug, Clone)]
pub(crate) struct HumCourse {
    pub bands: [Band; 2],
    ratio: f64,
}

/// One component of hum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Line {
    pub hz: f64,
    /// Its mean square, noise subtracted.
    pub power: [f64; 2],
    /// Mean square of the noise that was subtracted with it, over the root of its independent bins: the standard uncertainty of the power.
    pub uncertainty: [f64; 2],
    /// Whether it stands out.
    pub stands: [bool; 2],
}

/// A row of harmonics.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct HumComponents {
    pub hz: f64,
    pub uncertainty_hz: f64,
    pub nominal_hz: f64,
    pub lines: Vec<Line>,
    pub origin: Origin,
    pub why: String,
}

impl Meter for HumBand {
    /// The tape's time ratio (above 1: fast), so that hum on the tape is looked for where it then stands.
    type Plan = f64;
    type Output = HumCourse;

    /// `None` below 8 kHz of sample rate.
    fn new(rate_hz: f64, ratio: f64) -> Option<Self> {
        let middle_hz = HIGHEST_HZ / 2.0 + 15.0;
        let band = || Baseband::new(rate_hz, middle_hz, middle_hz - 30.0, 60.0);
        (rate_hz >= 8000.0).then(|| Self {
            channels: [band(), band()],
            left_over: (LONGEST_S * rate_hz) as u64,
            ratio,
        })
    }

    fn feed(&mut self, block: [&[f64]; 2]) {
        let count = self.left_over.min(block[0].len() as u64) as usize;
        self.left_over -= count as u64;
        let [left, right] = &mut self.channels;
        rayon::join(|| left.feed(&block[0][..count]), || right.feed(&block[1][..count]));
    }

    fn finish(self) -> HumCourse {
        HumCourse { bands: self.channels.map(Baseband::finish), ratio: self.ratio }
    }
}

/// Hann-windowed, zero-padded spectrum: noise of variance v per sample has v in each bin.
struct Spectrum {
    powers: Vec<f64>,
    step_hz: f64,
    first_hz: f64,
    /// Noise every [`FLOOR_STEP_HZ`] from `first_hz` on.
    floor: Vec<f64>,
}

const FLOOR_STEP_HZ: f64 = 5.0;
const FLOOR_REACH_HZ: f64 = 12.0;

impl Spectrum {
    fn new(samples: &[Complex64], band: &Band) -> Self {
        let window = hann(samples.len());
        let square: f64 = window.iter().map(|w| w * w).sum();
        let size = next_fast_length(samples.len() * PADDING);
        let mut bins: Vec<Complex64> = samples.iter().zip(&window).map(|(z, w)| z * w).collect();
        bins.resize(size, Complex64::default());
        inner_loops::complex_forward(size).process(&mut bins);
        // From the lowest frequency up.
        let half = size / 2;
        let powers: Vec<f64> =
            (0..size).map(|k| bins[(k + size - half) % size].norm_sqr() / square).collect();
        let step_hz = band.rate_hz / size as f64;
        let mut spectrum =
            Self { powers, step_hz, first_hz: band.centre_hz - half as f64 * step_hz, floor: Vec::new() };
        let count = (band.rate_hz / FLOOR_STEP_HZ) as usize + 1;
        spectrum.floor =
            (0..count).map(|k| spectrum.noise_around(spectrum.first_hz + k as f64 * FLOOR_STEP_HZ)).collect();
        spectrum
    }

    fn bin(&self, hz: f64) -> usize {
        (((hz - self.first_hz) / self.step_hz).round().max(0.0) as usize).min(self.powers.len() - 1)
    }

    fn hz(&self, bin: usize) -> f64 {
        self.first_hz + bin as f64 * self.step_hz
    }

    /// Noise around `hz`; lines do not move it.
    fn noise_around(&self, hz: f64) -> f64 {
        let (low, high) = (self.bin((hz - FLOOR_REACH_HZ).max(5.0)), self.bin(hz + FLOOR_REACH_HZ));
        exponential_mean(self.powers[low..=high.max(low)].iter().step_by(PADDING))
    }

    fn noise(&self, hz: f64) -> f64 {
        let place = ((hz - self.first_hz) / FLOOR_STEP_HZ).round().max(0.0) as usize;
        // A channel without any noise at all still has rounding.
        self.floor[place.min(self.floor.len() - 1)].max(1e-24)
    }

    fn over_noise(&self, hz: f64) -> f64 {
        self.powers[self.bin(hz)] / self.noise(hz)
    }
}

/// Half width of what belongs to a line: the window's own, and what flutter spreads of hum on the tape.
fn half_width_hz(hz: f64, seconds: f64) -> f64 {
    2.5 / seconds + 0.3 + 0.003 * hz
}

impl HumCourse {
    /// The comb that stands out; `None` if none does, or less than 1.5 s were fed.
    pub(crate) fn components(&self) -> Option<HumComponents> {
        let count = self.bands[0].samples.len().min(self.bands[1].samples.len());
        let seconds = count as f64 / self.bands[0].rate_hz;
        let sound = self.bands.iter().all(|band| band.samples.iter().all(|z| z.norm_sqr().is_finite()));
        if seconds < 1.5 || !sound {
            return None;
        }
        let spectra = [0, 1].map(|side| Spectrum::new(&self.bands[side].samples[..count], &self.bands[side]));
        let step_hz = (1.0 / (8.0 * seconds * HIGHEST_HZ / 50.0)).min(0.02);
        let mut best: Option<(f64, f64)> = None;
        for nominal_hz in NOMINALS_HZ {
            for middle_hz in [nominal_hz, nominal_hz * self.ratio] {
                let steps = (middle_hz * REACH / step_hz).ceil() as i64;
                for k in -steps..=steps {
                    let hz = middle_hz + k as f64 * step_hz;
                    let score: f64 = (1..=(HIGHEST_HZ / hz) as usize)
                        .map(|n| {
                            let at_hz = n as f64 * hz;
                            (1.0 + 0.25 * spectra.iter().map(|s| s.over_noise(at_hz)).fold(0.0, f64::max))
                                .ln()
                        })
                        .sum();
                    if best.is_none_or(|best| score > best.0) {
                        best = Some((score, hz));
                    }
                }
            }
        }
        let (hz, uncertainty_hz) = exact_hz(&spectra, best?.1, seconds)?;
        let lines: Vec<Line> = (1..=(HIGHEST_HZ / hz) as usize)
            .map(|n| line(&spectra, n as f64 * hz, seconds))
            .filter(|line| line.stands.contains(&true))
            .collect();
        // The fundamental alone, or any two harmonics.
        if lines.is_empty() || (lines.len() == 1 && lines[0].hz > 1.5 * hz) {
            return None;
        }
        let away =
            |nominal_hz: f64| (hz - nominal_hz).abs().min((hz - nominal_hz * self.ratio).abs()) / nominal_hz;
        let nominal_hz = NOMINALS_HZ.into_iter().min_by(|a, b| away(*a).total_cmp(&away(*b)))?;
        let mut components = HumComponents {
            hz,
            uncertainty_hz,
            nominal_hz,
            lines,
            origin: Origin::CannotTell,
            why: String::new(),
        };
        components.why = "neither speed nor flutter of the tape was held against it".into();
        Some(components)
    }
}

/// The fundamental from all lines that stand out near the harmonics of `near_hz`, with its expanded uncertainty.
fn exact_hz(spectra: &[Spectrum; 2], near_hz: f64, seconds: f64) -> Option<(f64, f64)> {
    let mut found: Vec<(f64, f64)> = Vec::new();
    for n in 1..=(HIGHEST_HZ / near_hz) as usize {
        let at_hz = n as f64 * near_hz;
        for spectrum in spectra {
            let reach_hz = 1.5 / seconds;
            let (low, high) = (spectrum.bin(at_hz - reach_hz), spectrum.bin(at_hz + reach_hz));
            let Some(top) = (low..=high).max_by(|&a, &b| spectrum.powers[a].total_cmp(&spectrum.powers[b]))
            else {
                continue;
            };
            let over = spectrum.powers[top] / spectrum.noise(at_hz);
            if over < STANDS_OUT || top == 0 || top + 1 >= spectrum.powers.len() {
                continue;
            }
            let (offset, _) =
                top_of_row([top - 1, top, top + 1].map(|k| spectrum.powers[k].max(1e-300).ln()));
            let hz = spectrum.hz(top) + offset * spectrum.step_hz;
            // Bound of Cramer and Rao for a line of this height, and 1.6 for the Hann window. What noise cannot explain,
            // the window's and the parabola's own errors: a hundredth of a bin.
            let sigma_hz = (0.51 / (seconds * over.sqrt())).hypot(0.01 / seconds);
            found.push((hz / n as f64, (n as f64 / sigma_hz).powi(2)));
        }
    }
    let total: f64 = found.iter().map(|line| line.1).sum();
    if !(total > 0.0) {
        return None;
    }
    let hz = found.iter().map(|(hz, weight)| hz * weight).sum::<f64>() / total;
    let free = (found.len() as f64 - 1.0).max(1.0);
    let excess =
        (found.iter().map(|(each, weight)| (each - hz).powi(2) * weight).sum::<f64>() / free).max(1.0);
    Some((hz, (2.0 * (excess / total).sqrt()).hypot(CLOCK * hz)))
}

/// The line at `hz`: all power within its width, less the noise there.
fn line(spectra: &[Spectrum; 2], hz: f64, seconds: f64) -> Line {
    let half_hz = half_width_hz(hz, seconds);
    let mut line = Line { hz, power: [0.0; 2], uncertainty: [0.0; 2], stands: [false; 2] };
    for (side, spectrum) in spectra.iter().enumerate() {
        let (low, high) = (spectrum.bin(hz - half_hz), spectrum.bin(hz + half_hz));
        let noise = spectrum.noise(hz);
        // Mean square of a line of amplitude a: a^2 / 2; the padded bins' powers add up to a^2 times their number.
        let scale = 0.5 / spectrum.powers.len() as f64;
        let bins = (high - low + 1) as f64;
        let sum: f64 = spectrum.powers[low..=high].iter().sum();
        // The Hann window leaves 2/3 of the unpadded bins independent.
        let independent = (bins / PADDING as f64 / 1.5).max(1.0);
        let near = spectrum.bin(hz - 1.5 / seconds)..=spectrum.bin(hz + 1.5 / seconds);
        let peak = spectrum.powers[near].iter().copied().fold(0.0, f64::max);
        let clear = sum - noise * bins;
        line.power[side] = (clear * scale).max(0.0);
        line.uncertainty[side] = noise * bins * scale / independent.sqrt();
        // 1e-16: lines at -160 dBFS are rounding.
        line.stands[side] = (peak > STANDS_OUT * noise || line.power[side] > 8.0 * line.uncertainty[side])
            && line.power[side] > 1e-16;
    }
    line
}

impl HumComponents {
    /// Says where the hum gets in: by its frequency, and by how much better its lines stand (`likelihood`, the logarithm
    /// of a likelihood ratio) when the tape's own flutter is undone.
    pub(crate) fn judge_origin(&mut self, ratio: f64, likelihood: Option<f64>) {
        let tolerance_hz = GRID_HZ + self.uncertainty_hz;
        let playback_fits = (self.hz - self.nominal_hz).abs() <= tolerance_hz;
        let tape_hz = self.nominal_hz * ratio;
        let recorded_fits = (self.hz - tape_hz).abs() <= tolerance_hz;
        let by_flutter = match likelihood {
            Some(more) if more >= DECIDES => Origin::Recorded,
            Some(more) if more <= -DECIDES => Origin::Playback,
            _ => Origin::CannotTell,
        };
        let by_speed = match (playback_fits, recorded_fits) {
            (true, false) => Origin::Playback,
            (false, true) => Origin::Recorded,
            _ => Origin::CannotTell,
        };
        let (hz, nominal_hz) = (self.hz, self.nominal_hz);
        let speed = match by_speed {
            Origin::Playback => {
                format!("it stands at the mains' own frequency; on the tape it would be {tape_hz:.2} Hz")
            }
            Origin::Recorded => {
                format!("it stands at {nominal_hz:.0} Hz times the tape's speed, {tape_hz:.2} Hz")
            }
            Origin::CannotTell if !playback_fits => {
                format!("{hz:.2} Hz is neither the mains frequency nor that times the tape's speed")
            }
            Origin::CannotTell => format!(
                "the tape's speed is too near to right to tell by the frequency (the mains itself may be off by {GRID_HZ} Hz)"
            ),
        };
        let flutter = match by_flutter {
            Origin::Recorded => "its lines share the tape's wow and flutter",
            Origin::Playback => "its lines do not share the tape's wow and flutter",
            Origin::CannotTell => "wow and flutter are too small, or the hum too weak, to tell by them",
        };
        (self.origin, self.why) = match (by_speed, by_flutter) {
            (a, b) if a == b => (a, format!("{speed}; {flutter}")),
            (a, Origin::CannotTell) => (a, speed),
            (Origin::CannotTell, b) if playback_fits || recorded_fits => (b, flutter.to_owned()),
            _ => (Origin::CannotTell, format!("{speed}, but {flutter}: hum may get in at both places")),
        };
    }

    /// The section of the reading.
    pub(crate) fn mains(&self, reference: &Reference) -> Mains {
        let db = |power: f64, side: usize| reference.against_db(power, side);
        let sum = |side: usize, of: &dyn Fn(&Line) -> f64| -> f64 {
            self.lines.iter().filter(|line| line.stands[side]).map(of).sum()
        };
        let total = [0, 1].map(|side| sum(side, &|line| line.power[side]));
        let hum_db: Pair = [0, 1].map(|side| db(total[side], side));
        Mains {
            hz: self.hz,
            uncertainty_hz: Some(self.uncertainty_hz),
            nominal_hz: Some(self.nominal_hz),
            origin: self.origin,
            origin_why: self.why.clone(),
            hum_db,
            uncertainty_db: [0, 1].map(|side| {
                hum_db[side]?;
                let uncertainty = sum(side, &|line| {
                    // The line beats with the noise under it: 2 P N of variance, N over the line's own bandwidth.
                    line.uncertainty[side].powi(2) + 2.0 * line.power[side] * line.uncertainty[side] * 0.3
                })
                .sqrt();
                Some((2.0 * 4.343 * uncertainty / total[side]).hypot(0.05).hypot(reference.uncertainty_db))
            }),
            lines: self
                .lines
                .iter()
                .map(|line| {
                    let level = |side: usize| db(line.power[side], side).filter(|_| line.stands[side]);
                    (line.hz, level(0), level(1))
                })
                .collect(),
        }
    }
}

/// Logarithm of a likelihood ratio that decides (about 160 000 to 1).
const DECIDES: f64 = 12.0;
/// Length of the pieces within which lines are held coherent, s: the mains own wander is slower.
const PIECE_S: f64 = 4.0;
/// Samples of the band that are added up once a line stands at 0 Hz: about 30 Hz of rate are left.
const SLOWER: usize = 50;
/// How far a line is looked for from where it stood in the silence, Hz; times its number.
const WANDER_HZ: f64 = 0.03;

/// How much likelier the lines of `components` are with the flutter of a steady tone undone than without: logarithm of the
/// likelihood ratio in Gaussian noise. Positive: the hum lies on the tape.
///
/// `tone` is the band about a tone that came off the tape meanwhile, `tone_hz` its mean frequency in the return; both
/// bands count time from the same sample. `None` for less than two pieces, or if the tone is lost for a good part.
pub(crate) fn shares_flutter(
    hum: &HumCourse,
    tone: &Band,
    tone_hz: f64,
    components: &HumComponents,
) -> Option<f64> {
    let course = phase_course(tone, tone_hz)?;
    let rate_hz = hum.bands[0].rate_hz;
    let size = (PIECE_S * rate_hz) as usize;
    let padded = next_fast_length(2 * size);
    let window = hann(size);
    let square: f64 = window.iter().map(|w| w * w).sum();
    let transform = inner_loops::complex_forward(padded);
    let step_hz = rate_hz / padded as f64;
    let mut likelihood = 0.0;
    let mut pieces = 0;
    for band in &hum.bands {
        for start in (0..band.samples.len().saturating_sub(size)).step_by(size) {
            let piece = &band.samples[start..start + size];
            let phases: Option<Vec<f64>> = (start..start + size).map(|k| course.at(band.time_s(k))).collect();
            let Some(phases) = phases else { continue };
            pieces += 1;
            let mut still: Vec<Complex64> = piece.iter().zip(&window).map(|(z, w)| z * w).collect();
            let bare = still.clone();
            still.resize(padded, Complex64::default());
            transform.process(&mut still);
            let at = |hz: f64| {
                let k = ((hz - band.centre_hz) / step_hz).round() as i64;
                still[k.rem_euclid(padded as i64) as usize].norm_sqr()
            };
            for (n, line) in components.lines.iter().map(|line| ((line.hz / components.hz).round(), line)) {
                let even = TAU * (line.hz - band.centre_hz) / rate_hz;
                let reach_hz = WANDER_HZ * n + 0.5 / PIECE_S;
                let best = |turn: f64| {
                    let turned = bare
                        .iter()
                        .zip(&phases)
                        .enumerate()
                        .map(|(k, (z, phase))| z * Complex64::cis(-even * k as f64 - turn * phase));
                    let turned: Vec<Complex64> = turned.collect();
                    let slow: Vec<Complex64> =
                        turned.chunks(SLOWER).map(|group| group.iter().sum()).collect();
                    highest(&slow, reach_hz * TAU * SLOWER as f64 / rate_hz)
                };
                let beside = (0..80)
                    .map(|k| 2.5 + 0.12 * f64::from(k))
                    .flat_map(|off_hz| [line.hz - off_hz, line.hz + off_hz])
                    .map(at);
                let noise = exponential_mean(beside).max(1e-24 * square);
                likelihood += (best(line.hz / tone_hz) - best(0.0)) / noise;
            }
        }
    }
    (pieces >= 2 && likelihood.is_finite()).then_some(likelihood)
}

/// Highest power of the transform of `samples` within `reach` (rad a sample) of 0. Between the points that are computed
/// a parabola through the logarithms finds the summit: an eighth of a bin apart, so that no line falls between two.
fn highest(samples: &[Complex64], reach: f64) -> f64 {
    let step = TAU / (8.0 * samples.len() as f64);
    let count = (reach / step).ceil() as i64 + 1;
    let powers: Vec<f64> = (-count..=count)
        .map(|k| {
            let turn = Complex64::cis(-step * k as f64);
            let mut z = Complex64::from(1.0);
            let sum: Complex64 = samples
                .iter()
                .map(|x| {
                    let term = x * z;
                    z *= turn;
                    term
                })
                .sum();
            sum.norm_sqr()
        })
        .collect();
    let summit = |three: &[f64]| {
        let is_top = three[1] >= three[0] && three[1] >= three[2];
        if is_top { top_of_row([0, 1, 2].map(|k| three[k].max(1e-300).ln())).1.exp() } else { 0.0 }
    };
    powers.windows(3).map(summit).chain(powers.iter().copied()).fold(0.0, f64::max)
}

/// Phase of a tone against an even one, over time.
struct PhaseCourse {
    phases: Vec<f64>,
    first_s: f64,
    rate_hz: f64,
}

fn phase_course(tone: &Band, tone_hz: f64) -> Option<PhaseCourse> {
    if tone.samples.len() < 16 {
        return None;
    }
    let gone = 0.2 * median(tone.samples.iter().map(|z| z.norm()));
    if !(gone > 0.0) {
        return None;
    }
    let even = TAU * (tone_hz - tone.centre_hz) / tone.rate_hz;
    let (mut phase, mut lost) = (0.0, 0usize);
    let mut phases = vec![0.0];
    for pair in tone.samples.windows(2) {
        // Through a dropout the tone is taken to run on evenly.
        if pair[0].norm().min(pair[1].norm()) > gone {
            let step = (pair[1] * pair[0].conj()).arg() - even;
            phase += step - (step / TAU).round() * TAU;
        } else {
            lost += 1;
        }
        phases.push(phase);
    }
    (lost * 20 < phases.len()).then_some(PhaseCourse { phases, first_s: tone.first_s, rate_hz: tone.rate_hz })
}

impl PhaseCourse {
    /// Phase at `at_s`, rad; `None` outside.
    fn at(&self, at_s: f64) -> Option<f64> {
        let place = (at_s - self.first_s) * self.rate_hz;
        let index = place.floor();
        if index < 0.0 {
            return None;
        }
        let (a, b) = (self.phases.get(index as usize)?, self.phases.get(index as usize + 1)?);
        Some(a + (b - a) * (place - index))
    }
}
