//! The listener's side: a stream to be opened, and asked for what came next.

use super::Trouble;
use super::format::{LiveFormat, RawFormat};
use super::growing::Growing;
use super::header::Begun;
use super::queue::{Popped, Queue};
use super::reader::{Input, Pump, begin, decode, read};
use crate::capture::{CaptureError, ReturnFile, Source, container};
use crate::programme::note_input;
use std::fs::File;
use std::io::{IsTerminal, Read};
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Silence of the source after which [`Trouble::Stopped`] is said.
const STOPPED: Duration = Duration::from_millis(500);
/// The name of standard input in messages.
const STANDARD_INPUT: &str = "standard input";

/// How fast a finished file comes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// As fast as it was recorded.
    Real,
    /// As fast as it is taken.
    Fast,
}

/// What comes out of a stream.
#[derive(Debug, Clone, PartialEq)]
pub enum Arrival {
    /// `[left, right]`, of equal length, 20 ms at most, full scale 1. To be given back, see [`LiveStream::give_back`].
    Block([Vec<f64>; 2]),
    /// Something that the listener should know.
    Trouble(Trouble),
    /// Nothing comes any more.
    End,
}

/// Sound as it comes.
pub struct LiveStream {
    /// What comes.
    pub format: LiveFormat,
    queue: Arc<Queue>,
    /// Comes next, before what the queue holds.
    kept: Option<Arrival>,
    /// Since when nothing has come, once that was said.
    stopped: Option<Instant>,
    ended: bool,
}

impl LiveStream {
    /// Standard input: a WAV, or samples without a header as `raw` says. Waits for the header.
    ///
    /// `choice` picks two channels, counted from 0, as in [`ReturnFile::open`].
    ///
    /// # Errors
    /// If it is no WAV, is damaged, or has other channels or another rate than can be measured.
    pub fn standard_input(raw: Option<RawFormat>, choice: Option<[usize; 2]>) -> Result<Self, CaptureError> {
        let input = std::io::stdin();
        if input.is_terminal() {
            return Err(CaptureError::Keyboard { path: STANDARD_INPUT.into() });
        }
        Self::reader(STANDARD_INPUT, Box::new(input), raw, choice)
    }

    /// The same from any source of bytes; `name` stands for it in messages.
    ///
    /// # Errors
    /// See [`LiveStream::standard_input`].
    pub fn reader(
        name: &str,
        input: Box<dyn Read + Send>,
        raw: Option<RawFormat>,
        choice: Option<[usize; 2]>,
    ) -> Result<Self, CaptureError> {
        Self::bytes(Path::new(name), input, raw, choice, Pace::Fast)
    }

    fn bytes(
        path: &Path,
        mut input: Input,
        raw: Option<RawFormat>,
        choice: Option<[usize; 2]>,
        pace: Pace,
    ) -> Result<Self, CaptureError> {
        let (Begun { layout, body, kind, .. }, came) = begin(path, raw, choice, &mut input, &mut || false)?;
        Self::spawn(path, layout.live(kind), move |queue| {
            read(input, &came, Pump::new(queue, layout, body, pace));
        })
    }

    /// A WAV or a file of raw samples to which a recorder still appends: what is there, then what is appended. It never
    /// ends by itself. Waits up to three seconds for the header.
    ///
    /// # Errors
    /// See [`LiveStream::standard_input`]; if there is no such file.
    pub fn growing(
        path: &Path,
        raw: Option<RawFormat>,
        choice: Option<[usize; 2]>,
    ) -> Result<Self, CaptureError> {
        if let Some(pipe) = pipe(path)? {
            return Self::bytes(path, pipe, raw, choice, Pace::Fast);
        }
        let (growing, begun, came) = Growing::open(path, raw, choice)?;
        Self::spawn(path, begun.layout.live(begun.kind), move |queue| {
            growing.follow(came, Pump::new(queue, begun.layout, begun.body, Pace::Fast));
        })
    }

    /// A file that is there as a whole: WAV, FLAC, AIFF, or raw samples.
    ///
    /// # Errors
    /// See [`ReturnFile::open`].
    pub fn finished(
        path: &Path,
        raw: Option<RawFormat>,
        pace: Pace,
        choice: Option<[usize; 2]>,
    ) -> Result<Self, CaptureError> {
        if let Some(pipe) = pipe(path)? {
            return Self::bytes(path, pipe, raw, choice, pace);
        }
        let io = |source| CaptureError::Io { path: path.to_owned(), source };
        let kind = match raw {
            Some(_) => container::Kind::Wav,
            None => container::look(path)?.kind,
        };
        if kind == container::Kind::Wav {
            let file = File::open(path).map_err(io)?;
            return Self::bytes(path, Box::new(file), raw, choice, pace);
        }
        let file = ReturnFile::open(path, choice)?;
        let kind = if kind == container::Kind::Flac { "FLAC" } else { "AIFF" };
        let depth = match file.depth() {
            "float" => "float".to_owned(),
            bits => format!("{bits} bit"),
        };
        let format = LiveFormat::new(kind, file.rate_hz(), &depth, file.channels(), file.chosen());
        Self::spawn(path, format, move |queue| decode(&file, queue, pace))
    }

    /// Starts the reading thread. It is not waited for: a read that hangs cannot be broken off.
    pub(super) fn spawn(
        path: &Path,
        format: LiveFormat,
        work: impl FnOnce(Arc<Queue>) + Send + 'static,
    ) -> Result<Self, CaptureError> {
        let queue = Arc::new(Queue::new(format.rate_hz));
        let for_work = Arc::clone(&queue);
        std::thread::Builder::new()
            .name("live input".into())
            .spawn(move || {
                // Whatever happens in there, the listener is not left waiting.
                let _end = AtTheEnd(Arc::clone(&for_work));
                work(for_work);
            })
            .map_err(|source| CaptureError::Io { path: path.to_owned(), source })?;
        Ok(Self { format, queue, kept: None, stopped: None, ended: false })
    }

    /// What comes next; `None` if nothing came within `patience`. After [`Arrival::End`] comes nothing but it.
    pub fn next(&mut self, patience: Duration) -> Option<Arrival> {
        if let Some(kept) = self.kept.take() {
            return Some(kept);
        }
        if self.ended {
            return Some(Arrival::End);
        }
        let began = Instant::now();
        let mut wait = Duration::ZERO;
        loop {
            match self.queue.pop(wait) {
                Popped::Arrival(arrival) => return Some(self.arrived(arrival)),
                Popped::Nothing(since) => {
                    let left = patience.saturating_sub(began.elapsed());
                    if self.stopped.is_none() && since >= STOPPED {
                        self.stopped = Instant::now().checked_sub(since);
                        return Some(Arrival::Trouble(Trouble::Stopped));
                    }
                    if left.is_zero() {
                        return None;
                    }
                    wait = if self.stopped.is_none() { left.min(STOPPED - since) } else { left };
                }
            }
        }
    }

    fn arrived(&mut self, arrival: Arrival) -> Arrival {
        match arrival {
            Arrival::Block(_) => match self.stopped.take() {
                Some(since) => {
                    self.kept = Some(arrival);
                    Arrival::Trouble(Trouble::GoesOn { after_s: since.elapsed().as_secs_f64() })
                }
                None => arrival,
            },
            Arrival::End => {
                self.ended = true;
                arrival
            }
            Arrival::Trouble(_) => arrival,
        }
    }

    /// Gives a block's memory back, so that none is asked for while it runs.
    pub fn give_back(&mut self, block: [Vec<f64>; 2]) {
        self.queue.give_back(block);
    }
}

impl Drop for LiveStream {
    fn drop(&mut self) {
        self.queue.close();
    }
}

/// Ends the stream when it is dropped.
struct AtTheEnd(Arc<Queue>);

impl Drop for AtTheEnd {
    fn drop(&mut self) {
        self.0.say(Arrival::End);
    }
}

/// The pipe or device that has the name `path`; `None` if it is a file.
fn pipe(path: &Path) -> Result<Option<Input>, CaptureError> {
    let io = |source| CaptureError::Io { path: path.to_owned(), source };
    note_input(path);
    let meta = std::fs::metadata(path).map_err(io)?;
    if meta.is_dir() {
        return Err(CaptureError::NotAudio { path: path.to_owned(), found: "a folder".into() });
    }
    if meta.is_file() {
        return Ok(None);
    }
    Ok(Some(Box::new(File::open(path).map_err(io)?)))
}
