//! Leakage of a tone on one channel into the other, measured in a narrow band that follows the driven channel.

use crate::measure::meter::Meter;
use crate::measure::tone::follow::{Amplitude, Course, follow_loosely};
use crate::reading::Separation;
use crate::signal::baseband::Baseband;
use crate::trade::sound_card::top_hz;

/// The leakage may wander in phase by as much as the azimuth wanders: half width of its band, Hz.
const HALF_HZ: f64 = 2.0;
/// Uncertainty from the two channels' filters and a moving level, share of the value.
const OWN_UNCERTAINTY: f64 = 0.01;
/// Leakage below this is rounding, dB.
const LEAST_DB: f64 = -140.0;

/// Follows a tone on the driven channel and its leakage on the other.
pub struct SeparationMeter {
    driven: usize,
    channels: [Baseband; 2],
}

/// Leakage of one tone.
#[derive(Debug, Clone)]
pub struct Leakage {
    /// Channel that was driven: 0 left, 1 right.
    pub driven: usize,
    /// Leakage against the driven channel, its uncertainty (k = 2), and what lies below the noise, dB.
    figure: (Option<f64>, Option<f64>, f64),
}

/// What a [`SeparationMeter`] must know.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeakagePlan {
    /// Frequency that is expected in the return, within 1 %, Hz.
    pub expected_hz: f64,
    /// Channel that is driven: 0 left, 1 right.
    pub driven: usize,
}

impl Meter for SeparationMeter {
    type Plan = LeakagePlan;
    type Output = Option<Leakage>;

    /// `None` if the tone lies too low, or too close to half the sample rate.
    fn new(rate_hz: f64, LeakagePlan { expected_hz, driven }: LeakagePlan) -> Option<Self> {
        let flat_hz = (0.4 * expected_hz).min(80.0 + 0.015 * expected_hz);
        let transition_hz = (0.4 * expected_hz).min(80.0);
        if !(expected_hz >= 20.0
            && expected_hz * 1.01 + flat_hz + transition_hz < 0.49 * rate_hz
            && expected_hz <= top_hz(rate_hz))
        {
            return None;
        }
        let band = || Baseband::new(rate_hz, expected_hz, flat_hz, transition_hz);
        Some(Self { driven: driven.min(1), channels: [band(), band()] })
    }

    fn feed(&mut self, block: [&[f64]; 2]) {
        self.channels[0].feed(block[0]);
        self.channels[1].feed(block[1]);
    }

    /// The leakage; `None` if the driven channel has no tone, or too little of it.
    fn finish(self) -> Option<Leakage> {
        let driven = self.driven;
        let [left, right] = self.channels.map(Baseband::finish);
        let (band, other) = if driven == 0 { (left, right) } else { (right, left) };
        let course = Course::new(&band)?;
        let leaked = follow_loosely(&other, &[(1, &course)], HALF_HZ)?;
        let figure = figure(&leaked, course.amplitude);
        Some(Leakage { driven, figure })
    }
}

fn figure(leaked: &Amplitude, amplitude: f64) -> (Option<f64>, Option<f64>, f64) {
    let db = |share: f64| 20.0 * share.max(1e-12).log10();
    let limit_db = db(leaked.limit() / amplitude).max(LEAST_DB);
    match leaked.detected().filter(|leak| db(leak / amplitude) > LEAST_DB) {
        Some(leak) => {
            let uncertainty = (leaked.uncertainty() / leak).hypot(OWN_UNCERTAINTY);
            (Some(db(leak / amplitude)), Some(20.0 * (1.0 + uncertainty).log10()), limit_db)
        }
        None => (None, None, limit_db),
    }
}

/// Leakage of one part and what the programme says of it.
pub struct PlayedLeakage<'a> {
    /// Frequency in the programme, Hz.
    pub hz: f64,
    /// Level in the programme, dB re its reference level.
    pub programme_db: f64,
    /// What was measured.
    pub leakage: &'a Leakage,
}

/// One row for each frequency and level, each way; empty if nothing was measured.
pub fn separation(played: &[PlayedLeakage<'_>]) -> Vec<Separation> {
    let mut rows: Vec<Separation> = Vec::new();
    for leak in played {
        let at = rows.iter().position(|row| row.hz == leak.hz && row.programme_db == leak.programme_db);
        let at = at.unwrap_or_else(|| {
            rows.push(Separation {
                hz: leak.hz,
                programme_db: leak.programme_db,
                left_into_right_db: None,
                right_into_left_db: None,
                left_into_right_uncertainty_db: None,
                right_into_left_uncertainty_db: None,
                noise_limit_db: [None; 2],
            });
            rows.len() - 1
        });
        let row = &mut rows[at];
        let (db, uncertainty_db, limit_db) = leak.leakage.figure;
        row.noise_limit_db[leak.leakage.driven] = Some(limit_db);
        if leak.leakage.driven == 0 {
            (row.left_into_right_db, row.left_into_right_uncertainty_db) = (db, uncertainty_db);
        } else {
            (row.right_into_left_db, row.right_into_left_uncertainty_db) = (db, uncertainty_db);
        }
    }
    rows.sort_by(|a, b| a.hz.total_cmp(&b.hz).then(a.programme_db.total_cmp(&b.programme_db)));
    rows
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::{Random, uneven_s};
    use std::f64::consts::TAU;

    /// A tone under wow on the left, `leak` of it on the right with a phase that wanders, both in noise.
    fn leakage(hz: f64, leak: f64, hiss: f64) -> Option<Leakage> {
        let rate_hz = 48_000.0;
        let mut random = Random(5);
        let mut meter = SeparationMeter::new(rate_hz, LeakagePlan { expected_hz: hz, driven: 0 }).unwrap();
        for block in 0..30 {
            let mut samples = [Vec::new(), Vec::new()];
            for n in 0..4800 {
                let t = f64::from(block * 4800 + n) / rate_hz;
                let angle = TAU * hz * uneven_s(t, &[(1.0, 0.2, 0.0)]);
                let wander = 0.3 * (TAU * 0.7 * t).sin();
                samples[0].push(0.2 * angle.sin() + hiss * random.even());
                samples[1].push(0.2 * leak * (angle + 1.0 + wander).sin() + hiss * random.even());
            }
            meter.feed([&samples[0], &samples[1]]);
        }
        meter.finish()
    }

    #[test]
    fn leakage_is_read_under_wow_and_wander_down_to_the_noise() {
        for (hz, db) in [(315.0, -30.0), (1000.0, -45.0), (10_000.0, -60.0)] {
            let (got, uncertainty, limit) = leakage(hz, 10f64.powf(db / 20.0), 0.0003).unwrap().figure;
            crate::assert_within!(got.unwrap(), db, 0.3, "dB", "{hz} Hz");
            crate::assert_within!(got.unwrap(), db, 1.5 * uncertainty.unwrap(), "dB", "{hz} Hz, stated");
            assert!(limit < -70.0, "{limit}");
        }
    }

    #[test]
    fn what_is_not_there_has_a_limit_and_no_value() {
        let (got, _, limit) = leakage(1000.0, 0.0, 0.0003).unwrap().figure;
        assert_eq!(got, None);
        assert!((-90.0..-70.0).contains(&limit), "{limit}");
        let (got, _, limit) = leakage(1000.0, 0.0, 0.0).unwrap().figure;
        assert_eq!((got, limit), (None, LEAST_DB));
        assert!(
            SeparationMeter::new(48_000.0, LeakagePlan { expected_hz: 1000.0, driven: 1 })
                .unwrap()
                .finish()
                .is_none()
        );
    }
}
