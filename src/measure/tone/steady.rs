//! The stretch of a long tone in which the tape runs: a tape that stops or runs down is no flutter.
//!
//! Read is the longest stretch in which the tone has its usual frequency and level and is not lost for half a second or
//! more; what the tape did while it ran down is cut off as well. A tape that runs badly throughout is read whole. If
//! the flutter tone breaks off and no slate follows, no noise is stated: it would be that of the sound card.

use crate::measure::tone::together::together;
use crate::signal::baseband::Band;
use crate::signal::statistics::median;
use num_complex::Complex64;

/// The tone is looked at in pieces of this length, s.
const PIECE_S: f64 = 0.1;
/// Off its usual frequency by more than this share, the tape does not run; the worst wow is half of it.
const OFF_SHARE: f64 = 0.05;
/// Weaker than usual by more than this, nothing plays, dB.
const WEAK_DB: f64 = 20.0;
/// Shorter losses are dropouts and bumps, s.
const LEAST_S: f64 = 0.5;
/// Usually off by more than this share, it is no tone but noise.
const NO_TONE_SHARE: f64 = 0.025;
/// While the tape runs down and is not far off yet, it is off by more than this many times what it is usually off ...
const SLOWING: f64 = 4.0;
/// ... and by more than this share.
const SLOWING_SHARE: f64 = 0.003;

/// Both bands, cut to the longest stretch in which the tone has its usual frequency and level.
pub(crate) fn running(bands: [Band; 2]) -> [Band; 2] {
    let Some((from, to)) = stretch(&bands) else { return bands };
    bands.map(|band| Band { first_s: band.time_s(from), samples: band.samples[from..to].to_vec(), ..band })
}

/// First and last sample (exclusive) of the longest such stretch; `None` if that is all of it, or nothing can be told.
fn stretch(bands: &[Band; 2]) -> Option<(usize, usize)> {
    let rate_hz = bands[0].rate_hz;
    let (both, _) = together(bands);
    let piece = ((PIECE_S * rate_hz) as usize).max(4);
    // Frequency from its usual place, as a share, and power of each piece.
    let pieces: Vec<(f64, f64)> = both
        .chunks_exact(piece)
        .map(|samples| {
            let step: Complex64 = samples.windows(2).map(|pair| pair[1] * pair[0].conj()).sum();
            let share = step.arg() * rate_hz / std::f64::consts::TAU / bands[0].centre_hz;
            (share, samples.iter().map(Complex64::norm_sqr).sum::<f64>())
        })
        .collect();
    let least = (LEAST_S / PIECE_S) as usize;
    if pieces.len() < 4 * least {
        return None;
    }
    // Of a tape that stood for most of the time, the loud pieces say what is usual.
    let loudest = pieces.iter().map(|piece| piece.1).fold(0.0, f64::max);
    let weak = 10f64.powf(-WEAK_DB / 10.0);
    let loud: Vec<f64> =
        pieces.iter().filter(|piece| piece.1 > weak * loudest).map(|piece| piece.0).collect();
    let usual = median(&loud);
    // Noise has a frequency, too, and any.
    if median(loud.iter().map(|share| (share - usual).abs())) > NO_TONE_SHARE {
        return None;
    }
    let usual_power = median(pieces.iter().map(|piece| piece.1).filter(|power| *power > weak * loudest));
    let runs = |piece: &(f64, f64)| (piece.0 - usual).abs() < OFF_SHARE && piece.1 > weak * usual_power;
    // Losses long enough, as ranges of pieces.
    let mut losses: Vec<(usize, usize)> = Vec::new();
    let mut k = 0;
    while k < pieces.len() {
        let end = (k..pieces.len()).find(|&m| runs(&pieces[m])).unwrap_or(pieces.len());
        if end - k >= least {
            losses.push((k, end));
        }
        k = end.max(k + 1);
    }
    if losses.is_empty() {
        return None;
    }
    let starts = std::iter::once(0).chain(losses.iter().map(|loss| loss.1));
    let ends = losses.iter().map(|loss| loss.0).chain(std::iter::once(pieces.len()));
    let (mut from, mut to) = starts.zip(ends).max_by_key(|(from, to)| to.saturating_sub(*from))?;
    // What the tape did while it ran down, or came up again, is cut off as well.
    let middle = median(pieces[from..to.max(from + 1).min(pieces.len())].iter().map(|piece| piece.0));
    let away = pieces[from..to].iter().map(|piece| (piece.0 - middle).abs());
    let slowing = (SLOWING * median(away)).max(SLOWING_SHARE);
    let off = |piece: &(f64, f64)| (piece.0 - middle).abs() > slowing;
    if to < pieces.len() {
        while to > from && off(&pieces[to - 1]) {
            to -= 1;
        }
        to = to.saturating_sub(2).max(from);
    }
    if from > 0 {
        while from < to && off(&pieces[from]) {
            from += 1;
        }
        from = (from + 2).min(to);
    }
    // To the last sample where nothing was lost.
    Some((from * piece, if to == pieces.len() { both.len() } else { to * piece }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{FlutterMeter, FlutterPlan, Meter};
    use crate::reading::FileClock;
    use crate::reading::Flutter;
    use crate::signal::test_signals::{Random, sampled};
    use std::f64::consts::TAU;

    /// 3150 Hz for 20 s under 4 Hz of 0.1 % at a speed of `speed` by time, as loud as it is fast, in some hiss.
    fn tone(speed: impl Fn(f64) -> f64) -> Vec<f64> {
        let (mut phase, mut random) = (0.0, Random(3));
        sampled(48_000.0, 20 * 48_000, |t| {
            let runs = speed(t).max(0.0);
            phase += TAU * 3150.0 / 48_000.0 * runs * (1.0 + 0.001 * (TAU * 4.0 * t).sin());
            0.25 * runs.min(1.0) * phase.sin() + 0.0005 * (random.share() - 0.5)
        })
    }

    fn flutter(samples: &[f64]) -> (Option<Flutter>, [Band; 2]) {
        let mut meter = FlutterMeter::new(
            48_000.0,
            FlutterPlan { programme_hz: 3150.0, expected_hz: 3150.0, clock: FileClock::default() },
        )
        .unwrap();
        meter.feed([samples, samples]);
        meter.finish()
    }

    #[test]
    fn a_tape_that_stops_runs_down_or_stands_for_a_while_is_read_while_it_runs() {
        let falling = |from_s: f64, over_s: f64| move |t: f64| 1.0 - ((t - from_s) / over_s).clamp(0.0, 1.0);
        let paused = |t: f64| if (6.0..7.5).contains(&t) { 0.0 } else { 1.0 };
        let late = |t: f64| (t / 0.6 - 4.0).clamp(0.0, 1.0);
        type Case<'a> = (&'a str, &'a dyn Fn(f64) -> f64, f64, f64);
        let cases: [Case; 5] = [
            ("stops at once", &falling(12.0, 0.05), 0.0, 12.0),
            ("runs down in two seconds", &falling(12.0, 2.0), 0.0, 12.0),
            ("runs down in eight seconds", &falling(11.0, 8.0), 0.0, 11.0),
            ("stands for a while", &paused, 7.5, 20.0),
            ("starts late", &late, 3.0, 20.0),
        ];
        for (case, speed, from_s, to_s) in cases {
            let (found, bands) = flutter(&tone(speed));
            let (first_s, last_s) = (bands[0].first_s, bands[0].time_s(bands[0].samples.len()));
            assert!(first_s > from_s - 0.05 && first_s < from_s + 0.8, "{case}: from {first_s}");
            assert!(last_s < to_s + 0.12 && last_s > to_s - 0.8, "{case}: to {last_s}");
            let found = found.unwrap();
            crate::assert_within!(found.unweighted_rms_percent.unwrap(), 0.0707, 0.004, "%", "{case}");
            crate::assert_within!(found.unweighted_peak_percent.unwrap(), 0.1, 0.015, "%", "{case}");
        }
    }

    #[test]
    fn a_tape_that_runs_badly_is_read_whole() {
        // Wow of 2 % at half a hertz, drift of 2 %, and losses of 0.3 s.
        let bad = |t: f64| 1.0 + 0.02 * (TAU * 0.5 * t).sin() - 0.001 * t;
        let mut samples = tone(bad);
        for from in [100_000, 500_000] {
            samples[from..from + 14_400].iter_mut().for_each(|x| *x *= 0.01);
        }
        let (_, bands) = flutter(&samples);
        let whole_s = bands[0].samples.len() as f64 / bands[0].rate_hz;
        assert!(whole_s > 19.8, "{whole_s}");
    }
}
