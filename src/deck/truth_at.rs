//! What is true at one moment of the programme or the return: with the technician's hands on trimmers, screws and switches.

use super::bias;
use super::compander::Law;
use super::losses;
use super::tape::{Curve, lift_response};
use super::technician::{Hands, Setting};
use super::{Truth, ratio_of_db};

/// How the deck stands at one moment of the return. Wander of the azimuth and flutter are left out: they are in
/// [`Truth::delay_at_us`] and [`Truth::speed_deviation`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TruthAt {
    /// Azimuth angle, arc minutes; positive: the right channel lags.
    pub angle_arcmin: f64,
    /// Delay of the right channel, us of the return's clock.
    pub delay_us: f64,
    /// Speed error as seen in the return, percent: error, trimmer, drift and clock.
    pub speed_error_percent: f64,
    /// Record level at which what is heard then was recorded, dB re as built.
    pub record_db: [f64; 2],
    /// Bias with which it was recorded, dB re nominal.
    pub bias_db: [f64; 2],
    /// Playback level, dB re as built.
    pub playback_db: [f64; 2],
    /// Playback treble, dB re as built.
    pub treble_db: [f64; 2],
}

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
    /// How the deck stands at `return_s`.
    pub fn at(&self, return_s: f64) -> TruthAt {
        let t_s = self.uncut_s(return_s);
        let programme_s = self.programme_time_s(return_s);
        let settings = [0, 1].map(|channel| self.setting(channel, programme_s));
        let trimmers = [0, 1]
            .map(|channel| self.trimmers.as_ref().map_or([0.0; 2], |trimmers| trimmers.at(channel, t_s).0));
        let ratio = self.transport.turned_ratio(t_s);
        TruthAt {
            angle_arcmin: self.passes.at(t_s).angle_arcmin,
            delay_us: self.skew.turned_s(t_s) / ratio * 1e6,
            speed_error_percent: (ratio - 1.0) * 100.0,
            record_db: settings.map(|setting| setting.record_db),
            bias_db: settings.map(|setting| setting.bias_db),
            playback_db: trimmers.map(|[level_db, _]| level_db),
            treble_db: trimmers.map(|[_, treble_db]| treble_db),
        }
    }

    /// Gain of `channel` at `return_s` for a tone of `hz` of the programme at `level_dbfs`, dB; see [`Self::tone_gain_db`].
    pub fn tone_gain_at_db(&self, channel: usize, hz: f64, level_dbfs: f64, return_s: f64) -> f64 {
        self.tone_gain_db(channel, hz, level_dbfs, self.programme_time_s(return_s))
    }

    /// Third harmonic of such a tone at `return_s`, percent; see [`Self::tone_k3_percent`].
    pub fn tone_k3_at_percent(&self, channel: usize, hz: f64, level_dbfs: f64, return_s: f64) -> f64 {
        self.tone_k3_percent(channel, hz, level_dbfs, self.programme_time_s(return_s))
    }

    /// How `channel` is set at `programme_s`, as far as it is turned at the recording.
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

    /// Amplitude gain from the tape to the return at `hz` of the programme, when `programme_s` is heard, without decoder.
    fn off_tape(&self, channel: usize, hz: f64, programme_s: f64) -> f64 {
        let print = self.print.as_ref().map_or(1.0, |print| print.response(hz, self.rates_hz[0]).norm());
        if self.passes.idle() && self.trimmers.is_none() {
            return print * self.after_tape(channel, hz * self.transport.steady_ratio()).norm();
        }
        let (t_s, rate_hz) = (self.uncut_s(self.return_time_s(programme_s)), self.rates_hz[1]);
        let seen_hz = hz * self.transport.turned_ratio(t_s);
        let pass = self.passes.at(t_s);
        let loss = self.losses.as_ref().map_or(1.0, |_| {
            let taps = losses::taps(|hz| losses::loss(&self.file, channel, hz, pass), rate_hz);
            losses::response(&taps, seen_hz, rate_hz)
        });
        let turned = self.trimmers.as_ref().map_or(1.0, |trimmers| {
            let ([level_db, _], treble) = trimmers.at(channel, t_s);
            ratio_of_db(level_db) * treble.response(seen_hz, rate_hz).norm()
        });
        print * loss * turned * self.playback[channel].response(seen_hz, rate_hz).norm()
    }

    /// Gain of `channel` for a tone of `hz` at `level_dbfs` that is recorded at `programme_s`, dB: trimmers, screw, bias,
    /// compression and noise reduction included, crosstalk and wander of the level left out.
    pub fn tone_gain_db(&self, channel: usize, hz: f64, level_dbfs: f64, programme_s: f64) -> f64 {
        let setting = self.setting(channel, programme_s);
        let mut amplitude = self.recorded(channel, hz, level_dbfs, setting).fundamental
            * self.off_tape(channel, hz, programme_s);
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
        let [third, first] = [3.0, 1.0].map(|order| self.off_tape(channel, order * hz, programme_s));
        let path = third / first;
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
