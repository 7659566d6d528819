//! The first pass over a return: chirps and health of both channels, in blocks.
//!
//! One thread decodes, and each channel is searched in another.

use super::chirps::{Chirp, ChirpFinder};
use super::health::{Health, HealthMeter};
use super::{CaptureError, Source, extend_mended};
use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::mpsc::sync_channel;

/// Samples in larger steps than this have 8 bit or less, full scale 1.
pub(crate) const COARSE_STEP: f64 = 1.0 / 256.0;
/// Below this rate no clicks are counted, Hz: a treble tone that begins bends within as few samples.
const CLICKS_FROM_HZ: f64 = 30_000.0;

/// What the first pass over a return finds.
#[derive(Debug, Clone)]
pub struct Scan {
    /// Chirps of channels 0 and 1.
    pub chirps: [Vec<Chirp>; 2],
    /// Peaks and clipping of channels 0 and 1.
    pub health: [Health; 2],
    /// Step of which all samples are multiples, full scale 1; 0 where they are finer than 24 bit.
    pub step: f64,
    /// Every sample of both channels was the same.
    pub identical: bool,
    /// Frames that came out: fewer than the header promised if the file is cut off.
    pub frames: u64,
    /// Samples of both channels that were no numbers or more than 60 dB over full scale; they are read as 0.
    pub broken_samples: u64,
}

impl Scan {
    /// Where left and right are clipped, full scale 1; `swapped` if they are exchanged in the file.
    pub fn tops(&self, swapped: bool) -> [Option<f64>; 2] {
        let [left, right] =
            [0, 1].map(|channel| self.health[channel].top.filter(|_| !self.is_stepped(channel)));
        if swapped { [right, left] } else { [left, right] }
    }

    /// Clicks of both channels; what stands in both alike counts once.
    pub fn clicks(&self) -> u64 {
        let [left, right] = [0, 1].map(|channel| self.health[channel].clicks);
        if self.identical { left } else { left + right }
    }

    /// Tells no clicks: what was recorded bends as steeply itself.
    pub fn forget_clicks(&mut self) {
        self.health.iter_mut().for_each(|health| health.clicks = 0);
    }

    /// Whether the samples have 8 bit or less, whatever the file's format says.
    pub fn is_coarse(&self) -> bool {
        self.step >= COARSE_STEP
    }

    /// Whether the steps of 8 bit look like clipping by themselves: they do below full scale.
    pub fn is_stepped(&self, channel: usize) -> bool {
        self.is_coarse() && self.health[channel].peak < 0.99
    }
}

/// Bits behind the point of a sample of 24 bit.
const FINEST: i32 = 23;
/// What is added to a number to have it whole: 2^52.
const WHOLE: f64 = 4_503_599_627_370_496.0;

/// Which bits of the samples are used at all.
#[derive(Default)]
struct Steps {
    bits: u64,
    finer: bool,
}

impl Steps {
    fn feed(&mut self, samples: &[f64]) {
        if self.finer {
            return;
        }
        let (mut bits, mut behind_the_point) = (0, 0);
        for x in samples {
            let scaled = x.abs() * f64::from(1 << FINEST);
            // Whole numbers are the last bits of the sum.
            let whole = scaled + WHOLE;
            behind_the_point |= u64::from(whole - WHOLE != scaled);
            bits |= whole.to_bits();
        }
        self.bits |= bits & ((1 << 52) - 1);
        self.finer |= behind_the_point != 0;
    }

    fn step(&self) -> f64 {
        let seen = !self.finer && self.bits != 0;
        if seen { 2f64.powi(self.bits.trailing_zeros() as i32 - FINEST) } else { 0.0 }
    }
}

/// Blocks that wait for each channel at most.
const IN_FLIGHT: usize = 4;

/// Reads `source` once, from start to end; the channels are searched in parallel.
///
/// # Errors
/// If the source cannot be read.
pub fn scan(source: &dyn Source) -> Result<Scan, CaptureError> {
    let rate_hz = source.rate_hz();
    let mut identical = true;
    let (mut frames, mut broken_samples) = (0, 0);
    let work = |blocks: std::sync::mpsc::Receiver<Arc<[Vec<f64>; 2]>>, channel: usize| {
        let mut finder = ChirpFinder::new(rate_hz);
        let mut health = HealthMeter::default();
        let mut steps = Steps::default();
        for block in blocks {
            finder.feed(&block[channel]);
            health.feed(&block[channel]);
            steps.feed(&block[channel]);
        }
        (finder.finish(), health.finish(), steps.step())
    };
    std::thread::scope(|scope| {
        let (left, left_blocks) = sync_channel(IN_FLIGHT);
        let (right, right_blocks) = sync_channel(IN_FLIGHT);
        let left_work = scope.spawn(move || work(left_blocks, 0));
        let right_work = scope.spawn(move || work(right_blocks, 1));
        // Blocks are used again, so that no fresh memory is asked for all the time.
        let mut sent: VecDeque<Arc<[Vec<f64>; 2]>> = VecDeque::new();
        let outcome = source.read(0, u64::MAX, &mut |block| {
            // Behind those that wait there is one in work; what came before it is done with.
            let used = (sent.len() > IN_FLIGHT + 1).then(|| sent.pop_front()).flatten();
            let mut mended = used.and_then(Arc::into_inner).unwrap_or_default();
            mended.iter_mut().for_each(Vec::clear);
            broken_samples += extend_mended(&mut mended[0], block[0]);
            broken_samples += extend_mended(&mut mended[1], block[1]);
            frames += block[0].len() as u64;
            identical = identical && mended[0] == mended[1];
            let block = Arc::new(mended);
            sent.push_back(Arc::clone(&block));
            // A worker that is gone has panicked; its join below says so.
            let _ = left.send(Arc::clone(&block));
            let _ = right.send(block);
        });
        drop((left, right));
        let left = left_work.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        let right = right_work.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        outcome?;
        let mut scan = Scan {
            chirps: [left.0, right.0],
            health: [left.1, right.1],
            // A channel without a signal has no step.
            step: if left.2 == 0.0 || right.2 == 0.0 { left.2.max(right.2) } else { left.2.min(right.2) },
            identical,
            frames,
            broken_samples,
        };
        if rate_hz < CLICKS_FROM_HZ {
            scan.forget_clicks();
        }
        Ok(scan)
    })
}
