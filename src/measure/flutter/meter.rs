//! Follows a steady tone in both channels, for its wow and flutter.
//!
//! The tone is brought down to 0 Hz while it is fed; what it says is read by `stretches.rs`.

use crate::measure::flutter::deviation::flat_hz;
use crate::measure::flutter::stretches::{ToneBands, flutter_of};
use crate::measure::meter::Meter;
use crate::measure::tone::steady::running;
use crate::reading::{FileClock, Flutter};
use crate::signal::baseband::{Band, Baseband};

/// Follows a tone in both channels and reads its flutter.
pub struct FlutterMeter {
    plan: FlutterPlan,
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
        let flat_hz = flat_hz(plan.expected_hz);
        let channels = Baseband::pair(rate_hz, plan.expected_hz, flat_hz, 0.4 * flat_hz);
        Some(Self { plan, channels })
    }

    fn feed(&mut self, block: [&[f64]; 2]) {
        let [left, right] = &mut self.channels;
        // The longest part of most programmes: nothing else may be left for the other core.
        rayon::join(|| left.feed(block[0]), || right.feed(block[1]));
    }

    /// The flutter, and the two channels' bands, as far as the tape ran.
    ///
    /// No flutter if less than 1.5 s were fed, there is no tone or a sample was no number.
    fn finish(self) -> (Option<Flutter>, [Band; 2]) {
        let FlutterPlan { programme_hz, expected_hz, clock } = self.plan;
        let bands = self.bands();
        let whole = [ToneBands { bands: &bands, clock }];
        (flutter_of(&whole, programme_hz, expected_hz), bands)
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
