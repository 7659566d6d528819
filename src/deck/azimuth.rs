//! Azimuth: how far the right track is read behind the left one, with wander.

use super::random_curve::{Of, RandomCurve};
use super::turned::Turned;
use super::{DeckFile, Purpose, Shape, TAPE_SPEED_MM_S, TRACK_DISTANCE_MM, generator};
use std::f64::consts::TAU;

/// Tangent of an angle in arc minutes.
pub(crate) fn tan_of_arcmin(arcmin: f64) -> f64 {
    (arcmin / 60.0).to_radians().tan()
}

/// Displacement along the tape for an angle, as seconds of tape at nominal speed: s tan(a) / v.
pub(crate) fn displacement_s(arcmin: f64) -> f64 {
    TRACK_DISTANCE_MM * tan_of_arcmin(arcmin) / TAPE_SPEED_MM_S
}

/// The skew of the playback head against the recording.
#[derive(Debug, Clone)]
pub(crate) struct Skew {
    /// Mean displacement as built, seconds of tape at nominal speed; positive: the right channel lags.
    pub(super) mean_s: f64,
    /// Angle as built, arc minutes, and the screw.
    angle_arcmin: f64,
    screw: Turned,
    line: Option<(f64, f64)>,
    random: Option<RandomCurve>,
}

impl Skew {
    /// The skew of `file`; `seed` fixes its random wander.
    pub(crate) fn new(file: &DeckFile, seed: u64) -> Self {
        let azimuth = &file.azimuth;
        // Angles are small: wander in seconds is taken as proportional to wander in arc minutes.
        let random = azimuth.random_wander.map(|random| {
            let mut rng = generator(seed, Purpose::Wander, 0);
            let rms_s = displacement_s(random.arcmin_rms);
            RandomCurve::new(&mut rng, Of::Value, rms_s, random.low_hz, random.high_hz, Shape::OneOverF)
        });
        Self {
            mean_s: displacement_s(azimuth.angle_arcmin),
            angle_arcmin: azimuth.angle_arcmin,
            screw: Turned::new(file, |turn| turn.azimuth_arcmin),
            line: azimuth.wander.map(|wander| (TAU * wander.hz, displacement_s(wander.arcmin_peak))),
            random,
        }
    }

    /// Displacement at `t_s` of the capture's clock without wander: as the screw stands.
    pub(crate) fn turned_s(&self, t_s: f64) -> f64 {
        if self.screw.idle() {
            return self.mean_s;
        }
        displacement_s(self.angle_arcmin + self.screw.at(t_s))
    }

    /// Displacement at `t_s` of the capture's clock.
    pub(crate) fn at_s(&self, t_s: f64) -> f64 {
        let line = self.line.map_or(0.0, |(omega, peak_s)| peak_s * (omega * t_s).sin());
        let random = self.random.as_ref().map_or(0.0, |curve| curve.at(t_s).0);
        self.turned_s(t_s) + line + random
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn six_arcmin_are_33_us() {
        // By hand: 0.9 mm * tan(0.1 degree) / 47.625 mm/s = 0.9 * 0.00174533 / 47.625 s.
        assert_within!(displacement_s(6.0) * 1e6, 32.983, 1e-3, "us");
    }
}
