//! Frequency demodulation of a tone that was brought down near 0 Hz.

use crate::signal::fit::Line;
use crate::signal::statistics::median;
use inner_loops::{Precision, real_inverse};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// The course of a tone's frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct Demodulated {
    /// Mean frequency against 0 Hz, Hz.
    pub mean_hz: f64,
    /// Deviation from the mean at each sample, Hz; the first and last four samples repeat their neighbours.
    pub deviation_hz: Vec<f64>,
    /// Median amplitude of the tone.
    pub amplitude: f64,
    /// Mean over all samples that count of (median power / power): how much more noise there is than under a steady tone.
    pub noise_rise: f64,
    /// Share of the samples that were bridged because the tone was too weak.
    pub bridged: f64,
}

/// Amplitude, as a share of the median, below which the tone is bridged: 9 dB down the noise is 2.8 times as strong, and
/// what a short hole holds is not missed.
const WEAK: f64 = 0.35;
/// Amplitude, as a share of the median, above which turns within a hole are still counted.
const COUNTED: f64 = 0.05;
/// What is mirrored at either end before filtering, s: longer than filters of a tenth of a hertz ring.
const RING_S: f64 = 24.0;
/// Time on either side of a hole from which the frequency at its edges is taken, s.
const EDGE_S: f64 = 0.015;

/// Demodulates `samples` at `rate_hz`; amplitude changes do not show. `None` for fewer than 16 samples, for
/// silence and where a sample is no number.
///
/// The derivative of the phase is a central difference of eighth order: its error is below 0.1 % up to 0.11 of the
/// sample rate and below 0.5 % up to 0.15.
///
/// Where the tone is too weak its phase is led smoothly from one side of the hole to the other.
pub fn demodulate(samples: &[Complex64], rate_hz: f64) -> Option<Demodulated> {
    let n = samples.len();
    if n < 16 {
        return None;
    }
    let powers: Vec<f64> = samples.iter().map(Complex64::norm_sqr).collect();
    let power = median(&powers);
    if !(power > 0.0) {
        return None;
    }
    let turn = |from: usize, to: usize| (samples[to] * samples[from].conj()).arg();
    let mut steps: Vec<f64> = (0..n - 1).map(|k| turn(k, k + 1)).collect();
    let low: Vec<f64> = (1..n).map(|k| powers[k].min(powers[k - 1]) / power).collect();
    let bridged = bridge(&mut steps, &low, ((EDGE_S * rate_hz) as usize).max(1), turn);
    let mean = steps.iter().sum::<f64>() / steps.len() as f64;
    if !mean.is_finite() {
        return None;
    }
    let counting = low.iter().filter(|&&share| share >= WEAK * WEAK);
    let (sum, count) = counting.fold((0.0, 0.0), |(sum, count), share| (sum + 1.0 / share, count + 1.0));
    // Phase against the mean, so that numbers stay small.
    let mut phase = Vec::with_capacity(n);
    phase.push(0.0);
    let mut at = 0.0;
    for step in &steps {
        at += step - mean;
        phase.push(at);
    }
    let slope = |k: usize| {
        let d = |m: usize| phase[k + m] - phase[k - m];
        4.0 / 5.0 * d(1) - 1.0 / 5.0 * d(2) + 4.0 / 105.0 * d(3) - 1.0 / 280.0 * d(4)
    };
    let mut deviation_hz: Vec<f64> = (4..n - 4).map(|k| slope(k) * rate_hz / TAU).collect();
    let (first, last) = (deviation_hz[0], deviation_hz[deviation_hz.len() - 1]);
    deviation_hz.splice(0..0, [first; 4]);
    deviation_hz.extend([last; 4]);
    Some(Demodulated {
        mean_hz: mean * rate_hz / TAU,
        deviation_hz,
        amplitude: power.sqrt(),
        noise_rise: if count > 0.0 { sum / count } else { 1.0 },
        bridged,
    })
}

/// Replaces steps of phase where the tone is weak (`low`: power as a share of the median) by a smooth course with the same
/// sum; the share replaced. `turn` is the phase from one sample to another, less whole turns; `edge` a number of samples.
///
/// The phase before and after a hole is known up to whole turns. These are counted within the hole if the tone is not
/// quite gone, otherwise taken from the frequency on both sides.
fn bridge(steps: &mut [f64], low: &[f64], edge: usize, turn: impl Fn(usize, usize) -> f64) -> f64 {
    let weak = |k: usize| !(low[k] >= WEAK * WEAK);
    let mut k = 0;
    let mut count = 0;
    while k < steps.len() {
        if !weak(k) {
            k += 1;
            continue;
        }
        let end = (k..steps.len()).find(|&m| !weak(m)).unwrap_or(steps.len());
        let before = (0..k).rev().take(edge).take_while(|&m| !weak(m)).map(|m| steps[m]);
        let before = at_edge(&before.collect::<Vec<f64>>());
        let after = (end..steps.len()).take(edge).take_while(|&m| !weak(m)).map(|m| steps[m]);
        let after = at_edge(&after.collect::<Vec<f64>>());
        let (a, b) = (before.or(after).unwrap_or(0.0), after.or(before).unwrap_or(0.0));
        let length = (end - k) as f64;
        let expected = length * (a + b) / 2.0;
        let least = low[k..end].iter().copied().fold(f64::INFINITY, f64::min);
        let mut excess = steps[k..end].iter().sum::<f64>() - expected;
        if before.is_none() || after.is_none() || !excess.is_finite() {
            excess = 0.0;
        } else if !(least > COUNTED * COUNTED) {
            excess = turn(k, end) - expected;
            excess -= TAU * (excess / TAU).round();
        }
        // Frequency: a straight line from a to b and a parabola that makes up for the excess.
        for (m, step) in steps[k..end].iter_mut().enumerate() {
            let (from, to) = (m as f64 / length, (m as f64 + 1.0) / length);
            let middle = (from + to) / 2.0;
            let arch = (3.0 * to * to - 2.0 * to.powi(3)) - (3.0 * from * from - 2.0 * from.powi(3));
            *step = a + (b - a) * middle + excess * arch;
        }
        count += end - k;
        k = end;
    }
    count as f64 / steps.len().max(1) as f64
}

/// Value at the near end of a short course that begins beside a hole: its best line's, or the mean of a very short one.
fn at_edge(outwards: &[f64]) -> Option<f64> {
    let line = Line::of(outwards);
    match outwards.len() {
        0 => None,
        1..8 => Some(line.y),
        _ => Some(line.at(-0.5)),
    }
}

/// Removes the parabola that fits best; the residual has no mean, no drift and no bend.
pub fn detrend(values: &mut [f64]) {
    let n = values.len() as f64;
    if n < 4.0 {
        return;
    }
    // Legendre polynomials on -1..1 are (nearly) orthogonal on an even grid.
    let x = |k: usize| 2.0 * (k as f64 + 0.5) / n - 1.0;
    let basis: [fn(f64) -> f64; 3] = [|_| 1.0, |x| x, |x| 1.5 * x * x - 0.5];
    for polynomial in basis {
        let norm: f64 = (0..values.len()).map(|k| polynomial(x(k)).powi(2)).sum();
        let share: f64 = values.iter().enumerate().map(|(k, v)| v * polynomial(x(k))).sum::<f64>() / norm;
        for (k, value) in values.iter_mut().enumerate() {
            *value -= share * polynomial(x(k));
        }
    }
}

/// Filters a real series by a complex response given as a function of frequency (at `rate_hz`), by one long
/// transform; beyond its ends the series is taken as its own mirror image.
///
/// Exact in frequency, unlike a recursive filter; needs the whole series.
pub fn filter_by_response(values: &[f64], rate_hz: f64, response: impl Fn(f64) -> Complex64) -> Vec<f64> {
    let n = values.len();
    if n == 0 {
        return Vec::new();
    }
    let pad = n.min((RING_S * rate_hz) as usize);
    let length = crate::signal::next_fast_length(n + 2 * pad);
    let reflect = |k: i64| {
        let period = 2 * n as i64;
        let k = k.rem_euclid(period);
        values[if k < n as i64 { k } else { period - 1 - k } as usize]
    };
    let mut time: Vec<f64> = (0..length).map(|k| reflect(k as i64 - pad as i64)).collect();
    // Blend the far ends so that the transform's circle closes.
    let fade = pad / 2;
    for k in 0..fade {
        let w = 0.5 - 0.5 * (PI * k as f64 / fade as f64).cos();
        time[k] *= w;
        time[length - 1 - k] *= w;
    }
    let (forward, backward) = (f64::real_forward(length), real_inverse(length));
    let mut bins = forward.make_output_vec();
    // The buffers are made for these plans, so the transforms cannot refuse them.
    let _ = forward.process(&mut time, &mut bins);
    let last = bins.len() - 1;
    for (k, bin) in bins.iter_mut().enumerate() {
        *bin *= response(k as f64 * rate_hz / length as f64) / length as f64;
        if k == 0 || (k == last && length.is_multiple_of(2)) {
            bin.im = 0.0;
        }
    }
    let _ = backward.process(&mut bins, &mut time);
    time[pad..pad + n].to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::sine;

    fn wobbling(rate_hz: f64, flutter_hz: f64, deviation_hz: f64, seconds: f64) -> Vec<Complex64> {
        (0..(rate_hz * seconds) as usize)
            .map(|n| {
                let t = n as f64 / rate_hz;
                let phase = TAU * 12.0 * t - deviation_hz / flutter_hz * (TAU * flutter_hz * t).cos();
                Complex64::from_polar(0.5 + 0.05 * (TAU * 7.0 * t).sin(), phase)
            })
            .collect()
    }

    #[test]
    fn deviation_is_read_whatever_the_amplitude_does() {
        for flutter_hz in [0.5, 4.0, 50.0, 200.0] {
            let found = demodulate(&wobbling(1500.0, flutter_hz, 3.0, 8.0), 1500.0).unwrap();
            let rms = (found.deviation_hz.iter().map(|x| x * x).sum::<f64>()
                / found.deviation_hz.len() as f64)
                .sqrt();
            crate::assert_within!(found.mean_hz, 12.0, 0.01, "Hz", "{flutter_hz} Hz");
            // 0.2 %: the differentiator's own error at 0.13 of the rate.
            crate::assert_within!(rms, 3.0 / 2f64.sqrt(), 0.004 * 3.0, "Hz", "{flutter_hz} Hz");
        }
    }

    #[test]
    fn a_hole_is_bridged() {
        let mut samples = wobbling(1500.0, 2.0, 3.0, 4.0);
        for z in &mut samples[3000..3030] {
            *z *= 0.01;
        }
        let found = demodulate(&samples, 1500.0).unwrap();
        assert!(found.bridged > 0.004 && found.bridged < 0.006);
        let most = found.deviation_hz.iter().fold(0.0, |m: f64, x| m.max(x.abs()));
        assert!(most < 3.1, "{most}");
    }

    #[test]
    fn a_hole_costs_no_phase() {
        // 5 % of the tone is left for 40 ms, on a tone whose frequency is 3 Hz off in the middle of it.
        let mut samples = wobbling(1500.0, 2.0, 3.0, 4.0);
        let whole = demodulate(&samples, 1500.0).unwrap();
        for (floor, from) in [(0.05f64, 2300usize), (0.0, 4000)] {
            samples[from..from + 60].iter_mut().for_each(|z| *z *= floor);
        }
        let found = demodulate(&samples, 1500.0).unwrap();
        for (k, (got, want)) in found.deviation_hz.iter().zip(&whole.deviation_hz).enumerate() {
            // 3 Hz at 2 Hz bends by 0.1 Hz within 40 ms.
            crate::assert_within!(*got, *want, 0.1, "Hz", "sample {k}");
        }
        crate::assert_within!(found.mean_hz, whole.mean_hz, 1e-3, "Hz");
    }

    #[test]
    fn filtering_by_response_keeps_what_it_should() {
        let values = sine(1.0, 5.0, 1000.0, 3000);
        let kept = filter_by_response(&values, 1000.0, |hz| Complex64::new(f64::from(hz < 50.0), 0.0));
        let gone = filter_by_response(&values, 1000.0, |hz| Complex64::new(f64::from(hz > 50.0), 0.0));
        for k in 500..2500 {
            crate::assert_within!(kept[k], values[k], 1e-3, "", "sample {k}");
            crate::assert_within!(gone[k], 0.0, 1e-3, "", "sample {k}");
        }
    }

    #[test]
    fn a_parabola_leaves_nothing() {
        let mut values: Vec<f64> =
            (0..500).map(|n| 3.0 + 0.2 * f64::from(n) - 0.01 * f64::from(n * n)).collect();
        detrend(&mut values);
        assert!(values.iter().all(|v| v.abs() < 1e-2), "{:?}", &values[..5]);
    }
}
