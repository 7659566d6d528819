//! Where samples come from: a file on disk, or memory.

use super::CaptureError;
use std::path::Path;

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

/// Largest sample that is believed, full scale 1: 60 dB over full scale. Files of floating-point samples can hold
/// anything.
const LARGEST: f64 = 1000.0;

/// Whether nothing in `samples` needs mending.
pub(crate) fn is_sound(samples: &[f64]) -> bool {
    broken(samples) == 0
}

fn broken(samples: &[f64]) -> u64 {
    // NaN is not within anything.
    samples.iter().map(|&x| u64::from(!(x.abs() <= LARGEST))).sum()
}

/// Appends `samples` to `out`, with 0 in place of what is no number or absurdly large, and returns how many were so.
pub(crate) fn extend_mended(out: &mut Vec<f64>, samples: &[f64]) -> u64 {
    let broken = broken(samples);
    if broken == 0 {
        out.extend_from_slice(samples);
    } else {
        out.extend(samples.iter().map(|&x| if x.abs() <= LARGEST { x } else { 0.0 }));
    }
    broken
}

/// Lowest and highest sample rate that are read, Hz. The lowest leaves the slates, which reach to 3.2 kHz, whole at any speed of a
/// deck, and the flutter tone; 8 kHz does not.
const RATES_HZ: (f64, f64) = (11_000.0, 384_000.0);

/// Whether a recording at this sample rate is read; what is no number is not.
pub(crate) fn is_read(rate_hz: f64) -> bool {
    (RATES_HZ.0..=RATES_HZ.1).contains(&rate_hz)
}

/// Refuses a sample rate at which nothing can be measured, or that is no number.
///
/// # Errors
/// [`CaptureError::Rate`] naming `path`.
pub(crate) fn check_rate(path: &Path, rate_hz: f64) -> Result<(), CaptureError> {
    if is_read(rate_hz) { Ok(()) } else { Err(CaptureError::Rate { path: path.to_owned(), rate_hz }) }
}

/// The two of `found` channels that are read, counted from 0: those of `choice`, else both; of one channel twice that.
///
/// # Errors
/// [`CaptureError::Channels`] where two must be named, [`CaptureError::NoSuchChannel`].
pub(crate) fn choose(
    path: &Path,
    choice: Option<[usize; 2]>,
    found: usize,
) -> Result<[usize; 2], CaptureError> {
    match (choice, found) {
        (None, 1) => Ok([0, 0]),
        (None, 2) => Ok([0, 1]),
        (None, found) => Err(CaptureError::Channels { path: path.to_owned(), found }),
        (Some(choice), found) => match choice.iter().find(|&&channel| channel >= found) {
            Some(&asked) => {
                Err(CaptureError::NoSuchChannel { path: path.to_owned(), found, asked: asked + 1 })
            }
            None => Ok(choice),
        },
    }
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
