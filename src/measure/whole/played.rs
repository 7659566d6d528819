//! All parts of a programme with what their meters said.

use crate::capture::{Alignment, Stretch};
use crate::measure::distortion::harmonics::Harmonics;
use crate::measure::distortion::intermodulation::TwinTone;
use crate::measure::noise::silence::Silence;
use crate::measure::playback::MeasureOptions;
use crate::measure::response::noise_bands::NoiseBands;
use crate::measure::response::steps::PlayedTone;
use crate::measure::response::sweep::SweepPoint;
use crate::measure::separation::erasing::Erased;
use crate::measure::separation::leakage::Leakage;
use crate::measure::tone::level_wander::{LevelCourse, LevelWander, course_of};
use crate::measure::tone::level_witnesses::level_moves;
use crate::measure::tone::meter::Tone;
use crate::programme::{Channels, PlacedPart, Serves, Signal, Timeline};
use crate::reading::{FileClock, Flutter};
use crate::signal::baseband::Band;

/// The tone that flutter was read from.
#[derive(Clone, Copy)]
pub(crate) struct FlutterTone<'a> {
    pub part: &'a PlacedPart,
    /// Frequency in the programme, Hz.
    pub hz: f64,
    pub found: Option<&'a Flutter>,
    /// Its band in both channels.
    pub bands: &'a [Band; 2],
    pub stretch: &'a Stretch,
}

/// What one part gave.
pub(crate) enum Outcome {
    Tone(Box<Tone>, Stretch),
    Sweep(Vec<SweepPoint>),
    Flutter(Box<(Option<Flutter>, [Band; 2])>, Stretch),
    Silence(Box<Silence>),
    Noise(Box<NoiseBands>),
    Harmonics(Box<Harmonics>, Stretch),
    Twin(Box<TwinTone>),
    Leakage(Box<Leakage>),
    Erased(Erased, Stretch),
    Missing,
}

impl Outcome {
    pub fn gave_something(&self) -> bool {
        match self {
            Self::Missing => false,
            Self::Sweep(points) => !points.is_empty(),
            Self::Flutter(result, _) => result.0.is_some(),
            _ => true,
        }
    }
}

impl Outcome {
    /// Counts what samples in steps of `step` may do.
    pub fn quantised(&mut self, step: f64, rate_hz: f64) {
        if let Self::Tone(tone, _) = self {
            tone.quantised(step, rate_hz);
        }
    }

    /// Leaves out what reaches the `tops` at which a channel is clipped: its level is not the deck's.
    pub fn without_clipped(&mut self, tops: [Option<f64>; 2]) {
        match self {
            Self::Tone(tone, _) => tone.without_clipped(tops),
            Self::Harmonics(found, _) => found.without_clipped(tops),
            _ => {}
        }
    }
}

/// The played parts, in the order of the programme.
pub(crate) struct Played<'a> {
    pub timeline: &'a Timeline,
    pub alignment: &'a Alignment,
    pub options: &'a MeasureOptions,
    /// Sample rate of the return, Hz.
    pub rate_hz: f64,
    /// One a part of the timeline.
    pub outcomes: Vec<Outcome>,
}

/// Whether `part` sounds on both channels alike.
pub(crate) fn on_both(part: &PlacedPart) -> bool {
    part.channels == Channels::Both
}

impl Played<'_> {
    pub fn parts(&self) -> impl Iterator<Item = (&PlacedPart, &Outcome)> {
        self.timeline.parts.iter().zip(&self.outcomes)
    }

    /// The clock started where `stretch` begins.
    pub fn clock(&self, stretch: &Stretch) -> FileClock {
        self.alignment.clock.starting_at(stretch.from_s)
    }

    /// All tones whose level was read.
    pub fn tones(&self) -> impl Iterator<Item = (&PlacedPart, PlayedTone<'_>)> {
        self.parts().filter_map(|(part, outcome)| match (&part.signal, outcome) {
            (Signal::Tone { hz }, Outcome::Tone(tone, stretch)) => {
                let at_s = (stretch.from_s + stretch.to_s) / 2.0;
                let programme_db = part.level_db;
                Some((part, PlayedTone { part: &part.id, hz: *hz, programme_db, at_s, tone }))
            }
            _ => None,
        })
    }

    /// Those on both channels that serve `serves`.
    pub fn tones_serving(&self, serves: Serves) -> impl Iterator<Item = PlayedTone<'_>> {
        self.tones().filter(move |(part, _)| part.serves == serves && on_both(part)).map(|(_, tone)| tone)
    }

    /// Those that went through a tape below saturation: a tape near it compresses, and an amplifier has a curve.
    pub fn linear_tones(&self) -> impl Iterator<Item = (&PlacedPart, PlayedTone<'_>)> {
        self.tones().filter(|(part, _)| {
            on_both(part) && !matches!(part.serves, Serves::Saturation | Serves::Injected(..))
        })
    }

    /// The tone that flutter was read from, or the first stretch of it.
    pub fn flutter(&self) -> Option<FlutterTone<'_>> {
        self.flutters().next()
    }

    /// All stretches of the tone that flutter was read from.
    pub fn flutters(&self) -> impl Iterator<Item = FlutterTone<'_>> {
        self.parts().filter_map(|(part, outcome)| match (&part.signal, outcome) {
            (Signal::Tone { hz }, Outcome::Flutter(result, stretch)) => {
                Some(FlutterTone { part, hz: *hz, found: result.0.as_ref(), bands: &result.1, stretch })
            }
            _ => None,
        })
    }

    /// How the level of each channel wanders, by all tones that a tape carried.
    pub fn level_wander(&self) -> [LevelWander; 2] {
        let carried = || {
            self.parts().filter(|(part, _)| {
                on_both(part) && !matches!(part.serves, Serves::Injected(..)) && self.is_first(part)
            })
        };
        [0, 1].map(|channel| {
            let courses: Vec<LevelCourse> = carried()
                .filter_map(|(_, outcome)| match outcome {
                    Outcome::Tone(tone, _) => Some(course_of(tone, channel)),
                    Outcome::Flutter(result, _) => Some(LevelCourse::new(&result.1[channel], 0.0)),
                    Outcome::Harmonics(found, _) => Some(LevelCourse::new(&found.band[channel], 0.0)),
                    _ => None,
                })
                .collect();
            let mut wander = LevelWander::new(&courses);
            let tones: Vec<PlayedTone> =
                self.linear_tones().filter(|(part, _)| self.is_first(part)).map(|(_, tone)| tone).collect();
            let alignment = self.alignment;
            wander.moves = level_moves(
                self.timeline,
                &alignment.slates,
                &tones,
                channel,
                alignment.wiring.swapped,
                &wander,
            );
            wander
        })
    }

    pub fn silences(&self) -> impl Iterator<Item = (&PlacedPart, &Silence)> {
        self.parts().filter_map(|(part, outcome)| match outcome {
            Outcome::Silence(silence) => Some((part, &**silence)),
            _ => None,
        })
    }

    /// The noises on both channels.
    pub fn noises(&self) -> impl Iterator<Item = (&PlacedPart, &NoiseBands)> {
        self.parts().filter_map(|(part, outcome)| match outcome {
            Outcome::Noise(noise) if on_both(part) => Some((part, &**noise)),
            _ => None,
        })
    }

    /// Whether none of the parts before `part` is the same tone in the same place: without slates one tone may serve twice.
    pub fn is_first(&self, part: &PlacedPart) -> bool {
        let mut before = self.timeline.parts.iter().take_while(|other| !std::ptr::eq(*other, part));
        before.all(|other| {
            other.start_s != part.start_s || other.signal != part.signal || other.serves == Serves::Flutter
        })
    }
}
