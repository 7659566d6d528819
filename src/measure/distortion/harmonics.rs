//! Harmonics of a steady tone, followed through wow and flutter, against level.
//!
//! Percentages are of the whole tone, fundamental and harmonics, as IEC 60268-3 has it for harmonic distortion of the
//! n-th order (from memory). The trade often reads against the fundamental alone: 10 % would be 10.05 %. A harmonic
//! that cannot be told from noise has no value but a limit: noise alone would reach the threshold once in 8000 times.
//! One less than three times as strong as the hum that may lie on it is not stated.

use crate::measure::meter::{Meter, is_clipped};
use crate::measure::tone::follow::{Amplitude, Course, follow};
use crate::reading::{Distortion, DistortionStep, Pair};
use crate::signal::baseband::{Band, Baseband};
use crate::trade::sound_card::{USUAL_RATE_HZ, top_hz};

/// Highest harmonic that counts.
pub const HIGHEST_ORDER: usize = 7;
/// K3 at which the maximum output level is stated, percent (common usage of the trade).
const MAXIMUM_PERCENT: f64 = 3.0;
/// Uncertainty of following itself: the filters' flatness, and level that moves within a part. Share of the value.
pub(crate) const OWN_UNCERTAINTY: f64 = 0.002;

/// What the percentages are of.
pub const RELATIVE_TO: &str = "the whole tone as returned, fundamental and harmonics together, noise subtracted \
    (harmonic distortion of the n-th order, IEC 60268-3, from memory)";

/// Follows a tone and its harmonics in both channels.
pub struct DistortionMeter {
    /// One for each order from 1, for each channel.
    channels: [Vec<Baseband>; 2],
    some_missing: bool,
}

/// The harmonics of one tone.
#[derive(Debug, Clone)]
pub struct Harmonics {
    channels: [Option<Channel>; 2],
    /// The band of the fundamental, for what happens within the tone.
    pub band: [Band; 2],
}

impl Harmonics {
    /// Leaves out the channels whose fundamental is at one of the `tops` at which they are clipped.
    pub(crate) fn without_clipped(&mut self, tops: [Option<f64>; 2]) {
        for (channel, top) in self.channels.iter_mut().zip(tops) {
            channel.take_if(|channel| is_clipped(channel.fundamental, top));
        }
    }
}

/// One channel's harmonics.
#[derive(Debug, Clone)]
struct Channel {
    /// Amplitude of the fundamental.
    fundamental: f64,
    /// Harmonics from the 2nd on.
    harmonics: Vec<Amplitude>,
    /// The sample rate holds fewer than a usual one.
    some_missing: bool,
}

impl Meter for DistortionMeter {
    /// Frequency that is expected in the return, within 1 %, Hz.
    type Plan = f64;
    type Output = Option<Harmonics>;

    /// `None` if the tone is below 20 Hz, or not even its second harmonic lies below half the sample rate.
    fn new(rate_hz: f64, expected_hz: f64) -> Option<Self> {
        // The fundamental's band must hold neither 0 Hz nor the second harmonic.
        let flat_hz = (0.3 * expected_hz).min(100.0 + 0.015 * expected_hz);
        let transition_hz = (0.25 * expected_hz).min(80.0);
        let top = |order: usize| order as f64 * expected_hz * 1.01 + flat_hz + transition_hz;
        let orders = (1..=HIGHEST_ORDER).take_while(|order| top(*order) < 0.49 * rate_hz);
        let orders = orders.take_while(|order| *order as f64 * expected_hz <= top_hz(rate_hz)).count();
        // A slow recording has fewer of them than a usual one: their sum is not the distortion.
        let usual = (1..=HIGHEST_ORDER).take_while(|order| top(*order) < 0.49 * USUAL_RATE_HZ).count();
        let some_missing = top_hz(rate_hz).is_finite() && orders < usual;
        if !(expected_hz >= 20.0 && orders >= 2) {
            return None;
        }
        let all_hz: Vec<f64> = (1..=orders).map(|order| order as f64 * expected_hz).collect();
        let bands = || Baseband::together(rate_hz, &all_hz, flat_hz, transition_hz);
        Some(Self { channels: [bands(), bands()], some_missing })
    }

    fn feed(&mut self, block: [&[f64]; 2]) {
        for (bands, samples) in self.channels.iter_mut().zip(block) {
            bands.iter_mut().for_each(|band| band.feed(samples));
        }
    }

    /// The harmonics of all that was fed. A channel without the tone, or with too little of it, has none.
    fn finish(self) -> Option<Harmonics> {
        let some_missing = self.some_missing;
        let [left, right] = self.channels.map(|bands| {
            let mut bands = bands.into_iter().map(Baseband::finish);
            let fundamental = bands.next()?;
            let channel = Course::new(&fundamental).and_then(|course| {
                let each = bands.zip(2..).map(|(band, order)| follow(&band, &[(order, &course)]));
                let harmonics = each.collect::<Option<Vec<Amplitude>>>()?;
                Some(Channel { fundamental: course.amplitude, harmonics, some_missing })
            });
            Some((channel, fundamental))
        });
        let ((left, left_band), (right, right_band)) = (left?, right?);
        Some(Harmonics { channels: [left, right], band: [left_band, right_band] })
    }
}

/// A figure, its expanded uncertainty, and what it lies below if it has no value; all in percent.
pub(crate) type Figure = (Option<f64>, Option<f64>, Option<f64>);

impl Channel {
    /// Amplitude of the whole tone.
    fn whole(&self) -> f64 {
        let harmonics: f64 = self.harmonics.iter().filter_map(Amplitude::detected).map(|a| a * a).sum();
        (self.fundamental.powi(2) + harmonics).sqrt()
    }

    fn order(&self, order: usize) -> Figure {
        let Some(harmonic) = self.harmonics.get(order - 2) else { return (None, None, None) };
        let percent = 100.0 / self.whole();
        match harmonic.detected() {
            Some(amplitude) => {
                let uncertainty = harmonic.uncertainty().hypot(OWN_UNCERTAINTY * amplitude);
                (Some(percent * amplitude), Some(percent * uncertainty), None)
            }
            None => (None, None, Some(percent * harmonic.limit())),
        }
    }

    /// All harmonics together: those that cannot be told from noise count as what is left of them with noise subtracted,
    /// which is nothing on average.
    fn total(&self) -> Figure {
        if self.some_missing {
            return (None, None, None);
        }
        let percent = 100.0 / self.whole();
        let limit = self.harmonics.iter().map(|a| a.limit().powi(2)).sum::<f64>().sqrt();
        if self.harmonics.iter().all(|harmonic| harmonic.detected().is_none()) {
            return (None, None, Some(percent * limit));
        }
        let amplitude = self.harmonics.iter().map(|a| a.power).sum::<f64>().max(0.0).sqrt();
        // Each harmonic moves the total in proportion to its share of it.
        let share = |a: &Amplitude| a.power.max(0.0).sqrt() / amplitude.max(1e-30);
        let squares = self.harmonics.iter().map(|a| (share(a) * a.uncertainty()).powi(2)).sum::<f64>();
        let hidden: f64 =
            self.harmonics.iter().filter(|a| a.detected().is_none()).map(|a| a.limit().powi(2)).sum();
        // What may hide adds as power.
        let hidden = (amplitude.powi(2) + hidden).sqrt() - amplitude;
        let uncertainty = squares.sqrt().hypot(hidden).hypot(OWN_UNCERTAINTY * amplitude);
        (Some(percent * amplitude), Some(percent * uncertainty), None)
    }
}

/// One step of the programme and what came back of it.
pub struct PlayedStep<'a> {
    /// Identifier of the part.
    pub part: &'a str,
    /// Frequency in the programme, Hz.
    pub hz: f64,
    /// Level in the programme, dB re its reference level.
    pub programme_db: f64,
    /// What was measured.
    pub harmonics: &'a Harmonics,
}

/// Distortion against level. `reference_dbfs` is the returned level of the programme's reference level. `None` if there are no
/// steps.
pub fn distortion(steps: &[PlayedStep<'_>], reference_dbfs: Pair) -> Option<Distortion> {
    let mut rows: Vec<DistortionStep> = steps.iter().map(row).collect();
    rows.sort_by(|a, b| a.hz.total_cmp(&b.hz).then(a.programme_db.total_cmp(&b.programme_db)));
    let count = |hz: f64| rows.iter().filter(|row| row.hz == hz).count();
    // The lowest of the frequencies with most levels.
    let main_hz = rows.iter().rev().map(|row| row.hz).max_by_key(|hz| count(*hz))?;
    let ladder: Vec<&DistortionStep> = rows.iter().filter(|row| row.hz == main_hz).collect();
    let found = [0, 1].map(|channel| maximum(&ladder, channel, reference_dbfs[channel]));
    let pick = |of: fn(&Maximum) -> Option<f64>| [0, 1].map(|k| found[k].as_ref().ok().and_then(of));
    Some(Distortion {
        relative_to: RELATIVE_TO.to_owned(),
        highest_order: steps
            .iter()
            .flat_map(|step| step.harmonics.channels.iter().flatten())
            .map(|channel| channel.harmonics.len() as u32 + 1)
            .min()
            .unwrap_or(0),
        k3_3percent_hz: main_hz,
        k3_3percent_at_db: pick(|m| Some(m.at_db)),
        k3_3percent_uncertainty_db: pick(|m| Some(m.uncertainty_db)),
        k3_3percent_output_db: pick(|m| m.output_db),
        k3_3percent_why: [0, 1].map(|k| found[k].as_ref().err().map(|why| (*why).to_owned())),
        steps: rows,
    })
}

fn row(step: &PlayedStep<'_>) -> DistortionStep {
    let figures = |of: &dyn Fn(&Channel) -> Figure| -> (Pair, Pair, Pair) {
        let both =
            [0, 1].map(|channel| step.harmonics.channels[channel].as_ref().map_or((None, None, None), of));
        (both.map(|f| f.0), both.map(|f| f.1), both.map(|f| f.2))
    };
    let level = |channel: &Channel| (Some(20.0 * channel.fundamental.log10()), None, None);
    let (k2, k2_uncertainty, k2_limit) = figures(&|channel| channel.order(2));
    let (k3, k3_uncertainty, k3_limit) = figures(&|channel| channel.order(3));
    let (k5, _, k5_limit) = figures(&|channel| channel.order(5));
    let (thd, thd_uncertainty, thd_limit) = figures(&Channel::total);
    DistortionStep {
        part: step.part.to_owned(),
        hz: step.hz,
        programme_db: step.programme_db,
        level_dbfs: figures(&level).0,
        k2_percent: k2,
        k3_percent: k3,
        k5_percent: k5,
        thd_percent: thd,
        k2_uncertainty_percent: k2_uncertainty,
        k3_uncertainty_percent: k3_uncertainty,
        thd_uncertainty_percent: thd_uncertainty,
        k2_limit_percent: k2_limit,
        k3_limit_percent: k3_limit,
        k5_limit_percent: k5_limit,
        thd_limit_percent: thd_limit,
    }
}

struct Maximum {
    at_db: f64,
    uncertainty_db: f64,
    output_db: Option<f64>,
}

/// Where K3 reaches 3 %: K3 in dB against level, straight between two steps. Or why that is not known.
fn maximum(
    ladder: &[&DistortionStep],
    channel: usize,
    reference_dbfs: Option<f64>,
) -> Result<Maximum, &'static str> {
    let told: Vec<(f64, f64, f64, f64)> = ladder
        .iter()
        .filter_map(|row| {
            let k3 = row.k3_percent[channel]?;
            let uncertainty = row.k3_uncertainty_percent[channel]? / k3;
            Some((
                row.programme_db,
                20.0 * k3.log10(),
                20.0 / 10f64.ln() * uncertainty,
                row.level_dbfs[channel]?,
            ))
        })
        .collect();
    let want_db = 20.0 * MAXIMUM_PERCENT.log10();
    let Some(first) = told.first() else {
        return Err(if ladder.iter().any(|row| row.level_dbfs[channel].is_some()) {
            "above the highest step: no third harmonic stands out of the noise"
        } else {
            "the tone was not found on this channel"
        });
    };
    if first.1 >= want_db {
        return Err("below the lowest step");
    }
    let Some(pair) = told.windows(2).find(|pair| pair[0].1 < want_db && pair[1].1 >= want_db) else {
        return Err("above the highest step");
    };
    let (low, high) = (pair[0], pair[1]);
    if high.0 - low.0 < 1e-6 {
        return Err("two steps of one level disagree");
    }
    let share = (want_db - low.1) / (high.1 - low.1);
    let slope = (high.1 - low.1) / (high.0 - low.0);
    let uncertainty_db = ((1.0 - share) * low.2).hypot(share * high.2);
    Ok(Maximum {
        at_db: low.0 + share * (high.0 - low.0),
        // A line between steps of 2 dB for a curve: 0.03 dB.
        uncertainty_db: (uncertainty_db / slope).hypot(0.03),
        output_db: reference_dbfs.map(|reference| low.3 + share * (high.3 - low.3) - reference),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::{Random, sampled, uneven_s};
    use std::f64::consts::{PI, TAU};

    /// What is done to a tone.
    #[derive(Clone, Copy)]
    struct Tone {
        rate_hz: f64,
        hz: f64,
        seconds: f64,
        amplitude: f64,
        /// K2, K3, K5 of the fundamental, percent.
        percent: [f64; 3],
        /// Peak of wow at 1.3 Hz, at 4 Hz and at 23 Hz, percent.
        flutter: f64,
        hiss: f64,
        /// Frequency, amplitude of hum.
        hum: (f64, f64),
        /// Dropouts of 8 dB, 30 ms, one each half second.
        dropouts: bool,
        seed: u64,
    }

    const PLAIN: Tone = Tone {
        rate_hz: 48_000.0,
        hz: 315.0,
        seconds: 2.9,
        amplitude: 0.25,
        percent: [0.5, 3.0, 0.4],
        flutter: 0.1,
        // 50 dB below -12 dBFS in 22.4 kHz of 24.
        hiss: 0.000_58,
        hum: (50.0, 0.0),
        dropouts: false,
        seed: 1,
    };

    fn samples(tone: &Tone) -> Vec<f64> {
        let mut random = Random(tone.seed);
        let wobble = [(1.3, 0.4), (4.0, 2.0), (23.0, 1.0)].map(|(hz, at)| (hz, tone.flutter, at));
        sampled(tone.rate_hz, (tone.seconds * tone.rate_hz) as usize, |t| {
            let angle = TAU * tone.hz * uneven_s(t, &wobble);
            let [k2, k3, k5] = tone.percent.map(|percent| percent / 100.0);
            let whole = angle.sin()
                + k2 * (2.0 * angle + 0.7).sin()
                + k3 * (3.0 * angle - 0.2).sin()
                + k5 * (5.0 * angle + 2.0).sin();
            let place = (t % 0.5 - 0.25) / 0.03;
            let lost =
                if tone.dropouts && place.abs() < 0.5 { 1.0 - 0.6 * (PI * place).cos().powi(2) } else { 1.0 };
            let (hum_hz, hum) = tone.hum;
            let hum: f64 =
                (1..=40).map(|k| hum * (TAU * hum_hz * f64::from(k) * t + f64::from(k)).sin()).sum();
            lost * tone.amplitude * whole + tone.hiss * random.even() + hum
        })
    }

    fn step(tone: &Tone) -> DistortionStep {
        let samples = samples(tone);
        let mut meter = DistortionMeter::new(tone.rate_hz, tone.hz * 1.002).unwrap();
        for block in samples.chunks(977) {
            meter.feed([block, block]);
        }
        let harmonics = meter.finish().unwrap();
        row(&PlayedStep { part: "x", hz: tone.hz, programme_db: 0.0, harmonics: &harmonics })
    }

    fn hold(tone: &Tone, share: f64, what: &str) {
        let got = step(tone);
        let whole = (1.0 + tone.percent.map(|k| (k / 100.0).powi(2)).iter().sum::<f64>()).sqrt();
        for (name, got, percent, uncertainty) in [
            ("K2", got.k2_percent, tone.percent[0], got.k2_uncertainty_percent),
            ("K3", got.k3_percent, tone.percent[1], got.k3_uncertainty_percent),
            ("K5", got.k5_percent, tone.percent[2], [None; 2]),
        ] {
            let want = percent / whole;
            let got = got[0].unwrap_or_else(|| panic!("{what}: no {name}"));
            crate::assert_within!(got, want, share * want, "%", "{what}: {name}");
            if let Some(uncertainty) = uncertainty[1] {
                crate::assert_within!(got, want, 1.5 * uncertainty, "%", "{what}: {name}, stated");
            }
        }
        let total = tone.percent.iter().map(|k| k * k).sum::<f64>().sqrt() / whole;
        crate::assert_within!(got.thd_percent[0].unwrap(), total, share * total, "%", "{what}: THD");
        crate::assert_within!(
            got.level_dbfs[0].unwrap(),
            20.0 * tone.amplitude.log10(),
            0.02,
            "dB",
            "{what}"
        );
    }

    #[test]
    fn harmonics_are_right_at_every_rate_under_flutter_and_hiss() {
        for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
            for (flutter, percent) in
                [(0.1, [0.3; 3]), (0.3, [0.5, 3.0, 0.4]), (1.0, [0.3; 3]), (0.3, [2.0, 10.0, 3.0])]
            {
                let tone = Tone { rate_hz, flutter, percent, seed: rate_hz as u64, ..PLAIN };
                hold(&tone, 0.05, &format!("{rate_hz} Hz, flutter {flutter} %, {percent:?}"));
            }
        }
    }

    #[test]
    fn other_frequencies_and_short_tones_are_right_too() {
        for (hz, seconds) in [(100.0, 3.0), (333.0, 1.5), (400.0, 2.0), (1000.0, 2.0), (3150.0, 2.0)] {
            hold(&Tone { hz, seconds, ..PLAIN }, 0.05, &format!("{hz} Hz"));
        }
    }

    #[test]
    fn hum_beside_a_harmonic_stays_outside() {
        // Every component of hum is 10 dB below the third harmonic at 0.5 %; 945 Hz lies between 900, 950 and 960 Hz.
        for mains_hz in [50.0, 60.0] {
            let tone = Tone { percent: [0.5; 3], hum: (mains_hz, 0.0004), ..PLAIN };
            // At 60 Hz the fourth harmonic lies on hum; K2, K3 and K5 do not.
            let got = step(&tone);
            let want = 0.5 / (1.0f64 + 3.0 * 0.005 * 0.005).sqrt();
            for (name, pair) in [("K2", got.k2_percent), ("K3", got.k3_percent), ("K5", got.k5_percent)] {
                crate::assert_within!(pair[0].unwrap(), want, 0.05 * want, "%", "{mains_hz} Hz: {name}");
            }
        }
    }

    #[test]
    fn hum_on_a_harmonic_is_in_the_uncertainty() {
        // The tape 0.53 % fast: 945 Hz becomes 950.
        let tone = Tone {
            hz: 315.0 * 950.0 / 945.0,
            percent: [0.5; 3],
            hum: (50.0, 0.0002),
            flutter: 0.02,
            ..PLAIN
        };
        let got = step(&tone);
        let (k3, uncertainty) = (got.k3_percent[0].unwrap(), got.k3_uncertainty_percent[0].unwrap());
        assert!(uncertainty > 0.06, "{uncertainty}");
        crate::assert_within!(k3, 0.5, uncertainty, "%");
        // As strong as the harmonic: nothing is said, but what it lies below.
        let got = step(&Tone { hum: (50.0, 0.0012), ..tone });
        assert_eq!(got.k3_percent[0], None);
        assert!(got.k3_limit_percent[0].unwrap() > 0.5);
    }

    #[test]
    fn dropouts_change_nothing() {
        hold(&Tone { dropouts: true, ..PLAIN }, 0.05, "dropouts");
    }

    #[test]
    fn what_is_lost_in_noise_has_a_limit_above_it_and_no_value() {
        for seed in 1..20 {
            let tone = Tone { percent: [0.0; 3], amplitude: 0.08, hiss: 0.002, seed, ..PLAIN };
            let got = step(&tone);
            assert_eq!((got.k2_percent, got.k3_percent, got.thd_percent), ([None; 2], [None; 2], [None; 2]));
            let limit = got.k3_limit_percent[0].unwrap();
            assert!((0.01..0.3).contains(&limit), "{limit}");
        }
    }

    #[test]
    fn silence_and_too_little_give_nothing() {
        for samples in [vec![0.0; 96_000], vec![0.1; 96_000], vec![0.2; 300], vec![]] {
            let mut meter = DistortionMeter::new(48_000.0, 315.0).unwrap();
            meter.feed([&samples, &samples]);
            let found = meter.finish();
            assert!(found.is_none_or(|found| found.channels.iter().all(Option::is_none)));
        }
        assert!(DistortionMeter::new(48_000.0, 15_000.0).is_none());
        assert!(DistortionMeter::new(48_000.0, f64::NAN).is_none());
    }

    fn ladder_of(k3: &[(f64, Option<f64>)]) -> Vec<DistortionStep> {
        let harmonics = Harmonics {
            channels: [None, None],
            band: [0, 1].map(|_| Baseband::new(48_000.0, 315.0, 90.0, 80.0).finish()),
        };
        k3.iter()
            .map(|&(programme_db, percent)| {
                let step = PlayedStep { part: "x", hz: 315.0, programme_db, harmonics: &harmonics };
                let mut row = row(&step);
                row.k3_percent = [percent; 2];
                row.k3_uncertainty_percent = [percent.map(|percent| 0.01 * percent); 2];
                row.level_dbfs = [Some(programme_db - 12.0); 2];
                row
            })
            .collect()
    }

    #[test]
    fn three_percent_is_interpolated_or_said_to_be_elsewhere() {
        // A square law: 1 % at 0 dB is 3 % at 10 lg 3 = 4.77 dB.
        let law = |db: f64| Some(10f64.powf(db / 10.0));
        let rows = ladder_of(&[(-6.0, None), (0.0, law(0.0)), (4.0, law(4.0)), (6.0, law(6.0))]);
        let rows: Vec<&DistortionStep> = rows.iter().collect();
        let found = maximum(&rows, 0, Some(-11.5)).unwrap_or_else(|why| panic!("{why}"));
        crate::assert_within!(found.at_db, 4.7712, 0.001, "dB");
        crate::assert_within!(found.output_db.unwrap(), 4.2712, 0.001, "dB");
        let why = |rows: &[&DistortionStep]| maximum(rows, 0, None).err().unwrap();
        assert_eq!(why(&rows[..3]), "above the highest step");
        assert_eq!(why(&rows[3..]), "below the lowest step");
        assert!(why(&rows[..1]).contains("no third harmonic stands out"));
    }
}
