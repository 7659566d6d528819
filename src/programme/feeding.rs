//! What stands between the player and the place where an injection is fed in: divider or series resistor, worked out from
//! what the technician enters.

use super::Feed;
use crate::trade::preferred_values::{E6, E24, at_least, nearest};
use std::f64::consts::TAU;

/// Least load of a line output, ohm. Common practice, no source.
const LEAST_LOAD_OHM: f64 = 600.0;
/// Lower resistor of a divider unless something asks for more, ohm: so low that no head amplifier's input matters, and that
/// it makes no hum and hiss of its own. Common practice, no source.
const LOWER_OHM: f64 = 10.0;
/// Where the capacitor may begin to matter, Hz: a first-order high-pass there takes 0.011 dB at 20 Hz.
const CORNER_HZ: f64 = 1.0;

/// What the technician knows of player and deck. Voltages and currents are rms, of a tone at 0 dB of the programme.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Feeding {
    /// Voltage of the player's output, V.
    pub source_volts: Option<f64>,
    /// Voltage at the input of the playback amplifier that makes its reference level at 400 Hz, mV (service manual).
    pub input_millivolts: Option<f64>,
    /// Resistance of the amplifier's input, ohm; without it 47000 (common practice, no source).
    pub load_ohm: Option<f64>,
    /// Current through the wire of a flux loop, mA.
    pub loop_milliamps: Option<f64>,
}

/// Resistors for one way in, of the series E24 (IEC 60063), and what comes of them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Resistors {
    /// From each output of the player, ohm.
    pub upper_ohm: f64,
    /// Across the amplifier's input, ohm; `None` in a flux loop.
    pub lower_ohm: Option<f64>,
    /// What really comes of them: mV at the input, or mA in the loop.
    pub real: f64,
    /// That against what was asked for, dB.
    pub off_db: f64,
    /// Least capacitor in series, uF (series E6).
    pub capacitor_uf: f64,
    /// True if a line output is loaded with less than it should be.
    pub heavy: bool,
}

impl Feeding {
    /// Usual resistance of the input of a head amplifier, ohm. Common practice, no source.
    pub const USUAL_LOAD_OHM: f64 = 47_000.0;

    /// The resistors for `feed`; `None` if too little was entered, or the player is too weak for it.
    pub fn resistors(&self, feed: Feed) -> Option<Resistors> {
        match feed {
            Feed::Amplifier => self.divider(),
            Feed::Loop => self.series(),
        }
    }

    /// Two resistors, the load across the lower one.
    fn divider(&self) -> Option<Resistors> {
        let ratio = self.source_volts? * 1e3 / self.input_millivolts?;
        if ratio <= 1.0 {
            return None;
        }
        let load_ohm = self.load_ohm.unwrap_or(Self::USUAL_LOAD_OHM);
        // Both together must not load the player; the lower one alone must not feel the amplifier.
        let lower_ohm = nearest(&E24, LOWER_OHM.max(LEAST_LOAD_OHM / ratio).min(load_ohm / 10.0))?;
        let shunted_ohm = lower_ohm * load_ohm / (lower_ohm + load_ohm);
        let upper_ohm = nearest(&E24, shunted_ohm * (ratio - 1.0))?;
        let real_ratio = (upper_ohm + shunted_ohm) / shunted_ohm;
        Some(Resistors {
            upper_ohm,
            lower_ohm: Some(lower_ohm),
            real: self.source_volts? * 1e3 / real_ratio,
            off_db: 20.0 * (ratio / real_ratio).log10(),
            capacitor_uf: capacitor_uf(upper_ohm)?,
            heavy: upper_ohm + lower_ohm < 0.9 * LEAST_LOAD_OHM,
        })
    }

    /// One resistor from each output into the one wire: both currents add.
    fn series(&self) -> Option<Resistors> {
        let (volts, milliamps) = (self.source_volts?, self.loop_milliamps?);
        let upper_ohm = nearest(&E24, 2.0 * volts / milliamps * 1e3)?;
        let real = 2.0 * volts / upper_ohm * 1e3;
        Some(Resistors {
            upper_ohm,
            lower_ohm: None,
            real,
            off_db: 20.0 * (real / milliamps).log10(),
            capacitor_uf: capacitor_uf(upper_ohm)?,
            heavy: upper_ohm < 0.9 * LEAST_LOAD_OHM,
        })
    }
}

/// Capacitor in series with `ohm` that leaves the bass alone, uF.
fn capacitor_uf(ohm: f64) -> Option<f64> {
    at_least(&E6, 1e6 / (TAU * CORNER_HZ * ohm))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_divider_by_hand() {
        // 1 V to 0.3 mV: 1/3333.3; 10 ohm beside 47 kohm are 9.99787 ohm; times 3332.3 are 33316 ohm: E24 33 kohm.
        let feeding = Feeding { source_volts: Some(1.0), input_millivolts: Some(0.3), ..Feeding::default() };
        let got = feeding.resistors(Feed::Amplifier).unwrap();
        assert_within!(got.upper_ohm, 33e3, 1e-6, "ohm");
        assert_within!(got.lower_ohm.unwrap(), 10.0, 1e-9, "ohm");
        // 1000 mV x 9.99787 / 33009.99787 = 0.302874 mV, 20 lg(0.302874 / 0.3) = 0.0828 dB.
        assert_within!(got.real, 0.302874, 1e-6, "mV");
        assert_within!(got.off_db, 0.0828, 1e-4, "dB");
        // 1 / (2 pi 1 Hz 33 kohm) = 4.823 uF: E6 6.8 uF.
        assert_within!(got.capacitor_uf, 6.8, 1e-9, "uF");
        assert!(!got.heavy);
    }

    #[test]
    fn a_loop_by_hand_and_what_is_too_much() {
        // Two outputs of 1 V for 1 mA together: 2 kohm each; 1 / (2 pi 2000) = 79.6 uF: E6 100 uF.
        let mut feeding =
            Feeding { source_volts: Some(1.0), loop_milliamps: Some(1.0), ..Feeding::default() };
        let got = feeding.resistors(Feed::Loop).unwrap();
        assert_within!(got.upper_ohm, 2e3, 1e-6, "ohm");
        assert_within!(got.real, 1.0, 1e-9, "mA");
        assert_within!(got.capacitor_uf, 100.0, 1e-9, "uF");
        assert_eq!((got.lower_ohm, got.heavy), (None, false));
        feeding.loop_milliamps = Some(10.0);
        assert!(feeding.resistors(Feed::Loop).unwrap().heavy);
        assert_eq!(feeding.resistors(Feed::Amplifier), None);
        // More than the player gives.
        let weak = Feeding { source_volts: Some(0.1), input_millivolts: Some(200.0), ..Feeding::default() };
        assert_eq!(weak.resistors(Feed::Amplifier), None);
    }

    #[test]
    fn the_player_is_never_loaded_by_a_divider_alone() {
        for millivolts in [0.05, 0.3, 3.0, 30.0, 300.0] {
            let feeding =
                Feeding { source_volts: Some(1.0), input_millivolts: Some(millivolts), ..Feeding::default() };
            let got = feeding.resistors(Feed::Amplifier).unwrap();
            assert!(!got.heavy && got.off_db.abs() < 0.45, "{millivolts}: {got:?}");
        }
    }
}
