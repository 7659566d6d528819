//! WAV files, written block by block.
//!
//! Programmes are written by another library than returns are read by: the decoder takes WAV with any header, FLAC and
//! AIFF; the writer is the smaller one.

use super::own::WAV_MARK;
use super::{NewFile, Overwrite, ProgrammeError, Renderer, Timeline};
use crate::signal::dither::Dither;
use hound::{SampleFormat, WavSpec, WavWriter};
use std::fs::File;
use std::io::BufWriter;
use std::io::Seek;
use std::io::SeekFrom;
use std::io::Write;
use std::path::Path;
use std::sync::mpsc::{channel, sync_channel};

/// Largest WAV file, bytes: its lengths are 32-bit numbers.
const MAX_BYTES: u64 = u32::MAX as u64;
/// More than any header and mark that are written here, bytes.
const HEADER_BYTES: u64 = 128;
/// Which dither; frozen.
const DITHER_SEED: u64 = 16;
/// Frames rendered at a time.
const BLOCK_FRAMES: usize = 8192;
/// Rendered blocks that wait to be written at most.
const IN_FLIGHT: usize = 4;

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
        let samples = block.as_flattened().iter();
        let written = match self.depth {
            Depth::Sixteen => {
                let mut writer = self.writer.get_i16_writer(2 * block.len() as u32);
                for sample in samples {
                    writer.write_sample(steps(sample * 32_768.0 + self.dither.step(), 1 << 15) as i16);
                }
                writer.flush()
            }
            Depth::TwentyFour => {
                samples.copied().try_for_each(|x| self.writer.write_sample(steps(x * 8_388_608.0, 1 << 23)))
            }
            Depth::Float => samples
                .copied()
                .try_for_each(|x| self.writer.write_sample(if x.is_nan() { 0.0 } else { x as f32 })),
        };
        written.map_err(|error| unwritable(self.file.path(), error))?;
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
        mark(file.handle()?).map_err(|error| unwritable(file.path(), error.into()))?;
        file.keep()?;
        Ok(frames)
    }
}

/// Adds the chunk that says who wrote the file, behind the samples: what comes before them may be played.
fn mark(mut file: File) -> std::io::Result<()> {
    let length = file.seek(SeekFrom::End(0))?;
    file.write_all(WAV_MARK)?;
    file.seek(SeekFrom::Start(4))?;
    // `check_size` has left room; a RIFF counts from behind its own length.
    file.write_all(&((length + WAV_MARK.len() as u64 - 8) as u32).to_le_bytes())
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
    // One thread renders while the other writes; what is written goes back to be filled again.
    std::thread::scope(|scope| {
        let (full, to_write) = sync_channel::<Vec<[f64; 2]>>(IN_FLIGHT);
        let (empty, to_fill) = channel::<Vec<[f64; 2]>>();
        let rendering = scope.spawn(move || {
            loop {
                let mut block = to_fill.try_recv().unwrap_or_default();
                block.resize(BLOCK_FRAMES, [0.0; 2]);
                let count = renderer.fill(&mut block);
                block.truncate(count);
                // A writer that is gone has failed, and says so itself.
                if count == 0 || full.send(block).is_err() {
                    return;
                }
            }
        });
        for block in to_write {
            sink.feed(&block)?;
            // At the end nobody fills it again.
            let _ = empty.send(block);
        }
        // Half a programme is none.
        rendering.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        sink.finish()
    })
}

/// `x` rounded, halves away from 0, and cut off at -`limit` and `limit` - 1; 0 for what is not a number.
fn steps(x: f64, limit: i32) -> i32 {
    let limit_steps = f64::from(limit);
    let x = x.clamp(-limit_steps, limit_steps);
    // `as` cuts off towards 0, and what it cuts off is exact.
    let whole = x as i32;
    let rest = x - f64::from(whole);
    (whole + i32::from(rest >= 0.5) - i32::from(rest <= -0.5)).min(limit - 1)
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
    fn steps_are_rounded_as_the_language_rounds() {
        for limit in [1 << 15, 1 << 23] {
            let most = f64::from(limit);
            let halves = (-40..40).map(|k| f64::from(k) * 0.5);
            let beside = halves.flat_map(|x| [x, x.next_up(), x.next_down()]);
            let ends = [most, most - 0.5, most - 1.5, 3.0 * most, 1e300, f64::INFINITY];
            let fine = (0..10_000).map(|k| f64::from(k * 7919 % 10_007 - 5000) * most / 4999.3);
            for x in beside.chain(ends).chain(ends.map(|x| -x)).chain(fine).chain([f64::NAN]) {
                assert_eq!(steps(x, limit), x.round().clamp(-most, most - 1.0) as i32, "{x} of {limit}");
            }
        }
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
        assert!(matches!(write(Overwrite::Force).unwrap_err(), ProgrammeError::NotOurs { .. }));
        assert_eq!(std::fs::read(&path).unwrap(), b"mine");
        std::fs::remove_file(&path).unwrap();
        write(Overwrite::Refuse).unwrap();
        let bytes = std::fs::read(&path).unwrap();
        assert!(bytes.len() > 100_000 && bytes.ends_with(WAV_MARK));
        assert_eq!(bytes[4..8], (bytes.len() as u32 - 8).to_le_bytes());
        write(Overwrite::Force).unwrap();
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
