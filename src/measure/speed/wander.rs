//! Speed wander of one steady tone at a known place of a recording: no programme, no slate.
//!
//! For recordings that are not a return of ours: a borrowed tape, a pilot tone, a tone between two pieces of music.
//! The tone is demodulated as the flutter meter does it, but nothing is subtracted: slow drift belongs to wander, and so
//! does what hiss makes of the phase. The nominal frequency is not asked for, so no speed error comes out.

use crate::capture::{CaptureError, Source, Stretch};
use crate::measure::meter::Meter;
use crate::measure::tone::together::together;
use crate::signal::baseband::Baseband;
use crate::signal::fm::{demodulate, filter_by_response};
use crate::signal::statistics::{mean, rms};
use num_complex::Complex64;

/// How the frequency of a tone wandered.
#[derive(Debug, Clone, PartialEq)]
pub struct SpeedWander {
    /// Mean frequency, Hz.
    pub mean_hz: f64,
    /// Rms deviation from the mean, percent of the mean, from 0 Hz (drift included) to the corner.
    pub rms_percent: f64,
    /// Deviation from the mean in order of time, percent of the mean.
    pub course_percent: Vec<f64>,
    /// Values of the course in a second, Hz.
    pub course_rate_hz: f64,
    /// Place of the first value of the course, s: from the first sample fed; of [`speed_wander`] from the recording's start.
    pub from_s: f64,
    /// Share of the stretch (0 to 1) where the tone was all but gone and the course was bridged by a straight line.
    pub bridged: f64,
}

/// Follows a steady tone in both channels and reads its wander.
pub struct SpeedWanderMeter {
    corner_hz: f64,
    channels: [Baseband; 2],
}

/// What a [`SpeedWanderMeter`] must know.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WanderPlan {
    /// Frequency of the tone, within 2 %, Hz.
    pub expected_hz: f64,
    /// Highest rate of the wander, Hz.
    pub corner_hz: f64,
}

impl SpeedWanderMeter {
    /// What the filter needs before the first and behind the last value of the course, s.
    pub fn margin_s(&self) -> f64 {
        self.channels[0].margin_s()
    }
}

impl Meter for SpeedWanderMeter {
    type Plan = WanderPlan;
    type Output = Option<SpeedWander>;

    /// The course is low-passed without phase by 1 / (1 + (f / `corner_hz`)^8): half its amplitude at the corner, what
    /// a fourth-order Butterworth does when it is run forwards and backwards. `None` if the band that this needs
    /// (about 3.5 times the corner and 80 Hz on either side of the tone) reaches below 0 Hz or beyond half the sample
    /// rate, or if one of the numbers is none.
    fn new(rate_hz: f64, WanderPlan { expected_hz, corner_hz }: WanderPlan) -> Option<Self> {
        // Wide enough for the demodulator's derivative to be right to 0.5 % up to the corner.
        let flat_hz = 2.5 * corner_hz + 60.0 + 0.02 * expected_hz;
        let reach_hz = 1.4 * flat_hz;
        if !(corner_hz > 0.0 && expected_hz > reach_hz && expected_hz + reach_hz < 0.5 * rate_hz) {
            return None;
        }
        Some(Self { corner_hz, channels: Baseband::pair(rate_hz, expected_hz, flat_hz, reach_hz - flat_hz) })
    }

    fn feed(&mut self, block: [&[f64]; 2]) {
        self.channels[0].feed(block[0]);
        self.channels[1].feed(block[1]);
    }

    /// The wander.
    ///
    /// `None` if too little was fed (twice the margin and 16 values), for silence, and where a sample was no number.
    fn finish(self) -> Option<SpeedWander> {
        let bands = self.channels.map(Baseband::finish);
        let (both, first_s) = together(&bands);
        let (course_rate_hz, centre_hz) = (bands[0].rate_hz, bands[0].centre_hz);
        let tone = demodulate(&both, course_rate_hz)?;
        let corner_hz = self.corner_hz;
        let low_pass = |hz: f64| Complex64::new(1.0 / (1.0 + (hz / corner_hz).powi(8)), 0.0);
        let course_hz = filter_by_response(&tone.deviation_hz, course_rate_hz, low_pass);
        let offset_hz = mean(&course_hz);
        let mean_hz = centre_hz + tone.mean_hz + offset_hz;
        let course_percent: Vec<f64> =
            course_hz.iter().map(|hz| 100.0 * (hz - offset_hz) / mean_hz).collect();
        let rms_percent = rms(&course_percent);
        (mean_hz.is_finite() && rms_percent.is_finite()).then_some(SpeedWander {
            mean_hz,
            rms_percent,
            course_percent,
            course_rate_hz,
            from_s: first_s,
            bridged: tone.bridged,
        })
    }
}

/// Wander of the tone near `expected_hz` at `place` in `source`; see [`SpeedWanderMeter::new`] for `corner_hz`.
///
/// A little more than `place` is read at either end, as far as it is there, for the filter to settle; the course covers
/// `place` itself. `Ok(None)` where the meter has no result.
///
/// # Errors
/// If the source cannot be read.
pub fn speed_wander(
    source: &dyn Source,
    place: Stretch,
    expected_hz: f64,
    corner_hz: f64,
) -> Result<Option<SpeedWander>, CaptureError> {
    let rate_hz = source.rate_hz();
    let Some(mut meter) = SpeedWanderMeter::new(rate_hz, WanderPlan { expected_hz, corner_hz }) else {
        return Ok(None);
    };
    // `as` saturates: NaN and what lies before the start are 0.
    let from = ((place.from_s - meter.margin_s()) * rate_hz).floor() as u64;
    let to = ((place.to_s + meter.margin_s()) * rate_hz).ceil() as u64;
    source.read(from, to, &mut |block| meter.feed(block))?;
    let start_s = from as f64 / rate_hz;
    Ok(meter.finish().map(|found| SpeedWander { from_s: start_s + found.from_s, ..found }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::InMemory;
    use std::f64::consts::TAU;

    const RATE_HZ: f64 = 44_100.0;

    /// Six seconds of 2700 Hz that rises by 10 Hz a second about 3 s, with a wobble of `wobble_hz`, 5 Hz peak, even
    /// about 3.5 s, so that the rise and the wobble add up in power there.
    fn recording(wobble_hz: f64) -> InMemory {
        let left: Vec<f64> = (0..(6.0 * RATE_HZ) as usize)
            .map(|n| {
                let t = n as f64 / RATE_HZ;
                let wobble = 5.0 / (TAU * wobble_hz) * (TAU * wobble_hz * (t - 3.5)).sin();
                let cycles = 2700.0 * t + 5.0 * (t - 3.0).powi(2) + wobble;
                0.2 * (TAU * cycles).sin()
            })
            .collect();
        InMemory { rate_hz: RATE_HZ, channels: [left.clone(), left] }
    }

    #[test]
    fn drift_and_wobble_are_read_at_their_place() {
        // A corner of 250 Hz passes a sine of 25 Hz whole and halves one at 250 Hz.
        for (wobble_hz, gain) in [(2.0, 1.0), (25.0, 1.0), (250.0, 0.5)] {
            let place = Stretch { from_s: 2.5, to_s: 4.5 };
            let found = speed_wander(&recording(wobble_hz), place, 2690.0, 250.0).unwrap().unwrap();
            // The mean of the stretch lies at its middle, half a second after 3 s.
            crate::assert_within!(found.mean_hz, 2705.0, 0.02, "Hz", "{wobble_hz} Hz");
            // A slope of 10 Hz a second over 2 s has a variance of 20^2 / 12.
            let want_hz = (400.0f64 / 12.0 + 12.5 * gain * gain).sqrt();
            // 0.5 % from the derivative at the corner, and the mirrored ends.
            let rms_hz = found.rms_percent / 100.0 * found.mean_hz;
            crate::assert_within!(rms_hz, want_hz, 0.005 * want_hz, "Hz", "{wobble_hz} Hz");
            let length_s = found.course_percent.len() as f64 / found.course_rate_hz;
            crate::assert_within!(found.from_s, 2.5, 1.0 / found.course_rate_hz, "s", "{wobble_hz} Hz");
            crate::assert_within!(length_s, 2.0, 3.0 / found.course_rate_hz, "s", "{wobble_hz} Hz");
        }
    }

    #[test]
    fn what_cannot_be_read_gives_nothing() {
        let silent = InMemory { rate_hz: RATE_HZ, channels: [vec![0.0; 44_100], vec![0.0; 44_100]] };
        let whole = Stretch { from_s: 0.0, to_s: 1.0 };
        assert_eq!(speed_wander(&silent, whole, 2700.0, 250.0).unwrap(), None);
        let mut broken = recording(2.0);
        broken.channels[0][44_100] = f64::NAN;
        assert_eq!(speed_wander(&broken, whole, 2700.0, 250.0).unwrap(), None);
        let short = Stretch { from_s: 2.0, to_s: 2.001 };
        assert_eq!(speed_wander(&recording(2.0), short, 2700.0, 250.0).unwrap(), None);
        for (expected_hz, corner_hz) in [(500.0, 250.0), (21_800.0, 250.0), (2700.0, 0.0), (f64::NAN, 250.0)]
        {
            assert!(
                SpeedWanderMeter::new(RATE_HZ, WanderPlan { expected_hz, corner_hz }).is_none(),
                "{expected_hz}"
            );
        }
    }
}
