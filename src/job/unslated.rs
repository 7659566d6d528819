//! A return that carries none of our slates: what is on it is found by listening, and measured like a programme.

use super::error::ReadError;
use super::read::{Playing, ReadOptions, blank, describe_capture};
use super::recording::{FileFacts, Recording};
use super::unslated_words::{disbelieved, remarks};
use super::warnings::{broken_samples, samples_warnings, warn};
use crate::capture::{
    BetweenKind, Heard, NamedBy, Names, Served, ServedTone, assemble, hear, name, scan, serve,
};
use crate::judge::Reading;
use crate::measure::{
    FrequencyKnowledge, MeasureOptions, Measured, MeasuredTone, TapeValues, Told, deck_equalisation, measure,
    tone_speed, withhold,
};
use crate::programme::{TapeFile, Timeline, built_in};
use crate::reading::{Facts, FileClock, Found, FoundKind, NominalBy, RecordedOn, Warning, WarningId};
use crate::trade::StatedFlux;
use crate::trade::test_tapes::USUAL_TONE_PERCENT;

/// What is known of a tape without slates.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct UnslatedOptions {
    /// The tape's own values.
    pub tape: Option<TapeFile>,
    /// A tone whose frequency is known.
    pub known: Option<KnownPitch>,
    /// Flux that the deck's manual calls its standard; the tape's file may say it as well.
    pub deck_standard: Option<StatedFlux>,
}

/// The pitch of one tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KnownPitch {
    /// Hz.
    pub hz: f64,
    /// How well it is known, percent (k = 2).
    pub within_percent: f64,
}

/// Everything that was listened to and laid out.
pub(super) struct Listened<'a> {
    pub heard: &'a Heard,
    pub names: &'a Names,
    pub served: &'a Served,
    pub values: &'a TapeValues<'a>,
}

/// Measures a return that carries no slates. `options.recipe`, `loopback` and `reference_dbfs` play no part.
///
/// # Errors
/// If the file cannot be read, or holds no test tones.
pub fn measure_unslated(
    recording: Recording<'_>,
    options: &ReadOptions,
    unslated: &UnslatedOptions,
) -> Result<Playing, ReadError> {
    let (opened, facts) = recording.open(options.channels)?;
    let source = opened.source();
    let mut scan = scan(source)?;
    let facts = FileFacts { cut_short: facts.cut_short || scan.frames < source.frames(), ..facts };
    let mut reading = blank(source, &facts, options, &scan);
    reading.warnings.extend(broken_samples(&scan));
    let mut heard = hear(source)?;
    take_known(&mut heard, unslated.known);
    if heard.tones.iter().any(|tone| tone.rich) {
        // The edges of squares and pulses.
        scan.forget_clicks();
    }
    let told_hz: Vec<f64> =
        unslated.tape.iter().flat_map(|tape| tape.tones.iter().map(|tone| tone.hz)).collect();
    let names = name(&heard.tones, &told_hz, unslated.known.map(|known| known.hz));
    if let Some(why) = disbelieved(&heard, &names, unslated, &scan, reading.capture.duration_s) {
        reading.warnings.push(Warning::new(
            WarningId::NoTestTones,
            format!("No test tones were found: {why}. Nothing was measured."),
        ));
        return Err(ReadError::NoTones {
            path: facts.path,
            why,
            reading: Box::new(Reading::unmeasured(reading)),
        });
    }
    let duration_s = scan.frames as f64 / source.rate_hz();
    let one_signal = facts.mono_file || scan.identical;
    let mut served = serve(&heard, &names, unslated.tape.as_ref(), duration_s, one_signal);
    let values = values(&served, options, unslated);
    let ladder = served.tones.iter().any(|tone| tone.response);
    let measuring = MeasureOptions {
        reference_dbfs: 0.0,
        medium: options.medium,
        tops: scan.tops(served.alignment.wiring.swapped),
        step: scan.step,
        // Without a ladder and a sweep nobody promised one.
        response_expected: ladder || served.sweep.is_some(),
    };
    let mut measured = measure(source, &served.timeline, &served.alignment, &measuring)?;
    if measured.evidence.opposed == Some(true) {
        served.alignment.wiring.inverted[1] ^= true;
    }
    // A guess is no basis for a verdict.
    measured.facts.speed = names
        .tells_speed
        .then(|| tone_speed(&for_speed(&served, &measured), &knowledge(&names, unslated, &measured)))
        .flatten();
    trim_response(&mut measured, ladder, &values);
    values.correct_levels(&mut measured.facts.level);
    describe_capture(&mut reading, &served.alignment);
    reading.warnings.extend(samples_warnings(&scan));
    warn(&mut reading, &served.alignment, &facts, &measured);
    reading.found = found(&heard, &served, &measured);
    let listened = Listened { heard: &heard, names: &names, served: &served, values: &values };
    let codes: Vec<u16> = built_in().iter().map(|recipe| Timeline::from(recipe).code).collect();
    let slates = assemble(&scan.chirps, &codes).len();
    reading.warnings.extend(remarks(&listened, &measured, slates));
    reading.measured = measured.facts;
    reading.tape = values.section(&reading.level);
    let Facts { measured: told, warnings, .. } = &mut reading;
    withhold(told, warnings, &measured.evidence.lossy_signs);
    Ok(Playing {
        facts: reading,
        differences: vec![],
        course: None,
        slates: vec![],
        clock: FileClock::default(),
    })
}

/// Where no tone is near the pitch that somebody knows, one with company counts: a note.
fn take_known(heard: &mut Heard, known: Option<KnownPitch>) {
    let Some(known) = known else { return };
    let most = crate::trade::test_tapes::MOST_SPEED_ERROR_PERCENT / 100.0;
    let near = |hz: f64| (hz / known.hz - 1.0).abs() < most;
    if heard.tones.iter().any(|tone| near(tone.hz)) {
        return;
    }
    let (meant, rest): (Vec<_>, Vec<_>) = heard.impure.iter().copied().partition(|tone| near(tone.hz));
    heard.impure = rest;
    heard.tones.extend(meant);
    heard.tones.sort_by(|a, b| a.heard.from_s.total_cmp(&b.heard.from_s));
}

/// What is known of the tape, for the tones that were found.
fn values<'a>(served: &Served, options: &ReadOptions, unslated: &'a UnslatedOptions) -> TapeValues<'a> {
    let file = unslated.tape.as_ref();
    let told = |tone: &&ServedTone| tone.told.is_some();
    let ladder = served.tones.iter().filter(|tone| tone.response).filter(told);
    let levels = served.tones.iter().filter(|tone| tone.level).filter(told);
    TapeValues {
        file,
        ladder: ladder
            .filter_map(|tone| {
                let mut told = tone.told?;
                // Levels count only if all of the ladder have one: the others are taken to be equal.
                told.level_db = told.level_db.filter(|_| served.levels_told);
                Some(Told { hz: tone.hz, tone: told })
            })
            .collect(),
        levels: levels.filter_map(|tone| Some((tone.part.clone(), tone.told?))).collect(),
        played_at: file
            .and_then(|file| file.played_at)
            .or(options.circumstances.tape_type.map(deck_equalisation)),
        // What is typed goes first, then what stands with the deck's limits, then the tape's file.
        deck_standard: unslated
            .deck_standard
            .or(options.limits.deck_standard())
            .or(file.and_then(|file| file.deck_standard)),
        is_reference: options.circumstances.recorded_on == Some(RecordedOn::Calibrated),
    }
}

/// The tones from which speed is told: those that somebody knows, else those with a name, each once.
fn for_speed(served: &Served, measured: &Measured) -> Vec<MeasuredTone> {
    let known = |tone: &ServedTone| tone.name.is_some_and(|name| name.by == NamedBy::Known);
    let any_known = served.tones.iter().any(known);
    let used = served.tones.iter().filter(|tone| if any_known { known(tone) } else { tone.name.is_some() });
    used.filter_map(|tone| {
        let of = |part: &str| measured.evidence.tones.iter().find(|measured| measured.part == part);
        let parts = ["-flutter", "", "-response", "-azimuth"].map(|suffix| format!("{}{suffix}", tone.part));
        parts.iter().find_map(|part| of(part)).cloned()
    })
    .collect()
}

fn knowledge(names: &Names, unslated: &UnslatedOptions, measured: &Measured) -> FrequencyKnowledge {
    let wow_percent = measured.facts.flutter.as_ref().and_then(|flutter| flutter.wow_rms_percent);
    let by = |whose: NamedBy| names.names.iter().flatten().any(|name| name.by == whose);
    match (&unslated.known, &unslated.tape) {
        (Some(known), _) if by(NamedBy::Known) => {
            FrequencyKnowledge { within_percent: known.within_percent, sharp_percent: 0.0, wow_percent }
        }
        (_, Some(tape)) => FrequencyKnowledge {
            within_percent: tape.frequency_uncertainty_percent.unwrap_or(USUAL_TONE_PERCENT),
            sharp_percent: tape.speed_error_percent,
            wow_percent,
        },
        _ => {
            // Twice the standard deviation of what is one of two things, with the odds of the other.
            let rival = names.rival.map_or(0.0, |rival| {
                200.0 * (rival.ratio - names.ratio).abs() * (rival.odds * (1.0 - rival.odds)).sqrt()
            });
            let within_percent = USUAL_TONE_PERCENT.hypot(rival);
            FrequencyKnowledge { within_percent, sharp_percent: 0.0, wow_percent }
        }
    }
}

/// Leaves of the response what rests on a ladder or a sweep, with what is known to be on the tape subtracted.
fn trim_response(measured: &mut Measured, ladder: bool, values: &TapeValues) {
    if let Some(response) = &mut measured.facts.response {
        if !ladder {
            response.steps.clear();
            response.combined.clear();
        }
        values.correct_response(response);
    }
    measured.facts.response =
        measured.facts.response.take().filter(|r| !r.steps.is_empty() || !r.sweep.is_empty());
}

/// Section `found`.
fn found(heard: &Heard, served: &Served, measured: &Measured) -> Vec<Found> {
    let silenced = served.alignment.wiring.mono;
    let clock = served.alignment.clock;
    let pair = |dbfs: [f64; 2], on: [bool; 2]| {
        [0, 1]
            .map(|side| Some(dbfs[side]).filter(|db| on[side] && db.is_finite() && !(silenced && side == 1)))
    };
    let mut found: Vec<Found> =
        served.tones.iter().map(|tone| found_tone(tone, clock, measured, &pair)).collect();
    for (k, sweep) in heard.sweeps.iter().enumerate() {
        let measured =
            served.sweep == Some(k) && measured.facts.response.as_ref().is_some_and(|r| !r.sweep.is_empty());
        found.push(Found {
            kind: FoundKind::Sweep,
            from_s: clock.at(sweep.from_s),
            to_s: clock.at(sweep.to_s),
            hz: Some(sweep.from_hz),
            to_hz: Some(sweep.to_hz),
            return_dbfs: [None; 2],
            serves: if measured { "response".into() } else { "nothing".into() },
            nominal_hz: None,
            nominal_by: None,
            part: measured.then(|| "sweep".to_owned()),
        });
    }
    for (k, between) in heard.between.iter().enumerate() {
        let noise = served.silence == Some(k) && measured.facts.noise.is_some();
        found.push(Found {
            kind: match between.kind {
                BetweenKind::Silence => FoundKind::Silence,
                BetweenKind::Noise => FoundKind::Noise,
                BetweenKind::Nothing => FoundKind::Nothing,
                BetweenKind::Other => FoundKind::Other,
            },
            from_s: clock.at(between.stretch.from_s),
            to_s: clock.at(between.stretch.to_s),
            hz: None,
            to_hz: None,
            return_dbfs: pair(between.dbfs, [between.kind != BetweenKind::Nothing; 2]),
            serves: if noise { "noise".into() } else { "nothing".into() },
            nominal_hz: None,
            nominal_by: None,
            part: noise.then(|| "silence".to_owned()),
        });
    }
    found.sort_by(|a, b| a.from_s.seconds().total_cmp(&b.from_s.seconds()));
    found
}

fn found_tone(
    tone: &ServedTone,
    clock: FileClock,
    measured: &Measured,
    pair: &dyn Fn([f64; 2], [bool; 2]) -> [Option<f64>; 2],
) -> Found {
    let own = |measured: &&MeasuredTone| {
        measured.part == tone.part
            || measured.part.strip_prefix(&tone.part).is_some_and(|rest| rest.starts_with("-re"))
    };
    let exact = measured.evidence.tones.iter().find(own);
    let words = [
        ("level", tone.level),
        ("response", tone.response && measured.facts.response.is_some()),
        ("flutter", tone.flutter && measured.facts.flutter.is_some()),
        ("azimuth", tone.azimuth && measured.facts.azimuth.is_some()),
        ("speed", tone.name.is_some() && measured.facts.speed.is_some()),
    ];
    let serves: Vec<&str> = words.iter().filter(|word| word.1).map(|word| word.0).collect();
    let rough = pair(tone.tone.dbfs, tone.tone.on);
    Found {
        kind: FoundKind::Tone,
        from_s: clock.at(tone.tone.heard.from_s),
        to_s: clock.at(tone.tone.heard.to_s),
        hz: Some(exact.map_or(tone.tone.hz, |exact| exact.hz)),
        to_hz: None,
        return_dbfs: [0, 1].map(|side| {
            let exact = exact.and_then(|exact| exact.dbfs[side]);
            exact.filter(|_| rough[side].is_some()).or(rough[side])
        }),
        serves: if serves.is_empty() { "nothing".into() } else { serves.join(", ") },
        nominal_hz: tone.name.map(|name| name.nominal_hz),
        nominal_by: tone.name.map(|name| match name.by {
            NamedBy::Tape => NominalBy::Tape,
            NamedBy::Known => NominalBy::Known,
            NamedBy::Guess => NominalBy::Guess,
        }),
        part: Some(tone.part.clone()),
    }
}
