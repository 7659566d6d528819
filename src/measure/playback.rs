//! A return as it is played to meters: stretch by stretch, with its channels put right.

use crate::capture::{Alignment, COARSE_STEP, CaptureError, Source, Stretch, extend_mended, is_sound};
use crate::measure::meter::Meter;
use crate::trade::Medium;

/// Rise and fall of tones and noises in a programme, and what the room of a deck's meters adds, s.
pub(crate) const FADE_S: f64 = 0.02;
/// Between one channel and the other lies at most this, s (a tilted head, a converter): blocks need not care.
pub(crate) const SILENCE_MARGIN_S: f64 = 0.25;

/// What the meters must be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasureOptions {
    /// Where the programme's reference level lies in its WAV, dBFS.
    pub reference_dbfs: f64,
    /// The medium; the compact cassette by default.
    pub medium: Medium,
    /// Amplitude at which each channel of the programme is clipped, full scale 1; `None` where it is not.
    pub tops: [Option<f64>; 2],
    /// Step of the samples, full scale 1; 0 where there is none to be seen.
    pub step: f64,
    /// Whether a response is to be had from the parts that serve one: where it is not, none is missed.
    pub response_expected: bool,
}

impl MeasureOptions {
    /// Whether the samples have 8 bit or less: their steps add to a sweep or a noise what nothing tells from it, and bend it.
    pub(crate) fn is_coarse(&self) -> bool {
        self.step >= COARSE_STEP
    }
}

/// A return that meters listen to.
#[derive(Clone, Copy)]
pub(crate) struct Playback<'a> {
    pub source: &'a dyn Source,
    pub alignment: &'a Alignment,
    pub options: &'a MeasureOptions,
}

impl Playback<'_> {
    pub fn rate_hz(&self) -> f64 {
        self.source.rate_hz()
    }

    /// Place of the first sample that is read of `stretch`, s of the return.
    pub fn first_s(&self, stretch: Stretch) -> f64 {
        (stretch.from_s * self.rate_hz()).floor() / self.rate_hz()
    }

    /// What a meter for `plan` says of `stretch`; `None` if there is no such meter.
    ///
    /// # Errors
    /// If the source cannot be read.
    pub fn run<M: Meter>(&self, stretch: Stretch, plan: M::Plan) -> Result<Option<M::Output>, CaptureError> {
        let Some(mut meter) = M::new(self.rate_hz(), plan) else { return Ok(None) };
        self.read(stretch, &mut |block| meter.feed(block))?;
        Ok(Some(meter.finish()))
    }

    /// Reads a stretch with channels and polarity put right. A channel that is dead or does not exist is silent; what is no
    /// number is read as 0 (the scan has counted it).
    ///
    /// # Errors
    /// If the source cannot be read.
    pub fn read(&self, stretch: Stretch, sink: &mut dyn FnMut([&[f64]; 2])) -> Result<(), CaptureError> {
        let rate_hz = self.rate_hz();
        let wiring = self.alignment.wiring;
        let there = wiring.there();
        let mut turned = [Vec::new(), Vec::new()];
        let from = (stretch.from_s * rate_hz).floor().max(0.0) as u64;
        let to = (stretch.to_s * rate_hz).floor().max(0.0) as u64;
        self.source.read(from, to, &mut |block| {
            let block = if wiring.swapped { [block[1], block[0]] } else { block };
            let mut put_right = |channel: usize| {
                turned[channel].clear();
                if !there[channel] {
                    turned[channel].resize(block[channel].len(), 0.0);
                    return true;
                }
                if !wiring.inverted[channel] && is_sound(block[channel]) {
                    return false;
                }
                extend_mended(&mut turned[channel], block[channel]);
                if wiring.inverted[channel] {
                    turned[channel].iter_mut().for_each(|x| *x = -*x);
                }
                true
            };
            let put_right = [put_right(0), put_right(1)];
            // What is right already is handed on as it is.
            sink(
                [0, 1].map(|channel| if put_right[channel] { &turned[channel][..] } else { block[channel] }),
            );
        })
    }
}
