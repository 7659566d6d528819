//! Tapes of test tones with announcements, made piece by piece, and their reading.

use deckproof::internals::capture::InMemory;
use deckproof::internals::deck::{DeckFile, VirtualDeck};
use deckproof::internals::job::{ReadError, ReadOptions, Recording, UnslatedOptions, measure_unslated};
use deckproof::internals::judge::Limits;
use deckproof::internals::judge::Reading;
use deckproof::internals::trade::Medium;
use deckproof::reading::{Circumstances, Found, FoundKind, NoiseReduction, RecordedOn, TapeType};
use std::f64::consts::TAU;

/// 0 dB of the tape, dBFS.
const ZERO_DBFS: f64 = -12.0;
/// Rise and fall of a tone, s.
const FADE_S: f64 = 0.005;

/// A piece of tape.
#[derive(Debug, Clone, Copy)]
pub enum Piece {
    /// A tone: Hz, dB, s.
    Tone(f64, f64, f64),
    /// A tone that is longer on the left: Hz, dB, s, and by how much earlier and later it is there, s.
    Longer(f64, f64, f64, f64),
    /// Nothing, s.
    Gap(f64),
    /// Somebody speaks, s.
    Speech(f64),
    /// Chords of held and fading notes, s.
    Music(f64),
    /// A leader of a data cassette: waveform, Hz, s.
    Leader(Wave, f64, f64),
    /// Data behind a leader of that frequency: by what code, waveform, Hz, against the leader's level, dB, s.
    Data(Code, Wave, f64, f64, f64),
    /// An even sweep: from Hz, to Hz, dB, s.
    Sweep(f64, f64, f64, f64),
}

/// Shape of a period.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wave {
    Sine,
    Square,
    Pulse,
}

impl Wave {
    /// The value `phase` periods on; edges are slow enough for the sample rate.
    fn at(self, phase: f64) -> f64 {
        const STEEP: f64 = 3.0;
        let sine = (TAU * phase).sin();
        match self {
            Self::Sine => sine,
            Self::Square => (STEEP * sine).tanh(),
            // High for 35 % of the period: above the cosine of 0.35 pi.
            Self::Pulse => (STEEP * (sine - 0.454)).tanh(),
        }
    }
}

/// How home computers write data, beside a leader of one frequency: by frequencies an octave apart, by two lengths of pulses
/// shorter than the leader's, or by three lengths of which the leader's is the shortest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Code {
    Octave,
    Shorter,
    ThreeLengths,
}

impl Code {
    /// Periods of the next piece of data, in periods of the leader.
    fn periods(self, chance: &mut Chance) -> Vec<f64> {
        match self {
            Self::Octave if chance.next() < 0.5 => vec![1.0; 8],
            Self::Octave => vec![2.0; 4],
            Self::Shorter => vec![if chance.next() < 0.5 { 0.395 } else { 0.79 }],
            Self::ThreeLengths if chance.next() < 0.5 => vec![1.0, 1.45],
            Self::ThreeLengths => vec![1.45, 1.0],
        }
    }
}

/// Where a tone lies in the programme.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    pub hz: f64,
    pub from_s: f64,
    pub to_s: f64,
}

/// Numbers from 0 to 1.
pub struct Chance(u64);

impl Chance {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    pub fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as f64 / (1u64 << 31) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }
}

/// The pieces as samples, and where the tones lie.
pub fn programme(pieces: &[Piece], rate_hz: f64, seed: u64) -> ([Vec<f64>; 2], Vec<Place>) {
    let mut out = [Vec::new(), Vec::new()];
    let mut places = Vec::new();
    let mut chance = Chance::new(seed);
    let amplitude = |db: f64| 10f64.powf((ZERO_DBFS + db) / 20.0);
    for piece in pieces {
        let from_s = out[0].len() as f64 / rate_hz;
        let count = |s: f64| (s * rate_hz).round() as usize;
        let fade = |t: f64, length: f64| ((t.min(length - t)) / FADE_S).clamp(0.0, 1.0);
        match *piece {
            Piece::Tone(hz, db, s) => {
                places.push(Place { hz, from_s, to_s: from_s + s });
                for n in 0..count(s) {
                    let t = n as f64 / rate_hz;
                    let x = amplitude(db) * (TAU * hz * t).sin() * fade(t, s);
                    out.iter_mut().for_each(|channel| channel.push(x));
                }
            }
            Piece::Longer(hz, db, s, more) => {
                places.push(Place { hz, from_s, to_s: from_s + s + 2.0 * more });
                for n in 0..count(s + 2.0 * more) {
                    let t = n as f64 / rate_hz;
                    let x = amplitude(db) * (TAU * hz * t).sin() * fade(t, s + 2.0 * more);
                    out[0].push(x);
                    out[1].push(if t > more && t < more + s { x } else { 0.0 });
                }
            }
            Piece::Gap(s) => out.iter_mut().for_each(|channel| channel.extend(vec![0.0; count(s)])),
            Piece::Speech(s) => {
                let voice = speech(count(s), rate_hz, &mut chance);
                out.iter_mut().for_each(|channel| channel.extend(&voice));
            }
            Piece::Music(s) => {
                let [left, right] = music(count(s), rate_hz, &mut chance);
                out[0].extend(left);
                out[1].extend(right);
            }
            Piece::Leader(wave, hz, s) => {
                places.push(Place { hz, from_s, to_s: from_s + s });
                for n in 0..count(s) {
                    let x = amplitude(0.0) * wave.at(hz * n as f64 / rate_hz);
                    out.iter_mut().for_each(|channel| channel.push(x));
                }
            }
            Piece::Data(code, wave, hz, db, s) => {
                let (mut periods, mut begun) = (code.periods(&mut chance).into_iter(), 0.0);
                let mut period = 1.0;
                for n in 0..count(s) {
                    let at = hz * n as f64 / rate_hz;
                    while at - begun >= period {
                        begun += period;
                        period = periods.next().unwrap_or_else(|| {
                            periods = code.periods(&mut chance).into_iter();
                            periods.next().unwrap_or(1.0)
                        });
                    }
                    let x = amplitude(db) * wave.at((at - begun) / period);
                    out.iter_mut().for_each(|channel| channel.push(x));
                }
            }
            Piece::Sweep(from, to, db, s) => {
                let k = f64::ln(to / from);
                for n in 0..count(s) {
                    let t = n as f64 / rate_hz;
                    let x =
                        amplitude(db) * (TAU * from * s / k * ((k * t / s).exp() - 1.0)).sin() * fade(t, s);
                    out.iter_mut().for_each(|channel| channel.push(x));
                }
            }
        }
    }
    (out, places)
}

/// A resonance of two poles.
fn resonate(x: &[f64], hz: f64, width_hz: f64, rate_hz: f64) -> Vec<f64> {
    let r = (-std::f64::consts::PI * width_hz / rate_hz).exp();
    let (a, b) = (2.0 * r * (TAU * hz / rate_hz).cos(), -r * r);
    let (mut y1, mut y2) = (0.0, 0.0);
    x.iter()
        .map(|x| {
            let y = (1.0 - r) * x + a * y1 + b * y2;
            (y2, y1) = (y1, y);
            y
        })
        .collect()
}

/// Syllables: pulses of a moving pitch, or noise, through three resonances that change.
fn speech(count: usize, rate_hz: f64, chance: &mut Chance) -> Vec<f64> {
    let mut out = Vec::with_capacity(count);
    let mut phase = 0.0;
    while out.len() < count {
        let length = ((chance.between(0.1, 0.3) * rate_hz) as usize).min(count - out.len());
        let (voiced, loud) = (chance.next() > 0.25, chance.next() > 0.15);
        let (from_hz, to_hz) = (chance.between(90.0, 190.0), chance.between(90.0, 190.0));
        let source: Vec<f64> = (0..length)
            .map(|n| {
                let pitch = from_hz + (to_hz - from_hz) * n as f64 / length as f64;
                phase += pitch / rate_hz;
                let pulse = if phase >= 1.0 { 30.0 } else { 0.0 };
                phase = phase.fract();
                if voiced { pulse } else { chance.next() - 0.5 }
            })
            .collect();
        let formants = [
            (chance.between(280.0, 800.0), 80.0),
            (chance.between(900.0, 2200.0), 120.0),
            (chance.between(2300.0, 3300.0), 200.0),
        ];
        let mut voice = vec![0.0; length];
        for (hz, width_hz) in formants {
            for (sum, y) in voice.iter_mut().zip(resonate(&source, hz, width_hz, rate_hz)) {
                *sum += y;
            }
        }
        let rms = (voice.iter().map(|y| y * y).sum::<f64>() / length.max(1) as f64).sqrt().max(1e-9);
        out.extend(voice.iter().enumerate().map(|(n, y)| {
            let swell = (std::f64::consts::PI * n as f64 / length as f64).sin();
            if loud { 0.05 * y / rms * swell } else { 0.0 }
        }));
    }
    out
}

/// One to three notes at a time of a tempered scale, with harmonics, some held, some fading, some with vibrato.
fn music(count: usize, rate_hz: f64, chance: &mut Chance) -> [Vec<f64>; 2] {
    let mut out = [vec![0.0; count], vec![0.0; count]];
    let mut from = 0;
    while from < count {
        let length = ((chance.between(0.2, 2.8) * rate_hz) as usize).min(count - from);
        for _ in 0..1 + (chance.next() * 3.0) as usize {
            let hz = 220.0 * 2f64.powf((chance.next() * 25.0).floor() / 12.0);
            let (loud, fades) = (chance.between(0.02, 0.08), if chance.next() < 0.5 { 0.0 } else { 1.5 });
            let vibrato = if chance.next() < 0.5 { 0.0 } else { 0.004 };
            let harmonics =
                [1.0, chance.between(0.1, 0.7), chance.between(0.05, 0.4), chance.between(0.0, 0.3)];
            let side = chance.between(0.3, 1.0);
            for n in 0..length {
                let t = n as f64 / rate_hz;
                let moved = t + vibrato / (TAU * 5.5) * (TAU * 5.5 * t).sin();
                let swell = (t / 0.03).min(1.0).min((length - n) as f64 / rate_hz / 0.03);
                let y: f64 = harmonics
                    .iter()
                    .enumerate()
                    .map(|(k, a)| a * (TAU * hz * (k + 1) as f64 * moved).sin())
                    .sum();
                let y = loud * (-fades * t).exp() * swell * y;
                out[0][from + n] += side * y;
                out[1][from + n] += (1.3 - side) * y;
            }
        }
        from += length;
    }
    out
}

/// The pieces as `deck` returns them.
pub fn play(pieces: &[Piece], deck: &str, rate_hz: f64, seed: u64) -> (InMemory, Vec<Place>) {
    let (samples, places) = programme(pieces, rate_hz, seed);
    let deck = DeckFile::from_toml(deck, "deck").unwrap();
    let deck = VirtualDeck::new(&deck, seed, rate_hz).unwrap();
    (InMemory { rate_hz: deck.return_rate_hz(), channels: deck.play_all(&samples) }, places)
}

/// What a calibrated tape of type I is read with.
pub fn options(recorded_on: Option<RecordedOn>) -> ReadOptions {
    ReadOptions {
        recipe: None,
        reference_dbfs: -12.0,
        channels: None,
        circumstances: Circumstances {
            recorded_on,
            heads: None,
            tape_type: Some(TapeType::I),
            noise_reduction: NoiseReduction::Off,
            card: None,
        },
        medium: Medium::COMPACT_CASSETTE,
        limits: Limits::full_size(),
        loopback: None,
        made: None,
        transport: None,
    }
}

pub fn read(samples: &InMemory, unslated: &UnslatedOptions) -> Result<Reading, ReadError> {
    let told = options(Some(RecordedOn::Calibrated));
    Ok(measure_unslated(Recording::Samples(samples, "tape.wav"), &told, unslated)?.conclude(&told))
}

/// The tones that were found.
pub fn tones(reading: &Reading) -> Vec<&Found> {
    reading.found.iter().filter(|found| found.kind == FoundKind::Tone).collect()
}

pub fn warned(reading: &Reading, id: &str) -> bool {
    reading.warnings.iter().any(|warning| warning.id == id)
}

/// Frequencies of a usual ladder, Hz.
pub const LADDER: [f64; 14] = [
    315.0, 40.0, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 6300.0, 8000.0, 10_000.0, 12_500.0,
    16_000.0,
];

/// A whole reference tape: level, flutter, azimuth, ladder of tones of `tone_s`, an announcement before each.
pub fn reference_tape(tone_s: f64) -> Vec<Piece> {
    use Piece::{Gap, Speech, Tone};
    let mut pieces =
        vec![Gap(1.0), Speech(2.0), Gap(0.5), Tone(315.0, 0.0, 5.0), Gap(3.0), Speech(1.5), Gap(0.4)];
    pieces.extend([
        Tone(3150.0, -10.0, 12.0),
        Gap(0.5),
        Speech(1.5),
        Gap(0.4),
        Tone(10_000.0, -10.0, 6.0),
        Gap(1.0),
    ]);
    for hz in LADDER {
        pieces.extend([Speech(1.2), Gap(0.4), Tone(hz, -20.0, tone_s), Gap(0.5)]);
    }
    pieces.push(Gap(1.0));
    pieces
}
