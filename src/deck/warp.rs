//! The transport: which place of the tape passes the head at which time, in closed form.

use super::random_curve::{Of, RandomCurve};
use super::turned::Turned;
use super::{DeckFile, Purpose, generator, monitor};
use std::f64::consts::TAU;

/// Drift stops when it has changed the speed by this much, so that the tape never stands still.
const MOST_DRIFT: f64 = 0.2;

/// Speed and place of the tape against true time since the start of the return.
#[derive(Debug, Clone)]
pub(crate) struct Transport {
    steady: f64,
    drift_per_s: f64,
    lines: Vec<Line>,
    random: Option<RandomCurve>,
    /// The motor's trimmer: speed re as built against the capture's clock.
    trimmer: Turned,
    /// True seconds per second of the capture's clock.
    clock: f64,
    /// By how much the tape is heard later than it is recorded, s.
    behind_s: f64,
}

#[derive(Debug, Clone, Copy)]
struct Line {
    omega: f64,
    /// Change of `omega` a second, until it has changed by half.
    change: f64,
    peak: f64,
    phase: f64,
}

impl Line {
    /// Angle, its rate, and how fast that changes at `t`.
    fn turn(&self, t: f64) -> [f64; 3] {
        let stops = if self.change == 0.0 { f64::INFINITY } else { 0.5 * self.omega / self.change.abs() };
        let moving = t.clamp(0.0, stops);
        let omega = self.omega + self.change * moving;
        let angle = self.omega * t + self.change * moving * (t - 0.5 * moving) + self.phase;
        [angle, omega, if t > 0.0 && t < stops { self.change } else { 0.0 }]
    }

    /// What the line adds to the place, and to the speed: its derivative.
    fn at(&self, t: f64) -> (f64, f64) {
        let [angle, omega, change] = self.turn(t);
        let place = self.peak * (self.phase.cos() / self.omega - angle.cos() / omega);
        (place, self.peak * (angle.sin() + angle.cos() * change / (omega * omega)))
    }
}

impl Transport {
    /// The transport of `file`; `seed` fixes its random flutter.
    pub(crate) fn new(file: &DeckFile, seed: u64) -> Self {
        let speed = &file.speed;
        let lines = speed.flutter.iter().map(|line| Line {
            omega: TAU * line.hz,
            change: TAU * line.drift_hz_per_min / 60.0,
            peak: line.percent_peak / 100.0,
            phase: line.phase_deg.to_radians(),
        });
        let random = speed.random.map(|r| {
            let mut rng = generator(seed, Purpose::Flutter, 0);
            RandomCurve::new(&mut rng, Of::Slope, r.percent_rms / 100.0, r.low_hz, r.high_hz, r.shape)
        });
        Self {
            steady: 1.0 + speed.error_percent / 100.0,
            drift_per_s: speed.drift_percent_per_min / 6000.0,
            lines: lines.collect(),
            random,
            trimmer: Turned::new(file, |turn| turn.speed_percent.map(|percent| percent / 100.0)),
            clock: 1.0 / (1.0 + file.capture.clock_ppm * 1e-6),
            behind_s: monitor::behind_s(file),
        }
    }

    /// Constant part of the speed against the capture's clock, as built; 1 is right.
    #[cfg(feature = "internals")]
    pub(crate) fn steady_ratio(&self) -> f64 {
        self.steady * self.clock
    }

    /// Speed at `t_s` of the capture's clock, drift and trimmer included, flutter left out; 1 is right.
    #[cfg(feature = "internals")]
    pub(crate) fn turned_ratio(&self, t_s: f64) -> f64 {
        (self.steady + self.drifted(t_s * self.clock - self.behind_s).1 + self.trimmer.at(t_s)) * self.clock
    }

    /// Place on the tape, in seconds at nominal speed, that passes the head at `t_s` of the capture's clock; 0 at 0, or
    /// later by what lies between the heads.
    pub(crate) fn place_s(&self, t_s: f64) -> f64 {
        let t = t_s * self.clock - self.behind_s;
        let lines: f64 = self.lines.iter().map(|line| line.at(t).0).sum();
        let random = self.random.as_ref().map_or(0.0, |curve| curve.at(t).0 - curve.at(0.0).0);
        let turned = self.trimmer.sum(t_s) * self.clock;
        self.steady * t + self.drifted(t).0 + lines + random + turned
    }

    /// Derivative of [`Self::place_s`]: 1 is right, more is fast.
    #[cfg(feature = "internals")]
    pub(crate) fn ratio(&self, t_s: f64) -> f64 {
        let t = t_s * self.clock - self.behind_s;
        let lines: f64 = self.lines.iter().map(|line| line.at(t).1).sum();
        let random = self.random.as_ref().map_or(0.0, |curve| curve.at(t).1);
        (self.steady + self.drifted(t).1 + lines + random + self.trimmer.at(t_s)) * self.clock
    }

    /// Place and speed that the drift adds.
    fn drifted(&self, t: f64) -> (f64, f64) {
        if self.drift_per_s == 0.0 || t <= 0.0 {
            return (0.0, 0.0);
        }
        let stops = MOST_DRIFT / self.drift_per_s.abs();
        let moving = t.min(stops);
        let speed = self.drift_per_s * moving;
        (speed * moving / 2.0 + speed * (t - moving), speed)
    }

    /// Capture time at which `place_s` passes the head, s.
    #[cfg(feature = "internals")]
    pub(crate) fn time_s(&self, place_s: f64) -> f64 {
        let mut t = place_s / self.steady_ratio();
        // Newton: the speed changes by little, so each step gains several digits.
        for _ in 0..50 {
            let step = (self.place_s(t) - place_s) / self.ratio(t);
            t -= step;
            if step.abs() < 1e-12 {
                break;
            }
        }
        t
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deck::technician::Turn;
    use crate::deck::{FlutterLine, RandomFlutter, Shape};

    fn shaky() -> DeckFile {
        let mut file = DeckFile::default();
        file.speed.error_percent = 2.5;
        file.speed.drift_percent_per_min = -3.0;
        file.speed.flutter = vec![
            FlutterLine { hz: 0.6, percent_peak: 1.0, phase_deg: 40.0, drift_hz_per_min: 0.02 },
            FlutterLine { hz: 30.0, percent_peak: 0.2, phase_deg: 0.0, drift_hz_per_min: 0.0 },
        ];
        file.speed.random =
            Some(RandomFlutter { percent_rms: 0.1, low_hz: 0.2, high_hz: 200.0, shape: Shape::OneOverF });
        file.capture.clock_ppm = 120.0;
        let turn =
            |at_s, over_s, percent| Turn { at_s, over_s, speed_percent: Some(percent), ..Turn::default() };
        file.technician.turns = vec![turn(5.0, 9.0, -4.0), turn(31.4, 0.9, 2.0)];
        file
    }

    #[test]
    fn place_is_the_integral_of_speed() {
        let transport = Transport::new(&shaky(), 3);
        // Simpson's rule over 2 s in steps of 0.1 ms.
        let (from, step, count) = (31.0, 1e-4, 20_000);
        let sum: f64 = (0..=count)
            .map(|k| {
                let weight = if k == 0 || k == count {
                    1.0
                } else if k % 2 == 1 {
                    4.0
                } else {
                    2.0
                };
                weight * transport.ratio(from + step * f64::from(k))
            })
            .sum();
        let want = transport.place_s(from + 2.0) - transport.place_s(from);
        assert_within!(sum * step / 3.0, want, 1e-9, "s");
        assert_within!(transport.place_s(0.0), 0.0, 1e-15, "s");
    }

    #[test]
    fn time_and_place_are_inverse() {
        let transport = Transport::new(&shaky(), 3);
        for t in [0.0, 0.3, 17.0, 480.0, 3000.0] {
            assert_within!(transport.time_s(transport.place_s(t)), t, 1e-9, "s");
        }
    }

    #[test]
    fn drift_never_stops_the_tape() {
        let mut file = DeckFile::default();
        file.speed.drift_percent_per_min = -5.0;
        let transport = Transport::new(&file, 0);
        assert_within!(transport.ratio(60.0), 0.95, 1e-12, "");
        assert_within!(transport.ratio(1e5), 0.8, 1e-12, "");
    }
}
