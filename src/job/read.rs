//! The main job: one return in, one reading out.

use super::error::ReadError;
use super::faults::several_takes;
use super::rate::{Relabelled, find_slates};
use super::recording::{FileFacts, Recording};
use super::served::served;
use super::warnings::{broken_samples, no_slate_why, samples_warnings, warn};
use crate::capture::{Alignment, FoundSlate, InMemory, Scan, Source};
use crate::judge::{Limits, Reading, conclude};
use crate::measure::{
    Evidence, LoopbackCapture, MeasureOptions, PlayedDifference, TapeCourse, TransportNumbers,
    amplifier_response, measure, subtract, tell_time_constants, withhold,
};
use crate::programme::{Recipe, Timeline, built_in, built_in_by_code};
use crate::reading::{
    Capture, Circumstances, FORMAT, Facts, FileClock, FileTime, Made, Origin, RecipeId, RecordedOn, Warning,
    WarningId,
};
use crate::trade::Medium;
use std::path::{Path, PathBuf};

/// What the reader is told about a return.
#[derive(Debug, Clone)]
pub struct ReadOptions {
    /// The recipe that was played; by default the slate says which built-in one it is.
    pub recipe: Option<Recipe>,
    /// Where the programme's reference level lies in its WAV, dBFS; -12 unless `write` was told otherwise.
    pub reference_dbfs: f64,
    /// Channels of a file with more than two, counted from 0, as (left, right).
    pub channels: Option<[usize; 2]>,
    /// Circumstances that no signal shows.
    pub circumstances: Circumstances,
    /// The medium; the compact cassette by default.
    pub medium: Medium,
    /// What the findings are judged by.
    pub limits: Limits,
    /// Diameters and ratios of the transport, to know parts by their rates; without, usual ranges are taken.
    pub transport: Option<TransportNumbers>,
    /// Loopback capture of the sound card, to be subtracted.
    pub loopback: Option<PathBuf>,
    /// When, by what and for which deck the reading is made.
    pub made: Option<Made>,
}

impl Default for ReadOptions {
    /// A cassette of which nothing was told, judged as a full-size deck's.
    fn default() -> Self {
        Self {
            recipe: None,
            reference_dbfs: -12.0,
            channels: None,
            circumstances: Circumstances::default(),
            medium: Medium::COMPACT_CASSETTE,
            limits: Limits::full_size(),
            transport: None,
            loopback: None,
            made: None,
        }
    }
}

/// One playing, measured: its facts, and what corrections need besides.
#[derive(Debug, Clone)]
pub struct Playing {
    /// What was captured and measured.
    pub facts: Facts,
    /// How the channels differed at each tone.
    pub(super) differences: Vec<PlayedDifference>,
    /// The course of the flutter tone against the place on the tape.
    pub(super) course: Option<TapeCourse>,
    /// Number and start of each slate, true seconds of the return.
    pub(super) slates: Vec<(u8, f64)>,
    /// Tells the times of the file.
    pub(super) clock: FileClock,
}

impl Playing {
    /// What follows from it.
    pub fn conclude(self, options: &ReadOptions) -> Reading {
        conclude(self.facts, &options.medium, &options.limits, options.transport.as_ref())
    }
}

/// Reads the return at `path`.
///
/// # Errors
/// If the file cannot be read, carries no slate, or carries one of an unknown recipe or of a looped one.
pub fn read_return(path: &Path, options: &ReadOptions) -> Result<Reading, ReadError> {
    Ok(measure_return(Recording::File(path), options)?.conclude(options))
}

/// Reads a return held in memory; `name` stands for the file's name in the reading.
///
/// # Errors
/// As [`read_return`].
pub fn read_samples(samples: &InMemory, name: &str, options: &ReadOptions) -> Result<Reading, ReadError> {
    Ok(measure_return(Recording::Samples(samples, name), options)?.conclude(options))
}

/// Measures a return, the sound card subtracted if `options` have a loopback capture.
///
/// # Errors
/// As [`read_return`].
pub fn measure_return(recording: Recording<'_>, options: &ReadOptions) -> Result<Playing, ReadError> {
    let (opened, facts) = recording.open(options.channels)?;
    measure_source(opened.source(), &facts, options, loopback(options)?.as_ref())
}

/// The loopback capture, if there is one; it may carry another recipe than the return.
fn loopback(options: &ReadOptions) -> Result<Option<LoopbackCapture>, ReadError> {
    let Some(path) = &options.loopback else { return Ok(None) };
    let options = ReadOptions {
        circumstances: Circumstances {
            recorded_on: Some(RecordedOn::Loopback),
            ..options.circumstances.clone()
        },
        loopback: None,
        ..options.clone()
    };
    let Playing { facts, differences, .. } = measure_return(Recording::File(path), &options)
        .map_err(|source| ReadError::Loopback { path: path.clone(), source: Box::new(source) })?;
    Ok(Some(LoopbackCapture { facts, differences }))
}

/// Fewer slates than this of a code may be misread ones.
const LEAST_SLATES: usize = 2;

/// Whether the slates are, or hold, those of a programme with `code`.
fn carries(found: &[FoundSlate], code: u16) -> bool {
    found.iter().filter(|slate| slate.slate.code == code).count() >= LEAST_SLATES
}

/// Says that the file holds another programme beside that with `code`.
fn other_programme(found: &[FoundSlate], code: u16, clock: FileClock) -> Option<Warning> {
    let other = found.iter().find(|slate| slate.slate.code != code && carries(found, slate.slate.code))?;
    let name = built_in_by_code(other.slate.code)
        .map_or_else(|| format!("with code {:04x}", other.slate.code), |recipe| recipe.name);
    Some(Warning::new(
        WarningId::OtherProgramme,
        format!(
            "The file holds another programme as well: {name}, with its first slate at {:.1} s. It was not read. To read \
             it, name its recipe, or cut the file.",
            clock.at(other.start_s).seconds()
        ),
    ))
}

/// The code that most slates carry.
fn commonest_code(found: &[FoundSlate]) -> Option<u16> {
    found
        .iter()
        .map(|slate| slate.slate.code)
        .max_by_key(|code| found.iter().filter(|slate| slate.slate.code == *code).count())
}

fn measure_source(
    source: &dyn Source,
    facts: &FileFacts,
    options: &ReadOptions,
    loopback: Option<&LoopbackCapture>,
) -> Result<Playing, ReadError> {
    let given = options.recipe.as_ref().map(Timeline::from);
    let mut codes: Vec<u16> = given.iter().map(|timeline| timeline.code).collect();
    codes.extend(built_in().iter().map(|recipe| Timeline::from(recipe).code));
    let (scan, found, clock) = find_slates(source, &codes)?;
    // A compressed file that is cut off shows it only when it is decoded to its end.
    let facts = &FileFacts { cut_short: facts.cut_short || scan.frames < source.frames(), ..facts.clone() };
    let mut reading = blank(source, facts, options, &scan);
    reading.warnings.extend(broken_samples(&scan));
    reading.warnings.extend(samples_warnings(&scan));
    let told = given.as_ref().map(|timeline| timeline.code);
    let Some(code) = told.filter(|told| carries(&found, *told)).or_else(|| commonest_code(&found)) else {
        let why = no_slate_why(&scan, &reading);
        return Err(no_slate(facts, reading, why));
    };
    let timeline = match given {
        Some(timeline) if timeline.code == code => timeline,
        given => {
            let Some(recipe) = built_in_by_code(code) else {
                let expected = match &given {
                    Some(timeline) => format!("the recipe {} has {:04x}", timeline.name, timeline.code),
                    None => "which no built-in recipe has".to_owned(),
                };
                return Err(unknown_recipe(facts, reading, &found, clock, code, expected));
            };
            let timeline = Timeline::from(&recipe);
            if let Some(given) = given {
                reading.warnings.push(Warning::new(
                    WarningId::WrongRecipe,
                    format!(
                        "The slates say that this is {}, not {}: it was read as {}.",
                        timeline.name, given.name, timeline.name
                    ),
                ));
            }
            timeline
        }
    };
    if timeline.looped {
        return Err(made_to_be_followed(facts, reading, &timeline, &found, clock));
    }
    let relabelled = Relabelled { inner: source, rate_hz: source.rate_hz() * clock.rate() };
    let duration_s = scan.frames as f64 / relabelled.rate_hz;
    let identical = facts.mono_file || scan.identical;
    let Some(mut alignment) = Alignment::new(&found, &timeline, duration_s, identical, clock) else {
        // A recipe's code has no other slates: what was taken for one is something else.
        let why = no_slate_why(&scan, &reading);
        return Err(no_slate(facts, reading, why));
    };
    let mut circumstances = options.circumstances.clone();
    reading.warnings.extend(injected(&timeline, &mut circumstances));
    reading.circumstances = circumstances;
    if timeline.feed().is_some() && !identical {
        // One wire or one generator for both amplifiers is no fault here: each channel is heard by itself.
        alignment.wiring.mono = false;
    }
    let measuring = MeasureOptions {
        reference_dbfs: options.reference_dbfs,
        medium: options.medium,
        tops: scan.tops(alignment.wiring.swapped),
        step: scan.step,
        response_expected: true,
    };
    let measured = measure(&relabelled, &timeline, &alignment, &measuring)?;
    if measured.evidence.opposed == Some(true) {
        alignment.wiring.inverted[1] ^= true;
    }
    reading.recipe = Some(RecipeId {
        name: timeline.name.clone(),
        code: format!("{code:04x}"),
        serves: Some(served(&timeline)),
    });
    describe_capture(&mut reading, &alignment);
    reading.warnings.extend(other_programme(&found, code, clock));
    reading.warnings.extend(several_takes(&found, &alignment));
    warn(&mut reading, &alignment, facts, &measured);
    let Evidence { course, mut differences, lossy_signs, .. } = measured.evidence;
    reading.measured = measured.facts;
    if let (Some(loopback), Some(path)) = (loopback, &options.loopback) {
        differences = subtract(&mut reading, &differences, loopback, &options.medium)
            .map_err(|source| ReadError::NotLoopback { path: path.clone(), source })?;
        reading.capture.loopback = Some(loopback.facts.capture.file.clone());
    }
    without_tape(&mut reading);
    let Facts { measured, warnings, .. } = &mut reading;
    withhold(measured, warnings, &lossy_signs);
    let slates = alignment.slates.iter().map(|slate| (slate.slate.index, slate.start_s)).collect();
    Ok(Playing { facts: reading, differences, course, slates, clock })
}

/// Puts right what was told of a programme that no tape carries; the warning says what was told otherwise.
fn injected(timeline: &Timeline, circumstances: &mut Circumstances) -> Option<Warning> {
    timeline.feed()?;
    let told = circumstances.recorded_on;
    if matches!(told, Some(RecordedOn::Injected | RecordedOn::Loopback)) {
        return None;
    }
    circumstances.recorded_on = Some(RecordedOn::Injected);
    told.map(|_| {
        Warning::new(
            WarningId::NotATape,
            format!(
                "The programme {} is fed in without a tape, so it was read as injected, not as the tape that was told. If it \
                 was recorded on a tape after all, none of these figures means anything.",
                timeline.name
            ),
        )
    })
}

/// What is known of the amplifier once the sound card is subtracted, and what no figure says where no tape moved.
fn without_tape(reading: &mut Facts) {
    let injected = reading.circumstances.recorded_on == Some(RecordedOn::Injected);
    let measured = &mut reading.measured;
    if let Some(amplifier) = &mut measured.amplifier {
        if injected {
            tell_time_constants(amplifier);
        }
        if measured.response.is_none() {
            measured.response = amplifier_response(amplifier, reading.circumstances.tape_type);
        }
    }
    if injected {
        (reading.azimuth, reading.speed, reading.flutter) = (None, None, None);
        if let Some(mains) = reading.noise.as_mut().and_then(|noise| noise.mains.as_mut()) {
            mains.origin = Origin::Playback;
            mains.origin_why =
                "no tape was in the chain: leads of the injection, head or amplifier".to_owned();
        }
    }
}

/// The refusal of a recording without a slate, with what can be said of it.
fn no_slate(facts: &FileFacts, mut reading: Facts, why: String) -> ReadError {
    let text = format!("No slate was found: {why}. Nothing was measured.");
    reading.warnings.push(Warning::new(WarningId::NoSlate, text));
    ReadError::NoSlate { path: facts.path.clone(), why, reading: Box::new(Reading::unmeasured(reading)) }
}

/// The refusal of a recording whose programme nobody here knows, with what can be said of it.
fn unknown_recipe(
    facts: &FileFacts,
    mut reading: Facts,
    found: &[FoundSlate],
    clock: FileClock,
    code: u16,
    expected: String,
) -> ReadError {
    reading.recipe = Some(RecipeId { name: "unknown".to_owned(), code: format!("{code:04x}"), serves: None });
    reading.capture.slates_found = found.len() as u32;
    reading.capture.first_slate_s = first_slate(found, clock);
    reading.warnings.push(Warning::new(
        WarningId::WrongRecipe,
        format!("The slates carry the code {code:04x}, {expected}. Nothing was measured."),
    ));
    ReadError::UnknownRecipe {
        path: facts.path.clone(),
        code,
        expected,
        reading: Box::new(Reading::unmeasured(reading)),
    }
}

/// The refusal of a programme during which something is turned: no figure holds for all of it.
fn made_to_be_followed(
    facts: &FileFacts,
    mut reading: Facts,
    timeline: &Timeline,
    found: &[FoundSlate],
    clock: FileClock,
) -> ReadError {
    let code = format!("{:04x}", timeline.code);
    let own = found.iter().filter(|slate| slate.slate.code == timeline.code);
    reading.recipe = Some(RecipeId { name: timeline.name.clone(), code, serves: Some(served(timeline)) });
    reading.capture.slates_found = own.count() as u32;
    reading.capture.first_slate_s = first_slate(found, clock);
    let recipe = timeline.name.clone();
    let text = format!(
        "{recipe} is followed live while something is turned: nothing in it stands still. Nothing was measured."
    );
    reading.warnings.push(Warning::new(WarningId::MadeToBeFollowed, text));
    ReadError::MadeToBeFollowed {
        path: facts.path.clone(),
        recipe,
        reading: Box::new(Reading::unmeasured(reading)),
    }
}

/// A reading that only knows the recording.
pub(super) fn blank(source: &dyn Source, facts: &FileFacts, options: &ReadOptions, scan: &Scan) -> Facts {
    let peak = |channel: usize| {
        let peak = scan.health[channel].peak;
        (peak > 0.0).then(|| 20.0 * peak.log10())
    };
    let clipped =
        [0, 1].map(|channel| if scan.is_stepped(channel) { 0 } else { scan.health[channel].clipped_samples });
    Facts {
        format: FORMAT.to_owned(),
        made: options.made.clone(),
        recipe: None,
        capture: Capture {
            file: facts.name.clone(),
            rate_hz: source.rate_hz(),
            depth: facts.depth.clone(),
            duration_s: scan.frames as f64 / source.rate_hz(),
            peak_dbfs: [peak(0), if facts.mono_file { None } else { peak(1) }],
            clipped_samples: if facts.mono_file { [clipped[0], 0] } else { clipped },
            slates_found: 0,
            first_slate_s: None,
            channels_swapped: false,
            inverted: [false; 2],
            mono: facts.mono_file,
            loopback: None,
        },
        circumstances: options.circumstances.clone(),
        found: vec![],
        tape: None,
        measured: Default::default(),
        warnings: vec![],
    }
}

/// When the first slate starts.
fn first_slate(slates: &[FoundSlate], clock: FileClock) -> Option<FileTime> {
    let first_s = slates.iter().map(|slate| slate.start_s).min_by(|a, b| a.total_cmp(b));
    first_s.map(|first_s| clock.at(first_s))
}

pub(super) fn describe_capture(reading: &mut Facts, alignment: &Alignment) {
    let capture = &mut reading.capture;
    let wiring = alignment.wiring;
    capture.slates_found = alignment.slates.len() as u32;
    capture.first_slate_s = first_slate(&alignment.slates, alignment.clock);
    capture.channels_swapped = wiring.swapped;
    capture.inverted = wiring.inverted;
    capture.mono = wiring.mono;
    if wiring.swapped {
        capture.peak_dbfs.swap(0, 1);
        capture.clipped_samples.swap(0, 1);
    }
}
