//! All that is measured from one aligned return: every part of the programme is fed to the meter that it serves.

use super::azimuth::{AzimuthResult, PlayedDifference, azimuth, differences, wander_us};
use super::distortion::{DistortionMeter, Harmonics, PlayedStep, distortion};
use super::dropouts::dropouts;
use super::erasure::{Erased, ErasureMeter, erasure};
use super::flutter::FlutterMeter;
use super::gain_riding::{gain_creep_db, gain_riding_db, ladder_riding_db};
use super::intermodulation::{PlayedTwin, TwinTone, TwinToneMeter, intermodulation};
use super::level_dependence::{LevelDependence, level_dependence};
use super::lossy::{LossySign, lossy_signs};
use super::noise::{NoiseMeter, Silence};
use super::noise_bands::{NoiseBands, NoiseBandsMeter, NoisePlace};
use super::noise_sections::{HumBeside, TapeTone, noise, reference, saturation_by_noise};
use super::response::{PlayedTone, level, response};
use super::rounds::{InRounds, in_rounds};
use super::saturation::saturation;
use super::separation::{Leakage, PlayedLeakage, SeparationMeter, separation};
use super::speed::speed;
use super::surroundings::{Surroundings, surroundings};
use super::sweep::{SweepMeter, SweepPlace, SweepPoint};
use super::tears::{Torn, mean_hz, splices, tears, untorn};
use super::tone::{Tone, ToneMeter};
use super::unmeasured::{Gave, unmeasured};
use crate::capture::{Alignment, CaptureError, Source, Stretch, extend_mended, is_sound};
use crate::programme::{Channels, PlacedPart, Serves, Signal, Timeline};
use crate::reading::{
    Azimuth, Distortion, Dropout, Erasure, Flutter, Intermodulation, Level, Noise, Pair, Response,
    Saturation, Separation, Speed, Warning,
};
use crate::signal::baseband::Band;
use crate::trade::Medium;
use rayon::prelude::*;

/// What the meters must be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasureOptions {
    /// Where the programme's reference level lies in its WAV, dBFS.
    pub reference_dbfs: f64,
    /// The medium; the compact cassette by default.
    pub medium: Medium,
}

/// The measured sections of a reading.
#[derive(Debug, Clone, Default)]
pub struct Measured {
    /// One row for each level tone.
    pub level: Vec<Level>,
    /// Response by steps and sweep.
    pub response: Option<Response>,
    /// Azimuth.
    pub azimuth: Option<Azimuth>,
    /// How the channels differed at each tone, from which azimuth was told.
    pub differences: Vec<PlayedDifference>,
    /// The tones say that the channels have opposite polarity (the slates' word is less sure).
    pub opposed: Option<bool>,
    /// Speed and drift.
    pub speed: Option<Speed>,
    /// Flutter of the longest flutter part.
    pub flutter: Option<Flutter>,
    /// Noise of the silent parts.
    pub noise: Option<Noise>,
    /// What is measured in rounds: record level, bias, noise reduction.
    pub rounds: InRounds,
    /// Harmonic distortion against level.
    pub distortion: Option<Distortion>,
    /// Difference-frequency distortion.
    pub intermodulation: Option<Intermodulation>,
    /// Output against input near saturation.
    pub saturation: Option<Saturation>,
    /// Leakage between the channels.
    pub separation: Vec<Separation>,
    /// What erasing leaves of a tone.
    pub erasure: Option<Erasure>,
    /// Dropouts in the steady tones.
    pub dropouts: Vec<Dropout>,
    /// Stretches in which samples are missing or came twice.
    pub torn: Vec<Torn>,
    /// Times at which the phase of the flutter tone jumps, s of the return.
    pub splices_s: Vec<f64>,
    /// Where alone the tape ran in the flutter tone, s of the return, if it did not all the time.
    pub ran_s: Option<(f64, f64)>,
    /// From here on, s of the return, no slate was found though the return goes on.
    pub lost_from_s: Option<f64>,
    /// A gain that depends on level.
    pub level_dependence: Option<LevelDependence>,
    /// Signs of a lossy codec.
    pub lossy_signs: Vec<LossySign>,
    /// What the reader must know.
    pub warnings: Vec<Warning>,
}

/// Rise and fall of tones and noises in a programme, and what the room of a deck's meters adds, s.
pub(super) const FADE_S: f64 = 0.02;
/// Between one channel and the other lies at most this, s (a tilted head, a converter): blocks need not care.
pub(super) const SILENCE_MARGIN_S: f64 = 0.25;

/// What one part gave.
enum Outcome {
    Tone(Box<Tone>, Stretch),
    Sweep(Vec<SweepPoint>),
    Flutter(Box<(Option<Flutter>, [Band; 2])>, Stretch),
    Silence(Option<Box<Silence>>),
    Noise(Option<Box<NoiseBands>>),
    Harmonics(Box<Harmonics>, Stretch),
    Twin(Box<TwinTone>),
    Leakage(Box<Leakage>),
    Erased(Erased, Stretch),
    Missing,
}

impl Outcome {
    fn gave_something(&self) -> bool {
        match self {
            Self::Tone(..) => true,
            Self::Sweep(points) => !points.is_empty(),
            Self::Flutter(result, _) => result.0.is_some(),
            Self::Silence(silence) => silence.is_some(),
            Self::Noise(bands) => bands.is_some(),
            Self::Harmonics(..) | Self::Twin(_) | Self::Leakage(_) | Self::Erased(..) => true,
            Self::Missing => false,
        }
    }
}

/// Measures every part of `timeline` that `source` holds, in parallel.
///
/// Channels and polarity are put right by `alignment.wiring`. A channel that is dead or does not exist (a mono
/// recording) gives no values.
///
/// # Errors
/// If the source cannot be read.
pub fn measure(
    source: &dyn Source,
    timeline: &Timeline,
    alignment: &Alignment,
    options: &MeasureOptions,
) -> Result<Measured, CaptureError> {
    let longest_flutter = longest(timeline, alignment, Serves::Flutter);
    // The longest first, so that no core is left with a long one at the end.
    let mut order: Vec<(usize, &PlacedPart)> = timeline.parts.iter().enumerate().collect();
    order.sort_by(|a, b| b.1.length_s.total_cmp(&a.1.length_s));
    let again = |stretch: Stretch, sink: &mut dyn FnMut([&[f64]; 2])| read(source, alignment, stretch, sink);
    let (mut outcomes, around) = rayon::join(
        || -> Vec<(usize, Result<Outcome, CaptureError>)> {
            order
                .into_iter()
                .par_bridge()
                .map(|(index, part)| {
                    (index, play(source, alignment, part, Some(index) == longest_flutter, options))
                })
                .collect()
        },
        || surroundings(source, timeline, alignment, &again),
    );
    outcomes.sort_by_key(|outcome| outcome.0);
    let mut outcomes = outcomes.into_iter().map(|outcome| outcome.1).collect::<Result<Vec<_>, _>>()?;
    trace_hum(source, timeline, alignment, &mut outcomes)?;
    let parts: Vec<bool> = outcomes.iter().map(Outcome::gave_something).collect();
    let mut measured = assemble(timeline, alignment, options, source.rate_hz(), outcomes, around?);
    measured.rounds = in_rounds(source, timeline, alignment, options.reference_dbfs, &measured.level)?;
    let gave =
        Gave { parts: &parts, flutter: measured.flutter.is_some(), response: measured.response.is_some() };
    measured.warnings.extend(unmeasured(timeline, alignment, source.rate_hz(), &gave));
    Ok(measured)
}

/// Index of the longest part serving `serves` of which something is in the recording.
fn longest(timeline: &Timeline, alignment: &Alignment, serves: Serves) -> Option<usize> {
    let length = |part: &PlacedPart| alignment.steady_rest(part, FADE_S).map_or(0.0, |s| s.length_s());
    timeline
        .parts
        .iter()
        .enumerate()
        .filter(|(_, part)| part.serves == serves && length(part) > 3.0)
        .max_by(|a, b| length(a.1).total_cmp(&length(b.1)))
        .map(|best| best.0)
}

/// Feeds one part to its meter.
fn play(
    source: &dyn Source,
    alignment: &Alignment,
    part: &PlacedPart,
    reads_flutter: bool,
    options: &MeasureOptions,
) -> Result<Outcome, CaptureError> {
    let rate_hz = source.rate_hz();
    let ratio = alignment.ratio(part);
    match (&part.signal, part.serves) {
        (Signal::Tone { hz }, Serves::Flutter) if reads_flutter => {
            let Some(stretch) = alignment.steady_rest(part, FADE_S) else { return Ok(Outcome::Missing) };
            let mut meter = FlutterMeter::new(rate_hz, *hz, hz * ratio);
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(Outcome::Flutter(Box::new(meter.finish(stretch.from_s)), stretch))
        }
        // The latter are measured apart, by what stands in rounds.rs.
        (_, Serves::Nothing | Serves::Place)
        | (_, Serves::Bias | Serves::BiasSweep | Serves::ReductionOut | Serves::ReductionIn) => {
            Ok(Outcome::Missing)
        }
        (Signal::Tone { hz }, Serves::Distortion) => {
            let Some(stretch) = alignment.steady(part, FADE_S) else { return Ok(Outcome::Missing) };
            let Some(mut meter) = DistortionMeter::new(rate_hz, hz * ratio) else {
                return Ok(Outcome::Missing);
            };
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(meter.finish().map_or(Outcome::Missing, |found| Outcome::Harmonics(Box::new(found), stretch)))
        }
        (Signal::Chord { hz }, Serves::Distortion | Serves::Saturation) => {
            let Some(stretch) = alignment.steady(part, FADE_S) else { return Ok(Outcome::Missing) };
            let Some(twin) = twin_hz(hz) else { return Ok(Outcome::Missing) };
            let Some(mut meter) = TwinToneMeter::new(rate_hz, twin.map(|hz| hz * ratio)) else {
                return Ok(Outcome::Missing);
            };
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(Outcome::Twin(Box::new(meter.finish())))
        }
        (Signal::Tone { hz }, Serves::Separation) => {
            let Some(stretch) = alignment.steady(part, FADE_S) else { return Ok(Outcome::Missing) };
            let driven = match part.channels {
                Channels::Left => 0,
                Channels::Right => 1,
                // With both driven nothing shows what leaks.
                Channels::Both | Channels::Opposed => return Ok(Outcome::Missing),
            };
            let Some(mut meter) = SeparationMeter::new(rate_hz, hz * ratio, driven) else {
                return Ok(Outcome::Missing);
            };
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(meter.finish().map_or(Outcome::Missing, |found| Outcome::Leakage(Box::new(found))))
        }
        (Signal::Tone { hz }, Serves::Erasure) => {
            let Some(stretch) = alignment.steady_rest(part, FADE_S) else { return Ok(Outcome::Missing) };
            let Some(mut meter) = ErasureMeter::new(rate_hz, hz * ratio) else { return Ok(Outcome::Missing) };
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(Outcome::Erased(meter.finish(silenced(alignment)), stretch))
        }
        (Signal::Tone { hz }, _) => {
            let Some(stretch) = alignment.steady(part, FADE_S) else { return Ok(Outcome::Missing) };
            let Some(mut meter) = ToneMeter::new(rate_hz, hz * ratio) else { return Ok(Outcome::Missing) };
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(meter.finish().map_or(Outcome::Missing, |tone| Outcome::Tone(Box::new(tone), stretch)))
        }
        (Signal::Sweep { from_hz, to_hz }, Serves::Response) => {
            let whole = Stretch {
                from_s: alignment.map.to_return(part.start_s),
                to_s: alignment.map.to_return(part.start_s + part.length_s),
            };
            if whole.from_s < 0.0 || whole.to_s > alignment.duration_s || alignment.map.is_torn(part) {
                return Ok(Outcome::Missing);
            }
            // A little more on either side, for the noise beside the sweep's ends.
            let stretch = Stretch { from_s: (whole.from_s - 0.2).max(0.0), to_s: whole.to_s + 0.2 };
            let from_s = (stretch.from_s * rate_hz).floor() / rate_hz;
            let place = SweepPlace {
                from_hz: *from_hz,
                to_hz: *to_hz,
                ratio,
                start_s: whole.from_s - from_s,
                length_s: whole.length_s(),
            };
            let mut meter = SweepMeter::new(rate_hz, place);
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(Outcome::Sweep(meter.finish()))
        }
        (Signal::Silence, Serves::Noise) => {
            let Some(stretch) = alignment.steady(part, SILENCE_MARGIN_S) else { return Ok(Outcome::Missing) };
            let mut meter = NoiseMeter::new(rate_hz).for_ratio(ratio);
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(Outcome::Silence(meter.finish().map(Box::new)))
        }
        (Signal::Noise { .. }, Serves::Response | Serves::Saturation) => {
            let Some(stretch) = alignment.steady(part, FADE_S) else { return Ok(Outcome::Missing) };
            let from_s = (stretch.from_s * rate_hz).floor() / rate_hz;
            let Some(place) = NoisePlace::new(part, &alignment.map, from_s) else {
                return Ok(Outcome::Missing);
            };
            let mut meter = NoiseBandsMeter::new(rate_hz, place);
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(Outcome::Noise(meter.finish(options.reference_dbfs).map(Box::new)))
        }
        _ => Ok(Outcome::Missing),
    }
}

/// Where hum that stands in a silence gets in: its lines are looked at again beside the longest steady tone.
fn trace_hum(
    source: &dyn Source,
    timeline: &Timeline,
    alignment: &Alignment,
    outcomes: &mut [Outcome],
) -> Result<(), CaptureError> {
    let hums = |outcome: &mut Outcome| match outcome {
        Outcome::Silence(Some(silence)) => silence.comb().is_some(),
        _ => false,
    };
    let Some(index) = outcomes.iter_mut().position(hums) else { return Ok(()) };
    let ratio = alignment.ratio(&timeline.parts[index]);
    let mut beside = HumBeside::new(source.rate_hz());
    let longest = outcomes
        .iter()
        .zip(&timeline.parts)
        .filter_map(|(outcome, part)| match (outcome, &part.signal) {
            (Outcome::Flutter(result, stretch), Signal::Tone { hz }) => {
                Some((&result.1, *stretch, *hz, part))
            }
            (Outcome::Tone(tone, stretch), Signal::Tone { hz }) => Some((&tone.band, *stretch, *hz, part)),
            _ => None,
        })
        .filter(|(_, stretch, hz, _)| stretch.length_s() > 9.0 && *hz > 2000.0)
        .max_by(|a, b| a.1.length_s().total_cmp(&b.1.length_s()));
    let energy = |band: &Band| band.samples.iter().map(|z| z.norm_sqr()).sum::<f64>();
    let tone = match longest {
        Some((bands, stretch, hz, part)) => {
            read(source, alignment, stretch, &mut |block| beside.feed(block))?;
            let band = if energy(&bands[0]) >= energy(&bands[1]) { &bands[0] } else { &bands[1] };
            let band = band.clone();
            Some((band, hz * alignment.ratio(part)))
        }
        None => None,
    };
    let tone = tone.as_ref().map(|(band, hz)| TapeTone { band, hz: *hz });
    if let Outcome::Silence(Some(silence)) = &mut outcomes[index] {
        beside.judge(silence, ratio, tone.as_ref());
    }
    Ok(())
}

/// Reads a stretch with channels and polarity put right; what is no number is read as 0 (the scan has counted it).
pub(super) fn read(
    source: &dyn Source,
    alignment: &Alignment,
    stretch: Stretch,
    sink: &mut dyn FnMut([&[f64]; 2]),
) -> Result<(), CaptureError> {
    let rate_hz = source.rate_hz();
    let wiring = alignment.wiring;
    let mut turned = [Vec::new(), Vec::new()];
    let from = (stretch.from_s * rate_hz).floor().max(0.0) as u64;
    let to = (stretch.to_s * rate_hz).floor().max(0.0) as u64;
    source.read(from, to, &mut |block| {
        let block = if wiring.swapped { [block[1], block[0]] } else { block };
        let mut put_right = |channel: usize| {
            turned[channel].clear();
            if !wiring.inverted[channel] && is_sound(block[channel]) {
                return false;
            }
            extend_mended(&mut turned[channel], block[channel]);
            if wiring.inverted[channel] {
                turned[channel].iter_mut().for_each(|x| *x = -*x);
            }
            true
        };
        let put_right = [put_right(0), put_right(1)];
        // What is right already is handed on as it is.
        sink([0, 1].map(|channel| if put_right[channel] { &turned[channel][..] } else { block[channel] }));
    })
}

/// The two frequencies of a twin tone, the lower first; `None` for another chord.
fn twin_hz(hz: &[f64]) -> Option<[f64; 2]> {
    let &[a, b] = hz else { return None };
    Some([a.min(b), a.max(b)])
}

/// Channels that do not exist or carry nothing.
fn silenced(alignment: &Alignment) -> [bool; 2] {
    let wiring = alignment.wiring;
    [wiring.dead[0], wiring.dead[1] || wiring.mono]
}

fn assemble(
    timeline: &Timeline,
    alignment: &Alignment,
    options: &MeasureOptions,
    rate_hz: f64,
    mut outcomes: Vec<Outcome>,
    mut around: Surroundings,
) -> Measured {
    let mut measured = Measured::default();
    let silenced = silenced(alignment);
    let mute = |pair: Pair| [0, 1].map(|channel| pair[channel].filter(|_| !silenced[channel]));
    for outcome in &mut outcomes {
        if let Outcome::Tone(tone, _) = outcome {
            for (channel, level) in tone.levels.iter_mut().enumerate() {
                if silenced[channel] {
                    *level = None;
                }
            }
            if silenced[0] || silenced[1] {
                tone.mutual = None;
            }
        }
    }
    let played: Vec<(&PlacedPart, PlayedTone)> = timeline
        .parts
        .iter()
        .zip(&outcomes)
        .filter_map(|(part, outcome)| match (&part.signal, outcome) {
            (Signal::Tone { hz }, Outcome::Tone(tone, _)) => {
                let played =
                    PlayedTone { part: &part.id, hz: *hz, programme_db: part.level_db, tone: tone.as_ref() };
                Some((part, played))
            }
            _ => None,
        })
        .collect();
    let both = |part: &PlacedPart| matches!(part.channels, Channels::Both);
    measured.level = played
        .iter()
        .filter(|(part, _)| part.serves == Serves::Level && both(part))
        .map(|(_, played)| level(played, options.reference_dbfs))
        .collect();
    // A tape near saturation compresses, and is no automatic level.
    let linear = |part: &PlacedPart| both(part) && part.serves != Serves::Saturation;
    let alike: Vec<&PlayedTone> =
        played.iter().filter(|(part, _)| linear(part)).map(|(_, tone)| tone).collect();
    for outcome in &outcomes {
        if let Outcome::Flutter(result, stretch) = outcome {
            measured.splices_s = splices(&result.1).iter().map(|at_s| stretch.from_s + at_s).collect();
        }
    }
    measured.ran_s = timeline.parts.iter().zip(&outcomes).find_map(|(_, outcome)| match outcome {
        Outcome::Flutter(result, stretch) => ran(&result.1[0], *stretch),
        _ => None,
    });
    // A silence without the tape is none, and no slate behind it says that the tape ran.
    measured.lost_from_s = lost_from_s(timeline, alignment);
    if measured.lost_from_s.is_some() {
        around.silence = None;
    }
    measured.torn = torn(&played, timeline, alignment, &outcomes);
    let whole = untorn(&alignment.slates, &measured.torn, &measured.splices_s);
    measured.speed = speed(whole, timeline);
    let riding_db = gain_riding_db(&alike);
    let creep_db = gain_creep_db(&alike, silenced).filter(|_| riding_db.is_none());
    let placed: Vec<(f64, &PlayedTone)> =
        played.iter().filter(|(part, _)| both(part)).map(|(part, tone)| (part.start_s, tone)).collect();
    let slates_db = |programme_s: f64| alignment.slates_db(programme_s);
    measured.level_dependence = level_dependence(&placed, &around, &slates_db, silenced);
    let gain_rides = riding_db.is_some() || creep_db.is_some();
    measured.lossy_signs = lossy_signs(&around, silenced, gain_rides);
    if let Some(db) = creep_db {
        measured.warnings.push(Warning::new(
            "gain-riding",
            format!(
                "While a steady tone played, the gain of both channels crept by {db:+.1} dB: a slow automatic level is \
                 on, in the deck or in the sound card. Levels, response and noise are wrong. Switch it off and record \
                 again."
            ),
        ));
    }
    // Where treble is lifted more than low tones, it is a compander and no automatic level.
    let companded = matches!(measured.level_dependence, Some(LevelDependence::Lifted(_)));
    if let Some(db) = riding_db.filter(|_| !companded) {
        measured.warnings.push(Warning::new(
            "gain-riding",
            format!(
                "A quiet tone came back with {db:.1} dB more gain than a loud one of about the same frequency: an \
                 automatic level or a limiter is on, in the deck or in the sound card, or the loud tone overdrives \
                 tape or input. Levels, response and noise are wrong. Switch it off, or record less loud, and record \
                 again."
            ),
        ));
    }
    let steps = steps(&played);
    let sweep =
        timeline.parts.iter().zip(&outcomes).find_map(|(part, outcome)| match (&part.signal, outcome) {
            // Frequencies of a sweep are told by time.
            (Signal::Sweep { from_hz, to_hz }, Outcome::Sweep(points))
                if both(part) && !is_torn(part, alignment, &measured.torn) =>
            {
                Some((points.as_slice(), part.level_db, (*from_hz, *to_hz)))
            }
            _ => None,
        });
    let mute_points = |points: &mut Vec<crate::reading::ResponsePoint>| {
        for point in points {
            point.db = mute(point.db);
            point.uncertainty_db = mute(point.uncertainty_db);
            if silenced[0] || silenced[1] {
                point.difference_db = None;
            }
        }
    };
    let silences: Vec<(&PlacedPart, &Silence)> = timeline
        .parts
        .iter()
        .zip(&outcomes)
        .filter_map(|(part, outcome)| match outcome {
            Outcome::Silence(Some(silence)) => Some((part, silence.as_ref())),
            _ => None,
        })
        .collect();
    let hiss = silences.first().map(|silence| silence.1);
    let noises: Vec<(&PlacedPart, &NoiseBands)> = timeline
        .parts
        .iter()
        .zip(&outcomes)
        .filter_map(|(part, outcome)| match outcome {
            Outcome::Noise(Some(noise)) if both(part) => Some((part, noise.as_ref())),
            _ => None,
        })
        .collect();
    let by_noise = noises
        .iter()
        .find(|(part, _)| part.serves == Serves::Response)
        .map(|(_, noise)| (noise.gains(hiss), noise.programme_db()));
    let by_noise = by_noise.as_ref().map(|(gains, level)| (gains.as_slice(), *level));
    measured.response =
        response(&steps, sweep, by_noise, timeline.reference_hz, options.reference_dbfs).map(|mut r| {
            mute_points(&mut r.steps);
            mute_points(&mut r.sweep);
            mute_points(&mut r.noise);
            r.low_3db_hz = mute(r.low_3db_hz);
            r.high_3db_hz = mute(r.high_3db_hz);
            r
        });
    let phases: Vec<(f64, &Tone)> =
        played.iter().filter(|(part, _)| linear(part)).map(|(_, played)| (played.hz, played.tone)).collect();
    let wander = played
        .iter()
        .filter(|(part, played)| part.serves == Serves::Azimuth && both(part) && played.tone.mutual.is_some())
        .max_by(|a, b| a.0.length_s.total_cmp(&b.0.length_s))
        .and_then(|(_, played)| wander_us(&played.tone.band));
    measured.differences = differences(&phases);
    if let Some(AzimuthResult { azimuth, opposed, unresolved }) =
        azimuth(&measured.differences, wander, rate_hz, &options.medium)
    {
        measured.azimuth = Some(azimuth);
        measured.opposed = (!unresolved).then_some(opposed);
        if unresolved {
            measured.warnings.push(Warning::new(
                "phase-unresolved",
                "The phases between the channels fit no single delay: azimuth cannot be told from this return. \
                 Check the wiring and the tape's path over the head, then record again.",
            ));
        }
    }
    for (part, outcome) in timeline.parts.iter().zip(&outcomes) {
        match outcome {
            Outcome::Tone(tone, stretch) if part.length_s >= 1.0 => {
                let noise = tone.levels.map(|level| level.map_or(1.0, |level| 3.2 * level.noise_share));
                measured.dropouts.extend(dropouts(&tone.band, noise, &part.id, stretch.from_s));
            }
            Outcome::Flutter(result, stretch) => {
                let noise = silenced.map(|silenced| if silenced { 1.0 } else { 0.0 });
                measured.dropouts.extend(dropouts(&result.1, noise, &part.id, stretch.from_s));
                measured.flutter.clone_from(&result.0);
                // A jump is a peak that no tape made.
                if let Some(flutter) = &mut measured.flutter
                    && (!measured.splices_s.is_empty() || is_torn(part, alignment, &measured.torn))
                {
                    flutter.unweighted_peak_percent = None;
                }
                if let Some(flutter) = &mut measured.flutter {
                    flutter.simultaneous_null_hz = Some(options.medium.simultaneous_null_hz());
                }
            }
            Outcome::Harmonics(found, stretch) => {
                let noise = silenced.map(|silenced| if silenced { 1.0 } else { 0.0 });
                measured.dropouts.extend(dropouts(&found.band, noise, &part.id, stretch.from_s));
            }
            _ => {}
        }
    }
    nonlinear(&mut measured, timeline, &outcomes, &played, silenced);
    let ladder = measured.distortion.as_ref().and_then(|distortion| ladder_riding_db(&distortion.steps));
    if let Some(db) = ladder.filter(|_| !gain_rides) {
        measured.warnings.push(Warning::new(
            "gain-riding",
            format!(
                "In the steps of level quiet tones came back with {db:.1} dB more gain than the distortion of the loud \
                 ones explains: an automatic level or a limiter is on, in the deck or in the sound card. Levels, \
                 distortion and maximum output are wrong. Switch it off and record again."
            ),
        ));
    }
    measured.dropouts.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    let stopped = measured.ran_s.is_some() && measured.lost_from_s.is_some();
    measured.noise = if stopped { None } else { noise(&silences, &measured.level, silenced) };
    let by_level = saturation_by_noise(&noises, hiss, &measured.level, silenced);
    if !by_level.is_empty() {
        measured.saturation.get_or_insert_default().noise = by_level;
    }
    if measured.level.iter().any(|row| row.return_dbfs.iter().flatten().count() == 0)
        || limited_by_noise(&measured.response, silenced)
    {
        measured.warnings.push(Warning::new(
            "noise-limited",
            "Some tones lie so deep in noise that no level is stated for them (null). Raise the recording level, or \
             mend what makes them weak first.",
        ));
    }
    measured
}

/// The sections that tell of distortion, saturation, separation and erasing.
fn nonlinear(
    measured: &mut Measured,
    timeline: &Timeline,
    outcomes: &[Outcome],
    played: &[(&PlacedPart, PlayedTone<'_>)],
    silenced: [bool; 2],
) {
    let reference_dbfs = reference(&measured.level, silenced).map_or([None; 2], |reference| reference.dbfs);
    let both = |part: &PlacedPart| part.channels == Channels::Both;
    let parts = || timeline.parts.iter().zip(outcomes);
    let steps: Vec<PlayedStep> = parts()
        .filter_map(|(part, outcome)| match (&part.signal, outcome) {
            (Signal::Tone { hz }, Outcome::Harmonics(harmonics, _)) if both(part) => {
                Some(PlayedStep { part: &part.id, hz: *hz, programme_db: part.level_db, harmonics })
            }
            _ => None,
        })
        .collect();
    measured.distortion = distortion(&steps, reference_dbfs, silenced);
    let twins: Vec<PlayedTwin> = parts()
        .filter_map(|(part, outcome)| match (&part.signal, outcome) {
            (Signal::Chord { hz }, Outcome::Twin(twin)) if both(part) => {
                Some(PlayedTwin { part: &part.id, hz: twin_hz(hz)?, programme_db: part.level_db, twin })
            }
            _ => None,
        })
        .collect();
    measured.intermodulation = intermodulation(&twins, silenced);
    let tones: Vec<PlayedTone> = played
        .iter()
        .filter(|(part, _)| part.serves == Serves::Saturation && both(part))
        .map(|(_, tone)| *tone)
        .collect();
    measured.saturation = saturation(&tones, reference_dbfs, silenced);
    if silenced == [false; 2] {
        let leaks: Vec<PlayedLeakage> = parts()
            .filter_map(|(part, outcome)| match (&part.signal, outcome) {
                (Signal::Tone { hz }, Outcome::Leakage(leakage)) => {
                    Some(PlayedLeakage { hz: *hz, programme_db: part.level_db, leakage })
                }
                _ => None,
            })
            .collect();
        measured.separation = separation(&leaks);
    }
    measured.erasure = parts().find_map(|(part, outcome)| match (&part.signal, outcome) {
        (Signal::Tone { hz }, Outcome::Erased(erased, stretch)) => {
            Some(erasure(*hz, part.level_db, stretch.from_s, erased))
        }
        _ => None,
    });
}

/// Where the flutter tone was read, s of the return, if that is not all of `stretch`.
fn ran(band: &Band, stretch: Stretch) -> Option<(f64, f64)> {
    let (from_s, to_s) = (stretch.from_s + band.first_s, stretch.from_s + band.time_s(band.samples.len()));
    (from_s - stretch.from_s > 0.3 || stretch.to_s - to_s > 0.3).then_some((from_s, to_s))
}

/// End of the last slate that was found, s of the return, if the next one is missing though the return goes on.
fn lost_from_s(timeline: &Timeline, alignment: &Alignment) -> Option<f64> {
    const MARGIN_S: f64 = 1.0;
    let last = alignment.slates.iter().max_by(|a, b| a.start_s.total_cmp(&b.start_s))?;
    let slates = || timeline.parts.iter().filter(|part| matches!(part.signal, Signal::Slate { .. }));
    let used =
        slates().find(|part| matches!(part.signal, Signal::Slate { index } if index == last.slate.index))?;
    let next = slates().find(|part| part.start_s > used.start_s)?;
    (alignment.duration_s > alignment.map.to_return(next.start_s + next.length_s) + MARGIN_S)
        .then(|| alignment.map.to_return(used.start_s + used.length_s))
}

/// Stretches in which time jumps: those that the slates show, and those that only the tones show.
fn torn(
    played: &[(&PlacedPart, PlayedTone)],
    timeline: &Timeline,
    alignment: &Alignment,
    outcomes: &[Outcome],
) -> Vec<Torn> {
    let mut speeds: Vec<(f64, f64, f64)> = played
        .iter()
        .filter(|(_, tone)| tone.hz > 300.0)
        .map(|(part, tone)| (part.start_s, part.length_s, tone.tone.hz / tone.hz))
        .collect();
    let mut wow_percent = None;
    for (part, outcome) in timeline.parts.iter().zip(outcomes) {
        if let (Signal::Tone { hz }, Outcome::Flutter(result, _)) = (&part.signal, outcome) {
            speeds.extend(mean_hz(&result.1).map(|mean_hz| (part.start_s, part.length_s, mean_hz / hz)));
            wow_percent = result.0.as_ref().and_then(|flutter| flutter.wow_rms_percent);
        }
    }
    let mut torn = tears(&alignment.slates, timeline, &speeds, wow_percent);
    torn.extend(alignment.map.torn().iter().map(|torn| Torn {
        from_s: torn.from_s,
        to_s: torn.to_s,
        missing_s: torn.missing_s,
        left_out: true,
    }));
    torn.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    torn
}

fn is_torn(part: &PlacedPart, alignment: &Alignment, torn: &[Torn]) -> bool {
    let at_s = alignment.map.to_return(part.start_s + part.length_s / 2.0);
    torn.iter().any(|torn| at_s > torn.from_s && at_s < torn.to_s)
}

/// Tones that serve response at the level that most of them have.
fn steps<'a>(played: &[(&PlacedPart, PlayedTone<'a>)]) -> Vec<PlayedTone<'a>> {
    let serving: Vec<&(&PlacedPart, PlayedTone)> = played
        .iter()
        .filter(|(part, _)| part.serves == Serves::Response && matches!(part.channels, Channels::Both))
        .collect();
    let commonest = serving.iter().map(|(_, tone)| tone.programme_db).max_by_key(|level| {
        serving.iter().filter(|(_, tone)| (tone.programme_db - level).abs() < 0.01).count()
    });
    serving
        .iter()
        .filter(|(_, tone)| commonest.is_some_and(|level| (tone.programme_db - level).abs() < 0.01))
        .map(|(_, tone)| PlayedTone {
            part: tone.part,
            hz: tone.hz,
            programme_db: tone.programme_db,
            tone: tone.tone,
        })
        .collect()
}

fn limited_by_noise(response: &Option<Response>, silenced: [bool; 2]) -> bool {
    response
        .iter()
        .flat_map(|response| &response.steps)
        .any(|step| [0, 1].into_iter().any(|channel| !silenced[channel] && step.db[channel].is_none()))
}
