//! The monitor switch of a deck with three heads: the source until it is switched, the tape from then on.

use super::kernel::Kernel;
use super::play::lead_s;
use super::technician::MonitorSwitch;
use super::{BLOCK_FRAMES, DeckFile, TAPE_SPEED_MM_S, ratio_of_db};

/// By how much the tape is heard later than it is recorded, s.
pub(crate) fn behind_s(file: &DeckFile) -> f64 {
    file.technician.monitor.map_or(0.0, |switch| switch.head_distance_mm / TAPE_SPEED_MM_S)
}

/// What the deck is fed, as far as the switch lets it be heard.
pub(crate) struct Source {
    kernel: Kernel,
    /// Samples of the programme, from its beginning on, until the switch.
    fed: [Vec<f64>; 2],
    gain: [f64; 2],
    /// Frames of the return at the source, and frames of the programme for one of them.
    frames: i64,
    step: f64,
}

impl Source {
    pub(crate) fn new(file: &DeckFile, programme_rate_hz: f64, rate_hz: f64) -> Option<Self> {
        let MonitorSwitch { tape_from_s, source_db, .. } = file.technician.monitor?;
        let clock = 1.0 + file.capture.clock_ppm * 1e-6;
        let until_s = lead_s(file, programme_rate_hz) + tape_from_s;
        Some(Self {
            kernel: Kernel::new(programme_rate_hz, rate_hz),
            fed: [Vec::new(), Vec::new()],
            gain: source_db.to_array().map(ratio_of_db),
            frames: (until_s * clock * rate_hz) as i64,
            step: programme_rate_hz / rate_hz / clock,
        })
    }

    /// Frame of the programme up to which a block of the return that begins at `first` hears the source.
    pub(crate) fn reach(&self, first: i64) -> i64 {
        let last = (first + BLOCK_FRAMES as i64).min(self.frames);
        (last as f64 * self.step) as i64 + self.kernel.half() as i64 + 2
    }

    pub(crate) fn feed(&mut self, block: &[Vec<f64>; 2]) {
        let most = self.reach(self.frames).max(0) as usize;
        for (fed, block) in self.fed.iter_mut().zip(block) {
            fed.extend(block.iter().take(most.saturating_sub(fed.len())));
        }
    }

    /// Puts the source in the place of the tape, in a block whose first sample is frame `first` of the return.
    pub(crate) fn replace(&self, channel: usize, block: &mut [f64], first: i64) {
        for (frame, x) in (first..self.frames).zip(block) {
            *x = self.gain[channel] * self.kernel.at(&self.fed[channel], frame as f64 * self.step);
        }
    }
}
