//! Where samples come from: a file on disk, or memory.

use super::CaptureError;

/// A stereo recording that can be read again and again, from several threads.
pub trait Source: Sync {
    /// Sample rate, Hz.
    fn rate_hz(&self) -> f64;

    /// Frames (samples of one channel).
    fn frames(&self) -> u64;

    /// Reads frames `from..to` and hands them on as blocks `[left, right]` in order.
    ///
    /// Frames before the start or behind the end do not exist and are left out.
    ///
    /// # Errors
    /// If the file cannot be read or decoded.
    fn read(&self, from: u64, to: u64, sink: &mut dyn FnMut([&[f64]; 2])) -> Result<(), CaptureError>;
}

/// A recording in memory.
#[derive(Debug, Clone)]
pub struct InMemory {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// `[left, right]`, of equal length.
    pub channels: [Vec<f64>; 2],
}

impl Source for InMemory {
    fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    fn frames(&self) -> u64 {
        self.channels[0].len().min(self.channels[1].len()) as u64
    }

    fn read(&self, from: u64, to: u64, sink: &mut dyn FnMut([&[f64]; 2])) -> Result<(), CaptureError> {
        let end = to.min(self.frames()) as usize;
        let mut at = from.min(end as u64) as usize;
        while at < end {
            let next = (at + 16_384).min(end);
            sink([&self.channels[0][at..next], &self.channels[1][at..next]]);
            at = next;
        }
        Ok(())
    }
}
