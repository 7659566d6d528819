//! Difference-frequency distortion of two high tones: what a tape near saturation makes of treble, where harmonics lie
//! beyond hearing and beyond the deck's response.

use crate::measure::distortion::harmonics::{Figure, OWN_UNCERTAINTY};
use crate::measure::meter::Meter;
use crate::measure::tone::follow::{Amplitude, Course, follow};
use crate::reading::{Intermodulation, IntermodulationStep, Pair};
use crate::signal::baseband::{Band, Baseband};
use crate::trade::sound_card::top_hz;

/// What the percentages are of.
pub const RELATIVE_TO: &str = "the sum of the amplitudes of both tones as returned (difference-frequency distortion \
    after IEC 60268-3, from memory, with tones further apart than its 80 Hz, for flutter's sake); the deck's response \
    is not subtracted";
/// Tones closer than this cannot be told apart under flutter, Hz.
const LEAST_APART_HZ: f64 = 150.0;

/// Follows two tones of one part, and the tones that distortion makes of them, in both channels.
pub struct TwinToneMeter {
    /// f1, f2, then the products.
    channels: [Vec<Baseband>; 2],
}

/// What was found of two tones and their products.
#[derive(Debug, Clone)]
pub struct TwinTone {
    channels: [Option<Products>; 2],
}

/// Amplitudes of one channel.
#[derive(Debug, Clone, Copy)]
struct Products {
    tones: [f64; 2],
    /// f2 - f1.
    second: Amplitude,
    /// 2 f1 - f2 and, if the sample rate has room, 2 f2 - f1.
    third: [Option<Amplitude>; 2],
}

impl Meter for TwinToneMeter {
    /// Frequencies that are expected in the return, within 1 %, the lower first, Hz.
    type Plan = [f64; 2];
    type Output = TwinTone;

    /// `None` if they are closer than 150 Hz, further apart than an octave, or too high for the rate.
    fn new(rate_hz: f64, expected_hz: [f64; 2]) -> Option<Self> {
        let [low_hz, high_hz] = expected_hz;
        let apart_hz = high_hz - low_hz;
        if !(apart_hz >= LEAST_APART_HZ && high_hz < 2.0 * low_hz - LEAST_APART_HZ) {
            return None;
        }
        // Neither tone may be in the other's band, nor 0 Hz in that of the difference.
        let flat_hz = (0.3 * apart_hz).min(0.02 * high_hz + 100.0);
        let transition_hz = (0.25 * apart_hz).min(150.0);
        let room = |hz: f64| hz * 1.01 + flat_hz + transition_hz < 0.49 * rate_hz && hz <= top_hz(rate_hz);
        if !room(high_hz) {
            return None;
        }
        let mut all_hz = vec![low_hz, high_hz, apart_hz, low_hz - apart_hz];
        if room(high_hz + apart_hz) {
            all_hz.push(high_hz + apart_hz);
        }
        let bands = || Baseband::together(rate_hz, &all_hz, flat_hz, transition_hz);
        Some(Self { channels: [bands(), bands()] })
    }

    fn feed(&mut self, block: [&[f64]; 2]) {
        for (bands, samples) in self.channels.iter_mut().zip(block) {
            bands.iter_mut().for_each(|band| band.feed(samples));
        }
    }

    /// The tones and their products; a channel without both tones has none.
    fn finish(self) -> TwinTone {
        TwinTone { channels: self.channels.map(|bands| products(bands.into_iter().map(Baseband::finish))) }
    }
}

fn products(mut bands: impl Iterator<Item = Band>) -> Option<Products> {
    let (low, high) = (Course::new(&bands.next()?)?, Course::new(&bands.next()?)?);
    let second = follow(&bands.next()?, &[(1, &high), (-1, &low)])?;
    let below = follow(&bands.next()?, &[(2, &low), (-1, &high)]);
    let above = bands.next().and_then(|band| follow(&band, &[(2, &high), (-1, &low)]));
    Some(Products { tones: [low.amplitude, high.amplitude], second, third: [below, above] })
}

impl Products {
    fn reference(&self) -> f64 {
        self.tones[0] + self.tones[1]
    }

    /// Amplitudes added; where one of several cannot be told from noise, its limit is uncertain.
    fn figure(&self, parts: &[Amplitude]) -> Figure {
        let percent = 100.0 / self.reference();
        let told: Vec<f64> = parts.iter().filter_map(Amplitude::detected).collect();
        let limit: f64 = parts.iter().map(Amplitude::limit).sum();
        if told.is_empty() {
            return (None, None, (limit > 0.0).then_some(percent * limit));
        }
        let amplitude: f64 = told.iter().sum();
        let squares: f64 = parts
            .iter()
            .map(|part| if part.detected().is_some() { part.uncertainty() } else { part.limit() }.powi(2))
            .sum();
        (Some(percent * amplitude), Some(percent * squares.sqrt().hypot(OWN_UNCERTAINTY * amplitude)), None)
    }

    fn third(&self) -> Figure {
        match self.third {
            // Both or nothing: half of a sum is not the sum.
            [Some(below), Some(above)] => self.figure(&[below, above]),
            _ => (None, None, None),
        }
    }
}

/// One twin tone of the programme and what came back of it.
pub struct PlayedTwin<'a> {
    /// Identifier of the part.
    pub part: &'a str,
    /// Frequencies in the programme, the lower first, Hz.
    pub hz: [f64; 2],
    /// Level in the programme, dB re its reference level.
    pub programme_db: f64,
    /// What was measured.
    pub twin: &'a TwinTone,
}

/// Difference-frequency distortion against level; `None` if there are no steps.
pub fn intermodulation(steps: &[PlayedTwin<'_>]) -> Option<Intermodulation> {
    let mut rows: Vec<IntermodulationStep> = steps.iter().map(row).collect();
    rows.sort_by(|a, b| a.hz[0].total_cmp(&b.hz[0]).then(a.programme_db.total_cmp(&b.programme_db)));
    (!rows.is_empty()).then(|| Intermodulation { relative_to: RELATIVE_TO.to_owned(), steps: rows })
}

fn row(step: &PlayedTwin<'_>) -> IntermodulationStep {
    let figures = |of: &dyn Fn(&Products) -> Figure| -> (Pair, Pair, Pair) {
        let both = [0, 1].map(|channel| step.twin.channels[channel].as_ref().map_or((None, None, None), of));
        (both.map(|f| f.0), both.map(|f| f.1), both.map(|f| f.2))
    };
    let (second, second_uncertainty, second_limit) = figures(&|p| p.figure(&[p.second]));
    let (third, third_uncertainty, third_limit) = figures(&Products::third);
    IntermodulationStep {
        part: step.part.to_owned(),
        hz: step.hz,
        programme_db: step.programme_db,
        level_dbfs: figures(&|p| (Some(20.0 * p.reference().log10()), None, None)).0,
        second_percent: second,
        third_percent: third,
        second_uncertainty_percent: second_uncertainty,
        third_uncertainty_percent: third_uncertainty,
        second_limit_percent: second_limit,
        third_limit_percent: third_limit,
    }
}
