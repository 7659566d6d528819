//! How the sound comes, as it was told or as a header says it.

use crate::capture::source::{check_rate, choose};
use crate::capture::wav_header::WavFormat;
use crate::capture::{CaptureError, Coding};
use std::path::Path;

/// How raw samples stand in a stream without a header: frame by frame, little-endian.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RawFormat {
    /// Sample rate, Hz.
    pub rate_hz: u32,
    /// Channels of a frame.
    pub channels: u16,
    /// The coding of each sample.
    pub coding: Coding,
}

/// What comes.
#[derive(Debug, Clone, PartialEq)]
pub struct LiveFormat {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Channels that come in; a single one is heard on both sides.
    pub channels: usize,
    /// In words, such as `WAV, 48000 Hz, 16 bit, stereo`.
    pub words: String,
}

impl LiveFormat {
    /// `kind` and `depth` in words; `chosen`: the two channels, counted from 0.
    pub(super) fn new(kind: &str, rate_hz: f64, depth: &str, channels: usize, chosen: [usize; 2]) -> Self {
        let places = match (channels, chosen) {
            (1, _) => "mono, on both sides".to_owned(),
            (2, [0, 1]) => "stereo".to_owned(),
            (_, [left, right]) if left == right => {
                format!("channel {} of {channels} on both sides", left + 1)
            }
            (_, [left, right]) => {
                format!("channels {} and {} of {channels} as left and right", left + 1, right + 1)
            }
        };
        Self { rate_hz, channels, words: format!("{kind}, {rate_hz} Hz, {depth}, {places}") }
    }
}

/// How the bytes of a stream become samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Layout {
    pub rate_hz: u32,
    pub coding: Coding,
    pub channels: usize,
    pub frame_bytes: usize,
    pub chosen: [usize; 2],
}

impl Layout {
    /// Of raw samples.
    pub fn raw(path: &Path, raw: RawFormat, choice: Option<[usize; 2]>) -> Result<Self, CaptureError> {
        let channels = usize::from(raw.channels);
        let frame_bytes = channels * raw.coding.bytes();
        let format = WavFormat { coding: raw.coding, channels, rate_hz: raw.rate_hz, frame_bytes };
        Self::wav(path, format, choice)
    }

    /// Behind a WAV header.
    pub fn wav(path: &Path, format: WavFormat, choice: Option<[usize; 2]>) -> Result<Self, CaptureError> {
        let WavFormat { coding, channels, rate_hz, frame_bytes } = format;
        check_rate(path, f64::from(rate_hz))?;
        let chosen = choose(path, choice, channels)?;
        Ok(Self { rate_hz, coding, channels, frame_bytes, chosen })
    }

    /// As the listener sees it.
    pub fn live(&self, kind: &str) -> LiveFormat {
        let rate_hz = f64::from(self.rate_hz);
        LiveFormat::new(kind, rate_hz, &self.coding.depth(), self.channels, self.chosen)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_format_is_said_in_words() {
        let words = |channels, chosen| LiveFormat::new("WAV", 48_000.0, "16 bit", channels, chosen).words;
        assert_eq!(words(2, [0, 1]), "WAV, 48000 Hz, 16 bit, stereo");
        assert_eq!(words(1, [0, 0]), "WAV, 48000 Hz, 16 bit, mono, on both sides");
        assert_eq!(words(6, [2, 3]), "WAV, 48000 Hz, 16 bit, channels 3 and 4 of 6 as left and right");
        assert_eq!(words(2, [1, 0]), "WAV, 48000 Hz, 16 bit, channels 2 and 1 of 2 as left and right");
        assert_eq!(words(2, [1, 1]), "WAV, 48000 Hz, 16 bit, channel 2 of 2 on both sides");
    }

    #[test]
    fn raw_formats_at_which_nothing_can_be_measured_are_refused() {
        let layout = |rate_hz, channels, choice| {
            let raw = RawFormat { rate_hz, channels, coding: Coding::Int24 };
            Layout::raw(Path::new("standard input"), raw, choice).map_err(|error| error.to_string())
        };
        assert_eq!(layout(48_000, 2, None).unwrap().frame_bytes, 6);
        assert!(layout(8_000, 2, None).unwrap_err().starts_with("standard input: sample rate 8000 Hz"));
        assert!(layout(48_000, 4, None).unwrap_err().contains("has 4 channels"));
        assert!(layout(48_000, 0, None).unwrap_err().contains("has 0 channels"));
        assert!(layout(48_000, 4, Some([0, 4])).unwrap_err().contains("channel 5 was asked for"));
    }
}
