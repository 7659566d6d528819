//! The technician's numbers of a transport: diameters, lengths and ratios.

use crate::trade::Medium;
use crate::trade::cassette_parts::{CAPSTAN, IDLER, MOTOR, PINCH_ROLLER};
use serde::Deserialize;
use std::f64::consts::PI;

/// What the idler runs on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RunsOn {
    /// The flywheel, or a pulley on its shaft.
    Flywheel,
    /// The motor's pulley.
    Motor,
}

/// A part whose rate the technician knows.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OtherPart {
    /// What it is called.
    pub name: String,
    /// Turns per second in play, Hz.
    pub hz: f64,
}

/// Numbers of one transport; every one may be missing. Diameters in mm.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct TransportNumbers {
    /// Diameter of the capstan.
    pub capstan_mm: Option<f64>,
    /// Diameter of the flywheel where the belt runs.
    pub flywheel_mm: Option<f64>,
    /// Diameter of the pinch roller.
    pub pinch_roller_mm: Option<f64>,
    /// Diameter of the motor's pulley where the belt runs.
    pub motor_pulley_mm: Option<f64>,
    /// Turns of the motor per minute, instead of its pulley.
    pub motor_rpm: Option<f64>,
    /// Length of the capstan belt.
    pub belt_mm: Option<f64>,
    /// Diameter of the idler.
    pub idler_mm: Option<f64>,
    /// What turns the idler.
    pub idler_runs_on: Option<RunsOn>,
    /// Diameter of what turns the idler, where the idler touches it.
    pub idler_runs_on_mm: Option<f64>,
    /// Diameter of the bare hub of the cassette.
    pub hub_mm: Option<f64>,
    /// Thickness of the tape, um.
    pub tape_um: Option<f64>,
    /// Further parts by their rate.
    #[serde(rename = "part")]
    pub others: Vec<OtherPart>,
}

impl TransportNumbers {
    /// Rate of the capstan at a tape speed of `speed_mm_s`, Hz.
    fn capstan_hz(&self, speed_mm_s: f64) -> Option<f64> {
        Some(speed_mm_s / (PI * self.capstan_mm?))
    }

    /// Rate of the motor, Hz.
    fn motor_hz(&self, speed_mm_s: f64) -> Option<f64> {
        let by_pulley = || Some(self.capstan_hz(speed_mm_s)? * self.flywheel_mm? / self.motor_pulley_mm?);
        self.motor_rpm.map(|rpm| rpm / 60.0).or_else(by_pulley)
    }

    /// Parts whose rate follows from the numbers, with the rate in Hz at the tape speed of `medium`.
    pub fn rates(&self, medium: &Medium) -> Vec<(String, f64)> {
        let speed_mm_s = medium.speed_mm_s;
        let capstan_hz = self.capstan_hz(speed_mm_s);
        let motor_hz = self.motor_hz(speed_mm_s);
        let belt_mm_s = capstan_hz
            .zip(self.flywheel_mm)
            .or(motor_hz.zip(self.motor_pulley_mm))
            .map(|(hz, diameter_mm)| PI * hz * diameter_mm);
        let idler_hz = || {
            let turned_hz = match self.idler_runs_on? {
                RunsOn::Flywheel => capstan_hz,
                RunsOn::Motor => motor_hz,
            };
            Some(turned_hz? * self.idler_runs_on_mm? / self.idler_mm?)
        };
        let known = [
            (CAPSTAN.name, capstan_hz),
            (PINCH_ROLLER.name, self.pinch_roller_mm.map(|diameter_mm| medium.rotation_hz(diameter_mm))),
            (IDLER.name, idler_hz()),
            (MOTOR.name, motor_hz),
            ("belt", belt_mm_s.zip(self.belt_mm).map(|(speed, length)| speed / length)),
        ];
        let known = known.into_iter().filter_map(|(name, hz)| Some((name.to_owned(), hz?)));
        known.chain(self.others.iter().map(|other| (other.name.clone(), other.hz))).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_follow_from_diameters_and_lengths() {
        let text = "capstan_mm = 2.5\nflywheel_mm = 60\nmotor_pulley_mm = 10\nbelt_mm = 250\npinch_roller_mm = 11\n\
                    idler_mm = 20\nidler_runs_on = \"flywheel\"\nidler_runs_on_mm = 6\n[[part]]\nname = \"fan\"\nhz = 33\n";
        let numbers = TransportNumbers::from_toml(text, "x").unwrap();
        let rates = numbers.rates(&Medium::COMPACT_CASSETTE);
        // By hand: 47.625/(2.5 pi) = 6.0638 Hz; roller 47.625/(11 pi) = 1.3781; idler 6.0638 x 6/20 = 1.8191; motor
        // 6 times the capstan = 36.383; belt pi x 60 x 6.0638/250 = 4.572.
        for ((name, got), (wanted, want)) in rates.iter().zip([
            ("capstan with flywheel", 6.0638),
            ("pinch roller", 1.3781),
            ("idler", 1.8191),
            ("motor with pulley", 36.383),
            ("belt", 4.572),
            ("fan", 33.0),
        ]) {
            assert_eq!(name, wanted);
            assert_within!(*got, want, 6e-4, "Hz", "{name}");
        }
    }
}
