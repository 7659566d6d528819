//! What is true at one moment of the programme: with the technician's hands on trimmers and switches.

use super::bias;
use super::compander::Law;
use super::tape::{Curve, lift_response};
use super::technician::{Hands, Setting};
use super::{Truth, ratio_of_db};

/// A tone on its way through the recording.
struct Recorded {
    /// Amplitude on the tape before the curve.
    before: f64,
    /// Its fundamental behind the curve.
    fundamental: f64,
    /// Its third harmonic behind the curve.
    third: f64,
}

impl Truth {
    /// How `channel` is set at `programme_s`.
    pub fn setting(&self, channel: usize, programme_s: f64) -> Setting {
        Hands::new(&self.file).setting(channel, programme_s)
    }

    fn recorded(&self, channel: usize, hz: f64, level_dbfs: f64, setting: Setting) -> Recorded {
        let rate_hz = self.rates_hz[0];
        let mut amplitude = ratio_of_db(level_dbfs);
        if setting.reducing {
            amplitude *= Law::encoder(&self.file).encoded(amplitude, hz, rate_hz);
        }
        let (section, gain) = bias::section(setting.bias_db, rate_hz);
        let before = amplitude
            * self.record[channel].response(hz, rate_hz).norm()
            * setting.record_ratio()
            * gain
            * section.response(hz, rate_hz).norm();
        let Some(saturation) = &self.file.tape.saturation else {
            return Recorded { before, fundamental: before, third: 0.0 };
        };
        let curve = Curve::new(&bias::saturation(saturation, setting.bias_db), self.file.reference_dbfs);
        let lift = |hz: f64| lift_response(saturation, hz, rate_hz).norm();
        let lifted = before * lift(hz);
        Recorded {
            before,
            fundamental: before - curve.residue_harmonic(lifted, 1) / lift(hz),
            third: curve.residue_harmonic(lifted, 3).abs() / lift(3.0 * hz),
        }
    }

    /// What bias does to the sensitivity at `hz`, dB re nominal bias.
    pub fn bias_gain_db(&self, hz: f64, bias_db: f64) -> f64 {
        let (section, gain) = bias::section(bias_db, self.rates_hz[0]);
        20.0 * (section.response(hz, self.rates_hz[0]).norm() * gain).log10()
    }

    /// Amplitude gain from the tape to the return at `hz` of the programme, without decoder.
    fn off_tape(&self, channel: usize, hz: f64) -> f64 {
        let print = self.print.as_ref().map_or(1.0, |print| print.response(hz, self.rates_hz[0]).norm());
        print * self.after_tape(channel, hz * self.transport.steady_ratio()).norm()
    }

    /// Gain of `channel` for a tone of `hz` at `level_dbfs` that is recorded at `programme_s`, dB: trimmers, bias,
    /// compression and noise reduction included, crosstalk and wander of the level left out.
    pub fn tone_gain_db(&self, channel: usize, hz: f64, level_dbfs: f64, programme_s: f64) -> f64 {
        let setting = self.setting(channel, programme_s);
        let mut amplitude =
            self.recorded(channel, hz, level_dbfs, setting).fundamental * self.off_tape(channel, hz);
        if setting.reducing {
            let seen_hz = hz * self.transport.steady_ratio();
            amplitude = Law::decoder(&self.file, channel).decoded(amplitude, seen_hz, self.rates_hz[1]);
        }
        20.0 * (amplitude / ratio_of_db(level_dbfs)).log10() + self.file.capture.trim_db
    }

    /// Third harmonic of such a tone in the return, percent of its fundamental there; noise reduction left out. Holds while
    /// it lies below 0.38 of both sample rates.
    pub fn tone_k3_percent(&self, channel: usize, hz: f64, level_dbfs: f64, programme_s: f64) -> f64 {
        let recorded = self.recorded(channel, hz, level_dbfs, self.setting(channel, programme_s));
        if recorded.before <= 0.0 {
            return 0.0;
        }
        let path = self.off_tape(channel, 3.0 * hz) / self.off_tape(channel, hz);
        100.0 * recorded.third / recorded.fundamental * path
    }

    /// As [`Truth::noise_density`], with the bias and the noise reduction of `programme_s`; crosstalk left out.
    pub fn noise_density_at(&self, channel: usize, hz: f64, programme_s: f64) -> f64 {
        let setting = self.setting(channel, programme_s);
        let [hiss, amplifier] = &self.noises[channel];
        let hiss = hiss.as_ref().map_or(0.0, |noise| {
            let louder = ratio_of_db(bias::hiss_db(setting.bias_db)).powi(2);
            noise.density(hz) * louder * self.after_tape(channel, hz).norm_sqr()
        });
        let noise = hiss + amplifier.as_ref().map_or(0.0, |noise| noise.density(hz));
        let noise_gain = if setting.reducing {
            Law::decoder(&self.file, channel).noise_gain(hz, self.rates_hz[1])
        } else {
            1.0
        };
        noise * noise_gain * ratio_of_db(self.file.capture.trim_db).powi(2)
    }
}
