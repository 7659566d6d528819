//! WAV files, written block by block.

use super::{NewFile, Overwrite, ProgrammeError, Renderer, Timeline};
use crate::signal::dither::Dither;
use hound::{SampleFormat, WavSpec, WavWriter};
use std::fs::File;
use std::io::BufWriter;
use std::path::Path;

/// Largest WAV file, bytes: its lengths are 32-bit numbers.
const MAX_BYTES: u64 = u32::MAX as u64;
/// More than any header that is written here, bytes.
const HEADER_BYTES: u64 = 128;
/// Which dither; frozen.
const DITHER_SEED: u64 = 16;
/// Frames rendered at a time.
const BLOCK_FRAMES: usize = 8192;

/// What a sample of a WAV file is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Depth {
    /// 16-bit whole numbers, with dither.
    Sixteen,
    /// 24-bit whole numbers, rounded.
    TwentyFour,
    /// 32-bit floating point.
    Float,
}

impl Depth {
    /// Bytes of one sample.
    pub fn bytes(self) -> u64 {
        match self {
            Depth::Sixteen => 2,
            Depth::TwentyFour => 3,
            Depth::Float => 4,
        }
    }
}

impl std::fmt::Display for Depth {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Depth::Sixteen => "16 bit",
            Depth::TwentyFour => "24 bit",
            Depth::Float => "32 bit floating point",
        })
    }
}

/// A stereo WAV file that is being written: fed blocks, then finished. Dropped unfinished, it leaves nothing behind.
///
/// Full scale +-1 is 2^15 or 2^23 steps; what goes beyond is cut off. Not a number becomes 0.
pub struct WavSink {
    file: NewFile,
    writer: WavWriter<BufWriter<File>>,
    depth: Depth,
    dither: Dither,
    frames: u64,
}

impl WavSink {
    /// Begins a file of about `frames` frames at `rate_hz`; more may follow as long as a WAV file can hold them.
    ///
    /// # Errors
    ///
    /// [`ProgrammeError::TooLarge`], [`ProgrammeError::Exists`] or [`ProgrammeError::Unwritable`].
    pub fn create(
        path: &Path,
        rate_hz: u32,
        depth: Depth,
        frames: u64,
        overwrite: Overwrite,
    ) -> Result<Self, ProgrammeError> {
        check_size(path, frames, depth)?;
        let file = NewFile::create(path, overwrite)?;
        let (bits_per_sample, sample_format) = match depth {
            Depth::Sixteen => (16, SampleFormat::Int),
            Depth::TwentyFour => (24, SampleFormat::Int),
            Depth::Float => (32, SampleFormat::Float),
        };
        let spec = WavSpec { channels: 2, sample_rate: rate_hz, bits_per_sample, sample_format };
        let handle = BufWriter::with_capacity(1 << 18, file.handle()?);
        let writer = WavWriter::new(handle, spec).map_err(|error| unwritable(path, error))?;
        Ok(Self { file, writer, depth, dither: Dither::new(DITHER_SEED), frames: 0 })
    }

    /// Writes the next frames `[left, right]`.
    ///
    /// # Errors
    ///
    /// [`ProgrammeError::TooLarge`] or [`ProgrammeError::Unwritable`].
    pub fn feed(&mut self, block: &[[f64; 2]]) -> Result<(), ProgrammeError> {
        let frames = self.frames + block.len() as u64;
        check_size(self.file.path(), frames, self.depth)?;
        for &sample in block.as_flattened() {
            let written = match self.depth {
                Depth::Sixteen => {
                    let steps = (sample * 32_768.0 + self.dither.step()).round();
                    // `as` cuts off at the limits and makes 0 of what is not a number.
                    self.writer.write_sample(steps as i16)
                }
                Depth::TwentyFour => {
                    let steps = (sample * 8_388_608.0).round().clamp(-8_388_608.0, 8_388_607.0);
                    self.writer.write_sample(steps as i32)
                }
                Depth::Float => self.writer.write_sample(if sample.is_nan() { 0.0 } else { sample as f32 }),
            };
            written.map_err(|error| unwritable(self.file.path(), error))?;
        }
        self.frames = frames;
        Ok(())
    }

    /// Completes the file and puts it in its place; returns its length, frames.
    ///
    /// # Errors
    ///
    /// [`ProgrammeError::Exists`] or [`ProgrammeError::Unwritable`].
    pub fn finish(self) -> Result<u64, ProgrammeError> {
        let Self { file, writer, frames, .. } = self;
        writer.finalize().map_err(|error| unwritable(file.path(), error))?;
        file.keep()?;
        Ok(frames)
    }
}

/// Renders a programme into a WAV file; returns its length, frames.
///
/// `rate_hz` is 44 100, 48 000 or 96 000; 0 dB of the programme lies at `reference_dbfs` (usually -12).
///
/// # Errors
///
/// What [`Renderer::new`] and [`WavSink`] return. Nothing is left behind then.
pub fn write_wav(
    timeline: &Timeline,
    rate_hz: u32,
    depth: Depth,
    reference_dbfs: f64,
    path: &Path,
    overwrite: Overwrite,
) -> Result<u64, ProgrammeError> {
    let mut renderer = Renderer::new(timeline, rate_hz, reference_dbfs)?;
    let mut sink = WavSink::create(path, rate_hz, depth, renderer.frames(), overwrite)?;
    let mut block = vec![[0.0; 2]; BLOCK_FRAMES];
    loop {
        let count = renderer.fill(&mut block);
        if count == 0 {
            return sink.finish();
        }
        sink.feed(&block[..count])?;
    }
}

/// The writer itself wraps its lengths without a word, so the size is checked here.
fn check_size(path: &Path, frames: u64, depth: Depth) -> Result<(), ProgrammeError> {
    let bytes = frames.saturating_mul(2 * depth.bytes()).saturating_add(HEADER_BYTES);
    if bytes > MAX_BYTES {
        return Err(ProgrammeError::TooLarge { file: path.into(), bytes, limit: MAX_BYTES });
    }
    Ok(())
}

fn unwritable(path: &Path, error: hound::Error) -> ProgrammeError {
    let source = match error {
        hound::Error::IoError(source) => source,
        other => std::io::Error::other(other),
    };
    ProgrammeError::Unwritable { file: path.into(), source }
}
