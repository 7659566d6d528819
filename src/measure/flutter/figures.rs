//! The figures of flutter: one of each kind for any piece of a course, and how sure each is.
//!
//! The quasi-peak figure is the median of the highest readings of each second: one dropout must not make the figure,
//! and a needle that keeps coming back to a mark does. The 2-sigma figure is the 95th percentile of the magnitude of
//! the weighted deviation, not twice the rms; for a sine it is 0.997 of the peak. Rms figures have the noise subtracted
//! as power. The factors of the uncertainties are calibrated by repeated trials against the speed itself
//! (`tests/flutter/kinds.rs`).

use crate::measure::flutter::deviation::{Course, band_gain, band_pass, one_sided};
use crate::measure::flutter::indicator::{indicator, stated};
use crate::reading::{FileClock, FlutterFigures, FlutterSpread, FlutterStretch};
use crate::signal::fm::filter_by_response;
use crate::signal::statistics::{mean_square, median, nth};
use crate::trade::flutter_weighting;
use std::ops::Range;

/// Length of the pieces whose figures are compared, s: the shortest that the 2-sigma figure is defined for (AES6-2008 and
/// IEC 60386 A1:1988).
pub const STRETCH_S: f64 = 5.0;
/// Share of the time in which the 2-sigma figure is exceeded (AES6-2008 and IEC 60386 A1:1988).
const EXCEEDED: f64 = 0.05;
/// What filter ends, the differentiator and the percent of the mean speed cost, k = 2: shares of the weighted and of the
/// unweighted rms, and percent.
const RMS_SHARE: [f64; 2] = [0.0003, 0.0008];
const LEAST_PERCENT: f64 = 0.000_005;
/// What the split between wow and flutter costs beyond that at the ends of a stretch: share times the stretch's length, s.
const SPLIT_SHARE_S: f64 = 0.055;

/// Uncertainty (k = 2) of a figure read from the denoised course: a multiple of the rms of the residual noise and
/// took of the flutter, and a share of the figure.
#[derive(Clone, Copy)]
struct Calibrated {
    noise: f64,
    share: f64,
}

// By repeated trials against the speed itself (`tests/flutter/kinds.rs`: flutter as 1/f noise of 0 to 0.1 % rms, hiss 50 to
// 35 dB down, 13 and 33 s; 60 each). What 57 of 60 needed, beside the mean stated, percent:
//   quasi-peak  0.00004 to 0.00014 (0.00010 to 0.00034), 59 or 60 of 60 held
//   2-sigma     0.00005 to 0.00020 (0.00010 to 0.00027), 60 held
//   peak        0.0009 to 0.0064 (0.0005 to 0.0077), 58 to 60 held
const QUASI_PEAK: Calibrated = Calibrated { noise: 0.15, share: 0.003 };
const TWO_SIGMA: Calibrated = Calibrated { noise: 0.3, share: 0.002 };
const PEAK: Calibrated = Calibrated { noise: 2.5, share: 0.006 };
/// Peak of noise alone, as a multiple of its rms: a peak below it may be noise.
const ALL_NOISE: f64 = 5.0;
/// By how much the density of the noise beside the tone may differ from that under it, k = 2.
const NOISE_UNCERTAINTY: f64 = 0.1;

/// The course filtered for each kind, without the filters' ends.
pub(crate) struct Views {
    rate_hz: f64,
    /// Values of each tone that is in them, and the clock at its first.
    tones: Vec<(usize, FileClock)>,
    flat: Vec<f64>,
    weighted: Vec<f64>,
    wow: Vec<f64>,
    fast: Vec<f64>,
    /// Peaks and percentiles cannot be rid of noise afterwards: they are read from a denoised course.
    denoised_flat: Vec<f64>,
    denoised_weighted: Vec<f64>,
    /// The needle over `denoised_weighted`.
    shown: Vec<f64>,
    /// Mean square by noise of `flat`, `weighted`, `wow` and `fast`.
    noise: [f64; 4],
    /// Variance (k = 1) of the measured mean squares of the same, for their whole length.
    variance: [f64; 4],
    /// Mean square of the noise that stays in the denoised course and of the flutter that went: weighted, flat.
    residual: [f64; 2],
}

/// Power weight of a band, edges and all: noise in them is as much in the figure as in between.
fn within(from_hz: f64, to_hz: f64) -> impl Fn(f64) -> f64 {
    let gain = band_gain(from_hz, to_hz);
    move |hz| gain(hz).powi(2)
}

fn weight(hz: f64) -> f64 {
    flutter_weighting::response(hz).norm_sqr()
}

impl Views {
    /// The course without `settle` values at either end; `clock` starts at the first value that counts.
    pub fn new(course: &Course, settle: usize, clock: FileClock) -> Self {
        let rate_hz = course.rate_hz;
        let [low, split, high] = course.band_hz;
        let inside = settle..course.percent.len() - settle;
        let cut = |values: Vec<f64>| values[inside.clone()].to_vec();
        // Above twice the band there is noise only, and it is not counted in `noise_power`.
        let weigh = |values: &[f64]| {
            filter_by_response(values, rate_hz, |hz| {
                flutter_weighting::response(hz) * f64::from(hz < 2.0 * high)
            })
        };
        let band = |values: &[f64], from: f64, to: f64| band_pass(values, rate_hz, from, to);
        let (denoised, gain) = course.denoised();
        let denoised_weighted = weigh(&denoised);
        let length_s = inside.len() as f64 / rate_hz;
        let bins = one_sided(&course.percent, rate_hz);
        let step_hz = bins.first().map_or(1.0, |bin| bin.0);
        // The mean square of flutter and noise varies with the noise's own chance, and with how it meets the flutter.
        let variance = |weight: &dyn Fn(f64) -> f64| -> f64 {
            let of_bin = |&(hz, power): &(f64, f64)| {
                let noise = course.noise_at_1hz * hz * hz;
                let flutter = (power / step_hz - noise).max(0.0);
                (noise + 2.0 * flutter) * noise * weight(hz).powi(2) * step_hz / length_s
            };
            let sure = 0.5 * NOISE_UNCERTAINTY * course.noise_power(weight);
            bins.iter().filter(|bin| bin.0 < 2.0 * high).map(of_bin).sum::<f64>() + sure * sure
        };
        let residual = |weight: &dyn Fn(f64) -> f64| course.noise_power(|hz| gain(hz) * weight(hz));
        let (flat, wow, fast) = (within(low, high), within(low, split), within(split, high));
        Self {
            rate_hz,
            tones: vec![(inside.len(), clock)],
            noise: [
                course.noise_power(&flat),
                course.noise_power(weight),
                course.noise_power(&wow),
                course.noise_power(&fast),
            ],
            variance: [variance(&flat), variance(&weight), variance(&wow), variance(&fast)],
            residual: [residual(&weight), residual(&flat)],
            flat: cut(band(&course.percent, low, high)),
            weighted: cut(weigh(&course.percent)),
            wow: cut(band(&course.percent, low, split)),
            fast: cut(band(&course.percent, split, high)),
            denoised_flat: cut(band(&denoised, low, high)),
            // The needle starts on the stretch before, so that it has settled.
            shown: cut(indicator(&denoised_weighted, rate_hz)),
            denoised_weighted: cut(denoised_weighted),
        }
    }

    /// Adds another tone behind those that are there: its noise counts by its length.
    pub fn add(&mut self, other: Self) {
        let (own, more) = (self.flat.len() as f64, other.flat.len() as f64);
        let (own, more) = (own / (own + more), more / (own + more));
        for k in 0..4 {
            self.noise[k] = own * self.noise[k] + more * other.noise[k];
            self.variance[k] = own * own * self.variance[k] + more * more * other.variance[k];
        }
        for k in 0..2 {
            self.residual[k] = own * self.residual[k] + more * other.residual[k];
        }
        self.tones.extend(other.tones);
        self.flat.extend(other.flat);
        self.weighted.extend(other.weighted);
        self.wow.extend(other.wow);
        self.fast.extend(other.fast);
        self.denoised_flat.extend(other.denoised_flat);
        self.denoised_weighted.extend(other.denoised_weighted);
        self.shown.extend(other.shown);
    }

    /// What is in them, s.
    pub fn length_s(&self) -> f64 {
        self.flat.len() as f64 / self.rate_hz
    }

    /// The highest that the needle showed in the last second.
    pub fn needle(&self) -> f64 {
        let second = (self.rate_hz as usize).min(self.shown.len());
        self.shown[self.shown.len() - second..].iter().copied().fold(0.0, f64::max)
    }

    /// The figures of the whole course.
    pub fn whole(&self) -> FlutterFigures {
        self.figures(0..self.flat.len())
    }

    fn figures(&self, range: Range<usize>) -> FlutterFigures {
        let clean =
            |values: &[f64], noise: f64| Some((mean_square(&values[range.clone()]) - noise).max(0.0).sqrt());
        let long = range.len() as f64 >= STRETCH_S * self.rate_hz * 0.999;
        FlutterFigures {
            weighted_quasi_peak_percent: Some(stated(&self.shown[range.clone()], self.rate_hz)),
            weighted_rms_percent: clean(&self.weighted, self.noise[1]),
            two_sigma_percent: long.then(|| exceeded(&self.denoised_weighted[range.clone()])),
            unweighted_peak_percent: Some(
                self.denoised_flat[range.clone()].iter().fold(0.0, |most: f64, x| most.max(x.abs())),
            ),
            unweighted_rms_percent: clean(&self.flat, self.noise[0]),
            wow_rms_percent: clean(&self.wow, self.noise[2]),
            flutter_rms_percent: clean(&self.fast, self.noise[3]),
        }
    }

    /// Expanded uncertainties of `whole`, the figures of the whole course.
    pub fn uncertainties(&self, whole: &FlutterFigures) -> FlutterFigures {
        let split_share = RMS_SHARE[1].hypot(SPLIT_SHARE_S * self.rate_hz / self.flat.len() as f64);
        let rms = |figure: Option<f64>, k: usize, share: f64| {
            figure.map(|rms| {
                let (square, uncertainty) = (rms * rms, 2.0 * self.variance[k].sqrt());
                let (up, down) =
                    ((square + uncertainty).sqrt() - rms, rms - (square - uncertainty).max(0.0).sqrt());
                up.max(down).hypot(share * rms).hypot(LEAST_PERCENT)
            })
        };
        let peak = |figure: Option<f64>, k: usize, of: Calibrated| {
            figure.map(|peak| {
                let residual = self.residual[k].sqrt();
                // So small a peak may be noise and nothing else.
                let noise = if peak < ALL_NOISE * residual {
                    peak.max(of.noise * residual)
                } else {
                    of.noise * residual
                };
                noise.hypot(of.share * peak).hypot(LEAST_PERCENT)
            })
        };
        FlutterFigures {
            weighted_quasi_peak_percent: peak(whole.weighted_quasi_peak_percent, 0, QUASI_PEAK),
            weighted_rms_percent: rms(whole.weighted_rms_percent, 1, RMS_SHARE[0]),
            two_sigma_percent: peak(whole.two_sigma_percent, 0, TWO_SIGMA),
            unweighted_peak_percent: peak(whole.unweighted_peak_percent, 1, PEAK),
            unweighted_rms_percent: rms(whole.unweighted_rms_percent, 0, RMS_SHARE[1]),
            wow_rms_percent: rms(whole.wow_rms_percent, 2, split_share),
            flutter_rms_percent: rms(whole.flutter_rms_percent, 3, split_share),
        }
    }

    /// Consecutive pieces of [`STRETCH_S`] of each tone, and their spread; of several tones those that are shorter count
    /// whole.
    pub fn along(&self) -> (Vec<FlutterStretch>, Option<FlutterSpread>) {
        let length = (STRETCH_S * self.rate_hz).round() as usize;
        let mut stretches: Vec<FlutterStretch> = Vec::new();
        let mut first = 0;
        for (values, clock) in &self.tones {
            let length = if self.tones.len() > 1 { length.min(*values) } else { length }.max(1);
            stretches.extend((0..values / length).map(|k| FlutterStretch {
                from_s: clock.at((k * length) as f64 / self.rate_hz),
                to_s: clock.at(((k + 1) * length) as f64 / self.rate_hz),
                figures: self.figures(first + k * length..first + (k + 1) * length),
            }));
            first += values;
        }
        if stretches.len() < 2 {
            return (Vec::new(), None);
        }
        let of = |pick: fn(&[f64]) -> f64| {
            let kind = |kind: fn(&FlutterFigures) -> Option<f64>| {
                let values: Vec<f64> =
                    stretches.iter().filter_map(|stretch| kind(&stretch.figures)).collect();
                (values.len() >= 2).then(|| pick(&values))
            };
            FlutterFigures {
                weighted_quasi_peak_percent: kind(|f| f.weighted_quasi_peak_percent),
                weighted_rms_percent: kind(|f| f.weighted_rms_percent),
                two_sigma_percent: kind(|f| f.two_sigma_percent),
                unweighted_peak_percent: kind(|f| f.unweighted_peak_percent),
                unweighted_rms_percent: kind(|f| f.unweighted_rms_percent),
                wow_rms_percent: kind(|f| f.wow_rms_percent),
                flutter_rms_percent: kind(|f| f.flutter_rms_percent),
            }
        };
        let spread = FlutterSpread {
            stretch_s: median(stretches.iter().map(|stretch| stretch.to_s - stretch.from_s)),
            lowest: of(|values| values.iter().copied().fold(f64::INFINITY, f64::min)),
            median: of(|values| median(values)),
            highest: of(|values| values.iter().copied().fold(0.0, f64::max)),
        };
        (stretches, Some(spread))
    }
}

/// The magnitude exceeded [`EXCEEDED`] of the time: a percentile, not twice the standard deviation.
fn exceeded(values: &[f64]) -> f64 {
    let mut sizes: Vec<f64> = values.iter().map(|x| x.abs()).collect();
    let index = (sizes.len() as f64 * (1.0 - EXCEEDED)) as usize;
    nth(&mut sizes, index).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_sigma_is_a_percentile_and_not_twice_the_standard_deviation() {
        let sine: Vec<f64> = (0..100_000).map(|n| (f64::from(n) * 0.01234).sin()).collect();
        // A sine of amplitude 1 exceeds sin(0.95 pi / 2) 5 % of the time; twice its rms is 3 dB more.
        crate::assert_within!(exceeded(&sine), (0.475 * std::f64::consts::PI).sin(), 1e-3, "");
        let doubled = 2.0 * mean_square(&sine).sqrt();
        crate::assert_within!(20.0 * (doubled / exceeded(&sine)).log10(), 3.04, 0.01, "dB");
        assert_eq!(exceeded(&[]), 0.0);
    }
}
