//! The main job: one return in, one reading out.

use crate::capture::{
    Alignment, CaptureError, FoundSlate, InMemory, ReturnFile, Scan, Source, assemble, scan,
};
use crate::measure::{MeasureOptions, Measured, measure};
use crate::programme::{Recipe, Timeline, built_in, built_in_by_code};
use crate::reading::{Capture, Circumstances, FORMAT, Reading, RecipeId, Warning};
use crate::trade::Medium;
use std::path::{Path, PathBuf};
use thiserror::Error;

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
}

/// Why no reading could be made.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The recording could not be opened or decoded.
    #[error(transparent)]
    Capture(#[from] CaptureError),
    /// No slate was found.
    #[error(
        "{}: no-slate: {why}; record the whole programme from `deckproof write`, slates included, at a healthy level",
        path.display()
    )]
    NoSlate {
        /// The file.
        path: PathBuf,
        /// What was found instead.
        why: String,
        /// What could be said of the recording all the same.
        reading: Box<Reading>,
    },
    /// The slates carry a code that no known recipe has.
    #[error(
        "{}: wrong-recipe: its slates carry the code {code:04x}, {expected}; give the recipe file that it was written from with --recipe",
        path.display()
    )]
    UnknownRecipe {
        /// The file.
        path: PathBuf,
        /// Code in the slates.
        code: u16,
        /// Which recipes were thought of.
        expected: String,
    },
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
    let facts = Facts {
        path: name.into(),
        name: name.to_owned(),
        depth: "float".into(),
        mono_file: false,
        cut_short: false,
    };
    read_source(samples, &facts, options)
}

struct Facts {
    path: PathBuf,
    name: String,
    depth: String,
    mono_file: bool,
    cut_short: bool,
}

/// A source whose samples are taken to have another rate than its header says.
struct Relabelled<'a> {
    inner: &'a dyn Source,
    rate_hz: f64,
}

impl Source for Relabelled<'_> {
    fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    fn frames(&self) -> u64 {
        self.inner.frames()
    }

    fn read(&self, from: u64, to: u64, sink: &mut dyn FnMut([&[f64]; 2])) -> Result<(), CaptureError> {
        self.inner.read(from, to, sink)
    }
}

/// Rates that are taken for each other, as true rate over rate in the header.
const MISLABELLED: [f64; 6] = [44.1 / 48.0, 48.0 / 44.1, 2.0, 0.5, 96.0 / 44.1, 44.1 / 96.0];

/// Finds the slates; if there are none, or they run at a speed that only a wrong sample rate explains, the samples
/// are taken to have another rate. Returns that rate over the header's.
fn find_slates(source: &dyn Source, codes: &[u16]) -> Result<(Scan, Vec<FoundSlate>, f64), CaptureError> {
    let first = scan(source)?;
    let found = assemble(&first.chirps, codes);
    let tries: Vec<f64> = if found.is_empty() {
        MISLABELLED[2..].to_vec()
    } else {
        let ratio = mean_ratio(&found);
        // A deck that is off by more than 6.5 % is no deck; a wrong rate is off by 8 or 9 %.
        if (ratio - 1.0).abs() < 0.065 {
            return Ok((first, found, 1.0));
        }
        MISLABELLED[..2]
            .iter()
            .copied()
            .filter(|rate| (ratio * rate - 1.0).abs() < (ratio - 1.0).abs())
            .collect()
    };
    for rate in tries {
        let again = scan(&Relabelled { inner: source, rate_hz: source.rate_hz() * rate })?;
        let slates = assemble(&again.chirps, codes);
        if !slates.is_empty() {
            return Ok((again, slates, rate));
        }
    }
    Ok((first, found, 1.0))
}

fn mean_ratio(found: &[FoundSlate]) -> f64 {
    found.iter().map(|slate| slate.ratio).sum::<f64>() / found.len().max(1) as f64
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
    let mut reading = blank(source, facts, options, &scan);
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
    let duration_s = relabelled.frames() as f64 / relabelled.rate_hz;
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
            duration_s: source.frames() as f64 / source.rate_hz(),
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

fn no_slate_why(scan: &Scan, reading: &Reading) -> String {
    let peak = scan.health.iter().map(|health| health.peak).fold(0.0, f64::max);
    if peak < 1e-4 {
        "the recording is silent (peak below -80 dBFS); check cables, input and level".into()
    } else if peak < 0.005 {
        "the recording is very quiet (peak below -46 dBFS); check cables, input and level".into()
    } else if reading.capture.duration_s < 4.0 {
        format!("the recording is only {:.1} s long", reading.capture.duration_s)
    } else if scan.chirps.iter().map(Vec::len).sum::<usize>() > 20 {
        "this is not a Deckproof programme, or too little of one".into()
    } else {
        "this is not a Deckproof programme".into()
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

fn warn(reading: &mut Reading, alignment: &Alignment, facts: &Facts, rate: f64, measured: &Measured) {
    let wiring = alignment.wiring;
    let mut add = |id: &str, text: String| reading.warnings.push(Warning::new(id, text));
    let [left, right] = reading.capture.clipped_samples;
    if left + right > 0 {
        add(
            "clipped",
            format!(
                "{left} samples on the left and {right} on the right stand in flat tops: the recording was clipped. \
                 Levels, response near them and distortion are wrong. Lower the sound card's input and record again."
            ),
        );
    }
    let loudest = alignment.slates.iter().flat_map(|slate| slate.amplitude).fold(0.0, f64::max);
    if loudest > 0.0 && loudest < 0.01 {
        add(
            "too-quiet",
            format!(
                "The programme's reference level came back at only {:.0} dBFS: the sound card's own noise is in the \
                 way. Raise its input level until the level tone stands near -12 dBFS.",
                20.0 * loudest.log10()
            ),
        );
    }
    if wiring.mono {
        add(
            "mono",
            "Both channels carry one and the same signal (or the file has one channel): nothing can be said of the \
             right channel, of channel differences or of azimuth. Check that the recording is in stereo and that no \
             mono switch or adaptor is in the way."
                .into(),
        );
    }
    if wiring.swapped {
        add(
            "swapped",
            "Left and right were exchanged somewhere between player and sound card; the reading has it undone. \
             Check the cables before trusting which channel is which."
                .into(),
        );
    }
    match wiring.inverted {
        [false, false] => {}
        [true, true] => add(
            "inverted",
            "Both channels came back with inverted polarity. Many decks do that; it is no fault in itself."
                .into(),
        ),
        [left, _] => add(
            "inverted",
            format!(
                "The {} channel came back with inverted polarity against the other; the reading has it undone. \
                 Look for a balanced cable wired the wrong way, or a head wired backwards.",
                if left { "left" } else { "right" }
            ),
        ),
    }
    if alignment.cut_start {
        add(
            "cut-start",
            "The recording began after the programme did; the parts before it are missing. Start recording first, \
             then the tape."
                .into(),
        );
    }
    if alignment.cut_end {
        let why = if facts.cut_short {
            " The file was not closed properly: the recorder was interrupted."
        } else {
            ""
        };
        add(
            "cut-end",
            format!("The recording ended before the programme did; the parts after it are missing.{why}"),
        );
    }
    if rate != 1.0 {
        let header = reading.capture.rate_hz;
        add(
            "rate-mismatch",
            format!(
                "The file says {header:.0} Hz, but the programme in it runs as if recorded at {:.0} Hz: player and \
                 recorder disagree on the sample rate. It was measured as {:.0} Hz; set both to one rate and record \
                 again to be sure of the speed.",
                header * rate,
                header * rate
            ),
        );
    }
    if !measured.dropouts.is_empty() {
        let deepest = measured.dropouts.iter().map(|d| d.depth_db).fold(0.0, f64::max);
        add(
            "dropouts",
            format!(
                "{} dropouts in the steady tones, the deepest {deepest:.0} dB. They were left out of the levels. \
                 Clean heads and tape path, or use a better tape.",
                measured.dropouts.len()
            ),
        );
    }
    if let Some(mains) = measured.noise.as_ref().and_then(|noise| noise.mains.as_ref())
        && mains.hum_db.iter().flatten().any(|&db| db > -55.0)
    {
        add(
            "hum",
            format!(
                "Hum of the {:.0} Hz power line stands in the silent part. Low-frequency levels may be touched by it. \
                 Look for a ground loop between deck and computer first.",
                mains.hz
            ),
        );
    }
    reading.warnings.extend(measured.warnings.iter().cloned());
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
        flutter
    });
    reading.dropouts = measured.dropouts;
    for dropout in &mut reading.dropouts {
        dropout.at_s *= rate;
    }
}
