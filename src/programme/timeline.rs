//! The timeline: every part of a programme placed in time, ready to be played or to be measured.

use crate::trade::Equalisation;

/// A programme laid out in time. Times are seconds of the programme, from its first sample.
#[derive(Debug, Clone, PartialEq)]
pub struct Timeline {
    /// Name of the recipe.
    pub name: String,
    /// What every slate carries; never 0. Two recipes that differ in anything audible have different codes. 0: not a
    /// recipe's, but laid out from a recording without slates.
    pub code: u16,
    /// Frequency to which responses refer, Hz.
    pub reference_hz: f64,
    /// Whether the player repeats it, to be followed while something is turned.
    pub looped: bool,
    /// Parts in the order in which they start; they do not overlap.
    pub parts: Vec<PlacedPart>,
    /// Length of the whole programme, s.
    pub length_s: f64,
}

impl Timeline {
    /// Whether the parts' levels are those that were played; otherwise they are as returned, and no gain follows from them.
    pub fn levels_are_known(&self) -> bool {
        self.code != 0
    }
}

/// One part of a programme, placed in time.
#[derive(Debug, Clone, PartialEq)]
pub struct PlacedPart {
    /// Unique within the programme, such as `response-10000`.
    pub id: String,
    /// Start of its first sample, s.
    pub start_s: f64,
    /// Length with fades, without the gap behind it, s.
    pub length_s: f64,
    /// Level, dB re the programme's reference level. Tones: rms re a sine at reference level; noise: its true rms.
    pub level_db: f64,
    /// On which channels it is heard.
    pub channels: Channels,
    /// What is heard.
    pub signal: Signal,
    /// What it is measured for.
    pub serves: Serves,
    /// What it is for, in the words of the recipe.
    pub purpose: String,
}

impl Timeline {
    /// Where its tones for the playback amplifier are fed in; `None` if it has none.
    pub fn feed(&self) -> Option<Feed> {
        self.parts.iter().find_map(|part| match part.serves {
            Serves::Injected(feed, _) => Some(feed),
            _ => None,
        })
    }
}

impl Timeline {
    /// The slates before and behind the place where the monitor is switched from SOURCE to TAPE; `None` if nothing is heard
    /// at SOURCE.
    pub fn monitor_switch(&self) -> Option<[&PlacedPart; 2]> {
        let last = self.parts.iter().rposition(|part| part.serves == Serves::Source)?;
        let mut slates = self.parts[last..].iter().filter(|part| matches!(part.signal, Signal::Slate { .. }));
        Some([slates.next()?, slates.next()?])
    }
}

impl PlacedPart {
    /// The round that it belongs to, from 1: what follows `-round-` at the end of its id.
    pub fn round(&self) -> Option<u32> {
        let (_, number) = self.id.rsplit_once("-round-")?;
        number.parse().ok()
    }
}

/// On which channels a part is heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Channels {
    /// On both alike.
    Both,
    /// On the left only; the right is silent.
    Left,
    /// On the right only; the left is silent.
    Right,
    /// On both, the right one inverted.
    Opposed,
}

/// What is heard in a part.
#[derive(Debug, Clone, PartialEq)]
pub enum Signal {
    /// A marker; see [`super::slate`].
    Slate {
        /// Which one of the programme, from 0.
        index: u8,
    },
    /// Nothing.
    Silence,
    /// Nothing, while the technician does something at the deck.
    Pause {
        /// What to do, for the running sheet.
        say: String,
    },
    /// A sine.
    Tone {
        /// Frequency, Hz.
        hz: f64,
    },
    /// Several sines at once, each at the part's level less 20 lg of their number.
    Chord {
        /// Frequencies, Hz.
        hz: Vec<f64>,
    },
    /// A sine whose frequency moves evenly in octaves per second.
    Sweep {
        /// Frequency at the start, Hz.
        from_hz: f64,
        /// Frequency at the end, Hz.
        to_hz: f64,
    },
    /// Random noise, the same at every writing.
    Noise {
        /// Its spectrum.
        colour: Colour,
        /// Which noise.
        seed: u64,
    },
}

/// Spectrum of a noise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Colour {
    /// The same power in every hertz.
    White,
    /// The same power in every octave, from 20 Hz to 20 kHz.
    Pink,
}

/// Where a signal is fed in that comes from no tape.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Feed {
    /// Into the input of the playback amplifier, in place of the head's voltage.
    Amplifier,
    /// As flux into the head, by a wire before its gap.
    Loop,
}

/// What a part is measured for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Serves {
    /// Place and time ratio.
    Place,
    /// Level against the programme.
    Level,
    /// Response (and, by its phase, azimuth).
    Response,
    /// Azimuth and its wander.
    Azimuth,
    /// Flutter and speed.
    Flutter,
    /// Noise of the deck.
    Noise,
    /// Harmonic or difference-frequency distortion.
    Distortion,
    /// Behaviour near saturation.
    Saturation,
    /// Leakage from one channel into the other.
    Separation,
    /// Bias and record level, in rounds.
    Bias,
    /// The tones of the rounds with the monitor switch at SOURCE; rounds behind them are off the tape.
    Source,
    /// Sensitivity, distortion and noise at stepped bias, in rounds.
    BiasSweep,
    /// Response and noise with the deck's noise reduction out.
    ReductionOut,
    /// The same with it in.
    ReductionIn,
    /// What erasing leaves of a tone.
    Erasing,
    /// The playback amplifier against its curve, without a tape: where the tone is fed in, and for which equalisation it is
    /// shaped.
    Injected(Feed, Equalisation),
    /// Nothing: heard only by people.
    Nothing,
}
