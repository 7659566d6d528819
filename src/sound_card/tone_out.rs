//! A device that sounds while somebody works: what is pushed is heard at once, and what comes too late is not heard.

use super::SoundCardError;
use super::devices::{Chosen, Way, choose};
use super::grid::{Grid, by_format};
use super::state::State;
use cpal::traits::{DeviceTrait, StreamTrait};
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::Arc;

/// Longest way from [`ToneOut::push`] to the device, s.
const RING_S: f64 = 0.06;
/// Blocks in which the system asks for it, s.
const BLOCK_S: f64 = 0.01;

/// A device that sounds, running.
pub struct ToneOut {
    rate_hz: u32,
    ring: Producer<f32>,
    state: Arc<State>,
    _stream: cpal::Stream,
}

impl ToneOut {
    /// Opens the device of that name (see [`super::Input::open`]) at a usual rate, and starts it with silence.
    ///
    /// # Errors
    /// If there is no such device, or it cannot be opened.
    pub fn open(name: Option<&str>) -> Result<Self, SoundCardError> {
        let chosen = choose(name, Way::Output, &[])?.with_blocks_of(BLOCK_S);
        let rate_hz = chosen.config.sample_rate;
        let state = Arc::new(State::default());
        let (ring, consumer) = RingBuffer::new((f64::from(rate_hz) * RING_S) as usize);
        let stream = by_format!(chosen.format, build(&chosen, consumer, &state));
        let stream = stream.ok_or_else(|| SoundCardError::Unusable {
            device: chosen.name.clone(),
            way: Way::Output.word(),
            what: format!("samples {}", chosen.format),
        })??;
        stream.play().map_err(|error| chosen.refused(&error))?;
        Ok(Self { rate_hz, ring, state, _stream: stream })
    }

    /// Sample rate, Hz.
    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    /// Frames that there is room for now: so many keep the device going without making it late.
    pub fn room(&self) -> usize {
        self.ring.slots()
    }

    /// Sounds `frames`, full scale 1, on all channels, as many as there is room for, and returns how many. Does not wait.
    pub fn push(&mut self, frames: &[f32]) -> usize {
        let fit = frames.len().min(self.ring.slots());
        self.ring.write_chunk_uninit(fit).map_or(0, |chunk| chunk.fill_from_iter(frames.iter().copied()))
    }

    /// Why nothing is heard any more, if that is so.
    pub fn gone(&self) -> Option<String> {
        self.state.gone()
    }
}

/// The stream of samples of kind `T` out of the ring; silence where it is empty.
fn build<T: Grid>(
    chosen: &Chosen,
    mut ring: Consumer<f32>,
    state: &Arc<State>,
) -> Result<cpal::Stream, SoundCardError> {
    let channels = usize::from(chosen.config.channels);
    let errors = Arc::clone(state);
    let callback = move |samples: &mut [T], _: &cpal::OutputCallbackInfo| {
        for frame in samples.chunks_mut(channels) {
            frame.fill(T::nearest(f64::from(ring.pop().unwrap_or(0.0))));
        }
    };
    let stream =
        chosen.device.build_output_stream(chosen.config, callback, move |error| errors.take(&error), None);
    stream.map_err(|error| chosen.refused(&error))
}
