//! A device that plays a recording without a gap.

use super::SoundCardError;
use super::devices::{Chosen, Way, choose};
use super::grid::{Grid, by_format};
use super::state::{State, said};
use cpal::traits::{DeviceTrait, StreamTrait};
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

/// Sound that the ring holds, s: so long may the computer be busy.
const RING_S: f64 = 2.0;
/// Blocks in which the system asks for it, s.
const BLOCK_S: f64 = 0.05;
/// How often is looked whether there is room.
const LOOK: Duration = Duration::from_millis(5);
/// A device that takes nothing for so long has stopped.
const STUCK: Duration = Duration::from_secs(10);

/// A device that plays. It starts when the ring is full, or when [`Output::finish`] is called.
pub struct Output {
    name: String,
    rate_hz: u32,
    ring: Producer<[f64; 2]>,
    state: Arc<State>,
    started: bool,
    stream: cpal::Stream,
}

impl Output {
    /// Opens the device of that name (see [`super::Input::open`]) at the first of `rates_hz` that it has.
    ///
    /// # Errors
    /// If there is no such device, it cannot be opened, has none of the rates, or has one channel only.
    pub fn open(name: Option<&str>, rates_hz: &[u32]) -> Result<Self, SoundCardError> {
        let chosen = choose(name, Way::Output, rates_hz)?.with_blocks_of(BLOCK_S);
        let unusable = |what: String| SoundCardError::Unusable {
            device: chosen.name.clone(),
            way: Way::Output.word(),
            what,
        };
        if chosen.config.channels < 2 {
            return Err(unusable("it has one channel only".into()));
        }
        let rate_hz = chosen.config.sample_rate;
        let state = Arc::new(State::default());
        let (ring, consumer) = RingBuffer::new((f64::from(rate_hz) * RING_S) as usize);
        let stream = by_format!(chosen.format, build(&chosen, consumer, &state));
        let stream = stream.ok_or_else(|| unusable(format!("samples {}", chosen.format)))??;
        Ok(Self { name: chosen.name, rate_hz, ring, state, started: false, stream })
    }

    /// What is typed for the device.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Sample rate, Hz.
    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    /// Frames that the device has taken so far.
    pub fn taken(&self) -> u64 {
        self.state.frames.load(Ordering::Relaxed)
    }

    /// Frames of silence that came between, because nothing was written in time, and times that the system was too late.
    pub fn gaps(&self) -> (u64, u64) {
        (self.state.missed.load(Ordering::Relaxed), self.state.late.load(Ordering::Relaxed))
    }

    /// Plays `[left, right]`, of equal length, full scale 1, after what was written before. Waits for room.
    ///
    /// # Errors
    /// [`SoundCardError::Stopped`].
    pub fn write(&mut self, block: [&[f64]; 2]) -> Result<(), SoundCardError> {
        let mut frames = block[0].iter().zip(block[1]).map(|(left, right)| [*left, *right]);
        let mut left = block[0].len().min(block[1].len());
        loop {
            let fit = left.min(self.ring.slots());
            if let Ok(chunk) = self.ring.write_chunk_uninit(fit) {
                left -= chunk.fill_from_iter(&mut frames);
            }
            if left == 0 {
                return Ok(());
            }
            self.start()?;
            self.wait(&mut |output| output.ring.slots() > 0)?;
        }
    }

    /// Waits until all that was written has been played.
    ///
    /// # Errors
    /// [`SoundCardError::Stopped`].
    pub fn finish(&mut self) -> Result<(), SoundCardError> {
        self.state.ended.store(true, Ordering::Release);
        self.start()?;
        let whole = self.ring.buffer().capacity();
        loop {
            let slots = self.ring.slots();
            if slots == whole {
                break;
            }
            self.wait(&mut |output| output.ring.slots() > slots)?;
        }
        // The system still has two blocks of it.
        let block =
            self.stream.buffer_size().map_or(BLOCK_S, |frames| f64::from(frames) / f64::from(self.rate_hz));
        std::thread::sleep(Duration::from_secs_f64((2.5 * block).min(1.0)));
        Ok(())
    }

    fn start(&mut self) -> Result<(), SoundCardError> {
        if !self.started {
            let refused =
                |error: cpal::Error| SoundCardError::Open { device: self.name.clone(), what: said(&error) };
            self.stream.play().map_err(refused)?;
            self.started = true;
        }
        Ok(())
    }

    fn wait(&mut self, done: &mut dyn FnMut(&Self) -> bool) -> Result<(), SoundCardError> {
        let stopped = |what: String| SoundCardError::Stopped { device: self.name.clone(), what };
        let until = Instant::now() + STUCK;
        while !done(self) {
            if let Some(what) = self.state.gone() {
                return Err(stopped(what));
            }
            if Instant::now() > until {
                return Err(stopped("it takes no sound".into()));
            }
            std::thread::sleep(LOOK);
        }
        Ok(())
    }
}

/// The stream of samples of kind `T` out of the ring.
fn build<T: Grid>(
    chosen: &Chosen,
    mut ring: Consumer<[f64; 2]>,
    state: &Arc<State>,
) -> Result<cpal::Stream, SoundCardError> {
    let channels = usize::from(chosen.config.channels);
    let [counts, errors] = [Arc::clone(state), Arc::clone(state)];
    let callback = move |samples: &mut [T], _: &cpal::OutputCallbackInfo| {
        // Asked before the ring: what it holds after that is all there is.
        let ended = counts.ended.load(Ordering::Acquire);
        let frames = samples.len() / channels;
        let there = frames.min(ring.slots());
        let silence = T::nearest(0.0);
        samples.fill(silence);
        if let Ok(chunk) = ring.read_chunk(there) {
            for (frame, [left, right]) in samples.chunks_exact_mut(channels).zip(chunk) {
                frame[0] = T::nearest(left);
                frame[1] = T::nearest(right);
            }
        }
        counts.frames.fetch_add(there as u64, Ordering::Relaxed);
        if !ended {
            counts.missed.fetch_add((frames - there) as u64, Ordering::Relaxed);
        }
    };
    let stream =
        chosen.device.build_output_stream(chosen.config, callback, move |error| errors.take(&error), None);
    stream.map_err(|error| chosen.refused(&error))
}
