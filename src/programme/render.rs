//! Turns a timeline into samples, block by block.

use super::slate::{Side, Slate};
use super::{Channels, Colour, PlacedPart, ProgrammeError, Signal, Timeline};
use crate::signal::fade::Fades;
use crate::signal::noise::Noise;
use crate::signal::oscillator::{Sweep, sine};

/// Highest frequency as a share of the sample rate: what still leaves every converter's filter alone (common
/// practice, no source).
pub const HIGHEST_SHARE: f64 = 0.46;
/// Highest peak: 4 steps of 16 bits below full scale, so that dither does not reach it either.
const HIGHEST_PEAK: f64 = 1.0 - 1.0 / 8192.0;

/// Refuses any sample rate but 44 100, 48 000 and 96 000 Hz.
///
/// # Errors
///
/// [`ProgrammeError::Rate`].
pub fn check_rate(rate_hz: u32) -> Result<(), ProgrammeError> {
    if matches!(rate_hz, 44_100 | 48_000 | 96_000) { Ok(()) } else { Err(ProgrammeError::Rate { rate_hz }) }
}

/// Renders a programme: asked for blocks, it gives frames `[left, right]`, full scale +-1.
///
/// 0 dBFS is the rms of a full-scale sine, so a tone at level L has the amplitude 10^((reference + L)/20), and noise at
/// level L the rms 10^((reference + L)/20) / sqrt(2), exactly, over its whole length without its fades. Memory does not
/// grow with the length of the programme, and the size of the blocks changes no sample.
#[derive(Debug)]
pub struct Renderer<'a> {
    timeline: &'a Timeline,
    rate_hz: u32,
    reference_dbfs: f64,
    /// Factor of each part's noise to rms 1; 1 for what is no noise.
    noise_scales: Vec<f64>,
    frames: u64,
    now: u64,
    /// Index of the part that plays or comes next.
    part: usize,
    voice: Option<Voice>,
}

impl<'a> Renderer<'a> {
    /// Checks that the programme can be played at `rate_hz` with its 0 dB at `reference_dbfs` (-60 to 0, usually -12).
    ///
    /// # Errors
    ///
    /// [`ProgrammeError::Rate`], [`ProgrammeError::ReferenceLevel`], [`ProgrammeError::TooHigh`] or
    /// [`ProgrammeError::Clips`].
    pub fn new(timeline: &'a Timeline, rate_hz: u32, reference_dbfs: f64) -> Result<Self, ProgrammeError> {
        check_rate(rate_hz)?;
        if !(-60.0..=0.0).contains(&reference_dbfs) {
            return Err(ProgrammeError::ReferenceLevel { reference_dbfs });
        }
        let mut noise_scales = Vec::with_capacity(timeline.parts.len());
        for part in &timeline.parts {
            check_frequencies(part, rate_hz)?;
            let (scale, peak_per_amplitude) = match part.signal {
                Signal::Silence | Signal::Pause { .. } => (1.0, 0.0),
                // The sines of a chord are lowered so that together they reach the peak of one.
                Signal::Tone { .. } | Signal::Chord { .. } | Signal::Sweep { .. } | Signal::Slate { .. } => {
                    (1.0, 1.0)
                }
                Signal::Noise { colour, seed } => {
                    let frames = frames_of(part.length_s, rate_hz);
                    let extent = noise(colour, seed, rate_hz)?.extent(frames);
                    let scale = if extent.rms > 0.0 { 1.0 / extent.rms } else { 0.0 };
                    (scale, extent.peak * scale / 2.0f64.sqrt())
                }
            };
            let peak = peak_per_amplitude * amplitude(reference_dbfs + part.level_db);
            if peak > HIGHEST_PEAK {
                let peak_dbfs = 20.0 * peak.log10();
                // Rounded down, so that what is advised works.
                let room_db = 20.0 * (HIGHEST_PEAK / peak).log10();
                return Err(ProgrammeError::Clips {
                    part: part.id.clone(),
                    peak_dbfs,
                    reference_dbfs,
                    highest_reference_dbfs: ((reference_dbfs + room_db) * 100.0).floor() / 100.0,
                });
            }
            noise_scales.push(scale);
        }
        let frames = frames_of(timeline.length_s, rate_hz);
        Ok(Self { timeline, rate_hz, reference_dbfs, noise_scales, frames, now: 0, part: 0, voice: None })
    }

    /// Length of the whole programme, frames.
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// Sample rate, Hz.
    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    /// Fills `block` with the next frames and returns how many; 0 at the end. What is beyond them is left alone.
    pub fn fill(&mut self, block: &mut [[f64; 2]]) -> usize {
        let mut done = 0;
        while done < block.len() && self.now < self.frames {
            let (start, end) = self.bounds();
            let stop = if self.now < start { start } else { end }.min(self.frames);
            let count = (block.len() - done).min(usize::try_from(stop - self.now).unwrap_or(usize::MAX));
            let stretch = &mut block[done..done + count];
            if self.now < start {
                stretch.fill([0.0; 2]);
            } else {
                self.play(stretch, self.now - start, end - start);
            }
            done += count;
            self.now += count as u64;
            if self.now >= end {
                self.part += 1;
                self.voice = None;
            }
        }
        done
    }

    /// The whole programme at once, one vector for each channel. For short programmes: memory grows with the length.
    pub fn collect(mut self) -> [Vec<f64>; 2] {
        let mut channels = [Vec::new(), Vec::new()];
        let mut block = [[0.0; 2]; 4096];
        loop {
            let count = self.fill(&mut block);
            if count == 0 {
                return channels;
            }
            for [left, right] in &block[..count] {
                channels[0].push(*left);
                channels[1].push(*right);
            }
        }
    }

    /// First frame of the part that plays or comes next, and the first frame behind it.
    fn bounds(&self) -> (u64, u64) {
        match self.timeline.parts.get(self.part) {
            None => (self.frames, self.frames),
            Some(part) => {
                let start = frames_of(part.start_s, self.rate_hz);
                (start, start + frames_of(part.length_s, self.rate_hz))
            }
        }
    }

    /// Plays from frame `n` of the present part, which has `frames`.
    fn play(&mut self, stretch: &mut [[f64; 2]], n: u64, frames: u64) {
        let Some(part) = self.timeline.parts.get(self.part) else {
            stretch.fill([0.0; 2]);
            return;
        };
        let amplitude = amplitude(self.reference_dbfs + part.level_db);
        let voice = self.voice.get_or_insert_with(|| {
            let noise_scale = self.noise_scales.get(self.part).copied().unwrap_or_default();
            Voice::new(part, self.timeline.code, self.rate_hz, frames, noise_scale)
        });
        for (k, frame) in stretch.iter_mut().enumerate() {
            let [left, right] = voice.frame(n + k as u64).map(|x| amplitude * x);
            *frame = match part.channels {
                Channels::Both => [left, right],
                Channels::Left => [left, 0.0],
                Channels::Right => [0.0, right],
                Channels::Opposed => [left, -right],
            };
        }
    }
}

/// Frames in `seconds`.
fn frames_of(seconds: f64, rate_hz: u32) -> u64 {
    (seconds * f64::from(rate_hz)).round() as u64
}

/// Amplitude of a sine at `level_dbfs`, re full scale.
fn amplitude(level_dbfs: f64) -> f64 {
    10.0f64.powf(level_dbfs / 20.0)
}

fn noise(colour: Colour, seed: u64, rate_hz: u32) -> Result<Noise, ProgrammeError> {
    match colour {
        Colour::White => Ok(Noise::white(seed)),
        Colour::Pink => Noise::pink(seed, rate_hz).ok_or(ProgrammeError::Rate { rate_hz }),
    }
}

fn check_frequencies(part: &PlacedPart, rate_hz: u32) -> Result<(), ProgrammeError> {
    let highest_hz = HIGHEST_SHARE * f64::from(rate_hz);
    let hz = match &part.signal {
        Signal::Tone { hz } => *hz,
        Signal::Chord { hz } => hz.iter().copied().fold(0.0, f64::max),
        Signal::Sweep { from_hz, to_hz } => from_hz.max(*to_hz),
        Signal::Slate { .. } | Signal::Silence | Signal::Pause { .. } | Signal::Noise { .. } => return Ok(()),
    };
    if hz > highest_hz {
        return Err(ProgrammeError::TooHigh { part: part.id.clone(), hz, rate_hz, highest_hz });
    }
    Ok(())
}

/// What makes the samples of one part, at amplitude 1.
#[derive(Debug)]
enum Voice {
    Silence,
    Sines { hz: Vec<f64>, rate_hz: f64, fades: Fades },
    Sweep { sweep: Sweep, rate_hz: f64, fades: Fades },
    Noise { noise: Box<Noise>, scale: f64, fades: Fades },
    Slate { left: Vec<f64>, right: Vec<f64> },
}

impl Voice {
    fn new(part: &PlacedPart, code: u16, rate_hz: u32, frames: u64, noise_scale: f64) -> Self {
        let rate = f64::from(rate_hz);
        let sines = |hz: Vec<f64>| {
            let lowest_hz = hz.iter().copied().fold(f64::INFINITY, f64::min);
            let fade_s = Fades::seconds_for(lowest_hz);
            Voice::Sines { hz, rate_hz: rate, fades: Fades::new(frames, fade_s, fade_s, rate) }
        };
        match &part.signal {
            Signal::Silence | Signal::Pause { .. } => Voice::Silence,
            Signal::Tone { hz } => sines(vec![*hz]),
            Signal::Chord { hz } => sines(hz.clone()),
            Signal::Sweep { from_hz, to_hz } => {
                let (rise_s, fall_s) = (Fades::seconds_for(*from_hz), Fades::seconds_for(*to_hz));
                let fades = Fades::new(frames, rise_s, fall_s, rate);
                Voice::Sweep { sweep: Sweep::new(*from_hz, *to_hz, part.length_s), rate_hz: rate, fades }
            }
            Signal::Noise { colour, seed } => match noise(*colour, *seed, rate_hz) {
                // Noise at full-scale sine level has the rms 1 / sqrt(2).
                Ok(noise) => {
                    let fade_s = crate::signal::fade::SHORTEST_S;
                    let fades = Fades::new(frames, fade_s, fade_s, rate);
                    Voice::Noise { noise: Box::new(noise), scale: noise_scale / 2.0f64.sqrt(), fades }
                }
                // Renderer::new has refused such a rate.
                Err(_) => Voice::Silence,
            },
            Signal::Slate { index } => {
                let slate = Slate { code, index: *index };
                Voice::Slate {
                    left: slate.samples(rate, Side::Left),
                    right: slate.samples(rate, Side::Right),
                }
            }
        }
    }

    /// Frame `n` of the part; noise must be asked in order.
    fn frame(&mut self, n: u64) -> [f64; 2] {
        match self {
            Voice::Silence => [0.0; 2],
            Voice::Sines { hz, rate_hz, fades } => {
                let sum: f64 = hz.iter().map(|&hz| sine(n, hz, *rate_hz)).sum();
                [fades.at(n) * sum / hz.len() as f64; 2]
            }
            Voice::Sweep { sweep, rate_hz, fades } => [fades.at(n) * sweep.at(n as f64 / *rate_hz); 2],
            Voice::Noise { noise, scale, fades } => [fades.at(n) * *scale * noise.sample(); 2],
            Voice::Slate { left, right } => {
                let at = |samples: &[f64]| {
                    usize::try_from(n).ok().and_then(|n| samples.get(n)).copied().unwrap_or_default()
                };
                [at(left), at(right)]
            }
        }
    }
}
