//! What plays, told by the signal alone, frame by frame: a tone, tones in turn or at once, a sweep, noise, silence, music.
//!
//! A line that keeps its frequency from frame to frame is a tone; its own harmonics and hum are none. What is said follows the
//! sound by two frames, about a tenth of a second.

use super::ring::Ring;
use crate::capture::{Frame, LineFinder};
use crate::reading::Sound;
use std::collections::VecDeque;

/// From frame to frame: so many to a frame's length.
const HOPS: usize = 4;
/// A line is the same as before within this share of its frequency, or within a bin.
const SAME: f64 = 0.015;
/// Lines weaker than the strongest by more than this are no tones beside it, as a ratio of powers: 23 dB.
const BESIDE: f64 = 0.005;
/// A harmonic is weaker than its fundamental by at least this, as a ratio of powers: 9 dB.
const HARMONIC: f64 = 0.13;
/// Highest harmonic that is looked for.
const HARMONICS: f64 = 9.0;
/// Frames in which a line must keep its frequency to be a tone, and to be one of several.
const STEADY: usize = 3;
const STEADY_AT_ONCE: usize = 6;
/// More lines at once than this are music.
const MOST_AT_ONCE: usize = 5;
/// Share of the whole power that the lines of a tone hold at least.
const LEAST_SHARE: f64 = 0.06;
/// Below this a line is no tone, dBFS.
const LEAST_TONE_DBFS: f64 = -75.0;
/// Hum is below this, Hz, nearer to a multiple of the mains than this share, and weaker than the loudest by this, dB.
const HUM_HZ: f64 = 420.0;
const HUM_NEAR: f64 = 0.012;
const HUM_BELOW_DB: f64 = 20.0;
/// Quieter than the loudest by this is silence, dB; so is what lies below this, dBFS.
const SILENT_BELOW_DB: f64 = 28.0;
const SILENT_DBFS: f64 = -52.0;
/// The loudest counts less and less, dB per minute: some minutes later a quieter piece counts by itself.
const LOUDEST_FALLS_DB_PER_MIN: f64 = 6.0;
/// Below this there is nothing at all, dBFS.
const NOTHING_DBFS: f64 = -110.0;
/// Noise is even within this, dB, over so many frames.
const EVEN_DB: f64 = 4.0;
const EVEN_FRAMES: usize = 8;
/// A sweep moves one way in so many frames, by at least this share altogether.
const SWEEP_FRAMES: usize = 8;
const SWEEP_SHARE: f64 = 0.06;
/// A sweep that has no line is still one for so many frames.
const SWEEP_HELD_FRAMES: usize = 36;
/// Changed and not steady again, it is still what it was for so many frames.
const HELD_FRAMES: usize = 4;
/// How long tones in turn are remembered, s; one that lasts longer than this, and than half as long again as the
/// others, is a tone by itself, s.
const TURN_S: f64 = 12.0;
const LONGEST_TURN_S: f64 = 4.0;
/// Tones in turn are weaker than the loudest sound by no more than this, dB.
const TURN_BELOW_DB: f64 = 45.0;

/// A line that is followed.
#[derive(Debug, Clone, Copy)]
struct Track {
    hz: f64,
    power: f64,
    frames: usize,
    missed: usize,
    /// First sample of the first frame that has it.
    from: u64,
    /// End of the last frame that has it.
    to: u64,
}

/// A steady tone that sounds now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SteadyTone {
    /// Hz.
    pub hz: f64,
    /// Samples between which it surely sounds, but for the fades.
    pub from: u64,
    pub to: u64,
}

/// What is heard.
pub(crate) struct Hearing {
    finder: LineFinder,
    hop: u64,
    /// The same, s.
    hop_s: f64,
    /// End of the last frame.
    next: u64,
    buffers: [Vec<f64>; 2],
    tracks: Vec<Track>,
    /// Level of the last frames, dBFS, and their strongest line, Hz.
    levels: VecDeque<f64>,
    strongest: VecDeque<f64>,
    loudest_dbfs: f64,
    sound: Sound,
    since: u64,
    unsure: usize,
    /// Frames without a line since the last one.
    lineless: usize,
    tones: Vec<SteadyTone>,
    /// Strongest line of the last frame: Hz, level of both channels in dB.
    line: Option<(f64, [f64; 2])>,
    /// Tones of the last seconds, one after the other.
    turns: VecDeque<Turn>,
}

/// A tone among others.
#[derive(Debug, Clone, Copy)]
struct Turn {
    hz: f64,
    /// Level in both channels together, dBFS.
    dbfs: f64,
    from: u64,
    to: u64,
}

/// Level of a mean square in both channels together, dBFS.
fn dbfs(both: f64) -> f64 {
    10.0 * both.max(1e-20).log10()
}

fn is_same(a: f64, b: f64, step_hz: f64) -> bool {
    (a - b).abs() < (SAME * b).max(1.2 * step_hz)
}

/// Whether `hz` lies at a multiple of the mains frequency of any land.
fn is_at_mains(hz: f64) -> bool {
    [50.0, 60.0].iter().any(|mains| {
        let order = (hz / mains).round();
        order >= 1.0 && (hz / (order * mains) - 1.0).abs() < HUM_NEAR
    })
}

impl Hearing {
    pub fn new(rate_hz: f64) -> Self {
        let finder = LineFinder::new(rate_hz);
        let length = finder.length();
        Self {
            hop: (length / HOPS) as u64,
            hop_s: (length / HOPS) as f64 / rate_hz,
            next: length as u64,
            buffers: [vec![0.0; length], vec![0.0; length]],
            finder,
            tracks: Vec::with_capacity(32),
            levels: VecDeque::with_capacity(EVEN_FRAMES + 1),
            strongest: VecDeque::with_capacity(SWEEP_FRAMES + 1),
            loudest_dbfs: -100.0,
            sound: Sound::Unknown,
            since: 0,
            unsure: 0,
            lineless: 0,
            tones: Vec::new(),
            line: None,
            turns: VecDeque::new(),
        }
    }

    /// Looks at all whole frames that came since the last time.
    pub fn listen(&mut self, ring: &Ring) {
        // After a long pause of the listener the oldest frames are gone.
        self.next = self.next.max(ring.oldest() + self.buffers[0].len() as u64);
        while self.next <= ring.count() {
            let [left, right] = &mut self.buffers;
            if ring.copy(self.next - left.len() as u64, [left, right]) {
                let frame = self.finder.look([left, right]);
                self.take(&frame, ring);
            }
            self.next += self.hop;
        }
    }

    /// What it is.
    pub fn sound(&self) -> Sound {
        self.sound
    }

    /// Whether the lines that sound are hum, or stand far below it.
    pub fn is_hum(&self) -> bool {
        let here = self.tracks.iter().filter(|track| track.missed == 0);
        let (hum, other) = here.fold((0.0, 0.0), |(hum, other), track| {
            let is_hum = track.hz < HUM_HZ && is_at_mains(track.hz);
            if is_hum { (hum + track.power, other) } else { (hum, other + track.power) }
        });
        hum > 0.0 && other < BESIDE * hum
    }

    /// From which sample on it is that.
    pub fn since(&self) -> u64 {
        self.since
    }

    /// The steady tones that sound now, the strongest first; empty unless they do.
    pub fn tones(&self) -> &[SteadyTone] {
        &self.tones
    }

    /// The strongest line of the newest frame: Hz, and its level in both channels, dB.
    pub fn strongest(&self) -> Option<(f64, [f64; 2])> {
        self.line
    }

    /// Frequencies of the tones that sound in turn, each once, the lowest first.
    pub fn in_turn_hz(&self) -> Vec<f64> {
        let mut hz: Vec<f64> = Vec::new();
        for turn in self.turns() {
            if !hz.iter().any(|known| is_same(turn.hz, *known, self.finder.step_hz())) {
                hz.push(turn.hz);
            }
        }
        hz.sort_by(f64::total_cmp);
        hz
    }

    fn take(&mut self, frame: &Frame, ring: &Ring) {
        let step_hz = self.finder.step_hz();
        let (from, to) = (self.next - self.buffers[0].len() as u64, self.next);
        let level = dbfs(frame.total[0] + frame.total[1]);
        let falls_db = LOUDEST_FALLS_DB_PER_MIN / 60.0 * self.hop_s;
        self.loudest_dbfs = (self.loudest_dbfs - falls_db).max(level);
        push(&mut self.levels, level, EVEN_FRAMES);
        let lines = self.lines(frame);
        self.line = frame.lines.first().map(|line| (line.hz, line.power.map(dbfs)));
        push(&mut self.strongest, lines.first().map_or(0.0, |line| line.0), SWEEP_FRAMES);
        self.lineless = if lines.is_empty() { self.lineless + 1 } else { 0 };
        for track in &mut self.tracks {
            track.missed += 1;
        }
        for (hz, power) in lines {
            match self.tracks.iter_mut().find(|track| track.missed > 0 && is_same(hz, track.hz, step_hz)) {
                Some(track) => {
                    *track = Track { hz, power, frames: track.frames + 1, missed: 0, to, ..*track };
                }
                None => self.tracks.push(Track { hz, power, frames: 1, missed: 0, from, to }),
            }
        }
        // A tone of several may be missed once; one that is gone is gone.
        self.tracks.retain(|track| track.missed < 2 && (track.missed == 0 || track.frames >= STEADY));
        self.judge(level, to, ring);
    }

    /// Frequency and power of the lines that may be tones, the strongest first.
    fn lines(&self, frame: &Frame) -> Vec<(f64, f64)> {
        let step_hz = self.finder.step_hz();
        let hum_below = self.loudest_dbfs - HUM_BELOW_DB;
        let mut found: Vec<(f64, f64)> = Vec::new();
        for line in &frame.lines {
            let power = line.both();
            let hum = line.hz < HUM_HZ && is_at_mains(line.hz) && dbfs(power) < hum_below;
            let strongest = found.first().map_or(power, |first| first.1);
            let harmonic = found.iter().any(|(hz, fundamental)| {
                let order = (line.hz / hz).round();
                (2.0..=HARMONICS).contains(&order)
                    && is_same(line.hz, order * hz, step_hz)
                    && power < HARMONIC * fundamental
            });
            if !hum && !harmonic && power > BESIDE * strongest && dbfs(power) > LEAST_TONE_DBFS {
                found.push((line.hz, power));
            }
        }
        let held: f64 = found.iter().map(|line| line.1).sum();
        if held < LEAST_SHARE * (frame.total[0] + frame.total[1]) {
            found.clear();
        }
        found
    }

    fn judge(&mut self, level: f64, to: u64, ring: &Ring) {
        let here: Vec<Track> = self.tracks.iter().filter(|track| track.missed == 0).copied().collect();
        let steady: Vec<Track> = self.tracks.iter().filter(|track| track.frames >= STEADY).copied().collect();
        let alike = here.len() <= MOST_AT_ONCE && !here.is_empty();
        let several = steady.len() > 1 && steady.iter().all(|track| track.frames >= STEADY_AT_ONCE);
        let strongest = steady.iter().copied().max_by(|a, b| a.power.total_cmp(&b.power));
        let fresh = here.iter().any(|track| {
            track.frames < STEADY && strongest.is_some_and(|strongest| track.power > 0.1 * strongest.power)
        });
        let told = if level < NOTHING_DBFS {
            Some(Sound::Nothing)
        } else if self.sweeps() {
            Some(Sound::Sweep)
        } else if let (Some(strongest), true, false) = (strongest, alike, fresh) {
            let mut tones: Vec<Track> = if several { steady.clone() } else { vec![strongest] };
            tones.sort_by(|a, b| b.power.total_cmp(&a.power));
            let quarter = self.buffers[0].len() as u64 / HOPS as u64;
            self.tones = tones
                .iter()
                .map(|track| SteadyTone { hz: track.hz, from: track.from + quarter, to: track.to })
                .collect();
            if let [only] = self.tones[..] {
                self.turn(only, dbfs(tones[0].power), ring);
            }
            Some(if several { Sound::AtOnce } else { Sound::Tone })
        } else if here.is_empty() && self.sound == Sound::Sweep && self.lineless < SWEEP_HELD_FRAMES {
            // A quick sweep smears over a frame and has no line there.
            Some(Sound::Sweep)
        } else if here.is_empty() {
            let even = self.levels.len() == EVEN_FRAMES && self.spread() < EVEN_DB;
            let silent = level < SILENT_DBFS || level < self.loudest_dbfs - SILENT_BELOW_DB;
            match (even, silent) {
                (true, true) => Some(Sound::Silence),
                (true, false) => Some(Sound::Noise),
                _ => None,
            }
        } else if here.len() > MOST_AT_ONCE {
            Some(Sound::Music)
        } else {
            None
        };
        let tonal = |sound| matches!(sound, Some(Sound::Tone | Sound::AtOnce));
        if !tonal(told) {
            self.tones.clear();
        }
        match told {
            Some(sound) => {
                if sound != self.sound {
                    (self.sound, self.since) = (sound, to.saturating_sub(EVEN_FRAMES as u64 * self.hop));
                }
                self.unsure = 0;
            }
            None => {
                self.unsure += 1;
                let moving = if self.sound == Sound::Unknown { 3 * HELD_FRAMES } else { 8 * HELD_FRAMES };
                if self.unsure > moving && self.sound != Sound::Music {
                    (self.sound, self.since) = (Sound::Music, to);
                }
            }
        }
        let oldest = to.saturating_sub((TURN_S * ring.rate_hz()) as u64);
        while self.turns.front().is_some_and(|turn| turn.to < oldest) {
            self.turns.pop_front();
        }
    }

    /// Forgets tones in turn that were heard since a sample: they were none.
    pub fn forget_since(&mut self, sample: u64) {
        self.turns.retain(|turn| turn.to < sample);
    }

    /// Notes the tone among those that sound in turn.
    fn turn(&mut self, tone: SteadyTone, dbfs: f64, ring: &Ring) {
        let step_hz = self.finder.step_hz();
        let gap = (0.6 * ring.rate_hz()) as u64;
        let SteadyTone { hz, from, to } = tone;
        match self.turns.back_mut() {
            Some(last) if is_same(hz, last.hz, step_hz) && from < last.to + gap => {
                *last = Turn { hz, dbfs: last.dbfs.max(dbfs), to, ..*last };
            }
            _ => self.turns.push_back(Turn { hz, dbfs, from, to }),
        }
    }

    /// Tones in turn that are no weak lines of something else.
    fn turns(&self) -> impl Iterator<Item = &Turn> {
        self.turns.iter().filter(|turn| turn.dbfs > self.loudest_dbfs - TURN_BELOW_DB)
    }

    /// Whether several tones were heard in turn, and not only one after another for long.
    pub fn in_turn(&self) -> bool {
        let mut lengths = self.turns.iter().rev().map(|turn| turn.to - turn.from);
        let Some(newest) = lengths.next() else { return false };
        let usual = (LONGEST_TURN_S / self.hop_s * self.hop as f64) as u64;
        let is_short = newest < lengths.max().map_or(usual, |longest| usual.max(longest / 2 * 3));
        is_short && self.turns().count() >= 3 && self.in_turn_hz().len() > 1
    }

    fn spread(&self) -> f64 {
        let (low, high) = self.levels.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |range, &level| {
            (range.0.min(level), range.1.max(level))
        });
        high - low
    }

    /// Whether the strongest line moves one way, evenly.
    fn sweeps(&self) -> bool {
        let all: Vec<f64> = self.strongest.iter().copied().collect();
        if all.len() < SWEEP_FRAMES || all.contains(&0.0) {
            return false;
        }
        let steps: Vec<f64> = all.windows(2).map(|pair| (pair[1] / pair[0]).ln()).collect();
        let total: f64 = steps.iter().sum();
        let one_way = steps.iter().filter(|step| *step * total > 0.0).count();
        let largest = steps.iter().map(|step| step.abs()).fold(0.0, f64::max);
        total.abs() > SWEEP_SHARE && one_way + 1 >= steps.len() && largest < 0.6 * total.abs()
    }
}

fn push(values: &mut VecDeque<f64>, value: f64, most: usize) {
    if values.len() == most {
        values.pop_front();
    }
    values.push_back(value);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::Random;
    use std::f64::consts::TAU;

    const RATE_HZ: f64 = 48_000.0;

    /// Feeds `seconds` of `signal` in blocks and gives what was heard at the end of each tenth of a second.
    fn heard(seconds: f64, hiss: f64, signal: impl Fn(f64) -> f64) -> (Vec<Sound>, Hearing) {
        let (mut ring, mut hearing) = (Ring::new(RATE_HZ), Hearing::new(RATE_HZ));
        let (mut a, mut b) = (Random(5), Random(6));
        let mut sounds = Vec::new();
        let mut n = 0u64;
        while (n as f64) < seconds * RATE_HZ {
            let (left, right): (Vec<f64>, Vec<f64>) = (0..960)
                .map(|k| {
                    let x = signal((n + k) as f64 / RATE_HZ);
                    (x + hiss * a.normal(), x + hiss * b.normal())
                })
                .unzip();
            ring.feed([&left, &right]);
            hearing.listen(&ring);
            n += 960;
            if n.is_multiple_of(4800) {
                sounds.push(hearing.sound());
            }
        }
        (sounds, hearing)
    }

    fn sine(hz: f64, t: f64) -> f64 {
        (TAU * hz * t).sin()
    }

    fn share(sounds: &[Sound], sound: Sound) -> f64 {
        sounds.iter().filter(|heard| **heard == sound).count() as f64 / sounds.len() as f64
    }

    #[test]
    fn a_tone_of_any_frequency_is_one() {
        for hz in [40.0, 63.0, 100.0, 315.0, 1000.0, 3150.0, 10_000.0, 16_000.0] {
            let (sounds, hearing) = heard(3.0, 0.0005, |t| 0.025 * sine(hz, t));
            assert!(share(&sounds[4..], Sound::Tone) == 1.0, "{hz}: {sounds:?}");
            assert_within!(hearing.tones()[0].hz, hz, 3.0, "Hz");
        }
    }

    #[test]
    fn harmonics_and_hum_are_no_tones() {
        let (sounds, hearing) = heard(3.0, 0.0005, |t| {
            0.2 * sine(315.0, t) + 0.006 * sine(945.0, t) + 0.002 * sine(1575.0, t) + 0.002 * sine(50.0, t)
        });
        assert!(share(&sounds[4..], Sound::Tone) == 1.0, "{sounds:?}");
        assert_eq!(hearing.tones().len(), 1);
    }

    #[test]
    fn several_at_once_are_all_named() {
        let (sounds, hearing) = heard(3.0, 0.0005, |t| {
            0.02 * sine(1000.0, t) + 0.02 * sine(3150.0, t) + 0.01 * sine(10_000.0, t)
        });
        assert!(share(&sounds[6..], Sound::AtOnce) == 1.0, "{sounds:?}");
        let mut hz: Vec<f64> = hearing.tones().iter().map(|tone| tone.hz.round()).collect();
        hz.sort_by(f64::total_cmp);
        assert_eq!(hz, [1000.0, 3150.0, 10_000.0]);
    }

    #[test]
    fn tones_in_turn_are_remembered() {
        let (sounds, hearing) = heard(6.0, 0.0005, |t| {
            let hz = if ((t * 2.0) as u32).is_multiple_of(2) { 1000.0 } else { 10_000.0 };
            if (t * 2.0).fract() > 0.9 { 0.0 } else { 0.03 * sine(hz, t) }
        });
        assert!(hearing.in_turn(), "{sounds:?}");
        let hz: Vec<f64> = hearing.in_turn_hz().iter().map(|hz| hz.round()).collect();
        assert_eq!(hz, [1000.0, 10_000.0]);
        assert!(share(&sounds[4..], Sound::Tone) > 0.9, "{sounds:?}");
    }

    #[test]
    fn sweeps_noise_silence_and_nothing_are_told_apart() {
        let rise = |t: f64| {
            // 20 Hz to 20 kHz in 10 s: phase of a sine whose frequency rises evenly in octaves.
            let k = 1000f64.ln() / 10.0;
            0.03 * (TAU * 20.0 * ((k * t).exp() - 1.0) / k).sin()
        };
        let (sounds, _) = heard(10.0, 0.0003, rise);
        assert!(share(&sounds[12..97], Sound::Sweep) > 0.9, "{sounds:?}");
        let (sounds, _) = heard(3.0, 0.03, |_| 0.0);
        assert!(share(&sounds[6..], Sound::Noise) == 1.0, "{sounds:?}");
        let (sounds, _) = heard(3.0, 0.0005, |_| 0.0);
        assert!(share(&sounds[6..], Sound::Silence) == 1.0, "{sounds:?}");
        let (sounds, _) = heard(2.0, 0.0, |_| 0.0);
        assert!(share(&sounds[6..], Sound::Nothing) == 1.0, "{sounds:?}");
    }

    #[test]
    fn melody_and_chords_that_change_are_music() {
        // Notes of a scale with five harmonics, five a second, two voices: nothing keeps.
        let note = |k: u32| 220.0 * 2f64.powf(f64::from((k * 7 + k * k) % 13) / 12.0);
        let voice = |t: f64, pace: f64, scale: f64| -> f64 {
            let hz = scale * note((t * pace) as u32);
            (1..6).map(|m| sine(hz * f64::from(m), t) / f64::from(m)).sum::<f64>()
                * (-3.0 * (t * pace).fract()).exp()
        };
        let (sounds, _) =
            heard(8.0, 0.001, |t| 0.1 * (voice(t, 6.0, 1.0) + voice(t, 4.3, 1.5) + voice(t, 2.1, 0.5)));
        assert!(share(&sounds[20..], Sound::Music) > 0.7, "{sounds:?}");
    }
}
