//! Wow and flutter of a steady tone near 3 kHz.
//!
//! The tone of both channels together is demodulated; the deviation, in percent of the mean frequency, is what the
//! speed does. Slow drift (the best parabola) is not flutter. The noise that the demodulator makes of hiss is
//! known from the deviation beyond the band, and is subtracted from the figures. Bands: no standard fixes them, so they are
//! part of the reading.

use crate::measure::flutter::against_time::chart;
use crate::measure::flutter::deviation::{BAND_HZ, BESIDE_HZ, Course};
use crate::measure::flutter::figures::Views;
use crate::measure::flutter::lines::{lines, spectrum};
use crate::measure::meter::Meter;
use crate::measure::tone::steady::running;
use crate::reading::{FileClock, Flutter};
use crate::signal::baseband::{Band, Baseband};

/// What filters need at either end of the stretch before their output counts, s: as much as a stretch can spare, between
/// these.
const SETTLE_S: (f64, f64) = (0.5, 1.5);

/// Follows a tone in both channels and reads its flutter.
pub struct FlutterMeter {
    programme_hz: f64,
    flat_hz: f64,
    clock: FileClock,
    channels: [Baseband; 2],
}

/// What a [`FlutterMeter`] must know.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlutterPlan {
    /// Frequency of the tone in the programme, Hz.
    pub programme_hz: f64,
    /// Frequency that is expected in the return, Hz.
    pub expected_hz: f64,
    /// Tells the times of the file, started at the first sample fed.
    pub clock: FileClock,
}

impl Meter for FlutterMeter {
    type Plan = FlutterPlan;
    type Output = (Option<Flutter>, [Band; 2]);

    fn new(rate_hz: f64, plan: FlutterPlan) -> Option<Self> {
        let FlutterPlan { programme_hz, expected_hz, clock } = plan;
        let flat_hz = flat_hz(expected_hz);
        let channels = Baseband::pair(rate_hz, expected_hz, flat_hz, 0.4 * flat_hz);
        Some(Self { programme_hz, flat_hz, clock, channels })
    }

    fn feed(&mut self, block: [&[f64]; 2]) {
        let [left, right] = &mut self.channels;
        // The longest part of most programmes: nothing else may be left for the other core.
        rayon::join(|| left.feed(block[0]), || right.feed(block[1]));
    }

    /// The flutter, and the two channels' bands, as far as the tape ran.
    ///
    /// `None` if less than 3 s were fed, there is no tone or a sample was no number.
    fn finish(self) -> (Option<Flutter>, [Band; 2]) {
        let (flat_hz, programme_hz, clock) = (self.flat_hz, self.programme_hz, self.clock);
        let bands = self.bands();
        (read(&bands, flat_hz, programme_hz, clock), bands)
    }
}

impl FlutterMeter {
    /// The two channels' bands alone, as far as the tape ran.
    pub fn bands(self) -> [Band; 2] {
        let [left, right] = self.channels;
        let (left, right) = rayon::join(|| left.finish(), || right.finish());
        running([left, right])
    }
}

/// Half width of the band in which the tone and the noise beside it lie, Hz.
pub(crate) fn flat_hz(expected_hz: f64) -> f64 {
    BESIDE_HZ.1 + 0.02 * expected_hz
}

fn read(bands: &[Band; 2], flat_hz: f64, programme_hz: f64, clock: FileClock) -> Option<Flutter> {
    let course = Course::of(bands, flat_hz)?;
    let rate_hz = course.rate_hz;
    let length_s = course.percent.len() as f64 / rate_hz;
    let settle_s = (length_s / 6.0).clamp(SETTLE_S.0, SETTLE_S.1);
    let (views, (lines, (spectrum, spectrum_widths_hz))) = rayon::join(
        || Views::new(&course, (settle_s * rate_hz) as usize),
        || (lines(&course), spectrum(&course)),
    );
    let clock = clock.starting_at(bands[0].first_s);
    let inside = clock.starting_at(settle_s);
    let figures = views.whole();
    let uncertainties = views.uncertainties(&figures);
    let (stretches, spread) = views.along(inside);
    Some(Flutter {
        carrier_hz: programme_hz,
        measured_from_s: inside.at(0.0),
        measured_to_s: clock.at(length_s - settle_s),
        weighted_quasi_peak_percent: figures.weighted_quasi_peak_percent,
        weighted_rms_percent: figures.weighted_rms_percent,
        two_sigma_percent: figures.two_sigma_percent,
        unweighted_peak_percent: figures.unweighted_peak_percent,
        unweighted_rms_percent: figures.unweighted_rms_percent,
        wow_rms_percent: figures.wow_rms_percent,
        flutter_rms_percent: figures.flutter_rms_percent,
        uncertainty_percent: [
            uncertainties.weighted_rms_percent,
            uncertainties.unweighted_rms_percent,
            uncertainties.wow_rms_percent,
            uncertainties.flutter_rms_percent,
        ]
        .into_iter()
        .flatten()
        .reduce(f64::max),
        uncertainties,
        stretches,
        spread,
        drift_percent_per_min: Some(course.drift_percent_per_min),
        bridged_percent: Some(100.0 * course.bridged),
        channel_shares: Some(course.shares),
        simultaneous_null_hz: None,
        band_hz: BAND_HZ,
        lines,
        spectrum,
        spectrum_widths_hz,
        speed_against_time: chart(&course, (settle_s * rate_hz) as usize, inside),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::Random;
    use std::f64::consts::TAU;

    /// A 3150 Hz tone under sines of speed (Hz, percent peak), in hiss of rms `noise` against amplitude 0.25.
    fn tone(rate_hz: f64, seconds: f64, wobble: &[(f64, f64)], noise: f64) -> [Vec<f64>; 2] {
        let mut random = Random(11);
        let mut out = [Vec::new(), Vec::new()];
        for n in 0..(seconds * rate_hz) as usize {
            let t = n as f64 / rate_hz;
            let moved: f64 = t + wobble
                .iter()
                .enumerate()
                .map(|(k, (hz, percent))| -percent / 100.0 / (TAU * hz) * (TAU * hz * t + k as f64).cos())
                .sum::<f64>();
            let clean = 0.25 * (TAU * 3150.0 * 1.01 * moved).sin();
            out[0].push(clean + noise * random.normal());
            out[1].push(0.8 * clean + noise * random.normal());
        }
        out
    }

    fn flutter(samples: &[Vec<f64>; 2], rate_hz: f64) -> Flutter {
        let mut meter = FlutterMeter::new(
            rate_hz,
            FlutterPlan { programme_hz: 3150.0, expected_hz: 3150.0 * 1.01, clock: FileClock::default() },
        )
        .unwrap();
        for (left, right) in samples[0].chunks(5000).zip(samples[1].chunks(5000)) {
            meter.feed([left, right]);
        }
        meter.finish().0.unwrap()
    }

    /// The target of the design: 3 % of the value or 0.003 % absolute.
    fn target(value: f64) -> f64 {
        (0.03 * value).max(0.003)
    }

    #[test]
    fn a_sine_of_4_hz_reads_its_amplitude_in_every_kind() {
        for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
            // Hiss 50 dB below the tone in 20 kHz.
            let noise = 0.25 / 2f64.sqrt() * 10f64.powf(-2.5) * f64::sqrt(rate_hz / 40_000.0);
            let found = flutter(&tone(rate_hz, 22.0, &[(4.0, 0.1)], noise), rate_hz);
            let check = |got: Option<f64>, want: f64, kind: &str| {
                crate::assert_within!(got.unwrap(), want, target(want), "%", "{kind} at {rate_hz}");
            };
            check(found.weighted_quasi_peak_percent, 0.1, "quasi-peak");
            check(found.weighted_rms_percent, 0.1 / 2f64.sqrt(), "weighted rms");
            // The value that a sine exceeds 5 % of the time: sin(0.95 pi / 2).
            check(found.two_sigma_percent, 0.0997, "2-sigma");
            check(found.unweighted_peak_percent, 0.1, "peak");
            check(found.unweighted_rms_percent, 0.1 / 2f64.sqrt(), "rms");
            check(found.wow_rms_percent, 0.1 / 2f64.sqrt(), "wow");
            check(found.flutter_rms_percent, 0.0, "flutter");
            crate::assert_within!(found.lines[0].hz, 4.0, 0.05, "Hz", "line");
            crate::assert_within!(found.lines[0].percent_peak, 0.1, 0.003, "%", "line");
        }
    }

    #[test]
    fn slow_and_fast_lines_stand_apart_and_are_weighted() {
        let wobble = [(0.8, 0.12), (12.7, 0.05), (98.3, 0.02)];
        let found = flutter(&tone(48_000.0, 40.0, &wobble, 0.0002), 48_000.0);
        let rms = |pick: &[(f64, f64)]| (pick.iter().map(|(_, a)| a * a / 2.0).sum::<f64>()).sqrt();
        let unweighted = rms(&wobble);
        crate::assert_within!(found.unweighted_rms_percent.unwrap(), unweighted, target(unweighted), "%");
        crate::assert_within!(found.wow_rms_percent.unwrap(), rms(&wobble[..1]), target(0.085), "%");
        crate::assert_within!(found.flutter_rms_percent.unwrap(), rms(&wobble[1..]), target(0.038), "%");
        for (hz, percent) in wobble {
            let line = found.lines.iter().find(|line| (line.hz - hz).abs() < 0.05);
            let line = line.unwrap_or_else(|| panic!("no line at {hz} Hz: {:?}", found.lines));
            crate::assert_within!(line.percent_peak, percent, target(percent), "%", "{hz} Hz");
        }
        assert_eq!(found.lines.len(), 3, "{:?}", found.lines);
    }

    #[test]
    fn a_steady_tone_in_hiss_has_no_flutter() {
        let noise = 0.25 / 2f64.sqrt() * 10f64.powf(-2.0);
        let found = flutter(&tone(48_000.0, 20.0, &[], noise), 48_000.0);
        // Hiss 40 dB below the tone: what is left of it must stay under the absolute target.
        for (kind, got) in [
            ("rms", found.unweighted_rms_percent),
            ("weighted", found.weighted_rms_percent),
            ("quasi-peak", found.weighted_quasi_peak_percent),
        ] {
            crate::assert_within!(got.unwrap(), 0.0, 0.003, "%", "{kind}");
        }
        assert!(found.lines.is_empty(), "{:?}", found.lines);
    }

    #[test]
    fn dropouts_and_loudness_do_not_read_as_flutter() {
        let mut samples = tone(48_000.0, 20.0, &[], 0.00005);
        for channel in &mut samples {
            for (n, x) in channel.iter_mut().enumerate() {
                let t = n as f64 / 48_000.0;
                *x *= 1.0 + 0.1 * (TAU * 6.0 * t).sin();
                if n % 30_000 < 700 {
                    *x *= 0.5;
                }
            }
        }
        let found = flutter(&samples, 48_000.0);
        crate::assert_within!(found.unweighted_rms_percent.unwrap(), 0.0, 0.003, "%");
        crate::assert_within!(found.weighted_quasi_peak_percent.unwrap(), 0.0, 0.003, "%");
    }
}
