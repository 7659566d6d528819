//! Samples that went missing, or came twice, on the way into the file: the tape's time goes on, the file's jumps.
//!
//! Between two slates as much time should pass as the tones between them say by their frequency, which no missing
//! sample changes. Within a long tone, a jump turns the phase of both channels at once.
//!
//! Where time is torn, speed is read from the longest row of slates without a tear, a sweep there is left out, and the
//! unweighted peak of flutter is not stated. Where slates and tones disagree by more than 2 %, nobody knows where the
//! parts lie, and none is measured (`src/capture/time_map.rs`).

use crate::capture::FoundSlate;
use crate::measure::tone::together::together;
use crate::programme::{Signal, Timeline};
use crate::reading::{FileClock, FileTime};
use crate::signal::baseband::Band;
use crate::signal::fm::demodulate;
use crate::signal::statistics::{mean_and_error, median, rms};
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

/// The longest row of slates without a tear or a splice (s of the return) in it.
pub(crate) fn untorn<'a>(slates: &'a [FoundSlate], torn: &[Torn], splices_s: &[f64]) -> &'a [FoundSlate] {
    let mut runs: Vec<&[FoundSlate]> = vec![];
    let mut from = 0;
    for (k, slate) in slates.iter().enumerate().skip(1) {
        let spliced = |at_s: &f64| *at_s > slates[k - 1].start_s && *at_s < slate.start_s;
        if torn.iter().any(|torn| (torn.to_s - slate.start_s).abs() < 1e-6) || splices_s.iter().any(spliced) {
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

/// A turn of the phase of at least this counts as a jump, cycles.
const LEAST_TURN: f64 = 0.12;
/// Phase is compared between stretches of this length, s, ...
const SIDE_S: f64 = 0.008;
/// ... with this between them: a jump is as wide as the band's filter is long, s.
const APART_S: f64 = 0.008;
/// The tone's frequency on either side lies within this share of its mean.
const OFF_SHARE: f64 = 0.015;

/// Times within the band, s from the first sample fed, at which the phase of a long tone jumps on both channels at once.
///
/// Flutter bends the phase and dropouts of one track turn one channel; neither turns both by the same within milliseconds
/// at full level.
pub(crate) fn splices(bands: &[Band; 2]) -> Vec<f64> {
    let rate_hz = bands[0].rate_hz;
    let (both, first_s) = together(bands);
    let side = (SIDE_S * rate_hz) as usize;
    let apart = (APART_S * rate_hz) as usize;
    let span = 2 * side + apart;
    if side < 2 || both.len() < 4 * span {
        return Vec::new();
    }
    let usual = median(both.iter().map(|z| z.norm()));
    let usual_turn = both.windows(2).map(|pair| pair[1] * pair[0].conj()).sum::<Complex64>().arg();
    let turn = |samples: &[Complex64], at: usize| {
        // Mean step and middle of each side.
        let fit = |from: usize| {
            let slice = &samples[from..from + side];
            let step: Complex64 = slice.windows(2).map(|pair| pair[1] * pair[0].conj()).sum();
            let hz = step.arg();
            let middle: Complex64 = slice
                .iter()
                .enumerate()
                .map(|(n, z)| z * Complex64::from_polar(1.0, -hz * (n as f64 - (side as f64 - 1.0) / 2.0)))
                .sum();
            (hz, middle)
        };
        let (before, after) = (fit(at), fit(at + side + apart));
        let expected = (before.0 + after.0) / 2.0 * (side + apart) as f64;
        let got = (after.1 * before.1.conj() * Complex64::from_polar(1.0, -expected)).arg() / TAU;
        let weakest = before.1.norm().min(after.1.norm()) / side as f64;
        // Away from the tone's own frequency there is no tone: the tape runs down, or noise is in its place.
        let off = (before.0 - usual_turn).abs().max((after.0 - usual_turn).abs());
        let there = off < OFF_SHARE * bands[0].centre_hz * TAU / rate_hz;
        (if there { got } else { 0.0 }, weakest)
    };
    let hop = (apart / 2).max(1);
    let turns: Vec<(usize, f64, f64)> = (0..both.len() - span)
        .step_by(hop)
        .map(|at| {
            let (got, level) = turn(&both, at);
            (at, got, level)
        })
        .collect();
    let rms = rms(turns.iter().map(|(_, got, _)| got.abs().min(0.05)));
    let power = [0, 1].map(|channel| bands[channel].samples.iter().map(Complex64::norm_sqr).sum::<f64>());
    let live: Vec<usize> = (0..2).filter(|&channel| power[channel] > 0.01 * power[1 - channel]).collect();
    let mut found: Vec<f64> = Vec::new();
    for &(at, got, level) in &turns {
        if got.abs() < LEAST_TURN.max(6.0 * rms) || level < 0.7 * usual {
            continue;
        }
        let alike = live.iter().all(|&channel| {
            let (one, _) = turn(&bands[channel].samples, at);
            let apart = (one - got + 0.5).rem_euclid(1.0) - 0.5;
            apart.abs() < 0.1
        });
        let at_s = first_s + (at as f64 + span as f64 / 2.0) / rate_hz;
        if alike && found.last().is_none_or(|last| at_s - last > 0.05) {
            found.push(at_s);
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::baseband::Baseband;
    use crate::signal::test_signals::uneven_s;

    /// Both channels of 3150 Hz with wow of 1 % at 2 Hz and flutter of 0.1 % at 25 Hz; samples `cut` are left out.
    fn bands(cut: std::ops::Range<usize>, dropout_on_left: bool) -> [Band; 2] {
        let rate_hz = 48_000.0;
        [0, 1].map(|channel| {
            let samples: Vec<f64> = (0..192_000usize)
                .filter(|n| !cut.contains(n))
                .map(|n| {
                    let t = n as f64 / rate_hz;
                    let moved = uneven_s(t, &[(2.0, 1.0, 0.0), (25.0, 0.1, 0.0)]);
                    let lost = dropout_on_left && channel == 0 && (1.0..1.03).contains(&t);
                    (if lost { 0.001 } else { 0.25 }) * (TAU * 3150.0 * moved).sin()
                })
                .collect();
            let mut meter = Baseband::new(rate_hz, 3150.0, 380.0, 150.0);
            meter.feed(&samples);
            meter.finish()
        })
    }

    #[test]
    fn lost_samples_are_found_in_flutter() {
        // Where they are lost the tone runs 1 % fast: 20.55, 32.48 and some 317.4 turns of it.
        for lost in [310usize, 490, 4800] {
            let found = splices(&bands(96_000..96_000 + lost, false));
            assert_eq!(found.len(), 1, "{lost}: {found:?}");
            crate::assert_within!(found[0], 2.0, 0.02, "s", "{lost}");
        }
    }

    #[test]
    fn a_loss_of_whole_turns_leaves_no_trace() {
        // 20.02 turns: what the guide (`warnings`) says cannot be seen.
        assert_eq!(splices(&bands(96_000..96_302, false)), Vec::<f64>::new());
    }

    #[test]
    fn flutter_and_a_dropout_of_one_track_are_no_jumps() {
        assert_eq!(splices(&bands(0..0, false)), Vec::<f64>::new());
        assert_eq!(splices(&bands(0..0, true)), Vec::<f64>::new());
    }
}
