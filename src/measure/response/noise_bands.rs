//! Gain of a noise in third octaves: power of the return against power of the very same noise of the programme.
//!
//! The programme's noise comes from its seed, so it is made again, laid over the return by the time map and cut into the
//! same frames. What is random in the noise is then random on both sides alike and falls out of the ratio; only powers
//! are compared, so flutter, which would spoil phases in the treble, does no harm. Long frames serve the bass, short
//! ones the treble and show where dropouts are.
//!
//! Why not the noise's mean spectrum: a third octave at 40 Hz is 9 Hz wide, and in 15 s its own power is known to 0.7
//! dB (k = 2) only. Each sample rate has its own noise; correlation tells which one was played. If none is alike, the
//! same sums give a wider uncertainty.

use crate::capture::TimeMap;
use crate::measure::meter::Meter;
use crate::measure::noise::silence::Silence;
use crate::programme::{Channels, Colour, PlacedPart, Signal};
use crate::reading::Pair;
use crate::signal::next_fast_length;
use crate::signal::noise::Noise;
use crate::signal::spectrum::hann;
use crate::signal::statistics::median;
use crate::trade::octave_bands::{ThirdOctave, third_octaves};
use crate::trade::sound_card::top_hz;
use num_complex::Complex64;
use realfft::RealToComplex;
use std::collections::VecDeque;
use std::sync::Arc;

/// Sample rates that programmes are written at, Hz: each has a noise of its own.
const PROGRAMME_RATES_HZ: [u32; 3] = [44_100, 48_000, 96_000];
/// Longest stretch that is looked at, s: more would not tell more, and memory must not grow.
const LONGEST_S: f64 = 60.0;
/// Stretch over which the programme's level is worked out, s.
const LEVEL_S: f64 = 120.0;
/// Bands below this are measured with long frames, Hz.
const TAKE_OVER_HZ: f64 = 600.0;
/// Length of the frames, s (the power of two above it is taken).
const FRAMES_S: [f64; 2] = [0.7, 0.05];
/// Highest share of the programme's sample rate that its noise is used up to.
const PROGRAMME_SHARE: f64 = 0.46;
/// Highest share of the return's sample rate.
const RETURN_SHARE: f64 = 0.48;
/// A frame whose gain is off by this much from the others is a dropout or a click, dB.
const ODD_DB: f64 = 2.0;
/// What the bands' edges and the map leave, dB.
const FLATNESS_DB: f64 = 0.05;

/// Gain of one third octave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandGain {
    /// Exact mid-band in the programme, Hz.
    pub hz: f64,
    /// Return over programme, hiss subtracted, dB; `None` where hiss hides the noise.
    pub gain_db: Pair,
    /// Expanded uncertainty, dB.
    pub uncertainty_db: Pair,
}

/// A part of noise as it lies in the return.
#[derive(Debug, Clone)]
pub struct NoisePlace {
    part: PlacedPart,
    map: TimeMap,
    ratio: f64,
    /// Place of the first sample that will be fed, s of the return.
    from_s: f64,
    /// Where the programme's reference level lies in its WAV, dBFS.
    reference_dbfs: f64,
}

impl NoisePlace {
    /// The noise `part`, found by `map`; `from_s` is the place of the first sample that will be fed, s of the return.
    /// `reference_dbfs` is where the programme's reference level lies in its WAV. `None` if the part is no noise.
    pub fn new(part: &PlacedPart, map: &TimeMap, from_s: f64, reference_dbfs: f64) -> Option<Self> {
        let ratio = map.ratio(part.start_s, part.length_s);
        matches!(part.signal, Signal::Noise { .. }).then(|| Self {
            part: part.clone(),
            map: map.clone(),
            ratio,
            from_s,
            reference_dbfs,
        })
    }
}

/// Follows a noise in both channels.
pub struct NoiseBandsMeter {
    rate_hz: f64,
    place: NoisePlace,
    left_over: u64,
    /// Long and short.
    frames: [ReturnFrames; 2],
}

/// What came back of a noise, before hiss is subtracted.
#[derive(Debug, Clone)]
pub struct NoiseBands {
    place: NoisePlace,
    /// Bands with the powers of each frame: return left, right, programme.
    bands: Vec<(ThirdOctave, Vec<[f64; 3]>)>,
}

/// Window, transform and band edges of one length of frames.
struct Framer {
    window: Vec<f64>,
    square: f64,
    forward: Arc<dyn RealToComplex<f64>>,
    time: Vec<f64>,
    bins: Vec<Complex64>,
    scratch: Vec<Complex64>,
    /// First bin, last bin, shares of both.
    edges: Vec<(usize, usize, f64, f64)>,
}

impl Framer {
    /// Frames of `length` samples at `rate_hz`; the bands' edges are `ratio` times their own.
    fn new(length: usize, rate_hz: f64, bands: &[ThirdOctave], ratio: f64) -> Self {
        let size = next_fast_length(length.max(16).next_multiple_of(2)).next_multiple_of(2);
        let forward = <f64 as inner_loops::Precision>::real_forward(size);
        let window = hann(length);
        let step_hz = rate_hz / size as f64;
        let top = size / 2;
        let edges = bands
            .iter()
            .map(|band| {
                // Bin k holds from k - 1/2 to k + 1/2.
                let low = band.lower_hz * ratio / step_hz + 0.5;
                let high = band.upper_hz * ratio / step_hz + 0.5;
                let (first, last) = ((low as usize).min(top), (high as usize).min(top));
                (first, last, 1.0 - low.fract(), high.fract())
            })
            .collect();
        Self {
            square: window.iter().map(|w| w * w).sum(),
            window,
            time: forward.make_input_vec(),
            bins: forward.make_output_vec(),
            scratch: forward.make_scratch_vec(),
            forward,
            edges,
        }
    }

    /// Mean square in each band of one frame.
    fn powers(&mut self, samples: impl Iterator<Item = f64>) -> Vec<f64> {
        self.time.fill(0.0);
        for ((slot, x), w) in self.time.iter_mut().zip(samples).zip(&self.window) {
            *slot = x * w;
        }
        let scale = 2.0 / (self.time.len() as f64 * self.square);
        // The buffers are made for this plan, so the transform cannot refuse them.
        let _ = self.forward.process_with_scratch(&mut self.time, &mut self.bins, &mut self.scratch);
        let power = |k: usize| self.bins[k].norm_sqr();
        self.edges
            .iter()
            .map(|&(first, last, low_share, high_share)| {
                let whole: f64 = (first + 1..last).map(power).sum();
                let ends = if first == last {
                    power(first) * (low_share + high_share - 1.0)
                } else {
                    power(first) * low_share + power(last) * high_share
                };
                (whole + ends) * scale
            })
            .collect()
    }
}

struct ReturnFrames {
    bands: Vec<ThirdOctave>,
    length: usize,
    framer: Framer,
    pending: [Vec<f64>; 2],
    first: u64,
    /// Middle of each frame, s of the return, and the powers of both channels.
    frames: Vec<(f64, [Vec<f64>; 2])>,
}

impl ReturnFrames {
    fn new(rate_hz: f64, seconds: f64, bands: Vec<ThirdOctave>, ratio: f64) -> Self {
        let length = ((rate_hz * seconds) as usize).next_power_of_two();
        let framer = Framer::new(length, rate_hz, &bands, ratio);
        Self { bands, length, framer, pending: [Vec::new(), Vec::new()], first: 0, frames: Vec::new() }
    }

    fn feed(&mut self, block: [&[f64]; 2], rate_hz: f64, from_s: f64) {
        for (pending, samples) in self.pending.iter_mut().zip(block) {
            pending.extend_from_slice(samples);
        }
        let hop = self.length / 2;
        let mut start = 0;
        while self.pending[0].len() - start >= self.length {
            let middle_s = from_s + (self.first as f64 + hop as f64) / rate_hz;
            let powers = [0, 1].map(|side| {
                self.framer.powers(self.pending[side][start..start + self.length].iter().copied())
            });
            self.frames.push((middle_s, powers));
            self.first += hop as u64;
            start += hop;
        }
        self.pending.iter_mut().for_each(|pending| drop(pending.drain(..start)));
    }
}

impl Meter for NoiseBandsMeter {
    type Plan = NoisePlace;
    type Output = Option<NoiseBands>;

    fn new(rate_hz: f64, place: NoisePlace) -> Option<Self> {
        let bands: Vec<ThirdOctave> = third_octaves(25.0, 20_000.0)
            .filter(|band| band.upper_hz * place.ratio < (RETURN_SHARE * rate_hz).min(top_hz(rate_hz)))
            .collect();
        let (low, high) = bands.into_iter().partition(|band| band.mid_hz < TAKE_OVER_HZ);
        let frames = |seconds: f64, bands| ReturnFrames::new(rate_hz, seconds, bands, place.ratio);
        Some(Self {
            frames: [frames(FRAMES_S[0], low), frames(FRAMES_S[1], high)],
            left_over: (LONGEST_S * rate_hz) as u64,
            rate_hz,
            place,
        })
    }

    fn feed(&mut self, block: [&[f64]; 2]) {
        let count = self.left_over.min(block[0].len() as u64) as usize;
        self.left_over -= count as u64;
        for frames in &mut self.frames {
            // Pieces keep what is pending short.
            for (left, right) in block[0][..count].chunks(16_384).zip(block[1][..count].chunks(16_384)) {
                frames.feed([left, right], self.rate_hz, self.place.from_s);
            }
        }
    }

    /// The powers of all frames beside those of the programme; `None` if less than three long frames were fed.
    fn finish(self) -> Option<NoiseBands> {
        let [long, short] = &self.frames;
        if long.frames.len() < 3 || short.frames.len() < 3 {
            return None;
        }
        let programme_hz = PROGRAMME_RATES_HZ
            .into_iter()
            .map(|rate| (level_correlation(short, &self.place, rate, self.rate_hz), rate))
            .max_by(|a, b| a.0.total_cmp(&b.0))?
            .1;
        let scale = programme_scale(&self.place.part, programme_hz, self.place.reference_dbfs)?;
        let mut bands = Vec::new();
        for frames in &self.frames {
            let programme = programme_frames(frames, &self.place, programme_hz, self.rate_hz, usize::MAX);
            for (k, band) in frames.bands.iter().enumerate() {
                if band.upper_hz > PROGRAMME_SHARE * f64::from(programme_hz) {
                    continue;
                }
                let rows = frames
                    .frames
                    .iter()
                    .zip(&programme)
                    .filter_map(|((_, powers), programme)| {
                        let programme = programme.as_ref()?;
                        Some([powers[0][k], powers[1][k], programme[k] * scale])
                    })
                    .collect();
                bands.push((*band, rows));
            }
        }
        let sound =
            bands.iter().all(|(_, rows): &(_, Vec<[f64; 3]>)| rows.iter().flatten().all(|x| x.is_finite()));
        sound.then_some(NoiseBands { place: self.place, bands })
    }
}

fn generator(part: &PlacedPart, rate: u32) -> Option<Noise> {
    match part.signal {
        Signal::Noise { colour: Colour::White, seed } => Some(Noise::white(seed)),
        Signal::Noise { colour: Colour::Pink, seed } => Noise::pink(seed, rate),
        _ => None,
    }
}

/// Factor from the generator's mean square to the programme's.
fn programme_scale(part: &PlacedPart, rate: u32, reference_dbfs: f64) -> Option<f64> {
    let frames = (part.length_s.min(LEVEL_S) * f64::from(rate)).round() as u64;
    let rms = generator(part, rate)?.extent(frames).rms;
    // A full-scale sine has mean square 1/2, and noise of the same level has so, too.
    (rms > 0.0).then(|| 0.5 * 10f64.powf((reference_dbfs + part.level_db) / 10.0) / (rms * rms))
}

/// Powers of the programme's noise in the frames of the return (the first `most` of them), for a programme at `rate`;
/// `None` for a frame that lies outside the part.
fn programme_frames(
    frames: &ReturnFrames,
    place: &NoisePlace,
    rate: u32,
    return_rate_hz: f64,
    most: usize,
) -> Vec<Option<Vec<f64>>> {
    let rate_hz = f64::from(rate);
    // A frame of the return holds so much of the programme.
    let length = ((frames.length as f64 / return_rate_hz * place.ratio * rate_hz).round() as usize).max(16);
    let mut framer = Framer::new(length, rate_hz, &frames.bands, 1.0);
    let Some(mut noise) = generator(&place.part, rate) else { return Vec::new() };
    let end = (place.part.length_s * rate_hz).round() as i64;
    let mut held: VecDeque<f64> = VecDeque::new();
    let mut first = 0i64;
    frames
        .frames
        .iter()
        .take(most)
        .map(|(middle_s, _)| {
            let middle = (place.map.to_programme(*middle_s) - place.part.start_s) * rate_hz;
            let start = middle.round() as i64 - length as i64 / 2;
            if start < first || start + length as i64 > end {
                return None;
            }
            while first + (held.len() as i64) < start + length as i64 {
                held.push_back(noise.sample());
                if first < start {
                    held.pop_front();
                    first += 1;
                }
            }
            let gone = ((start - first).max(0) as usize).min(held.len());
            held.drain(..gone);
            first += gone as i64;
            Some(framer.powers(held.iter().take(length).copied()))
        })
        .collect()
}

/// How alike the ups and downs of the return and of a programme at `rate` are: correlation of levels in dB over the first
/// seconds, each band against its own mean.
fn level_correlation(frames: &ReturnFrames, place: &NoisePlace, rate: u32, return_rate_hz: f64) -> f64 {
    let most = (4.0 * 2.0 * return_rate_hz / frames.length as f64) as usize;
    let programme = programme_frames(frames, place, rate, return_rate_hz, most);
    let (mut xy, mut xx, mut yy) = (0.0, 0.0, 0.0);
    let clear = |band: &ThirdOctave| (TAKE_OVER_HZ..6000.0).contains(&band.mid_hz);
    for (k, _) in frames.bands.iter().enumerate().filter(|(_, band)| clear(band)) {
        let pairs: Vec<(f64, f64)> = frames
            .frames
            .iter()
            .zip(&programme)
            .filter_map(|((_, powers), programme)| {
                let (x, y) = (programme.as_ref()?[k], powers[0][k] + powers[1][k]);
                (x > 0.0 && y > 0.0).then(|| (x.ln(), y.ln()))
            })
            .collect();
        let count = pairs.len().max(1) as f64;
        let (mx, my) = pairs.iter().fold((0.0, 0.0), |sum, pair| (sum.0 + pair.0, sum.1 + pair.1));
        for (x, y) in &pairs {
            let (x, y) = (x - mx / count, y - my / count);
            (xy, xx, yy) = (xy + x * y, xx + x * x, yy + y * y);
        }
    }
    if xx > 0.0 && yy > 0.0 { xy / (xx * yy).sqrt() } else { 0.0 }
}

impl NoiseBands {
    /// Level of the noise in the programme, dB re its reference level.
    pub fn programme_db(&self) -> f64 {
        self.place.part.level_db
    }

    /// Gains, by rising frequency. `silence` is a silent part of the same return, for the hiss.
    pub fn gains(&self, silence: Option<&Silence>) -> Vec<BandGain> {
        let heard = match self.place.part.channels {
            Channels::Both | Channels::Opposed => [true, true],
            Channels::Left => [true, false],
            Channels::Right => [false, true],
        };
        let sound = [0, 1].map(|side| self.sound_frames(side));
        self.bands
            .iter()
            .map(|(band, rows)| {
                let ratio = self.place.ratio;
                let gain = [0, 1].map(|side| {
                    let hiss = silence.map_or(0.0, |silence| {
                        silence.band_power(side, band.lower_hz * ratio, band.upper_hz * ratio)
                    });
                    if heard[side] { band_gain(rows, side, hiss, &sound[side]) } else { None }
                });
                BandGain {
                    hz: band.mid_hz,
                    gain_db: gain.map(|gain| gain.map(|gain| gain.0)),
                    uncertainty_db: gain.map(|gain| gain.map(|gain| gain.1)),
                }
            })
            .collect()
    }

    /// Stretches without a dropout: for each short frame, whether it is sound.
    fn sound_frames(&self, side: usize) -> Vec<bool> {
        let wide: Vec<&Vec<[f64; 3]>> = self
            .bands
            .iter()
            .filter(|(band, _)| (1000.0..9000.0).contains(&band.mid_hz))
            .map(|(_, rows)| rows)
            .collect();
        let count = wide.iter().map(|rows| rows.len()).min().unwrap_or(0);
        let gains: Vec<f64> = (0..count)
            .map(|m| {
                // Each band against its own mean, so that none rules.
                let levels = wide.iter().map(|rows| {
                    let mean = |which: usize| rows.iter().map(|row| row[which]).sum::<f64>().max(1e-300);
                    [rows[m][side] / mean(side), rows[m][2] / mean(2)]
                });
                let [y, x] = levels.fold([0.0, 0.0], |sum, level| [sum[0] + level[0], sum[1] + level[1]]);
                10.0 * (y / x.max(1e-300)).max(1e-9).log10()
            })
            .collect();
        let middle = median(&gains);
        let odd: Vec<bool> = gains.iter().map(|gain| (gain - middle).abs() > ODD_DB).collect();
        let near = |m: usize| odd[m.saturating_sub(1)..(m + 2).min(count)].contains(&true);
        let sound: Vec<bool> = (0..count).map(|m| !near(m)).collect();
        // A noise that comes and goes all the time is what it is.
        if sound.iter().filter(|sound| **sound).count() * 2 < count { vec![true; count] } else { sound }
    }
}

/// Gain of one band and its expanded uncertainty, dB.
fn band_gain(rows: &[[f64; 3]], side: usize, hiss: f64, sound: &[bool]) -> Option<(f64, f64)> {
    // Long frames hold many short ones; they count where none of those is odd, as long as most do.
    let share = sound.len() as f64 / rows.len().max(1) as f64;
    let is_sound = |m: usize| {
        let from = ((m as f64 * share) as usize).min(sound.len());
        let to = (((m as f64 + 1.0) * share).ceil() as usize).clamp(from, sound.len());
        sound[from..to].iter().all(|sound| *sound)
    };
    let mut kept: Vec<[f64; 2]> =
        rows.iter().enumerate().filter(|(m, _)| is_sound(*m)).map(|(_, row)| [row[side], row[2]]).collect();
    if kept.len() * 2 < rows.len() {
        kept = rows.iter().map(|row| [row[side], row[2]]).collect();
    }
    let n = kept.len() as f64;
    let [y, x] = kept.iter().fold([0.0, 0.0], |sum, row| [sum[0] + row[0], sum[1] + row[1]]);
    let signal = y - n * hiss;
    if kept.len() < 3 || !(x > 0.0) || !(signal > 1e-15 * n) || n * hiss > 2.0 * signal {
        return None;
    }
    let gain = signal / x;
    // What the programme's own ups and downs do not explain. Half-overlapping Hann frames are all but independent.
    let rest: f64 = kept.iter().map(|row| (row[0] - hiss - gain * row[1]).powi(2)).sum();
    let error = (1.1 * rest * n / (n - 1.0)).sqrt() / x / gain;
    // The hiss is known to some 5 %.
    let uncertainty = 2.0 * 4.343 * error.hypot(0.05 * n * hiss / signal);
    Some((10.0 * gain.log10(), uncertainty.hypot(FLATNESS_DB)))
}
