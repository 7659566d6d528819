//! The time constants that a playback amplifier really has, from its deviation from the curve.
//!
//! A right amplifier behind an ideal head is (1 + s t1) / (1 + s t2), the inverse of the recorded flux times frequency
//! (IEC 60094-1:1981 clause 15). So the deviation of one with other time constants is known as a formula. Real amplifiers
//! have a coupling capacitor and a bandwidth or a resonance besides. These are always in the fit, with room for what real
//! ones have, so that the uncertainty of the time constants grows by as much as they cannot be told apart.
//!
//! A choice between models would make the uncertainty too small where the tones cannot tell. Where the rest exceeds
//! 0.06 dB, ends of the band are left out step by step, because traps and subsonic filters sit there; what is left
//! unexplained widens the uncertainty. The sound card is subtracted as a gain before the curve is laid over.

use crate::signal::fit::Search;
use crate::signal::statistics::median;
use crate::trade::tape_equalisation::LOW_TIME_CONSTANT_US;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::TAU;

/// One tone: frequency, deviation from the curve in dB, expanded uncertainty in dB.
pub(crate) type Deviation = (f64, f64, f64);

/// What was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct TimeConstants {
    /// High-frequency time constant with its expanded uncertainty, us.
    pub high_us: (f64, f64),
    /// Low-frequency time constant with its expanded uncertainty, us; `None` if the tones do not reach down to it.
    pub low_us: Option<(f64, f64)>,
    /// What the fit leaves, dB rms.
    pub rest_db: f64,
    /// Lowest and highest frequency that took part, Hz.
    pub fitted_hz: [f64; 2],
}

/// Gain, the two time constants, coupling, and two of the bandwidth.
const PARAMETERS: usize = 6;
/// Least tones for so many parameters.
const LEAST_TONES: usize = 9;
/// The tones must reach from below to above the turnover of the high-frequency time constant by these, Hz.
const LEAST_BAND_HZ: [f64; 2] = [500.0, 6000.0];
/// The low-frequency time constant turns at 50 Hz: without tones down to here nothing is said of it.
const LOW_TONE_HZ: f64 = 45.0;
/// A fit that leaves no more than this is taken, dB rms: a tenth of what a careful adjustment leaves.
const GOOD_REST_DB: f64 = 0.06;
/// One that leaves more than this tells nothing, dB rms.
const BAD_REST_DB: f64 = 0.5;
/// Least standard deviation of a tone, dB: what levels of steady tones are good for (see `tests/clean_return.rs`).
const LEAST_SIGMA_DB: f64 = 0.008;
/// What player and sound card bend between bass and treble (some hundredths of a decibel), and what leaks from the other
/// channel, as shares of the high and the low time constant. Common practice, no source.
const LEAST_SHARE: [f64; 2] = [0.01, 0.02];
/// Where the coupling capacitor is stated as power lost, Hz.
const BASS_HZ: f64 = 20.0;
/// Where the bandwidth is stated as power lost, Hz.
const TREBLE_HZ: f64 = 20_000.0;
/// How much each parameter may stray before anything is measured (standard deviations): gain in dB, logarithms of both time
/// constants, power lost at 20 Hz, and at 20 kHz by the square and the fourth power of frequency. Wide against what the
/// tones say; they keep apart what the tones cannot.
const STRAY: [f64; PARAMETERS] = [20.0, 1.0, 1.0, 0.5, 1.5, 1.0];
/// Bands to be tried, the widest first: subsonic filters, traps and filters for multiplex tones spoil the ends only.
const BANDS_HZ: [[f64; 2]; 6] = [
    [0.0, f64::INFINITY],
    [0.0, 14_500.0],
    [0.0, 10_500.0],
    [34.0, 14_500.0],
    [34.0, 10_500.0],
    [75.0, 10_500.0],
];

/// Fits the time constants to `deviations` from the curve with `nominal_us`.
///
/// # Errors
/// Why nothing can be told, as words that follow `because`.
pub(crate) fn time_constants(deviations: &[Deviation], nominal_us: f64) -> Result<TimeConstants, String> {
    let mut best: Option<TimeConstants> = None;
    for [from_hz, to_hz] in BANDS_HZ {
        let within: Vec<Deviation> = deviations
            .iter()
            .filter(|(hz, db, u)| *hz >= from_hz && *hz <= to_hz && db.is_finite() && u.is_finite())
            .copied()
            .collect();
        let Some(found) = fit(&within, nominal_us) else { continue };
        let allowed = GOOD_REST_DB.max(2.0 * typical_sigma(&within));
        if found.rest_db <= allowed {
            return Ok(found);
        }
        if best.as_ref().is_none_or(|best| found.rest_db < 0.7 * best.rest_db) {
            best = Some(found);
        }
    }
    match best {
        None if reaches(deviations) => {
            Err("the deviation follows no pair of time constants, or noise hides which".to_owned())
        }
        None => Err("too few tones from 500 Hz to 6 kHz stand out of the noise".to_owned()),
        Some(found) if found.rest_db > BAD_REST_DB => Err(format!(
            "the deviation follows no pair of time constants: the best leave {:.1} dB rms unexplained",
            found.rest_db
        )),
        Some(found) => Ok(found),
    }
}

/// Whether there are tones enough, and far enough apart.
fn reaches(tones: &[Deviation]) -> bool {
    let sound = || tones.iter().filter(|tone| tone.1.is_finite() && tone.2.is_finite()).map(|tone| tone.0);
    let (lowest_hz, highest_hz) = (sound().fold(f64::INFINITY, f64::min), sound().fold(0.0, f64::max));
    sound().count() >= LEAST_TONES && lowest_hz <= LEAST_BAND_HZ[0] && highest_hz >= LEAST_BAND_HZ[1]
}

/// Standard deviation of the middle tone, dB.
fn typical_sigma(deviations: &[Deviation]) -> f64 {
    median(deviations.iter().map(|tone| sigma_db(tone.2))).max(LEAST_SIGMA_DB)
}

fn sigma_db(uncertainty_db: f64) -> f64 {
    (uncertainty_db / 2.0).max(LEAST_SIGMA_DB)
}

/// Deviation in dB at `hz`: see [`STRAY`] for the parameters.
fn model(x: &DVector<f64>, hz: f64, nominal_us: f64) -> f64 {
    let power = |us: f64| {
        let turn = TAU * hz * us * 1e-6;
        10.0 * (1.0 + turn * turn).log10()
    };
    let high = power(nominal_us * x[1].exp()) - power(nominal_us);
    let low = power(LOW_TIME_CONSTANT_US * x[2].exp()) - power(LOW_TIME_CONSTANT_US);
    let (bass, treble) = ((BASS_HZ / hz).powi(2), (hz / TREBLE_HZ).powi(2));
    // A step of the search may go where there is no amplifier; the logarithm must bear it.
    let lost = |power: f64| 10.0 * (1.0 + power).max(1e-4).log10();
    x[0] + high - low - lost(x[3] * bass) - lost(x[4] * treble + x[5] * treble * treble)
}

/// The fit to all of `tones`; `None` if they are too few, or too far apart.
fn fit(tones: &[Deviation], nominal_us: f64) -> Option<TimeConstants> {
    let lowest_hz = tones.iter().map(|tone| tone.0).fold(f64::INFINITY, f64::min);
    let highest_hz = tones.iter().map(|tone| tone.0).fold(0.0, f64::max);
    if !reaches(tones) {
        return None;
    }
    // Starts on either side, so that the other switch position is found as well.
    let starts = [0.0, (70.0f64 / 120.0).ln(), (120.0f64 / 70.0).ln()];
    let search = |start: f64| {
        let mut x = DVector::zeros(PARAMETERS);
        x[1] = start;
        minimum(x, tones, nominal_us)
    };
    let (x, chi2, normal) = starts
        .into_iter()
        .filter_map(search)
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .filter(|best| best.1.is_finite())?;
    let covariance = normal.cholesky()?.inverse();
    let residual = |tone: &Deviation| tone.1 - model(&x, tone.0, nominal_us);
    let squares = tones.iter().map(|tone| residual(tone).powi(2)).sum::<f64>();
    let free = (tones.len() as f64 - PARAMETERS as f64).max(1.0);
    // What the model cannot explain makes everything less sure.
    let inflated = (chi2 / free).max(1.0).sqrt();
    let spread = |k: usize| 2.0 * covariance[(k, k)].max(0.0).sqrt() * inflated;
    let high_us = nominal_us * x[1].exp();
    let low_us = LOW_TIME_CONSTANT_US * x[2].exp();
    // Beyond this the logarithm's own curvature counts, and the figure says nothing.
    let told = |log_spread: f64| log_spread.is_finite() && log_spread < 0.7;
    if !told(spread(1)) {
        return None;
    }
    Some(TimeConstants {
        high_us: (high_us, high_us * spread(1).hypot(LEAST_SHARE[0])),
        low_us: (lowest_hz <= LOW_TONE_HZ && told(spread(2)))
            .then_some((low_us, low_us * spread(2).hypot(LEAST_SHARE[1]))),
        rest_db: (squares / free).sqrt(),
        fitted_hz: [lowest_hz, highest_hz],
    })
}

/// How the fit looks for the least sum of squares.
const SEARCH: Search =
    Search { rounds: 80, tries: 20, least_gain: 1e-9, damping: 1e-3, widest: f64::INFINITY };

/// Least squares with what each parameter may stray: place, sum of the tones' squares, normal matrix.
fn minimum(
    start: DVector<f64>,
    tones: &[Deviation],
    nominal_us: f64,
) -> Option<(DVector<f64>, f64, DMatrix<f64>)> {
    let rows = tones.len() + PARAMETERS;
    let residuals = |x: &DVector<f64>| {
        DVector::from_iterator(
            rows,
            tones
                .iter()
                .map(|&(hz, db, u)| (db - model(x, hz, nominal_us)) / sigma_db(u))
                .chain(STRAY.iter().zip(x.iter()).map(|(stray, x)| -x / stray)),
        )
    };
    let downhill = |x: &DVector<f64>| {
        let mut slopes = DMatrix::zeros(rows, PARAMETERS);
        for k in 0..PARAMETERS {
            let step = 1e-5;
            let (mut up, mut down) = (x.clone(), x.clone());
            up[k] += step;
            down[k] -= step;
            slopes.set_column(k, &((residuals(&up) - residuals(&down)) / (2.0 * step)));
        }
        let turned = slopes.transpose();
        (&turned * slopes, -turned * residuals(x))
    };
    let found = SEARCH.descend(start, |x| 0.5 * residuals(x).norm_squared(), downhill)?;
    let chi2 = residuals(&found.at).rows(0, tones.len()).norm_squared();
    found.at.iter().all(|x| x.is_finite()).then_some((found.at, chi2, found.normal))
}

#[cfg(test)]
mod tests {
    use super::*;

    const HZ: [f64; 32] = [
        20.0, 28.0, 40.0, 55.0, 70.0, 80.0, 110.0, 130.0, 165.0, 210.0, 270.0, 315.0, 400.0, 500.0, 630.0,
        800.0, 1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0, 10_000.0,
        12_500.0, 14_000.0, 16_000.0, 18_000.0, 20_000.0,
    ];

    /// Gain of an amplifier with these time constants against the curve, in plain words of the formula.
    fn deviation(hz: f64, high_us: f64, low_us: f64, nominal_us: f64) -> f64 {
        let w = TAU * hz * 1e-6;
        let size = |us: f64| (1.0 + (w * us).powi(2)).sqrt();
        20.0 * (size(high_us) / size(low_us) / (size(nominal_us) / size(3180.0))).log10()
    }

    fn tones(extra: impl Fn(f64) -> f64, high_us: f64, low_us: f64, nominal_us: f64) -> Vec<Deviation> {
        // A wobble of a hundredth of a decibel stands for what levels are good for.
        let wobble = |k: usize| 0.01 * (k as f64 * 2.4).sin();
        HZ.iter()
            .enumerate()
            .map(|(k, &hz)| (hz, deviation(hz, high_us, low_us, nominal_us) + extra(hz) + wobble(k), 0.03))
            .collect()
    }

    fn holds(what: &str, (got, uncertainty): (f64, f64), want: f64, widest: f64) {
        assert!((got - want).abs() <= uncertainty, "{what}: got {got} +- {uncertainty}, true {want}");
        assert!(uncertainty <= widest * want, "{what}: {got} +- {uncertainty} is too unsure");
    }

    #[test]
    fn time_constants_are_found_beside_coupling_and_bandwidth() {
        type Extra = fn(f64) -> f64;
        let none: Extra = |_| 0.0;
        let coupled: Extra = |hz| -10.0 * (1.0 + (8.0 / hz).powi(2)).log10();
        let narrow: Extra = |hz| -10.0 * (1.0 + (hz / 18_000.0).powi(2)).log10();
        let resonant: Extra = |hz| {
            let x = (hz / 27_000.0).powi(2);
            -10.0 * ((1.0 - x).powi(2) + x / 2.25).log10()
        };
        for (name, extra) in
            [("none", none), ("coupled", coupled), ("narrow", narrow), ("resonant", resonant)]
        {
            for (high_us, low_us, nominal_us) in [
                (120.0, 3180.0, 120.0),
                (96.0, 3180.0, 120.0),
                (70.0, 3180.0, 120.0),
                (70.0, 2500.0, 70.0),
                (118.0, 3600.0, 70.0),
                (240.0, 3180.0, 120.0),
            ] {
                let found = time_constants(&tones(extra, high_us, low_us, nominal_us), nominal_us).unwrap();
                let name = format!("{name}, {high_us} and {low_us} us");
                holds(&name, found.high_us, high_us, 0.04);
                holds(&name, found.low_us.unwrap(), low_us, 0.12);
                assert!(found.rest_db < 0.03, "{name}: rest {}", found.rest_db);
            }
        }
    }

    #[test]
    fn the_published_difference_of_both_curves_reads_as_the_other_time_constant() {
        // IEC 60094-1:1981 clause 15 and 15.1, derived to 3 decimals (tests/tables/iec-60094-1-equalisation.tsv): 70 us flux
        // less 120 us flux, dB, without 2500 Hz, whose row looks like pi. An amplifier for 120 us deviates by it from the
        // curve for 70 us, and the other way round.
        let rows = [
            (20.0, 0.001),
            (25.0, 0.001),
            (31.5, 0.002),
            (40.0, 0.003),
            (50.0, 0.004),
            (63.0, 0.006),
            (80.0, 0.01),
            (100.0, 0.016),
            (125.0, 0.025),
            (160.0, 0.041),
            (200.0, 0.064),
            (250.0, 0.099),
            (315.0, 0.156),
            (333.0, 0.173),
            (400.0, 0.246),
            (500.0, 0.372),
            (630.0, 0.562),
            (800.0, 0.841),
            (1000.0, 1.187),
            (1250.0, 1.614),
            (1600.0, 2.154),
            (2000.0, 2.662),
            (3000.0, 3.486),
            (3150.0, 3.569),
            (4000.0, 3.919),
            (5000.0, 4.161),
            (6300.0, 4.338),
            (8000.0, 4.462),
            (10000.0, 4.538),
            (12500.0, 4.589),
            (14000.0, 4.607),
            (15000.0, 4.617),
            (16000.0, 4.625),
            (18000.0, 4.636),
            (20000.0, 4.645),
        ];
        for (sign, nominal_us, real_us) in [(1.0, 70.0, 120.0), (-1.0, 120.0, 70.0)] {
            let tones: Vec<Deviation> = rows.iter().map(|(hz, db)| (*hz, sign * db, 0.02)).collect();
            let found = time_constants(&tones, nominal_us).unwrap();
            // Rounding of the rows, through coupling and bandwidth that are free.
            assert_within!(found.high_us.0, real_us, 0.3, "us");
            assert_within!(found.low_us.unwrap().0, 3180.0, 40.0, "us");
        }
    }

    #[test]
    fn a_filter_at_the_end_of_the_band_narrows_the_fit_and_does_not_bend_it() {
        // A trap at 19 kHz, as for multiplex tones: -25 dB there, -1 dB at 15 kHz.
        let trap = |hz: f64| {
            let x = hz / 19_000.0 - 19_000.0 / hz;
            10.0 * ((x * x + 0.001) / (x * x + 0.06)).log10()
        };
        let found = time_constants(&tones(trap, 110.0, 3180.0, 120.0), 120.0).unwrap();
        assert!(found.fitted_hz[1] < 15_000.0, "{found:?}");
        assert_within!(found.high_us.0, 110.0, found.high_us.1.max(2.5), "us");
    }

    #[test]
    fn noise_widens_the_uncertainty() {
        let mut noisy = tones(|_| 0.0, 120.0, 3180.0, 120.0);
        let sure = time_constants(&noisy, 120.0).unwrap().high_us.1;
        noisy.iter_mut().for_each(|tone| tone.2 = 0.3);
        assert!(time_constants(&noisy, 120.0).unwrap().high_us.1 > 2.0 * sure);
    }

    #[test]
    fn what_tells_nothing_says_why_and_never_panics() {
        let whole = tones(|_| 0.0, 120.0, 3180.0, 120.0);
        assert!(time_constants(&[], 120.0).unwrap_err().contains("too few"));
        assert!(time_constants(&whole[..15], 120.0).unwrap_err().contains("too few"));
        assert_eq!(time_constants(&whole[8..], 120.0).unwrap().low_us, None);
        let wild: Vec<Deviation> = whole
            .iter()
            .enumerate()
            .map(|(k, tone)| (tone.0, if k % 2 == 0 { 4.0 } else { -4.0 }, 0.03))
            .collect();
        assert!(time_constants(&wild, 120.0).unwrap_err().contains("no pair"), "{wild:?}");
        let broken: Vec<Deviation> = whole.iter().map(|tone| (tone.0, f64::NAN, 0.03)).collect();
        assert!(time_constants(&broken, 120.0).is_err());
    }
}
