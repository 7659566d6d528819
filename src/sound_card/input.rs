//! A device that records.

use super::SoundCardError;
use super::devices::{Chosen, Way, choose};
use super::grid::{Grid, by_format};
use super::state::State;
use cpal::traits::{DeviceTrait, StreamTrait};
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// Sound that the ring holds, s: so long may the reader be away.
const RING_S: f64 = 4.0;
/// Blocks in which the system hands it out, s.
const BLOCK_S: f64 = 0.02;

/// Recorded sound that did not arrive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Loss {
    /// So many frames: nobody took them.
    Frames(u64),
    /// The system itself was too late and does not say how much it lost.
    Unknown,
}

/// A device that records, running.
pub struct Input {
    name: String,
    rate_hz: u32,
    channels: usize,
    bits: u32,
    ring: Consumer<[f64; 2]>,
    state: Arc<State>,
    /// What was told of `missed` and `late`.
    told: [u64; 2],
    // Runs until it is dropped.
    _stream: cpal::Stream,
}

impl Input {
    /// Opens the device of that name, see [`super::Device::name`] (a part that only one has is enough; the system's own choice
    /// without a name), and starts it: its first two channels, or its only one on both sides.
    ///
    /// # Errors
    /// If there is no such device, it cannot be opened, or does not have `rate_hz`.
    pub fn open(name: Option<&str>, rate_hz: Option<u32>) -> Result<Self, SoundCardError> {
        let chosen = choose(name, Way::Input, rate_hz.as_slice())?.with_blocks_of(BLOCK_S);
        let rate_hz = chosen.config.sample_rate;
        let state = Arc::new(State::default());
        let (producer, ring) = RingBuffer::new((f64::from(rate_hz) * RING_S) as usize);
        let format = chosen.format;
        let stream = by_format!(format, build(&chosen, producer, &state));
        let stream = stream.ok_or_else(|| SoundCardError::Unusable {
            device: chosen.name.clone(),
            way: Way::Input.word(),
            what: format!("samples {format}"),
        })??;
        stream.play().map_err(|error| chosen.refused(&error))?;
        Ok(Self {
            rate_hz,
            channels: usize::from(chosen.config.channels),
            bits: format.bits_per_sample(),
            name: chosen.name,
            ring,
            state,
            told: [0; 2],
            _stream: stream,
        })
    }

    /// What is typed for the device.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Sample rate, Hz.
    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    /// Channels of the device, of which the first two are read.
    pub fn channels(&self) -> usize {
        self.channels
    }

    /// Bits of a sample as the device hands it out.
    pub fn bits(&self) -> u32 {
        self.bits
    }

    /// Frames that have come and were not read yet.
    pub fn waiting(&self) -> usize {
        self.ring.slots()
    }

    /// Appends what has come to `sides`, so many frames at most, full scale 1. Does not wait.
    pub fn read(&mut self, frames: usize, sides: &mut [Vec<f64>; 2]) {
        let frames = frames.min(self.ring.slots());
        if let Ok(chunk) = self.ring.read_chunk(frames) {
            let (first, second) = chunk.as_slices();
            for frame in first.iter().chain(second) {
                sides[0].push(frame[0]);
                sides[1].push(frame[1]);
            }
            chunk.commit_all();
        }
    }

    /// What was lost since the last time that was asked.
    pub fn lost(&mut self) -> Option<Loss> {
        let now = [&self.state.missed, &self.state.late].map(|count| count.load(Ordering::Relaxed));
        let [missed, late] = [0, 1].map(|k| now[k] - self.told[k]);
        self.told = now;
        match (missed, late) {
            (0, 0) => None,
            (frames, 0) => Some(Loss::Frames(frames)),
            _ => Some(Loss::Unknown),
        }
    }

    /// Why nothing comes any more, if that is so.
    pub fn gone(&self) -> Option<String> {
        self.state.gone()
    }
}

/// The stream of samples of kind `T` into the ring.
fn build<T: Grid>(
    chosen: &Chosen,
    mut ring: Producer<[f64; 2]>,
    state: &Arc<State>,
) -> Result<cpal::Stream, SoundCardError> {
    let channels = usize::from(chosen.config.channels);
    let right = usize::from(channels > 1);
    let [counts, errors] = [Arc::clone(state), Arc::clone(state)];
    // The ring goes into the callback, so there is no second try with other blocks.
    let callback = move |samples: &[T], _: &cpal::InputCallbackInfo| {
        let frames = samples.len() / channels;
        let fit = frames.min(ring.slots());
        if let Ok(chunk) = ring.write_chunk_uninit(fit) {
            chunk.fill_from_iter(
                samples.chunks_exact(channels).map(|frame| [frame[0].value(), frame[right].value()]),
            );
        }
        counts.frames.fetch_add(frames as u64, Ordering::Relaxed);
        counts.missed.fetch_add((frames - fit) as u64, Ordering::Relaxed);
    };
    let stream =
        chosen.device.build_input_stream(chosen.config, callback, move |error| errors.take(&error), None);
    stream.map_err(|error| chosen.refused(&error))
}
