//! The quasi-peak indicator: what the needle of a flutter meter would show.
//!
//! Two rectifiers, one a direction, charge through [`CHARGE_S`] and discharge through [`DISCHARGE_S`]; the needle follows,
//! with [`NEEDLE_S`], three parts of the larger and one part of the smaller charge. A 4 Hz sine of amplitude 1 reads 1.
//!
//! The time constants were fitted to the pulse table of IEC 60386:1972 (mostly from memory; the same requirements stand in
//! DIN 45507, CCIR Rec. 409, IEEE Std 193 and AES6-1982) with the weighting in circuit: a pulse's long tail of the other
//! sign charges the second rectifier. The shares were chosen so that a steady weighted sine of any rate from 0.2 to 200 Hz
//! reads its peak within 3 %. The table leaves open what a reading of slow wow is: indicators that keep every row differ by
//! 20 to 30 % below 1 Hz. AES6-2008 prefers the 2-sigma figure to this indicator (published abstract).

use crate::signal::statistics::median;
use std::f64::consts::TAU;

/// Charge of either rectifier, s.
const CHARGE_S: f64 = 0.045;
/// Discharge of either rectifier, s.
const DISCHARGE_S: f64 = 0.6;
/// Needle, s.
const NEEDLE_S: f64 = 0.13;
/// Share of the larger charge in what is shown; the rest is of the smaller one.
const LARGER: f64 = 0.75;

/// What the indicator shows of weighted deviations at `rate_hz`, value by value; starts from zero.
pub fn indicator(weighted: &[f64], rate_hz: f64) -> Vec<f64> {
    let scale = 1.0 / steady_reading(rate_hz);
    run(weighted, rate_hz).map(|shown| scale * shown).collect()
}

/// The figure a user would state: the median of the highest readings of each whole second. One chance maximum does not
/// make the figure, and a needle that keeps coming back to a mark does. The highest reading of all for less than a second.
pub fn stated(shown: &[f64], rate_hz: f64) -> f64 {
    let second = (rate_hz.round() as usize).clamp(1, shown.len().max(1));
    let highest = |part: &[f64]| part.iter().copied().fold(0.0, f64::max);
    median(shown.chunks_exact(second).map(highest))
}

fn run(values: &[f64], rate_hz: f64) -> impl Iterator<Item = f64> {
    let reached = |time_s: f64| 1.0 - (-1.0 / (time_s * rate_hz)).exp();
    let (charge, discharge, needle) = (reached(CHARGE_S), 1.0 - reached(DISCHARGE_S), reached(NEEDLE_S));
    let mut held = [0.0f64; 2];
    let mut shown = 0.0;
    values.iter().map(move |&x| {
        for (held, x) in held.iter_mut().zip([x, -x]) {
            *held *= discharge;
            *held += charge * (x - *held).max(0.0);
        }
        let (larger, smaller) = (held[0].max(held[1]), held[0].min(held[1]));
        shown += needle * (LARGER * larger + (1.0 - LARGER) * smaller - shown);
        shown
    })
}

/// What is shown of a 4 Hz sine of amplitude 1, not calibrated.
fn steady_reading(rate_hz: f64) -> f64 {
    let sine: Vec<f64> =
        (0..(6.0 * rate_hz) as usize).map(|n| (TAU * 4.0 * n as f64 / rate_hz).sin()).collect();
    run(&sine, rate_hz).skip(sine.len() / 2).fold(1e-300, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::sine;

    #[test]
    fn a_steady_sine_of_any_rate_reads_its_peak() {
        let rate_hz = 1500.0;
        for hz in [0.2, 0.315, 0.4, 0.63, 0.8, 1.0, 1.6, 2.0, 4.0, 6.3, 10.0, 20.0, 40.0, 63.0, 100.0, 200.0]
        {
            let sine: Vec<f64> = sine(1.0, hz, rate_hz, (30.0 * rate_hz) as usize);
            let shown = indicator(&sine, rate_hz);
            let highest = shown[sine.len() / 2..].iter().copied().fold(0.0, f64::max);
            crate::assert_within!(highest, 1.0, 0.03, "", "{hz} Hz");
        }
    }

    #[test]
    fn scale_and_sign_pass_through_and_nothing_shows_nothing() {
        let rate_hz = 1500.0;
        let course: Vec<f64> = (0..9000).map(|n| (f64::from(n) * 0.013).sin() + 0.4).collect();
        let shown = indicator(&course, rate_hz);
        let turned: Vec<f64> = course.iter().map(|x| -3.0 * x).collect();
        for (a, b) in shown.iter().zip(indicator(&turned, rate_hz)) {
            crate::assert_within!(b, 3.0 * a, 1e-12, "");
        }
        assert_eq!(stated(&indicator(&[0.0; 4000], rate_hz), rate_hz), 0.0);
        assert!(!stated(&[], rate_hz).is_nan());
    }

    #[test]
    fn one_chance_maximum_does_not_make_the_figure() {
        let mut shown = vec![0.1; 15_000];
        shown[7000] = 0.9;
        crate::assert_within!(stated(&shown, 1500.0), 0.1, 1e-12, "");
    }
}
