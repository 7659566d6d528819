//! Turns a timeline into samples, block by block.

use super::slate::{Side, Slate};
use super::{Channels, Colour, PlacedPart, ProgrammeError, Signal, Timeline};
use crate::signal::fade::Fades;
use crate::signal::noise::Noise;
use crate::signal::oscillator::{Sine, Sweep};

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

    /// Begins again at the first frame.
    #[cfg(feature = "sound-card")]
    pub fn rewind(&mut self) {
        (self.now, self.part, self.voice) = (0, 0, None);
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
        voice.fill(n, stretch);
        for frame in stretch.iter_mut() {
            let [left, right] = frame.map(|x| amplitude * x);
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
    Sines { sines: Vec<Sine>, fades: Fades, sums: Vec<f64> },
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
            let sines = hz.into_iter().map(|hz| Sine::new(hz, rate_hz, frames)).collect();
            Voice::Sines { sines, fades: Fades::new(frames, fade_s, fade_s, rate), sums: Vec::new() }
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

    /// Frames from `n` of the part on; noise must be asked in order.
    fn fill(&mut self, n: u64, frames: &mut [[f64; 2]]) {
        let length = frames.len();
        let numbered = frames.iter_mut().zip(n..);
        match self {
            Voice::Silence => numbered.for_each(|(frame, _)| *frame = [0.0; 2]),
            Voice::Sines { sines, fades, sums } => {
                sums.clear();
                // What is added to -0 stays as it is, 0 included.
                sums.resize(length, -0.0);
                sines.iter().for_each(|sine| sine.add(n, sums));
                let count = sines.len() as f64;
                for ((frame, n), sum) in numbered.zip(sums) {
                    *frame = [fades.at(n) * *sum / count; 2];
                }
            }
            Voice::Sweep { sweep, rate_hz, fades } => {
                for (frame, n) in numbered {
                    *frame = [fades.at(n) * sweep.at(n as f64 / *rate_hz); 2];
                }
            }
            Voice::Noise { noise, scale, fades } => {
                for (frame, n) in numbered {
                    *frame = [fades.at(n) * *scale * noise.sample(); 2];
                }
            }
            Voice::Slate { left, right } => {
                let at = |samples: &[f64], n: u64| {
                    usize::try_from(n).ok().and_then(|n| samples.get(n)).copied().unwrap_or_default()
                };
                for (frame, n) in numbered {
                    *frame = [at(left, n), at(right, n)];
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::programme::{Recipe, built_in_by_name};
    use crate::signal::statistics::rms;
    use proptest::prelude::*;
    use std::f64::consts::{SQRT_2, TAU};

    const RATES_HZ: [u32; 3] = [44_100, 48_000, 96_000];

    /// A programme of one slate and the given parts.
    fn timeline(parts: &str) -> Timeline {
        let text = format!("name = \"test\"\ntitle = \"Test\"\n[[part]]\nkind = \"slate\"\n{parts}");
        Timeline::from(&Recipe::parse(&text, "test.toml").unwrap())
    }

    fn tone(hz: f64, keys: &str) -> String {
        format!(
            "[[part]]\nkind = \"tone\"\nid = \"tone-{hz}\"\nhz = {hz}\nlength_s = 1.0\nserves = \"nothing\"\n{keys}\n"
        )
    }

    /// Samples of part `k` on both channels.
    fn part(timeline: &Timeline, k: usize, rate_hz: u32) -> [Vec<f64>; 2] {
        let place = &timeline.parts[k];
        let start = frames_of(place.start_s, rate_hz) as usize;
        let end = start + frames_of(place.length_s, rate_hz) as usize;
        Renderer::new(timeline, rate_hz, -12.0).unwrap().collect().map(|channel| channel[start..end].to_vec())
    }

    /// Least-squares amplitude and phase (rad, of a sine, at sample 0) at `hz`.
    fn fit(samples: &[f64], hz: f64, rate_hz: u32) -> (f64, f64) {
        let (mut ss, mut sc, mut cc, mut sx, mut cx) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (n, x) in samples.iter().enumerate() {
            let (s, c) = (TAU * hz * n as f64 / f64::from(rate_hz)).sin_cos();
            (ss, sc, cc, sx, cx) = (ss + s * s, sc + s * c, cc + c * c, sx + s * x, cx + c * x);
        }
        let det = ss * cc - sc * sc;
        let (a, b) = ((sx * cc - cx * sc) / det, (cx * ss - sx * sc) / det);
        (a.hypot(b), b.atan2(a))
    }

    #[test]
    fn tones_have_their_level_frequency_and_phase_to_the_sample() {
        let hz = [20.0, 315.0, 1_000.5, 3_150.0, 10_000.0, 20_000.0];
        let timeline = timeline(&hz.map(|hz| tone(hz, "level_db = -20")).concat());
        for rate_hz in RATES_HZ {
            for (k, hz) in hz.into_iter().enumerate() {
                let [left, right] = part(&timeline, k + 1, rate_hz);
                assert_eq!(left, right, "{hz} Hz");
                assert_eq!(left.len(), rate_hz as usize);
                // Between the fades. Half a second apart, the phases tell the frequency.
                let (from, half) = (rate_hz as usize / 10, rate_hz as usize / 2);
                let early = fit(&left[from..from + half / 2], hz, rate_hz);
                let late = fit(&left[from + half..from + half + half / 2], hz, rate_hz);
                let phase = |start: usize| TAU * hz * start as f64 / f64::from(rate_hz);
                for ((amplitude, at), start) in [(early, from), (late, from + half)] {
                    // Double precision.
                    assert_within!(amplitude, 10f64.powf(-32.0 / 20.0), 1e-10, "", "{hz} Hz at {rate_hz}");
                    let off = (at - phase(start)).sin();
                    assert_within!(off, 0.0, 1e-8, "rad", "{hz} Hz at {rate_hz}, frame {start}");
                }
            }
        }
    }

    #[test]
    fn every_part_starts_and_ends_at_zero() {
        let timeline = Timeline::from(&built_in_by_name("first-look").unwrap());
        for rate_hz in [44_100, 48_000] {
            let channels = Renderer::new(&timeline, rate_hz, -12.0).unwrap().collect();
            for channel in channels {
                assert_eq!(channel.len() as u64, frames_of(timeline.length_s, rate_hz));
                for place in &timeline.parts {
                    let start = frames_of(place.start_s, rate_hz) as usize;
                    let last = start + frames_of(place.length_s, rate_hz) as usize - 1;
                    // The chirps of a slate end within 1e-9 of zero; all others at zero.
                    assert!(channel[start].abs() < 1e-9 && channel[last].abs() < 1e-9, "{}", place.id);
                    // Nothing sounds in the gap.
                    assert_eq!(channel.get(last + 1).copied().unwrap_or(0.0), 0.0, "{}", place.id);
                    let heard = !matches!(place.signal, Signal::Silence);
                    let peak = channel[start..=last].iter().fold(0.0, |peak: f64, x| peak.max(x.abs()));
                    assert_eq!(peak > 0.0, heard, "{}", place.id);
                }
            }
        }
    }

    #[test]
    fn channels_are_as_asked() {
        let keys = |channels: &str| format!("level_db = 0\nchannels = \"{channels}\"");
        let timeline = timeline(
            &[tone(400.0, &keys("left")), tone(500.0, &keys("right")), tone(600.0, &keys("opposed"))]
                .concat(),
        );
        let [left, right] = part(&timeline, 1, 48_000);
        assert!(rms(&left) > 0.1 && rms(&right) == 0.0);
        let [left, right] = part(&timeline, 2, 48_000);
        assert!(rms(&left) == 0.0 && rms(&right) > 0.1);
        let [left, right] = part(&timeline, 3, 48_000);
        assert!(rms(&left) > 0.1 && left.iter().zip(&right).all(|(l, r)| *l == -r));
    }

    #[test]
    fn slates_carry_the_code_and_their_number() {
        let timeline = timeline("[[part]]\nkind = \"slate\"\nlevel_db = -6\n");
        let [left, right] = part(&timeline, 1, 48_000);
        let slate = Slate { code: timeline.code, index: 1 };
        let want =
            slate.samples(48_000.0, Side::Left).iter().map(|x| x * amplitude(-18.0)).collect::<Vec<_>>();
        assert_eq!(left, want);
        assert_ne!(left, right, "one chirp is on the left only");
    }

    #[test]
    fn the_sines_of_a_chord_share_its_level() {
        let timeline = timeline(
            "[[part]]\nkind = \"chord\"\nid = \"twin\"\nhz = [9500, 10500]\nlevel_db = -10\nlength_s = 1\n",
        );
        let [left, _] = part(&timeline, 1, 48_000);
        for hz in [9_500.0, 10_500.0] {
            // A tenth of a second holds whole periods of both, so they do not disturb each other.
            let (amplitude, _) = fit(&left[4_800..9_600], hz, 48_000);
            let level_db = 20.0 * amplitude.log10() + 12.0;
            assert_within!(level_db, -10.0 - 20.0 * 2f64.log10(), 1e-6, "dB", "{hz} Hz");
        }
        assert!(left.iter().all(|x| x.abs() <= amplitude(-22.0)));
    }

    #[test]
    fn a_sweep_passes_each_frequency_when_it_should() {
        let timeline = timeline(
            "[[part]]\nkind = \"sweep\"\nid = \"sweep\"\nfrom_hz = 20\nto_hz = 20000\nlevel_db = -20\nlength_s = 6\nserves = \"nothing\"\n",
        );
        for rate_hz in RATES_HZ {
            let [left, _] = part(&timeline, 1, rate_hz);
            for hz in [100.0f64, 1_000.0, 10_000.0] {
                let t_s = 6.0 * (hz / 20.0).ln() / 1_000f64.ln();
                // Mean frequency of 20 ms around it, from the zero crossings upwards.
                let half = 0.01f64.max(3.0 / hz) * f64::from(rate_hz);
                let middle = t_s * f64::from(rate_hz);
                let window = &left[(middle - half) as usize..(middle + half) as usize];
                let crossings: Vec<f64> = window
                    .windows(2)
                    .enumerate()
                    .filter(|(_, pair)| pair[0] < 0.0 && pair[1] >= 0.0)
                    .map(|(n, pair)| n as f64 + pair[0] / (pair[0] - pair[1]))
                    .collect();
                let spread = crossings[crossings.len() - 1] - crossings[0];
                let got_hz = (crossings.len() - 1) as f64 * f64::from(rate_hz) / spread;
                // 2 %: at 100 Hz the window is 60 ms, in which the sweep moves by 7 %, and need not lie even about it.
                assert_within!(got_hz / hz, 1.0, 0.02, "", "{hz} Hz at {rate_hz}");
            }
            let middle = &left[left.len() / 4..left.len() / 2];
            assert_within!(20.0 * (rms(middle) * SQRT_2).log10(), -32.0, 0.01, "dB", "level at {rate_hz}");
        }
    }

    #[test]
    fn noise_has_its_true_rms_and_does_not_clip() {
        for colour in ["white", "pink"] {
            let text =
                format!("[[part]]\nkind = \"noise\"\nid = \"n\"\ncolour = \"{colour}\"\nlength_s = 5\n");
            let timeline = timeline(&(text + "level_db = -3\n"));
            for rate_hz in RATES_HZ {
                let [left, right] = part(&timeline, 1, rate_hz);
                assert_eq!(left, right);
                let level_dbfs = 20.0 * (rms(&left) * SQRT_2).log10();
                // Asked for: 0.05 dB. The fades take 0.01 dB.
                assert_within!(level_dbfs, -15.0, 0.02, "dB", "{colour} at {rate_hz}");
                assert!(left.iter().all(|x| x.abs() < 1.0));
            }
        }
    }

    #[test]
    fn what_would_clip_is_refused_and_the_advice_works() {
        let noise = "[[part]]\nkind = \"noise\"\nid = \"n\"\ncolour = \"pink\"\nlevel_db = 3\nlength_s = 1\n";
        for parts in [tone(315.0, "level_db = 13"), noise.to_owned()] {
            let timeline = timeline(&parts);
            let refused = Renderer::new(&timeline, 48_000, -12.0).unwrap_err();
            let ProgrammeError::Clips { part, peak_dbfs, highest_reference_dbfs, .. } = refused else {
                panic!("{refused}");
            };
            assert_eq!(part, timeline.parts[1].id);
            let slate_end_s = timeline.parts[1].start_s;
            assert!(peak_dbfs > 0.0);
            Renderer::new(&timeline, 48_000, highest_reference_dbfs).unwrap();
            Renderer::new(&timeline, 48_000, highest_reference_dbfs + 0.02).unwrap_err();
            // At the advised level the loudest sample comes within the rounding of the advice (0.01 dB) and what a
            // 1 s tone's samples miss of its crest, but not beyond the limit.
            let [left, _] = Renderer::new(&timeline, 48_000, highest_reference_dbfs).unwrap().collect();
            let slate = frames_of(slate_end_s, 48_000) as usize;
            let peak = left[slate..].iter().fold(0.0, |peak: f64, x| peak.max(x.abs()));
            assert!((0.998..=HIGHEST_PEAK).contains(&peak), "{part}: {peak}");
        }
    }

    #[test]
    fn what_the_rate_cannot_carry_is_refused() {
        let timeline = timeline(&tone(20_500.0, "level_db = 0"));
        let message = Renderer::new(&timeline, 44_100, -12.0).unwrap_err().to_string();
        assert!(message.contains("20500 Hz") && message.contains("20286 Hz"), "{message}");
        Renderer::new(&timeline, 48_000, -12.0).unwrap();
        assert!(matches!(Renderer::new(&timeline, 47_999, -12.0), Err(ProgrammeError::Rate { .. })));
        for reference_dbfs in [f64::NAN, f64::INFINITY, 0.1, -60.1] {
            let refused = Renderer::new(&timeline, 48_000, reference_dbfs);
            assert!(matches!(refused, Err(ProgrammeError::ReferenceLevel { .. })), "{reference_dbfs}");
        }
    }

    #[test]
    fn built_in_recipes_can_be_written_at_every_rate() {
        for recipe in crate::programme::built_in() {
            let timeline = Timeline::from(&recipe);
            for rate_hz in RATES_HZ {
                let renderer = Renderer::new(&timeline, rate_hz, -12.0).unwrap();
                // Every start falls on a whole sample.
                for part in &timeline.parts {
                    let frames = part.start_s * f64::from(rate_hz);
                    assert_within!(frames, frames.round(), 1e-6, "frame", "{} at {rate_hz}", part.id);
                }
                assert_within!(
                    renderer.frames() as f64,
                    timeline.length_s * f64::from(rate_hz),
                    1e-6,
                    "frame"
                );
            }
        }
    }

    /// Renders in blocks of `sizes`, in turn, and holds them against the whole.
    fn assert_same_in_blocks(sizes: &[usize]) {
        let timeline = timeline(&[
            tone(315.0, "level_db = 0"),
            "[[part]]\nkind = \"noise\"\nid = \"n\"\ncolour = \"pink\"\nlevel_db = -20\nlength_s = 0.5\n".into(),
            "[[part]]\nkind = \"sweep\"\nid = \"s\"\nfrom_hz = 2000\nto_hz = 20\nlevel_db = -20\nlength_s = 0.5\nserves = \"nothing\"\n".into(),
        ].concat());
        let [left, right] = Renderer::new(&timeline, 44_100, -12.0).unwrap().collect();
        let mut renderer = Renderer::new(&timeline, 44_100, -12.0).unwrap();
        let mut at = 0;
        for size in sizes.iter().cycle() {
            let mut block = vec![[f64::NAN; 2]; *size];
            let count = renderer.fill(&mut block);
            if count == 0 {
                break;
            }
            for frame in &block[..count] {
                assert_eq!(*frame, [left[at], right[at]], "frame {at}, blocks of {sizes:?}");
                at += 1;
            }
        }
        assert_eq!(at, left.len());
    }

    #[test]
    fn frame_by_frame_gives_the_same_samples() {
        assert_same_in_blocks(&[1]);
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 20, failure_persistence: None, ..ProptestConfig::default() })]
        #[test]
        fn any_size_of_blocks_gives_the_same_samples(sizes in prop::collection::vec(1usize..30_000, 1..20)) {
            assert_same_in_blocks(&sizes);
        }
    }
}
