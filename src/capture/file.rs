//! A return on disk: WAV, FLAC or AIFF, decoded block by block.

use super::container::{self, Container};
use super::source::{check_rate, choose};
use super::{CaptureError, Source};
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions, well_known};
use symphonia::core::errors::Error as Symphonia;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatReader, SeekMode, SeekTo, TrackType};
use symphonia::core::io::{MediaSource, MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::units::Timestamp;

/// Frames handed on at a time.
const BLOCK_FRAMES: usize = 16_384;

/// A recording on disk.
#[derive(Debug, Clone)]
pub struct ReturnFile {
    path: PathBuf,
    container: Container,
    rate_hz: f64,
    depth: String,
    channels: usize,
    chosen: [usize; 2],
    frames: u64,
}

impl ReturnFile {
    /// Opens `path` and counts its frames by decoding nothing but the header where the header can be believed.
    ///
    /// `choice` picks two channels of a file with more, counted from 0; a file with one channel is read as two
    /// equal ones (see [`ReturnFile::is_mono_file`]).
    ///
    /// # Errors
    /// If the file cannot be read, is empty, damaged, of another kind, or has other channels than asked for.
    pub fn open(path: &Path, choice: Option<[usize; 2]>) -> Result<Self, CaptureError> {
        let container = container::look(path)?;
        let mut this = Self {
            path: path.to_owned(),
            container,
            rate_hz: 0.0,
            depth: String::new(),
            channels: 0,
            chosen: [0, 1],
            frames: 0,
        };
        let stream = Stream::open(&this)?;
        this.rate_hz = stream.rate_hz;
        this.depth = stream.depth.clone();
        this.channels = stream.channels;
        check_rate(path, this.rate_hz)?;
        this.chosen = choose(path, choice, this.channels)?;
        this.frames = match stream.frames {
            Some(frames) if !this.container.cut_short => frames,
            _ => this.count_frames()?,
        };
        if this.frames == 0 {
            return Err(CaptureError::Empty { path: path.to_owned() });
        }
        Ok(this)
    }

    /// `8`, `16`, `24`, `32` (bit integer) or `float`.
    pub fn depth(&self) -> &str {
        &self.depth
    }

    /// The header promises more than the file holds: the recorder was interrupted.
    pub fn is_cut_short(&self) -> bool {
        self.container.cut_short
    }

    /// Channels in the file.
    pub(super) fn channels(&self) -> usize {
        self.channels
    }

    /// The two channels that are read, counted from 0.
    pub(super) fn chosen(&self) -> [usize; 2] {
        self.chosen
    }

    /// The file has one channel (or one channel was chosen twice).
    pub fn is_mono_file(&self) -> bool {
        self.chosen[0] == self.chosen[1]
    }

    fn count_frames(&self) -> Result<u64, CaptureError> {
        let mut frames = 0;
        Stream::open(self)?.run(u64::MAX, &mut |_, block| frames += block[0].len() as u64)?;
        Ok(frames)
    }
}

impl Source for ReturnFile {
    fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    fn frames(&self) -> u64 {
        self.frames
    }

    fn read(&self, from: u64, to: u64, sink: &mut dyn FnMut([&[f64]; 2])) -> Result<(), CaptureError> {
        let to = to.min(self.frames);
        if from >= to {
            return Ok(());
        }
        let mut stream = Stream::open(self)?;
        stream.seek(from)?;
        stream.run(to, &mut |start, block| {
            // The decoder starts at a packet's border; cut to what was asked for.
            let head = from.saturating_sub(start).min(block[0].len() as u64) as usize;
            let tail = to.saturating_sub(start).min(block[0].len() as u64) as usize;
            if head < tail {
                sink([&block[0][head..tail], &block[1][head..tail]]);
            }
        })
    }
}

/// A decoder at work on one file.
struct Stream {
    path: PathBuf,
    format: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    rate_hz: f64,
    depth: String,
    channels: usize,
    frames: Option<u64>,
    chosen: [usize; 2],
    planes: Vec<Vec<f64>>,
}

impl Stream {
    fn open(file: &ReturnFile) -> Result<Self, CaptureError> {
        let path = file.path.clone();
        let io = |source| CaptureError::Io { path: path.clone(), source };
        let inner = File::open(&file.path).map_err(io)?;
        let bytes = inner.metadata().map_err(io)?.len();
        let source = Repaired { inner, bytes, at: 0, repairs: file.container.repairs.clone() };
        let options = MediaSourceStreamOptions { buffer_len: 1 << 18 };
        let stream = MediaSourceStream::new(Box::new(source), options);
        let refused = |reason: String| CaptureError::Malformed {
            path: path.clone(),
            what: format!("header cannot be understood ({reason})"),
            remedy: "record it again, or save it as WAV".into(),
        };
        let format = symphonia::default::get_probe()
            .probe(&Hint::new(), stream, Default::default(), Default::default())
            .map_err(|error| refused(error.to_string()))?;
        let track = format.default_track(TrackType::Audio).ok_or_else(|| refused("no audio track".into()))?;
        let params = track
            .codec_params
            .as_ref()
            .and_then(|params| params.audio())
            .ok_or_else(|| refused("no audio track".into()))?
            .clone();
        let decoder = symphonia::default::get_codecs()
            .make_audio_decoder(&params, &AudioDecoderOptions::default())
            .map_err(|error| CaptureError::Unsupported { path: path.clone(), what: error.to_string() })?;
        let rate_hz = f64::from(params.sample_rate.unwrap_or(0));
        let channels = params.channels.as_ref().map_or(0, |channels| channels.count());
        let float = [
            well_known::CODEC_ID_PCM_F32LE,
            well_known::CODEC_ID_PCM_F32BE,
            well_known::CODEC_ID_PCM_F64LE,
            well_known::CODEC_ID_PCM_F64BE,
        ];
        let depth = if float.contains(&params.codec) {
            "float".to_owned()
        } else {
            params.bits_per_sample.map_or_else(|| "unknown".to_owned(), |bits| bits.to_string())
        };
        let (track, frames) = (track.id, track.num_frames);
        Ok(Self {
            path,
            format,
            decoder,
            track,
            rate_hz,
            depth,
            channels,
            frames,
            chosen: file.chosen,
            planes: Vec::new(),
        })
    }

    fn seek(&mut self, frame: u64) -> Result<(), CaptureError> {
        if frame == 0 {
            return Ok(());
        }
        let Ok(ts) = i64::try_from(frame) else { return Ok(()) };
        let to = SeekTo::Timestamp { ts: Timestamp::new(ts), track_id: self.track };
        self.format
            .seek(SeekMode::Accurate, to)
            .map_err(|error| self.decode_error(frame, error.to_string()))?;
        self.decoder.reset();
        Ok(())
    }

    fn decode_error(&self, frame: u64, reason: String) -> CaptureError {
        let at_s = if self.rate_hz > 0.0 { frame as f64 / self.rate_hz } else { 0.0 };
        CaptureError::Decode { path: self.path.clone(), at_s, reason }
    }

    /// Decodes from the present place to frame `to` and hands on blocks with the place of their first frame.
    fn run(&mut self, to: u64, sink: &mut dyn FnMut(u64, [&[f64]; 2])) -> Result<(), CaptureError> {
        let mut gathered = [Vec::with_capacity(BLOCK_FRAMES + 8192), Vec::with_capacity(BLOCK_FRAMES + 8192)];
        let mut begun = false;
        let mut next = 0u64;
        loop {
            let packet = match self.format.next_packet() {
                Ok(Some(packet)) => packet,
                // A file that ends in the middle of a packet ends there.
                Ok(None) => break,
                Err(Symphonia::IoError(error)) if error.kind() == std::io::ErrorKind::UnexpectedEof => break,
                Err(error) => return Err(self.decode_error(next, error.to_string())),
            };
            if packet.track_id != self.track {
                continue;
            }
            let at = u64::try_from(packet.pts.get()).unwrap_or(0);
            if begun && at != next {
                return Err(self.decode_error(next, format!("there comes what belongs to frame {at}")));
            }
            begun = true;
            let buffer = match self.decoder.decode(&packet) {
                Ok(buffer) => buffer,
                Err(error) => {
                    let reason = error.to_string();
                    return Err(self.decode_error(at, reason));
                }
            };
            buffer.copy_to_vecs_planar::<f64>(&mut self.planes);
            let frames = buffer.frames();
            let (Some(left), Some(right)) = (
                self.planes.get(self.chosen[0]),
                self.planes.get(self.chosen[1].min(self.planes.len().max(1) - 1)),
            ) else {
                continue;
            };
            gathered[0].extend_from_slice(&left[..frames]);
            gathered[1].extend_from_slice(&right[..frames]);
            next = at.saturating_add(frames as u64);
            if gathered[0].len() >= BLOCK_FRAMES || next >= to {
                sink(next - gathered[0].len() as u64, [&gathered[0], &gathered[1]]);
                gathered.iter_mut().for_each(Vec::clear);
                if next >= to {
                    return Ok(());
                }
            }
        }
        if !gathered[0].is_empty() {
            sink(next - gathered[0].len() as u64, [&gathered[0], &gathered[1]]);
        }
        Ok(())
    }
}

/// A file in which some bytes are read as others.
struct Repaired {
    inner: File,
    bytes: u64,
    at: u64,
    repairs: Vec<(u64, [u8; 4])>,
}

impl Read for Repaired {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let got = self.inner.read(buffer)?;
        for (place, bytes) in &self.repairs {
            for (k, byte) in bytes.iter().enumerate() {
                if let Some(offset) = (place + k as u64).checked_sub(self.at)
                    && let Some(slot) = usize::try_from(offset).ok().and_then(|i| buffer[..got].get_mut(i))
                {
                    *slot = *byte;
                }
            }
        }
        self.at += got as u64;
        Ok(got)
    }
}

impl Seek for Repaired {
    fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
        self.at = self.inner.seek(to)?;
        Ok(self.at)
    }
}

impl MediaSource for Repaired {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.bytes)
    }
}
