//! Speed view: frequency of a steady tone over one and ten seconds, and its flutter over the last half minute.

use super::hearing::SteadyTone;
use super::options::{FollowOptions, verdict};
use super::ring::{KEPT_S, Ring};
use super::tones::{is_same, read_tone, within};
use crate::judge::{Key, Meaning, Quantity, meaning};
use crate::measure::{FlutterMeter, FlutterPlan, Meter, needle_percent, parts_of, recorded_speed};
use crate::reading::{Figure, FileClock, FlutterNow, LineNow, Shown, SpeedNow};
use crate::trade::test_tapes::{MOST_SPEED_ERROR_PERCENT, USUAL_HZ, shows_flutter};
use std::collections::VecDeque;

/// Lengths of the two means, s.
const SHORT_S: f64 = 1.0;
const LONG_S: f64 = 10.0;
/// The long mean and the needle are read so often, s.
const EVERY_S: f64 = 1.0;
/// Flutter is read from so much of the tone at least, s, and so often, s.
const FLUTTER_S: f64 = 5.0;
const FLUTTER_EVERY_S: f64 = 3.0;
/// For the flutter so much of what is kept is read in a second, s: by and by, so that no picture is late.
const READ_S_PER_S: f64 = 60.0;
/// The needle is read from the last seconds, s.
const NEEDLE_S: f64 = 6.0;

/// What the view remembers.
#[derive(Default)]
pub(crate) struct SpeedView {
    /// Means of whole seconds of this tone, Hz.
    seconds: VecDeque<f64>,
    second_at_s: f64,
    of_hz: f64,
    hz_10s: Option<f64>,
    /// A reading of the flutter that is under way.
    reading: Option<UnderWay>,
    flutter_at_s: f64,
    flutter: Option<FlutterNow>,
    needle_percent: Option<f64>,
}

/// A reading of the flutter: the next sample of it, and its end.
struct UnderWay {
    meter: FlutterMeter,
    next: u64,
    to: u64,
    /// When it went on last, s.
    at_s: f64,
}

/// The frequency that the tone has on the tape, and whether somebody knows it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Nominal {
    pub hz: f64,
    pub is_known: bool,
}

/// By what was told, by the programme, or the nearest usual one.
pub(crate) fn nominal(hz: f64, known_hz: Option<f64>, programme_hz: Option<f64>) -> Option<Nominal> {
    let near = |nominal: &f64| (hz / nominal - 1.0).abs() * 100.0 < MOST_SPEED_ERROR_PERCENT;
    if let Some(hz) = known_hz.filter(near).or(programme_hz.filter(near)) {
        return Some(Nominal { hz, is_known: true });
    }
    let off = |nominal: f64| (hz / nominal - 1.0).abs();
    let nearest = USUAL_HZ.into_iter().map(|usual| usual.0).min_by(|a, b| off(*a).total_cmp(&off(*b)))?;
    near(&nearest).then_some(Nominal { hz: nearest, is_known: false })
}

impl SpeedView {
    /// Forgets means and flutter.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// The figures now, of the strongest tone that sounds.
    pub fn shown(
        &mut self,
        ring: &mut Ring,
        sounding: &[SteadyTone],
        programme_hz: Option<f64>,
        options: &FollowOptions,
    ) -> (Shown, Option<Figure>) {
        let nothing = |why: &str| (Shown::Nothing { why: why.to_owned() }, None);
        let Some(tone) = sounding.first() else {
            return nothing("Play a steady tone, best 3150 Hz (recipe turn-speed): none is heard.");
        };
        if !is_same(tone.hz, self.of_hz) {
            self.reset();
            self.of_hz = tone.hz;
        }
        self.of_hz = tone.hz;
        let (from, to) = within(ring, *tone);
        let last = |seconds: f64, ring: &Ring| from.max(to.saturating_sub((seconds * ring.rate_hz()) as u64));
        let short = last(SHORT_S, ring);
        let Some(read) = read_tone(ring, short, to, tone.hz) else {
            return nothing("The tone has just begun.");
        };
        let to_s = ring.at_s(to);
        if to_s - self.second_at_s >= EVERY_S {
            if ring.at_s(to - from) >= SHORT_S {
                if self.seconds.len() == LONG_S as usize {
                    self.seconds.pop_front();
                }
                self.seconds.push_back(read.hz);
            }
            self.second_at_s = to_s;
            let long = last(LONG_S, ring);
            self.hz_10s = (to - from > (1.9 * SHORT_S * ring.rate_hz()) as u64)
                .then(|| read_tone(ring, long, to, tone.hz).map(|tone| tone.hz))
                .flatten();
            if shows_flutter(read.hz) {
                self.needle_percent = needle(ring, last(NEEDLE_S, ring), to, read.hz);
            }
        }
        if shows_flutter(read.hz) {
            self.read_flutter(ring, last(KEPT_S, ring), to, read.hz, options);
        }
        // A house tape is off by what its card says.
        let recorded = options.card.as_ref().and_then(recorded_speed);
        let programme_hz = programme_hz.map(|hz| hz * (1.0 + recorded.map_or(0.0, |own| own.0) / 100.0));
        let nominal = nominal(read.hz, options.known_hz, programme_hz);
        let uncertainties = [self.scatter_percent(read.hz), recorded.map(|own| own.1)];
        let error = |hz: f64| nominal.map(|nominal| 100.0 * (hz / nominal.hz - 1.0));
        let told = !matches!(
            meaning(Quantity::SpeedError, &options.circumstances),
            Meaning::CannotTell { .. } | Meaning::Relative { .. }
        );
        let limit = options.limits.get(Key::Speed).map(|limit| limit.value);
        let now = SpeedNow {
            hz_1s: read.hz,
            hz_10s: self.hz_10s,
            nominal_hz: nominal.map(|nominal| nominal.hz),
            nominal_is_known: nominal.is_some_and(|nominal| nominal.is_known),
            error_1s_percent: error(read.hz),
            error_10s_percent: self.hz_10s.and_then(error),
            uncertainty_percent: uncertainties.into_iter().flatten().reduce(f64::hypot),
            limit_percent: limit.filter(|_| told),
            flutter: self
                .flutter
                .clone()
                .map(|flutter| FlutterNow { needle_percent: self.needle_percent, ..flutter }),
        };
        let figure = figure(&now);
        (Shown::Speed(now), figure)
    }

    /// What a mean over one second scatters by, expanded, percent.
    fn scatter_percent(&self, hz: f64) -> Option<f64> {
        if self.seconds.len() < 3 {
            return None;
        }
        // Against its neighbours on both sides: somebody turns the trimmer meanwhile.
        let last: Vec<f64> = self.seconds.iter().rev().take(6).copied().collect();
        let bends = last.windows(3).map(|three| (three[0] - 2.0 * three[1] + three[2]).powi(2) / 6.0);
        Some(200.0 * crate::signal::statistics::mean(bends.collect::<Vec<f64>>()).sqrt() / hz)
    }

    /// Reads the flutter of `from..to` by and by.
    fn read_flutter(&mut self, ring: &mut Ring, from: u64, to: u64, hz: f64, options: &FollowOptions) {
        let (now_s, to_s) = (ring.at_s(ring.count()), ring.at_s(to));
        let due = self.flutter.is_none() || to_s - self.flutter_at_s >= FLUTTER_EVERY_S;
        if self.reading.is_none() && due && ring.at_s(to - from) >= FLUTTER_S {
            self.flutter_at_s = to_s;
            self.reading = meter(ring, hz).map(|meter| UnderWay { meter, next: from, to, at_s: now_s });
        }
        let Some(mut reading) = self.reading.take() else { return };
        let more = READ_S_PER_S * (now_s - reading.at_s) * ring.rate_hz();
        let until = reading.to.min(reading.next + more as u64);
        ring.read(reading.next, until, &mut |block| reading.meter.feed(block));
        if until < reading.to {
            self.reading = Some(UnderWay { next: until, at_s: now_s, ..reading });
            return;
        }
        let Some(flutter) = reading.meter.finish().0 else { return };
        let parts = parts_of(&flutter, None, &options.medium, options.transport.as_ref());
        let lines = flutter.lines.iter().zip(parts).map(|(line, part)| LineNow {
            hz: line.hz,
            percent_peak: line.percent_peak,
            part: part.map_or_else(String::new, |part| {
                let could = if part.could_be { "could be " } else { "" };
                let harmonic =
                    if part.harmonic > 1 { format!(", harmonic {}", part.harmonic) } else { String::new() };
                format!("{could}{}{harmonic}", part.name)
            }),
        });
        self.flutter = Some(FlutterNow {
            over_s: flutter.over_s(),
            to_hz: flutter.band_hz[2],
            needle_percent: None,
            weighted_quasi_peak_percent: flutter.weighted_quasi_peak_percent,
            weighted_rms_percent: flutter.weighted_rms_percent,
            limit_percent: options.limits.get(Key::FlutterQuasiPeak).map(|limit| limit.value),
            lines: lines.collect(),
            spectrum: flutter.spectrum,
        });
    }
}

/// A meter for the flutter of a tone of `hz`.
fn meter(ring: &Ring, hz: f64) -> Option<FlutterMeter> {
    let plan = FlutterPlan { programme_hz: hz, expected_hz: hz, clock: FileClock::default() };
    FlutterMeter::new(ring.rate_hz(), plan)
}

/// What the needle of the flutter meter showed at the end of `from..to`.
fn needle(ring: &mut Ring, from: u64, to: u64, hz: f64) -> Option<f64> {
    let mut meter = meter(ring, hz)?;
    ring.read(from, to, &mut |block| meter.feed(block));
    needle_percent(&meter.bands(), hz)
}

/// What is turned by: the error over one second; the frequency where nobody knows what it should be.
fn figure(now: &SpeedNow) -> Option<Figure> {
    let uncertainty = now.uncertainty_percent;
    match now.error_1s_percent.filter(|_| now.nominal_is_known) {
        Some(value) => Some(Figure {
            name: "speed error".to_owned(),
            value,
            uncertainty,
            unit: "%".to_owned(),
            target: Some(0.0),
            limit: now.limit_percent,
            verdict: verdict(value, uncertainty, Some(0.0), now.limit_percent),
        }),
        None => Some(Figure {
            name: "frequency".to_owned(),
            value: now.hz_1s,
            uncertainty: uncertainty.map(|percent| percent / 100.0 * now.hz_1s),
            unit: "Hz".to_owned(),
            target: None,
            limit: None,
            verdict: None,
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_guess_is_called_one_and_what_somebody_knows_goes_first() {
        let of = |hz, known, programme| nominal(hz, known, programme).map(|n| (n.hz, n.is_known));
        assert_eq!(of(3190.0, None, None), Some((3150.0, false)));
        assert_eq!(of(3190.0, None, Some(3150.0)), Some((3150.0, true)));
        assert_eq!(of(3060.0, Some(3000.0), Some(3150.0)), Some((3000.0, true)));
        assert_eq!(of(1000.0, Some(3000.0), None), Some((1000.0, false)));
    }
}
