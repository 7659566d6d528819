//! The main job: one return in, one reading out.

use super::error::ReadError;
use super::rate::{Relabelled, find_slates};
use super::warnings::{broken_samples, no_slate_why, warn};
use crate::capture::{Alignment, FoundSlate, InMemory, ReturnFile, Scan, Source, check_rate};
use crate::judge::{Limits, judge};
use crate::measure::{MeasureOptions, Measured, measure};
use crate::programme::{Recipe, Timeline, built_in, built_in_by_code};
use crate::reading::{Capture, Circumstances, FORMAT, Reading, RecipeId, Warning};
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
}

/// Reads the return at `path`.
///
/// # Errors
/// If the file cannot be read, carries no slate, or carries one of an unknown recipe.
pub fn read_return(path: &Path, options: &ReadOptions) -> Result<Reading, ReadError> {
    let file = ReturnFile::open(path, options.channels)?;
    let facts = Facts {
        path: path.to_owned(),
        name: path.display().to_string(),
        depth: file.depth().to_owned(),
        mono_file: file.is_mono_file(),
        cut_short: file.is_cut_short(),
    };
    read_source(&file, &facts, options)
}

/// Reads a return held in memory; `name` stands for the file's name in the reading.
///
/// # Errors
/// As [`read_return`].
pub fn read_samples(samples: &InMemory, name: &str, options: &ReadOptions) -> Result<Reading, ReadError> {
    check_rate(Path::new(name), samples.rate_hz)?;
    let facts = Facts {
        path: name.into(),
        name: name.to_owned(),
        depth: "float".into(),
        mono_file: false,
        cut_short: false,
    };
    read_source(samples, &facts, options)
}

/// What only the file knows.
#[derive(Debug, Clone)]
pub(super) struct Facts {
    pub path: PathBuf,
    pub name: String,
    pub depth: String,
    pub mono_file: bool,
    pub cut_short: bool,
}

/// The code that most slates carry.
fn commonest_code(found: &[FoundSlate]) -> Option<u16> {
    found
        .iter()
        .map(|slate| slate.slate.code)
        .max_by_key(|code| found.iter().filter(|slate| slate.slate.code == *code).count())
}

fn read_source(source: &dyn Source, facts: &Facts, options: &ReadOptions) -> Result<Reading, ReadError> {
    let given = options.recipe.as_ref().map(Timeline::from);
    let mut codes: Vec<u16> = given.iter().map(|timeline| timeline.code).collect();
    codes.extend(built_in().iter().map(|recipe| Timeline::from(recipe).code));
    let (scan, found, rate) = find_slates(source, &codes)?;
    // A compressed file that is cut off shows it only when it is decoded to its end.
    let facts = &Facts { cut_short: facts.cut_short || scan.frames < source.frames(), ..facts.clone() };
    let mut reading = blank(source, facts, options, &scan);
    reading.warnings.extend(broken_samples(&scan));
    let Some(code) = commonest_code(&found) else {
        let why = no_slate_why(&scan, &reading);
        reading
            .warnings
            .push(Warning::new("no-slate", format!("No slate was found: {why}. Nothing was measured.")));
        return Err(ReadError::NoSlate { path: facts.path.clone(), why, reading: Box::new(reading) });
    };
    let timeline = match given {
        Some(timeline) if timeline.code == code => timeline,
        given => {
            let recipe = built_in_by_code(code).ok_or_else(|| ReadError::UnknownRecipe {
                path: facts.path.clone(),
                code,
                expected: match &given {
                    Some(timeline) => format!("the recipe {} has {:04x}", timeline.name, timeline.code),
                    None => "which no built-in recipe has".to_owned(),
                },
            })?;
            let timeline = Timeline::from(&recipe);
            if let Some(given) = given {
                reading.warnings.push(Warning::new(
                    "wrong-recipe",
                    format!(
                        "The slates say that this is {}, not {} as was told: it was read as {}.",
                        timeline.name, given.name, timeline.name
                    ),
                ));
            }
            timeline
        }
    };
    let relabelled = Relabelled { inner: source, rate_hz: source.rate_hz() * rate };
    let duration_s = scan.frames as f64 / relabelled.rate_hz;
    let identical = facts.mono_file || scan.identical;
    let Some(mut alignment) = Alignment::new(&found, &timeline, duration_s, identical) else {
        let why = "the slates carry indices that this recipe does not have".to_owned();
        return Err(ReadError::NoSlate { path: facts.path.clone(), why, reading: Box::new(reading) });
    };
    let measuring = MeasureOptions { reference_dbfs: options.reference_dbfs, medium: options.medium };
    let measured = measure(&relabelled, &timeline, &alignment, &measuring)?;
    if measured.opposed == Some(true) {
        alignment.wiring.inverted[1] ^= true;
    }
    reading.recipe = Some(RecipeId { name: timeline.name.clone(), code: format!("{code:04x}") });
    describe_capture(&mut reading, &alignment, rate);
    warn(&mut reading, &alignment, facts, rate, &measured);
    fill(&mut reading, measured, rate);
    reading.findings = judge(&reading, &options.limits);
    Ok(reading)
}

/// A reading that only knows the recording.
fn blank(source: &dyn Source, facts: &Facts, options: &ReadOptions, scan: &Scan) -> Reading {
    let peak = |channel: usize| {
        let peak = scan.health[channel].peak;
        (peak > 0.0).then(|| 20.0 * peak.log10())
    };
    let clipped = [0, 1].map(|channel| scan.health[channel].clipped_samples);
    Reading {
        format: FORMAT.to_owned(),
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
            direct: None,
        },
        circumstances: options.circumstances.clone(),
        level: vec![],
        response: None,
        azimuth: None,
        speed: None,
        flutter: None,
        noise: None,
        dropouts: vec![],
        findings: vec![],
        warnings: vec![],
    }
}

fn describe_capture(reading: &mut Reading, alignment: &Alignment, rate: f64) {
    let capture = &mut reading.capture;
    let wiring = alignment.wiring;
    capture.slates_found = alignment.slates.len() as u32;
    capture.first_slate_s =
        alignment.slates.iter().map(|slate| slate.start_s * rate).min_by(|a, b| a.total_cmp(b));
    capture.channels_swapped = wiring.swapped;
    capture.inverted = wiring.inverted;
    capture.mono = wiring.mono;
    if wiring.swapped {
        capture.peak_dbfs.swap(0, 1);
        capture.clipped_samples.swap(0, 1);
    }
}

/// Puts the measured sections in, with times as in the file's own seconds.
fn fill(reading: &mut Reading, measured: Measured, rate: f64) {
    reading.level = measured.level;
    reading.response = measured.response;
    reading.azimuth = measured.azimuth;
    reading.speed = measured.speed;
    reading.noise = measured.noise;
    reading.flutter = measured.flutter.map(|mut flutter| {
        flutter.measured_from_s *= rate;
        flutter.measured_to_s *= rate;
        for stretch in &mut flutter.stretches {
            stretch.from_s *= rate;
            stretch.to_s *= rate;
        }
        flutter
    });
    reading.dropouts = measured.dropouts;
    for dropout in &mut reading.dropouts {
        dropout.at_s *= rate;
    }
}
