//! All that is measured from one aligned return: every part of the programme is fed to the meter that it serves.

use super::azimuth::{AzimuthResult, azimuth};
use super::dropouts::dropouts;
use super::flutter::FlutterMeter;
use super::gain_riding::gain_riding_db;
use super::noise::{NoiseMeter, Silence};
use super::response::{PlayedTone, level, response};
use super::speed::speed;
use super::sweep::{SweepMeter, SweepPlace, SweepPoint};
use super::tone::{Tone, ToneMeter};
use crate::capture::{Alignment, CaptureError, Source, Stretch, extend_mended};
use crate::programme::{Channels, PlacedPart, Serves, Signal, Timeline};
use crate::reading::{Azimuth, Dropout, Flutter, Level, Noise, Pair, Response, Speed, Warning};
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
    /// The tones say that the channels have opposite polarity (the slates' word is less sure).
    pub opposed: Option<bool>,
    /// Speed and drift.
    pub speed: Option<Speed>,
    /// Flutter of the longest flutter part.
    pub flutter: Option<Flutter>,
    /// Noise of the longest silent part.
    pub noise: Option<Noise>,
    /// Dropouts in the steady tones.
    pub dropouts: Vec<Dropout>,
    /// What the reader must know.
    pub warnings: Vec<Warning>,
}

/// Rise and fall of tones and noises in a programme, and what the room of a deck's meters adds, s.
const FADE_S: f64 = 0.02;
/// Between one channel and the other lies at most this, s (a tilted head, a converter): blocks need not care.
const SILENCE_MARGIN_S: f64 = 0.25;

/// What one part gave.
enum Outcome {
    Tone(Box<Tone>, Stretch),
    Sweep(Vec<SweepPoint>),
    Flutter(Box<(Option<Flutter>, [Band; 2])>, Stretch),
    Silence(Option<Box<Silence>>),
    Missing,
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
    let outcomes: Vec<Outcome> = timeline
        .parts
        .par_iter()
        .enumerate()
        .map(|(index, part)| play(source, alignment, part, Some(index) == longest_flutter))
        .collect::<Result<_, _>>()?;
    Ok(assemble(timeline, alignment, options, outcomes))
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
        (_, Serves::Nothing | Serves::Place) => Ok(Outcome::Missing),
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
            if whole.from_s < 0.0 || whole.to_s > alignment.duration_s {
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
            let mut meter = NoiseMeter::new(rate_hz);
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(Outcome::Silence(meter.finish().map(Box::new)))
        }
        _ => Ok(Outcome::Missing),
    }
}

/// Reads a stretch with channels and polarity put right; what is no number is read as 0 (the scan has counted it).
fn read(
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
            extend_mended(&mut turned[channel], block[channel]);
            if wiring.inverted[channel] {
                turned[channel].iter_mut().for_each(|x| *x = -*x);
            }
        };
        put_right(0);
        put_right(1);
        sink([&turned[0], &turned[1]]);
    })
}

fn assemble(
    timeline: &Timeline,
    alignment: &Alignment,
    options: &MeasureOptions,
    mut outcomes: Vec<Outcome>,
) -> Measured {
    let mut measured = Measured { speed: speed(&alignment.slates, timeline), ..Measured::default() };
    let wiring = alignment.wiring;
    let silenced = [wiring.dead[0], wiring.dead[1] || wiring.mono];
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
    let alike: Vec<&PlayedTone> =
        played.iter().filter(|(part, _)| both(part)).map(|(_, tone)| tone).collect();
    if let Some(db) = gain_riding_db(&alike) {
        measured.warnings.push(Warning::new(
            "gain-riding",
            format!(
                "A quiet tone came back with {db:.1} dB more gain than a loud one of about the same frequency: an \
                 automatic level is on, in the deck or in the sound card. Levels, response and noise are wrong. \
                 Switch it off and record again."
            ),
        ));
    }
    let steps = steps(&played);
    let sweep =
        timeline.parts.iter().zip(&outcomes).find_map(|(part, outcome)| match (&part.signal, outcome) {
            (Signal::Sweep { from_hz, to_hz }, Outcome::Sweep(points)) if both(part) => {
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
    measured.response =
        response(&steps, sweep, timeline.reference_hz, options.reference_dbfs).map(|mut r| {
            mute_points(&mut r.steps);
            mute_points(&mut r.sweep);
            r.low_3db_hz = mute(r.low_3db_hz);
            r.high_3db_hz = mute(r.high_3db_hz);
            r
        });
    let phases: Vec<(f64, &Tone)> =
        played.iter().filter(|(part, _)| both(part)).map(|(_, played)| (played.hz, played.tone)).collect();
    let wander = played
        .iter()
        .filter(|(part, played)| part.serves == Serves::Azimuth && both(part) && played.tone.mutual.is_some())
        .max_by(|a, b| a.0.length_s.total_cmp(&b.0.length_s))
        .map(|(_, played)| (played.hz, &played.tone.band));
    if let Some(AzimuthResult { azimuth, opposed, unresolved }) = azimuth(&phases, wander, &options.medium) {
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
                if let Some(flutter) = &mut measured.flutter {
                    flutter.simultaneous_null_hz = Some(options.medium.simultaneous_null_hz());
                }
            }
            _ => {}
        }
    }
    measured.dropouts.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    let silence = outcomes.iter().find_map(|outcome| match outcome {
        Outcome::Silence(silence) => silence.as_ref(),
        _ => None,
    });
    measured.noise = silence.and_then(|silence| noise_against(silence, &measured.level, silenced));
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

/// Noise against the first level tone, brought to the programme's reference level.
fn noise_against(silence: &Silence, levels: &[Level], silenced: [bool; 2]) -> Option<Noise> {
    // The loudest of the level tones stands best above the noise.
    let tone = levels
        .iter()
        .filter(|row| row.return_dbfs.iter().any(Option::is_some))
        .max_by(|a, b| a.programme_db.total_cmp(&b.programme_db).then(b.hz.total_cmp(&a.hz)))?;
    let reference: Pair = [0, 1].map(|channel| {
        tone.return_dbfs[channel].filter(|_| !silenced[channel]).map(|level| level - tone.programme_db)
    });
    let words =
        format!("the level tone of {} Hz as returned, brought to the programme's reference level", tone.hz);
    Some(silence.noise(&words, reference))
}

fn limited_by_noise(response: &Option<Response>, silenced: [bool; 2]) -> bool {
    response
        .iter()
        .flat_map(|response| &response.steps)
        .any(|step| [0, 1].into_iter().any(|channel| !silenced[channel] && step.db[channel].is_none()))
}
