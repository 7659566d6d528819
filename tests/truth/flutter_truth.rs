//! Flutter of a deck's true time warp, by plain means: sampled at 1 kHz, weighted in one transform.

use super::bench::Row;
use deckproof::internals::deck::Truth;
use deckproof::internals::judge::Reading;
use deckproof::internals::trade::flutter_weighting;
use rustfft::num_complex::Complex64;

const RATE_HZ: f64 = 1000.0;
/// Values on which the needle settles before its readings count.
const RUN_IN: usize = 1500;
/// Stretch before and after what counts, so that the transform's ends do not matter, s.
const SPARE_S: f64 = 12.0;

/// The deviation in percent between two times of the return, filtered by `response`.
fn filtered(truth: &Truth, from_s: f64, to_s: f64, response: impl Fn(f64) -> Complex64) -> Vec<f64> {
    let count = ((to_s - from_s + 2.0 * SPARE_S) * RATE_HZ).round() as usize;
    let mut course: Vec<Complex64> = (0..count)
        .map(|n| from_s - SPARE_S + n as f64 / RATE_HZ)
        .map(|t_s| Complex64::new(100.0 * truth.speed_deviation(t_s), 0.0))
        .collect();
    let mean = course.iter().sum::<Complex64>() / count as f64;
    // Percent of the mean speed; ends faded so that they do not ring.
    let fade = (0.4 * SPARE_S * RATE_HZ) as usize;
    for (n, value) in course.iter_mut().enumerate() {
        let edge = (n.min(count - 1 - n) as f64 / fade as f64).min(1.0);
        *value =
            (*value - mean) / (1.0 + mean.re / 100.0) * (0.5 - 0.5 * (std::f64::consts::PI * edge).cos());
    }
    inner_loops::complex_forward(count).process(&mut course);
    for (k, value) in course.iter_mut().enumerate() {
        let hz = if k <= count / 2 { k as f64 } else { k as f64 - count as f64 } * RATE_HZ / count as f64;
        let gain = response(hz.abs());
        *value *= if hz < 0.0 { gain.conj() } else { gain };
    }
    <f64 as inner_loops::Precision>::complex_inverse(count).process(&mut course);
    let spare = (SPARE_S * RATE_HZ) as usize;
    course[spare..count - spare].iter().map(|value| value.re / count as f64).collect()
}

fn rms(values: &[f64]) -> f64 {
    (values.iter().map(|x| x * x).sum::<f64>() / values.len() as f64).sqrt()
}

/// Two holds, one a sign (charge 45 ms, discharge 0.6 s), and a needle of 0.13 s that follows three parts of the larger and
/// one of the smaller; calibrated on a sine of 4 Hz; the median of each second's highest.
fn quasi_peak(weighted: &[f64]) -> f64 {
    let run = |values: &[f64]| -> Vec<f64> {
        let (mut plus, mut minus, mut shown) = (0.0f64, 0.0f64, 0.0f64);
        let step = 1.0 / RATE_HZ;
        let hold = |held: f64, x: f64| {
            let held = held * (-step / 0.6).exp();
            if x > held { x + (held - x) * (-step / 0.045).exp() } else { held }
        };
        values
            .iter()
            .map(|&x| {
                (plus, minus) = (hold(plus, x), hold(minus, -x));
                let aim = 0.5 * (plus + minus) + 0.25 * (plus - minus).abs();
                shown = aim + (shown - aim) * (-step / 0.13).exp();
                shown
            })
            .collect()
    };
    let sine: Vec<f64> =
        (0..8000).map(|n| (std::f64::consts::TAU * 4.0 * f64::from(n) / RATE_HZ).sin()).collect();
    let calibration = run(&sine)[4000..].iter().copied().fold(0.0, f64::max);
    let mut highest: Vec<f64> = run(weighted)[RUN_IN..]
        .chunks_exact(1000)
        .map(|second| second.iter().copied().fold(0.0, f64::max))
        .collect();
    highest.sort_by(f64::total_cmp);
    let n = highest.len();
    (highest[(n - 1) / 2] + highest[n / 2]) / 2.0 / calibration
}

pub fn rows(reading: &Reading, truth: &Truth) -> Vec<Row> {
    let Some(found) = &reading.flutter else { return Vec::new() };
    let (from_s, to_s) = (found.measured_from_s.seconds(), found.measured_to_s.seconds());
    let [low, split, high] = found.band_hz;
    let within = |from: f64, to: f64| {
        filtered(truth, from_s, to_s, move |hz| Complex64::new(f64::from(hz >= from && hz <= to), 0.0))
    };
    let weighted = filtered(truth, from_s, to_s, flutter_weighting::response);
    let run_in_s = RUN_IN as f64 / RATE_HZ;
    let before = filtered(truth, from_s - run_in_s, to_s, flutter_weighting::response);
    let flat = within(low, high);
    let mut sorted: Vec<f64> = weighted.iter().map(|x| x.abs()).collect();
    sorted.sort_by(f64::total_cmp);
    let figures = [
        ("weighted quasi-peak", found.weighted_quasi_peak_percent, quasi_peak(&before), None),
        ("weighted rms", found.weighted_rms_percent, rms(&weighted), None),
        ("2-sigma", found.two_sigma_percent, sorted[(sorted.len() as f64 * 0.95) as usize], None),
        (
            "unweighted peak",
            found.unweighted_peak_percent,
            flat.iter().fold(0.0, |most: f64, x| most.max(x.abs())),
            None,
        ),
        ("unweighted rms", found.unweighted_rms_percent, rms(&flat), found.uncertainty_percent),
        ("wow rms", found.wow_rms_percent, rms(&within(low, split)), None),
        ("flutter rms", found.flutter_rms_percent, rms(&within(split, high)), None),
    ];
    figures
        .into_iter()
        .map(|(what, got, want, uncertainty)| Row {
            quantity: "flutter",
            what: what.into(),
            got,
            want,
            target: (0.03 * want).max(0.003),
            uncertainty,
        })
        .collect()
}
