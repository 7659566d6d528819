//! What is really true of a return, worked out from the deck's description and not from its sound.

use super::azimuth::Skew;
use super::crosstalk::Crosstalk;
use super::dropouts::{Dropout, GainAgainstTime};
use super::hiss::{Noise, band_power};
use super::hum::Hum;
use super::losses::{self, Passes};
use super::play::lead_s;
use super::playback_filters::Series;
use super::print_through::PrintThrough;
use super::tape::{Curve, lift_response};
use super::turned::PlaybackTrimmers;
use super::warp::Transport;
use super::{DeckFile, Mono, VirtualDeck, ratio_of_db};
use crate::signal::statistics::{mean, rms};
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

impl VirtualDeck {
    /// What is really true of the return.
    pub fn truth(&self) -> Truth {
        Truth::new(&self.file, self.seed, self.programme_rate_hz, self.return_rate_hz())
    }

    /// Plays a programme that is held in memory, for tests; the channels' common length counts.
    pub fn play_all(&self, programme: &[Vec<f64>; 2]) -> [Vec<f64>; 2] {
        let frames = programme[0].len().min(programme[1].len());
        let mut done = 0;
        let mut returned = [Vec::new(), Vec::new()];
        let source = |buffers: &mut [Vec<f64>; 2], wanted: usize| {
            let count = wanted.min(frames - done);
            for (buffer, channel) in buffers.iter_mut().zip(programme) {
                buffer.extend_from_slice(&channel[done..done + count]);
            }
            done += count;
            count
        };
        let sink = |block: &[&[f64]; 2]| {
            returned[0].extend_from_slice(block[0]);
            returned[1].extend_from_slice(block[1]);
            Ok::<(), std::convert::Infallible>(())
        };
        match self.play(source, sink) {
            Ok(_) => returned,
            Err(never) => match never {},
        }
    }
}

/// What is really true of the return of one deck.
///
/// Channels are the deck's own: 0 left, 1 right, before exchanged leads, inverted polarity and mono. Times `return_s`
/// are seconds of the return as it comes out, after cutting, on its nominal sample rate. Frequencies of tones are those
/// of the programme; levels are dBFS (a full-scale sine is 0). Gains hold up to 0.45 of both sample rates and leave out
/// dropouts, modulation of the level, noise reduction and suppression, automatic gain, lossy compression and clipping.
/// What knows no time speaks of the deck as built, before anything is turned; what is true later, [`Truth::at`] says.
pub struct Truth {
    pub(super) file: DeckFile,
    pub(super) rates_hz: [f64; 2],
    pub(super) transport: Transport,
    pub(super) skew: Skew,
    pub(super) passes: Passes,
    pub(super) trimmers: Option<PlaybackTrimmers>,
    gain: GainAgainstTime,
    pub(super) record: [Series; 2],
    pub(super) print: Option<PrintThrough>,
    /// Taps of the filter of each channel.
    pub(super) losses: Option<[Vec<f64>; 2]>,
    pub(super) playback: [Series; 2],
    pub(super) noises: [[Option<Noise>; 2]; 2],
    hum: Hum,
    recorded_hum: Hum,
    leak: Option<Crosstalk>,
    lead_s: f64,
}

impl Truth {
    pub(crate) fn new(file: &DeckFile, seed: u64, programme_rate_hz: f64, rate_hz: f64) -> Self {
        let transport = Transport::new(file, seed);
        let passes = Passes::new(file);
        Self {
            rates_hz: [programme_rate_hz, rate_hz],
            skew: Skew::new(file, seed),
            trimmers: PlaybackTrimmers::new(file, rate_hz),
            gain: GainAgainstTime::new(file, seed),
            record: [0, 1].map(|channel| Series::record(file, channel, programme_rate_hz)),
            print: PrintThrough::new(file, programme_rate_hz),
            losses: losses::any(file).then(|| {
                [0, 1].map(|channel| {
                    losses::taps(|hz| losses::loss(file, channel, hz, passes.at(0.0)), rate_hz)
                })
            }),
            playback: [0, 1].map(|channel| Series::playback(file, channel, rate_hz)),
            noises: [0, 1].map(|channel| {
                [Noise::hiss(file, seed, channel, rate_hz), Noise::amplifier(file, seed, channel, rate_hz)]
            }),
            hum: Hum::new(file, seed),
            recorded_hum: Hum::recorded(file, seed),
            leak: Crosstalk::new(file, rate_hz),
            lead_s: lead_s(file, programme_rate_hz),
            transport,
            passes,
            file: file.clone(),
        }
    }

    pub(super) fn uncut_s(&self, return_s: f64) -> f64 {
        let rate_hz = self.rates_hz[1];
        return_s + (self.file.capture.cut_start_s * rate_hz).round() / rate_hz
    }

    /// Second of the programme that is heard at `return_s`; negative within the lead-in.
    pub fn programme_time_s(&self, return_s: f64) -> f64 {
        self.transport.place_s(self.uncut_s(return_s)) - self.lead_s
    }

    /// Second of the return at which `programme_s` is heard; negative if it was cut off.
    pub fn return_time_s(&self, programme_s: f64) -> f64 {
        self.transport.time_s(programme_s + self.lead_s) - self.uncut_s(0.0)
    }

    /// Speed at `return_s` less 1, as seen in the return: 0.01 is 1 % fast. Error, drift, flutter and clock together.
    pub fn speed_deviation(&self, return_s: f64) -> f64 {
        self.transport.ratio(self.uncut_s(return_s)) - 1.0
    }

    /// Constant speed error as seen in the return (tape and capture clock), percent, positive is fast; without drift.
    pub fn speed_error_percent(&self) -> f64 {
        (self.transport.steady_ratio() - 1.0) * 100.0
    }

    /// Mean speed error between two times of the return, drift and flutter included, percent.
    pub fn mean_speed_error_percent(&self, from_s: f64, to_s: f64) -> f64 {
        ((self.programme_time_s(to_s) - self.programme_time_s(from_s)) / (to_s - from_s) - 1.0) * 100.0
    }

    /// Mean azimuth angle, arc minutes.
    pub fn angle_arcmin(&self) -> f64 {
        self.file.azimuth.angle_arcmin
    }

    /// Mean delay of the right channel against the left, us of the return's clock: a fast tape shortens it.
    pub fn delay_us(&self) -> f64 {
        self.skew.mean_s / self.transport.steady_ratio() * 1e6
    }

    /// Mean delay of the right channel, us of the programme's clock: s tan(a) / v with v the nominal speed.
    pub fn programme_delay_us(&self) -> f64 {
        self.skew.mean_s * 1e6
    }

    /// Delay of the right channel at `return_s`, wander included, us of the return's clock.
    pub fn delay_at_us(&self, return_s: f64) -> f64 {
        let t_s = self.uncut_s(return_s);
        self.skew.at_s(t_s) / self.transport.ratio(t_s) * 1e6
    }

    /// Mean delay of the right channel between two times of the return, us of the return's clock; sampled each 5 ms.
    pub fn mean_delay_us(&self, from_s: f64, to_s: f64) -> f64 {
        mean(self.delays_us(from_s, to_s))
    }

    fn delays_us(&self, from_s: f64, to_s: f64) -> Vec<f64> {
        let count = ((to_s - from_s) / 0.005).clamp(1.0, 1e6) as usize;
        (0..count)
            .map(|k| self.delay_at_us(from_s + (to_s - from_s) * (k as f64 + 0.5) / count as f64))
            .collect()
    }

    /// Rms of the delay's wander about its mean between two times, us of the return's clock; sampled each 5 ms.
    pub fn wander_us_rms(&self, from_s: f64, to_s: f64) -> f64 {
        let values = self.delays_us(from_s, to_s);
        let mean = mean(&values);
        rms(values.iter().map(|value| value - mean))
    }

    /// Complex gain for small signals of the path of one channel without crosstalk; the phase is that of the azimuth and
    /// the minimum-phase sections, relative to [`Self::programme_time_s`].
    pub fn path(&self, channel: usize, hz: f64) -> Complex64 {
        let seen_hz = hz * self.transport.steady_ratio();
        let print =
            self.print.as_ref().map_or(Complex64::from(1.0), |print| print.response(hz, self.rates_hz[0]));
        // The left channel is read half the displacement early, the right one half late.
        let half_s = self.skew.mean_s / 2.0 * if channel == 0 { 1.0 } else { -1.0 };
        let turn = Complex64::from_polar(ratio_of_db(self.file.capture.trim_db), TAU * hz * half_s);
        self.record[channel].response(hz, self.rates_hz[0]) * print * turn * self.after_tape(channel, seen_hz)
    }

    /// Deviation of an injected playback amplifier from its curve at `hz`, dB against that at 400 Hz; `position` 0 is 120 us,
    /// 1 is 70 us. What stands behind the curve (playback sections) is in it. Minus infinity if nothing is injected.
    pub fn injected_deviation_db(&self, channel: usize, position: usize, hz: f64) -> f64 {
        let Some(injection) = &self.file.injection else { return f64::NEG_INFINITY };
        let behind_db = |hz: f64| 20.0 * self.after_tape(channel, hz).norm().log10();
        injection.deviation_db(channel, position, hz) + behind_db(hz) - behind_db(400.0)
    }

    /// Losses and playback response at `seen_hz` of the return.
    pub(super) fn after_tape(&self, channel: usize, seen_hz: f64) -> Complex64 {
        let rate_hz = self.rates_hz[1];
        let loss =
            self.losses.as_ref().map_or(1.0, |taps| losses::response(&taps[channel], seen_hz, rate_hz));
        self.playback[channel].response(seen_hz, rate_hz) * loss
    }

    /// Gain at `seen_hz` of the return by which one channel leaks into the other; 1 from a channel into itself.
    fn leak(&self, from: usize, to: usize, seen_hz: f64) -> Complex64 {
        if from == to {
            return Complex64::from(1.0);
        }
        self.leak.as_ref().map_or(Complex64::from(0.0), |leak| leak.response(from, seen_hz, self.rates_hz[1]))
    }

    /// Complex gain of `to` for a tone on both channels alike, crosstalk included.
    pub fn response(&self, to: usize, hz: f64) -> Complex64 {
        let seen_hz = hz * self.transport.steady_ratio();
        (0..2).map(|from| self.path(from, hz) * self.leak(from, to, seen_hz)).sum()
    }

    /// Gain of `channel` for a small tone of `hz` on both channels alike, dB; minus infinity for a dead channel.
    pub fn gain_db(&self, channel: usize, hz: f64) -> f64 {
        20.0 * self.response(channel, hz).norm().log10()
    }

    /// Gain from channel `from` alone into channel `to`, dB.
    pub fn gain_alone_db(&self, from: usize, to: usize, hz: f64) -> f64 {
        let leak = self.leak(from, to, hz * self.transport.steady_ratio());
        20.0 * (self.path(from, hz) * leak).norm().log10()
    }

    /// Separation seen at `hz`: level in the other channel re the driven one, dB, for channel `from` driven alone.
    pub fn separation_db(&self, from: usize, hz: f64) -> f64 {
        self.gain_alone_db(from, 1 - from, hz) - self.gain_alone_db(from, from, hz)
    }

    /// Phase of right minus left for a tone on both channels, degrees within 180: azimuth, sections and crosstalk.
    pub fn phase_deg(&self, hz: f64) -> f64 {
        (self.response(1, hz) / self.response(0, hz)).arg().to_degrees()
    }

    /// Amplitude on the tape before the curve, and what the curve makes of it: fundamental of the residue.
    fn saturated(&self, channel: usize, hz: f64, level_dbfs: f64) -> Option<(Curve, f64, f64)> {
        let saturation = self.file.tape.saturation.as_ref()?;
        let recorded = ratio_of_db(level_dbfs) * self.record[channel].response(hz, self.rates_hz[0]).norm();
        let lift = lift_response(saturation, hz, self.rates_hz[0]).norm();
        Some((Curve::new(saturation, self.file.reference_dbfs), recorded, lift))
    }

    /// Gain at `level_dbfs` less the gain for small signals, dB: how much the tape compresses a tone. Without crosstalk.
    pub fn compression_db(&self, channel: usize, hz: f64, level_dbfs: f64) -> f64 {
        let Some((curve, recorded, lift)) = self.saturated(channel, hz, level_dbfs) else { return 0.0 };
        20.0 * (1.0 - curve.residue_harmonic(recorded * lift, 1) / (recorded * lift)).log10()
    }

    /// Harmonic of a tone of `hz` at `level_dbfs` in the return, percent of its fundamental there; crosstalk left out.
    /// Holds while the harmonic lies below 0.38 of both sample rates.
    pub fn harmonic_percent(&self, channel: usize, order: u32, hz: f64, level_dbfs: f64) -> f64 {
        let Some((curve, recorded, lift)) = self.saturated(channel, hz, level_dbfs) else { return 0.0 };
        let Some(saturation) = self.file.tape.saturation.as_ref() else { return 0.0 };
        let harmonic_hz = hz * f64::from(order);
        let lowered = lift_response(saturation, harmonic_hz, self.rates_hz[0]).norm();
        let fundamental = recorded - curve.residue_harmonic(recorded * lift, 1) / lift;
        let harmonic = curve.residue_harmonic(recorded * lift, order).abs() / lowered;
        let ratio = self.transport.steady_ratio();
        let path = self.after_tape(channel, harmonic_hz * ratio).norm()
            / self.after_tape(channel, hz * ratio).norm();
        100.0 * harmonic / fundamental * path
    }

    /// Tone at m f1 + n f2 that the tape makes of two tones `hz` of equal level, together with the peak of a sine at
    /// `level_dbfs`; percent of the sum of both tones' amplitudes in the return. Crosstalk is left out.
    pub fn product_percent(&self, channel: usize, [m, n]: [i32; 2], hz: [f64; 2], level_dbfs: f64) -> f64 {
        let Some(saturation) = self.file.tape.saturation.as_ref() else { return 0.0 };
        let curve = Curve::new(saturation, self.file.reference_dbfs);
        let ratio = self.transport.steady_ratio();
        let lift = |hz: f64| lift_response(saturation, hz, self.rates_hz[0]).norm();
        let path = |hz: f64| self.after_tape(channel, hz * ratio).norm();
        let recorded = hz.map(|hz| {
            ratio_of_db(level_dbfs) / 2.0 * self.record[channel].response(hz, self.rates_hz[0]).norm()
        });
        let peaks = [recorded[0] * lift(hz[0]), recorded[1] * lift(hz[1])];
        let tone = |k: usize, which: [i32; 2]| {
            (recorded[k] - curve.residue_product(peaks, which) / lift(hz[k])) * path(hz[k])
        };
        let made_hz = (f64::from(m) * hz[0] + f64::from(n) * hz[1]).abs();
        let made = curve.residue_product(peaks, [m, n]).abs() / lift(made_hz) * path(made_hz);
        100.0 * made / (tone(0, [1, 0]) + tone(1, [0, 1]))
    }

    /// By how much what was recorded at `programme_s` was erased afterwards, dB, negative or 0.
    pub fn erased_db(&self, channel: usize, programme_s: f64) -> f64 {
        let erased = self.file.tape.erased.iter();
        20.0 * erased.map(|erased| erased.gain(channel, programme_s)).product::<f64>().log10()
    }

    /// Third harmonic, percent; see [`Self::harmonic_percent`].
    pub fn k3_percent(&self, channel: usize, hz: f64, level_dbfs: f64) -> f64 {
        self.harmonic_percent(channel, 3, hz, level_dbfs)
    }

    /// Density of the noise without signal (hiss and amplifier, crosstalk included) at `hz` of the return, in powers of a
    /// full-scale sine per Hz; modulation noise and hum are left out.
    pub fn noise_density(&self, channel: usize, hz: f64) -> f64 {
        let trim = ratio_of_db(self.file.capture.trim_db).powi(2);
        let own = |from: usize| {
            let [hiss, amplifier] = &self.noises[from];
            let hiss = hiss.as_ref().map_or(0.0, |n| n.density(hz) * self.after_tape(from, hz).norm_sqr());
            hiss + amplifier.as_ref().map_or(0.0, |n| n.density(hz))
        };
        trim * (0..2).map(|from| own(from) * self.leak(from, channel, hz).norm_sqr()).sum::<f64>()
    }

    /// Unweighted noise without signal from 22.4 Hz to 22.4 kHz (or half the return's rate), dBFS; minus infinity if none.
    pub fn hiss_dbfs(&self, channel: usize) -> f64 {
        10.0 * band_power(self.rates_hz[1], |hz| self.noise_density(channel, hz)).log10()
    }

    /// Components of hum on `channel`: frequency in the return, Hz, and level, dBFS.
    pub fn hum_lines(&self, channel: usize) -> Vec<(f64, f64)> {
        let clock = 1.0 + self.file.capture.clock_ppm * 1e-6;
        let trim_db = self.file.capture.trim_db;
        self.hum.levels(channel).into_iter().map(|(hz, dbfs)| (hz / clock, dbfs + trim_db)).collect()
    }

    /// Components of hum that lies on the tape as they stand on `channel`, flutter's side bands included: frequency in the
    /// return, Hz, and level, dBFS. Crosstalk is left out.
    pub fn recorded_hum_lines(&self, channel: usize) -> Vec<(f64, f64)> {
        let trim_db = self.file.capture.trim_db;
        let ratio = self.transport.steady_ratio();
        let line = |(hz, dbfs): (f64, f64)| {
            let path_db = 20.0 * self.after_tape(channel, hz * ratio).norm().log10();
            (hz * ratio, dbfs + path_db + trim_db)
        };
        self.recorded_hum.levels(channel).into_iter().map(line).collect()
    }

    /// Dropouts that touch a stretch of the return, in order.
    pub fn dropouts(&self, from_s: f64, to_s: f64) -> Vec<Dropout> {
        let cut_s = self.uncut_s(0.0);
        let mut found = self.gain.dropouts(from_s + cut_s, to_s + cut_s);
        found.iter_mut().for_each(|dropout| dropout.at_s -= cut_s);
        found
    }

    /// Gain of the slow level wander of `channel` at `return_s`, dB.
    pub fn level_wander_db(&self, channel: usize, return_s: f64) -> f64 {
        self.gain.wander_db(channel, self.uncut_s(return_s))
    }

    /// Names of the faults that are on, in the order of the chain.
    pub fn faults(&self) -> Vec<&'static str> {
        let DeckFile {
            speed,
            azimuth,
            head,
            record,
            playback,
            tape,
            electronics,
            injection,
            technician,
            capture,
            ..
        } = &self.file;
        let uneven = |sides: super::Sides| sides.to_array() != [0.0; 2];
        let flutter = !speed.flutter.is_empty() || speed.random.is_some();
        let wander = azimuth.wander.is_some() || azimuth.random_wander.is_some();
        let crosstalk = electronics.left_into_right_db.or(electronics.right_into_left_db).is_some();
        let mono = matches!(capture.mono, Some(Mono::Sum | Mono::Left | Mono::Right));
        [
            ("lead-in", capture.lead_in.is_some()),
            ("turned-trimmers", *technician != super::Technician::default()),
            ("record-gain", uneven(record.gain_db)),
            ("record-response", !record.sections.is_empty()),
            ("saturation", tape.saturation.is_some()),
            ("print-through", tape.print_through.is_some()),
            ("erased", !tape.erased.is_empty()),
            ("speed", speed.error_percent != 0.0),
            ("drift", speed.drift_percent_per_min != 0.0),
            ("flutter", flutter),
            ("clock", capture.clock_ppm != 0.0),
            ("rate-mismatch", self.rates_hz[0] != self.rates_hz[1]),
            ("azimuth", azimuth.angle_arcmin != 0.0),
            ("azimuth-wander", wander),
            ("dropouts", !tape.dropouts.is_empty() || tape.random_dropouts.is_some()),
            ("level-wander", tape.level_wander.is_some()),
            ("amplitude-modulation", tape.amplitude_modulation.is_some()),
            ("modulation-noise", tape.modulation_noise.is_some()),
            ("hiss", tape.hiss.is_some()),
            ("injection", injection.is_some()),
            ("spacing", uneven(head.spacing_um)),
            ("gap", uneven(head.gap_um)),
            ("coupling", uneven(head.coupling_hz)),
            ("head-bump", head.bump.is_some()),
            ("dull-head", uneven(head.dull_8k_db)),
            ("playback-response", !playback.sections.is_empty()),
            ("playback-gain", uneven(playback.gain_db)),
            ("dead-channel", electronics.dead.is_some()),
            ("amplifier-noise", electronics.noise_db.is_some()),
            ("crosstalk", crosstalk),
            ("hum", electronics.hum.is_some()),
            ("recorded-hum", tape.hum.is_some()),
            ("inverted", !electronics.inverted.is_empty()),
            ("swapped", electronics.swapped),
            (
                "noise-reduction-on",
                electronics.noise_reduction.is_some() || capture.noise_suppression.is_some(),
            ),
            ("dc-offset", uneven(electronics.dc_offset)),
            ("trim", capture.trim_db != 0.0),
            ("gain-riding", capture.automatic_gain.is_some()),
            ("mono", mono),
            ("lossy", capture.lossy.is_some()),
            ("clipped", capture.clip_dbfs.is_some()),
            ("cut-start", capture.cut_start_s > 0.0),
            ("cut-end", capture.cut_end_s > 0.0),
        ]
        .into_iter()
        .filter_map(|(name, on)| on.then_some(name))
        .collect()
    }
}
