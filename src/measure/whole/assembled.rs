//! What the parts of a programme gave, put together into the sections of a reading.

use crate::capture::{Alignment, Stretch};
use crate::measure::azimuth::delay::{AzimuthResult, azimuth, differences, wander_us};
use crate::measure::distortion::harmonics::{PlayedStep, distortion};
use crate::measure::distortion::intermodulation::{PlayedTwin, intermodulation};
use crate::measure::distortion::saturation::saturation;
use crate::measure::faults::gain_riding::{gain_creep_db, gain_riding_db, ladder_riding_db};
use crate::measure::faults::level_dependence::{LevelDependence, level_dependence};
use crate::measure::faults::lossy::lossy_signs;
use crate::measure::faults::surroundings::Surroundings;
use crate::measure::faults::tears::{Torn, mean_hz, mean_hz_error, splices, tears, untorn};
use crate::measure::flutter::same_tape::TapeCourse;
use crate::measure::noise::meter::Silence;
use crate::measure::noise::sections::{noise, reference, saturation_by_noise};
use crate::measure::response::amplifier::amplifier;
use crate::measure::response::noise_bands::NoiseBands;
use crate::measure::response::steps::{PlayedTone, level, response};
use crate::measure::separation::erasing::erasing;
use crate::measure::separation::leakage::{PlayedLeakage, separation};
use crate::measure::speed::slates::speed;
use crate::measure::tone::dropouts::dropouts;
use crate::measure::tone::meter::Tone;
use crate::measure::whole::measured::{MeasureOptions, Measured, MeasuredTone};
use crate::measure::whole::playing::{Outcome, silenced, twin_hz};
use crate::programme::{Channels, PlacedPart, Serves, Signal, Timeline};
use crate::reading::{FileClock, FileTime, Pair, Response, Warning, WarningId};
use crate::signal::baseband::Band;

/// Puts the outcomes of all parts, in the order of `timeline`, together.
pub(crate) fn assemble(
    timeline: &Timeline,
    alignment: &Alignment,
    options: &MeasureOptions,
    rate_hz: f64,
    mut outcomes: Vec<Outcome>,
    mut around: Surroundings,
) -> Measured {
    let mut measured = Measured::default();
    let clock = alignment.clock;
    let start = |stretch: &Stretch| clock.starting_at(stretch.from_s);
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
    let shaped = |part: &PlacedPart| matches!(part.serves, Serves::Injected(..));
    // A tape near saturation compresses, and is no automatic level; an amplifier's curve is none either.
    let linear = |part: &PlacedPart| both(part) && part.serves != Serves::Saturation && !shaped(part);
    let alike: Vec<&PlayedTone> =
        played.iter().filter(|(part, _)| linear(part)).map(|(_, tone)| tone).collect();
    let mut splices_s = Vec::new();
    for outcome in &outcomes {
        if let Outcome::Flutter(result, stretch) = outcome {
            splices_s = splices(&result.1).iter().map(|at_s| stretch.from_s + at_s).collect();
        }
    }
    measured.splices_s = splices_s.iter().map(|at_s| clock.at(*at_s)).collect();
    measured.ran_s = timeline.parts.iter().zip(&outcomes).find_map(|(_, outcome)| match outcome {
        Outcome::Flutter(result, stretch) => ran(&result.1[0], *stretch, clock),
        _ => None,
    });
    // A silence without the tape is none, and no slate behind it says that the tape ran.
    measured.lost_from_s = lost_from_s(timeline, alignment).map(|from_s| clock.at(from_s));
    if measured.lost_from_s.is_some() {
        around.silence = None;
    }
    let torn = torn(&played, timeline, alignment, &outcomes);
    measured.torn = torn.iter().map(|torn| torn.in_file(clock)).collect();
    let whole = untorn(&alignment.slates, &torn, &splices_s);
    measured.speed = speed(whole, timeline);
    measured.tones = measured_tones(timeline, &outcomes);
    // Where levels are taken from the return, a gain that differs says nothing.
    let riding_db = gain_riding_db(&alike).filter(|_| timeline.levels_are_known());
    let creep_db = gain_creep_db(&alike, silenced).filter(|_| riding_db.is_none());
    let placed: Vec<(f64, &PlayedTone)> = played
        .iter()
        .filter(|(part, _)| both(part) && !shaped(part))
        .map(|(part, tone)| (part.start_s, tone))
        .collect();
    let slates_db = |programme_s: f64| alignment.slates_db(programme_s);
    measured.level_dependence =
        level_dependence(&placed, &around, &slates_db, silenced).filter(|_| timeline.levels_are_known());
    let gain_rides = riding_db.is_some() || creep_db.is_some();
    measured.lossy_signs = lossy_signs(&around, silenced, gain_rides);
    if let Some(db) = creep_db {
        measured.warnings.push(Warning::new(
            WarningId::GainRiding,
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
            WarningId::GainRiding,
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
                if both(part) && !is_torn(part, alignment, &torn) =>
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
    measured.amplifier =
        amplifier(&played, timeline.reference_hz, options.reference_dbfs).map(|mut amplifier| {
            amplifier.positions.iter_mut().for_each(|position| mute_points(&mut position.steps));
            amplifier
        });
    let phases: Vec<(f64, &Tone)> = played
        .iter()
        .enumerate()
        .filter(|(k, (part, _))| linear(part) && is_first(part, played[..*k].iter().map(|before| before.0)))
        .map(|(_, (_, played))| (played.hz, played.tone))
        .collect();
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
                WarningId::PhaseUnresolved,
                "The phases between the channels fit no single delay: azimuth cannot be told from this return. \
                 Check the wiring and the tape's path over the head, then record again.",
            ));
        }
    }
    for (k, (part, outcome)) in timeline.parts.iter().zip(&outcomes).enumerate() {
        match outcome {
            Outcome::Tone(tone, stretch)
                if part.length_s >= 1.0 && is_first(part, timeline.parts[..k].iter()) =>
            {
                let noise = tone.levels.map(|level| level.map_or(1.0, |level| 3.2 * level.noise_share));
                measured.dropouts.extend(dropouts(&tone.band, noise, &part.id, start(stretch)));
            }
            Outcome::Flutter(result, stretch) => {
                let noise = silenced.map(|silenced| if silenced { 1.0 } else { 0.0 });
                measured.dropouts.extend(dropouts(&result.1, noise, &part.id, start(stretch)));
                measured.flutter.clone_from(&result.0);
                if let Signal::Tone { hz } = part.signal
                    && measured.splices_s.is_empty()
                    && !is_torn(part, alignment, &torn)
                {
                    let expected_hz = hz * alignment.ratio(part);
                    measured.course = TapeCourse::of(&result.1, expected_hz, part, alignment, stretch.from_s);
                }
                // A jump is a peak that no tape made.
                if let Some(flutter) = &mut measured.flutter
                    && (!measured.splices_s.is_empty() || is_torn(part, alignment, &torn))
                {
                    flutter.unweighted_peak_percent = None;
                }
                if let Some(flutter) = &mut measured.flutter {
                    flutter.simultaneous_null_hz = Some(options.medium.simultaneous_null_hz());
                }
            }
            Outcome::Harmonics(found, stretch) => {
                let noise = silenced.map(|silenced| if silenced { 1.0 } else { 0.0 });
                measured.dropouts.extend(dropouts(&found.band, noise, &part.id, start(stretch)));
            }
            _ => {}
        }
    }
    nonlinear(&mut measured, timeline, &outcomes, &played, silenced, clock);
    let ladder = measured.distortion.as_ref().and_then(|distortion| ladder_riding_db(&distortion.steps));
    if let Some(db) = ladder.filter(|_| !gain_rides) {
        measured.warnings.push(Warning::new(
            WarningId::GainRiding,
            format!(
                "In the steps of level quiet tones came back with {db:.1} dB more gain than the distortion of the loud \
                 ones explains: an automatic level or a limiter is on, in the deck or in the sound card. Levels, \
                 distortion and maximum output are wrong. Switch it off and record again."
            ),
        ));
    }
    measured.dropouts.sort_by(|a, b| a.at_s.seconds().total_cmp(&b.at_s.seconds()));
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
            WarningId::NoiseLimited,
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
    clock: FileClock,
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
    measured.erasing = parts().find_map(|(part, outcome)| match (&part.signal, outcome) {
        (Signal::Tone { hz }, Outcome::Erased(erased, stretch)) => {
            Some(erasing(*hz, part.level_db, clock.starting_at(stretch.from_s), erased))
        }
        _ => None,
    });
}

/// Whether none of the parts before is the same tone in the same place: without slates one tone may serve twice.
fn is_first<'a>(part: &PlacedPart, mut before: impl Iterator<Item = &'a PlacedPart>) -> bool {
    before.all(|other| {
        other.start_s != part.start_s || other.signal != part.signal || other.serves == Serves::Flutter
    })
}

/// Frequencies and levels of all tones.
fn measured_tones(timeline: &Timeline, outcomes: &[Outcome]) -> Vec<MeasuredTone> {
    let of = |(part, outcome): (&PlacedPart, &Outcome)| {
        let Signal::Tone { hz: programme_hz } = part.signal else { return None };
        let (hz, stretch, dbfs, bands) = match outcome {
            Outcome::Tone(tone, stretch) => {
                (tone.hz, stretch, tone.levels.map(|level| level.map(|level| level.dbfs)), &tone.band)
            }
            Outcome::Flutter(result, stretch) => (mean_hz(&result.1)?, stretch, [None; 2], &result.1),
            _ => return None,
        };
        let (part, length_s) = (part.id.clone(), stretch.length_s());
        Some(MeasuredTone { part, programme_hz, hz, hz_error: mean_hz_error(bands), length_s, dbfs })
    };
    timeline.parts.iter().zip(outcomes).filter_map(of).collect()
}

/// Where the flutter tone was read, if that is not all of `stretch`.
fn ran(band: &Band, stretch: Stretch, clock: FileClock) -> Option<[FileTime; 2]> {
    let (from_s, to_s) = (stretch.from_s + band.first_s, stretch.from_s + band.time_s(band.samples.len()));
    (from_s - stretch.from_s > 0.3 || stretch.to_s - to_s > 0.3)
        .then(|| [from_s, to_s].map(|at_s| clock.at(at_s)))
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
