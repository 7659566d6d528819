//! All that is measured from one aligned return: every part of the programme is fed to the meter that it serves.

use crate::capture::{Alignment, CaptureError, Source, Stretch};
use crate::measure::azimuth::delay::PlayedDifference;
use crate::measure::faults::level_dependence::LevelDependence;
use crate::measure::faults::lossy::LossySign;
use crate::measure::faults::surroundings::surroundings;
use crate::measure::faults::tears::TornInFile;
use crate::measure::faults::unmeasured::{Gave, unmeasured};
use crate::measure::flutter::same_tape::TapeCourse;
use crate::measure::trim::rounds::{InRounds, in_rounds};
use crate::measure::whole::assembled::assemble;
use crate::measure::whole::playing::{FADE_S, Outcome, play, read, trace_hum};
use crate::programme::{PlacedPart, Serves, Timeline};
use crate::reading::{
    Amplifier, Azimuth, Distortion, Dropout, Erasing, FileTime, Flutter, Intermodulation, Level, Noise,
    Response, Saturation, Separation, Speed, Warning,
};
use crate::trade::Medium;
use rayon::prelude::*;

/// What the meters must be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasureOptions {
    /// Where the programme's reference level lies in its WAV, dBFS.
    pub reference_dbfs: f64,
    /// The medium; the compact cassette by default.
    pub medium: Medium,
    /// Whether a response is to be had from the parts that serve one: where it is not, none is missed.
    pub response_expected: bool,
}

/// One tone as it was measured.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasuredTone {
    /// Identifier of the part.
    pub part: String,
    /// Frequency in the programme, Hz.
    pub programme_hz: f64,
    /// Mean frequency in the return, Hz.
    pub hz: f64,
    /// Standard error of that mean as pieces of half a second tell, Hz; `None` where there are fewer than three.
    pub hz_error: Option<f64>,
    /// Length of the stretch that was measured, s.
    pub length_s: f64,
    /// Level in the return, dBFS; `None` for a flutter tone.
    pub dbfs: [Option<f64>; 2],
}

/// The measured sections of a reading.
#[derive(Debug, Clone, Default)]
pub struct Measured {
    /// One row for each level tone.
    pub level: Vec<Level>,
    /// Response by steps and sweep.
    pub response: Option<Response>,
    /// The playback amplifier against its curve, without time constants yet.
    pub amplifier: Option<Amplifier>,
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
    /// The course of that tone against the place on the tape.
    pub course: Option<TapeCourse>,
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
    pub erasing: Option<Erasing>,
    /// Frequency of every tone that was measured, in the order of the programme.
    pub tones: Vec<MeasuredTone>,
    /// Dropouts in the steady tones.
    pub dropouts: Vec<Dropout>,
    /// Stretches in which samples are missing or came twice.
    pub torn: Vec<TornInFile>,
    /// Times at which the phase of the flutter tone jumps.
    pub splices_s: Vec<FileTime>,
    /// Where alone the tape ran in the flutter tone, from and to, if it did not all the time.
    pub ran_s: Option<[FileTime; 2]>,
    /// From here on no slate was found though the return goes on.
    pub lost_from_s: Option<FileTime>,
    /// A gain that depends on level.
    pub level_dependence: Option<LevelDependence>,
    /// Signs of a lossy codec.
    pub lossy_signs: Vec<LossySign>,
    /// What the reader must know.
    pub warnings: Vec<Warning>,
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
    let gave = Gave {
        parts: &parts,
        flutter: measured.flutter.is_some(),
        response: measured.response.is_some() || !options.response_expected,
    };
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
