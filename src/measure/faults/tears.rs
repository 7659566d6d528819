//! Samples that went missing, or came twice, on the way into the file: the tape's time goes on, the file's jumps.
//!
//! Between two slates as much time should pass as the tones between them say by their frequency, which no missing
//! sample changes. What happens within a long tone stands in `phase_jumps.rs`.
//!
//! Where time is torn, speed is read from the longest row of slates without a tear, a sweep there is left out, and the
//! unweighted peak of flutter is not stated. Where slates and tones disagree by more than 2 %, nobody knows where the
//! parts lie, and none is measured (`src/capture/time_map.rs`).

use crate::capture::FoundSlate;
use crate::measure::faults::phase_jumps::PhaseJump;
use crate::measure::tone::together::together;
use crate::programme::{Signal, Timeline};
use crate::reading::{FileClock, FileTime};
use crate::signal::baseband::Band;
use crate::signal::fm::demodulate;
use crate::signal::statistics::mean_and_error;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// A stretch of the return in which time jumps; its fields as in [`TornInFile`], in true seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Torn {
    pub from_s: f64,
    pub to_s: f64,
    pub missing_s: f64,
    pub left_out: bool,
}

impl Torn {
    pub fn in_file(&self, clock: FileClock) -> TornInFile {
        TornInFile {
            from_s: clock.at(self.from_s),
            to_s: clock.at(self.to_s),
            missing_s: clock.span_s(self.missing_s),
            left_out: self.left_out,
        }
    }
}

/// A stretch of the file in which time jumps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TornInFile {
    /// Start of the slate before it.
    pub from_s: FileTime,
    /// Start of the slate behind it.
    pub to_s: FileTime,
    /// Time that is missing (positive) or too much (negative), s of the file.
    pub missing_s: f64,
    /// Too much to know where its parts lie: they were left out.
    pub left_out: bool,
}

/// The longest row of slates without a tear or a jump of the phase (s of the return) in it.
pub(crate) fn untorn<'a>(slates: &'a [FoundSlate], torn: &[Torn], jumps: &[PhaseJump]) -> &'a [FoundSlate] {
    let mut runs: Vec<&[FoundSlate]> = vec![];
    let mut from = 0;
    for (k, slate) in slates.iter().enumerate().skip(1) {
        let between = |jump: &PhaseJump| jump.at_s > slates[k - 1].start_s && jump.at_s < slate.start_s;
        if torn.iter().any(|torn| (torn.to_s - slate.start_s).abs() < 1e-6) || jumps.iter().any(between) {
            runs.push(&slates[from..k]);
            from = k;
        }
    }
    runs.push(&slates[from..]);
    let length_s = |run: &[FoundSlate]| match (run.first(), run.last()) {
        (Some(first), Some(last)) => last.start_s - first.start_s,
        _ => 0.0,
    };
    runs.into_iter().max_by(|a, b| length_s(a).total_cmp(&length_s(b))).unwrap_or(slates)
}

/// Less than this is not told, s: wow moves slates by some milliseconds.
const LEAST_S: f64 = 0.015;
/// Uncertainty of a tone's mean frequency as a measure of the mean speed, as a share.
pub(crate) const FREQUENCY_UNCERTAINTY: f64 = 3e-4;

/// Wow that is assumed where it was not measured, percent rms.
const USUAL_WOW_PERCENT: f64 = 0.25;

/// Mean frequency of a long tone in both channels together, Hz.
pub(crate) fn mean_hz(bands: &[Band; 2]) -> Option<f64> {
    let (both, _) = together(bands);
    Some(bands[0].centre_hz + demodulate(&both, bands[0].rate_hz)?.mean_hz)
}

/// Standard error of the mean frequency, Hz, from how pieces of half a second differ; `None` for fewer than three.
pub(crate) fn mean_hz_error(bands: &[Band; 2]) -> Option<f64> {
    const PIECE_S: f64 = 0.5;
    let (both, _) = together(bands);
    let rate_hz = bands[0].rate_hz;
    let size = ((PIECE_S * rate_hz).round() as usize).max(2);
    let pieces: Vec<f64> = both
        .chunks_exact(size)
        .map(|piece| {
            let turned: Complex64 = piece.windows(2).map(|pair| pair[1] * pair[0].conj()).sum();
            turned.arg() / TAU * rate_hz
        })
        .collect();
    (pieces.len() >= 3).then(|| mean_and_error(&pieces).1).filter(|error| error.is_finite())
}

/// Finds the stretches in which time jumps. `speeds` are (start in the programme, s; length, s; ratio of the
/// tone's frequency to the programme's) of the tones that were measured; `wow_percent` is the rms of the wow, if known.
pub(crate) fn tears(
    slates: &[FoundSlate],
    timeline: &Timeline,
    speeds: &[(f64, f64, f64)],
    wow_percent: Option<f64>,
) -> Vec<Torn> {
    let start_s = |slate: &FoundSlate| {
        timeline
            .parts
            .iter()
            .find(|part| matches!(part.signal, Signal::Slate { index } if index == slate.slate.index))
            .map(|part| part.start_s)
    };
    let mut found = Vec::new();
    for pair in slates.windows(2) {
        let (Some(from_s), Some(to_s)) = (start_s(&pair[0]), start_s(&pair[1])) else { continue };
        let between: Vec<&(f64, f64, f64)> =
            speeds.iter().filter(|(at_s, _, _)| *at_s > from_s && *at_s < to_s).collect();
        let known_s: f64 = between.iter().map(|(_, length_s, _)| length_s).sum();
        // Tones must fill most of the stretch, or their speeds are chance.
        if known_s < 0.4 * (to_s - from_s) {
            continue;
        }
        let ratio = between.iter().map(|(_, length_s, ratio)| length_s * ratio).sum::<f64>() / known_s;
        let spread = (between.iter().map(|(_, length_s, r)| length_s * (r - ratio).powi(2)).sum::<f64>()
            / known_s
            / between.len() as f64)
            .sqrt();
        let passed_s = pair[1].start_s - pair[0].start_s;
        let missing_s = (to_s - from_s) / ratio - passed_s;
        let scatter_s = pair[0].scatter_s.hypot(pair[1].scatter_s);
        // A row of short tones may meet every turn of a wow at the same place.
        let longest_s = between.iter().map(|(_, length_s, _)| *length_s).fold(0.0, f64::max);
        let wow = if longest_s > 0.8 * (to_s - from_s) {
            0.0
        } else {
            2.0 * wow_percent.unwrap_or(USUAL_WOW_PERCENT) / 100.0
        };
        let uncertainty_s =
            ((3.0 * (spread + FREQUENCY_UNCERTAINTY) + wow) * passed_s).hypot(4.0 * scatter_s);
        if missing_s.abs() > LEAST_S.max(uncertainty_s) {
            found.push(Torn { from_s: pair[0].start_s, to_s: pair[1].start_s, missing_s, left_out: false });
        }
    }
    found
}
