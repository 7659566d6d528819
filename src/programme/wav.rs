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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::programme::Recipe;

    fn timeline() -> Timeline {
        let text = r#"
            name = "test"
            title = "Test"
            [[part]]
            kind = "slate"
            [[part]]
            kind = "tone"
            id = "level"
            hz = 315
            level_db = 0
            length_s = 0.5
            serves = "nothing"
        "#;
        Timeline::from(&Recipe::parse(text, "test.toml").unwrap())
    }

    fn read<S: hound::Sample>(path: &Path) -> (WavSpec, Vec<S>) {
        let reader = hound::WavReader::open(path).unwrap();
        (reader.spec(), reader.into_samples().map(Result::unwrap).collect())
    }

    /// The programme as rendered, left and right in turn.
    fn rendered(rate_hz: u32) -> Vec<f64> {
        let timeline = timeline();
        let [left, right] = Renderer::new(&timeline, rate_hz, -12.0).unwrap().collect();
        left.into_iter().zip(right).flat_map(|(l, r)| [l, r]).collect()
    }

    #[test]
    fn every_depth_holds_the_programme_to_its_last_step() {
        let folder = tempfile::tempdir().unwrap();
        for rate_hz in [44_100, 96_000] {
            let want = rendered(rate_hz);
            for depth in [Depth::Sixteen, Depth::TwentyFour, Depth::Float] {
                let path = folder.path().join(format!("{rate_hz} {depth}.wav"));
                let frames = write_wav(&timeline(), rate_hz, depth, -12.0, &path, Overwrite::Refuse).unwrap();
                assert_eq!(frames as usize * 2, want.len());
                // Half a step of rounding; the dither of 16 bit adds one step.
                let (spec, got, step): (_, Vec<f64>, f64) = match depth {
                    Depth::Float => {
                        let (spec, samples) = read::<f32>(&path);
                        (spec, samples.into_iter().map(f64::from).collect(), 1.2e-7)
                    }
                    _ => {
                        let (spec, samples) = read::<i32>(&path);
                        let full = 2f64.powi(i32::from(spec.bits_per_sample) - 1);
                        let steps = if depth == Depth::Sixteen { 1.5 } else { 0.5 };
                        let samples = samples.into_iter().map(|x| f64::from(x) / full).collect();
                        (spec, samples, steps / full * 1.000_001)
                    }
                };
                assert_eq!((spec.channels, spec.sample_rate), (2, rate_hz));
                assert_eq!(u64::from(spec.bits_per_sample), 8 * depth.bytes());
                assert_eq!(got.len(), want.len());
                for (n, (got, want)) in got.iter().zip(&want).enumerate() {
                    assert_within!(*got, *want, step, "", "{depth}, sample {n}");
                }
            }
        }
    }

    #[test]
    fn sixteen_bit_files_are_dithered_and_always_the_same() {
        let folder = tempfile::tempdir().unwrap();
        let write = |name: &str| {
            let path = folder.path().join(name);
            write_wav(&timeline(), 44_100, Depth::Sixteen, -12.0, &path, Overwrite::Refuse).unwrap();
            std::fs::read(path).unwrap()
        };
        assert_eq!(write("a.wav"), write("b.wav"));
        // The gap at the end is silent but for the dither.
        let (_, samples) = read::<i16>(&folder.path().join("a.wav"));
        let gap = &samples[samples.len() - 8_000..];
        assert!(gap.iter().any(|&x| x != 0) && gap.iter().all(|&x| x.abs() <= 1));
    }

    #[test]
    fn refuses_to_overwrite_without_force_and_before_the_work() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.wav");
        std::fs::write(&path, "mine").unwrap();
        let write = |overwrite| write_wav(&timeline(), 44_100, Depth::Sixteen, -12.0, &path, overwrite);
        let message = write(Overwrite::Refuse).unwrap_err().to_string();
        assert!(message.contains("a.wav") && message.contains("exists"), "{message}");
        assert_eq!(std::fs::read(&path).unwrap(), b"mine");
        write(Overwrite::Force).unwrap();
        assert!(std::fs::metadata(&path).unwrap().len() > 100_000);
    }

    #[test]
    fn an_unfinished_file_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.wav");
        let mut sink = WavSink::create(&path, 48_000, Depth::Float, 2, Overwrite::Refuse).unwrap();
        sink.feed(&[[0.5; 2]]).unwrap();
        drop(sink);
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    }

    #[test]
    fn a_file_beyond_4_gib_is_refused_before_it_is_begun() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.wav");
        for (depth, bytes) in [(Depth::Sixteen, 4), (Depth::TwentyFour, 6), (Depth::Float, 8)] {
            let frames = u64::from(u32::MAX) / bytes;
            let refused = WavSink::create(&path, 96_000, depth, frames, Overwrite::Refuse).err().unwrap();
            assert!(matches!(refused, ProgrammeError::TooLarge { .. }), "{refused}");
            WavSink::create(&path, 96_000, depth, frames - 40, Overwrite::Refuse).map(drop).unwrap();
        }
        let refused = WavSink::create(&path, 96_000, Depth::Float, u64::MAX, Overwrite::Refuse);
        assert!(matches!(refused, Err(ProgrammeError::TooLarge { .. })));
    }

    #[test]
    fn what_goes_beyond_full_scale_is_cut_off_not_wrapped() {
        let folder = tempfile::tempdir().unwrap();
        for depth in [Depth::Sixteen, Depth::TwentyFour] {
            let path = folder.path().join(format!("{depth}.wav"));
            let mut sink = WavSink::create(&path, 48_000, depth, 2, Overwrite::Refuse).unwrap();
            sink.feed(&[[1.5, -1.5], [f64::INFINITY, f64::NAN]]).unwrap();
            assert_eq!(sink.finish().unwrap(), 2);
            let (spec, samples) = read::<i32>(&path);
            let full = 1i32 << (spec.bits_per_sample - 1);
            assert_eq!(samples, [full - 1, -full, full - 1, 0]);
        }
    }
}
