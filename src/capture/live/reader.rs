//! The reading thread: bytes or decoded blocks in, the queue out.

use super::body::Body;
use super::format::{Layout, RawFormat};
use super::header::{Begun, Header};
use super::queue::Queue;
use super::{Arrival, Pace, Trouble};
use crate::capture::{CaptureError, ReturnFile, Source};
use std::io::{ErrorKind, Read};
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// What a stream is read from.
pub(super) type Input = Box<dyn Read + Send>;

/// Decoded blocks on their way into the queue, at the stream's pace.
pub(super) struct Out {
    queue: Arc<Queue>,
    rate_hz: f64,
    /// When the first frame was recorded, as it were; `None`: as fast as it goes.
    began: Option<Instant>,
    frames: u64,
    broken: u64,
    /// Frames since broken samples were told last.
    untold: u64,
}

impl Out {
    pub fn new(queue: Arc<Queue>, rate_hz: f64, pace: Pace) -> Self {
        let began = (pace == Pace::Real).then(Instant::now);
        Self { queue, rate_hz, began, frames: 0, broken: 0, untold: u64::MAX }
    }

    #[cfg(feature = "sound-card")]
    pub fn queue(&self) -> &Queue {
        &self.queue
    }

    /// Hands on frames, however many; false if nobody listens any more.
    pub fn push(&mut self, block: [&[f64]; 2]) -> bool {
        let step = self.queue.block_frames();
        block[0].chunks(step).zip(block[1].chunks(step)).all(|(left, right)| self.push_one([left, right]))
    }

    fn push_one(&mut self, block: [&[f64]; 2]) -> bool {
        let frames = block[0].len() as u64;
        self.frames += frames;
        if let Some(began) = self.began {
            // A block is there when its last frame has been played.
            let due = Duration::try_from_secs_f64(self.frames as f64 / self.rate_hz).unwrap_or_default();
            if !self.queue.pause(began + due) {
                return false;
            }
        }
        let Some(broken) = self.queue.push(block) else { return false };
        self.broken += broken;
        self.untold = self.untold.saturating_add(frames);
        // At once, then once a second.
        if self.untold as f64 >= self.rate_hz { self.tell_broken() } else { true }
    }

    fn tell_broken(&mut self) -> bool {
        let samples = std::mem::take(&mut self.broken);
        if samples == 0 {
            return true;
        }
        self.untold = 0;
        self.queue.trouble(Trouble::Broken { samples })
    }

    /// Nothing comes any more.
    pub fn end(&mut self) {
        let _ = self.tell_broken() && self.queue.say(Arrival::End);
    }
}

/// Bytes behind a header on their way to [`Out`].
pub(super) struct Pump {
    out: Out,
    layout: Layout,
    body: Body,
    /// Bytes of sound that are not decoded yet.
    sound: Vec<u8>,
    sides: [Vec<f64>; 2],
}

impl Pump {
    pub fn new(queue: Arc<Queue>, layout: Layout, body: Body, pace: Pace) -> Self {
        let frames = queue.block_frames();
        let out = Out::new(queue, f64::from(layout.rate_hz), pace);
        let sound = Vec::with_capacity(2 * frames * layout.frame_bytes);
        let sides = [(); 2].map(|()| Vec::with_capacity(frames));
        Self { out, layout, body, sound, sides }
    }

    /// Memory for the bytes of one block.
    pub fn buffer(&self) -> Vec<u8> {
        vec![0; self.out.queue.block_frames() * self.layout.frame_bytes]
    }

    pub fn queue(&self) -> &Queue {
        &self.out.queue
    }

    pub fn layout(&self) -> Layout {
        self.layout
    }

    pub fn body(&mut self) -> &mut Body {
        &mut self.body
    }

    /// Begins anew behind another header of the same layout.
    pub fn begin_again(&mut self, body: Body) {
        self.body = body;
        self.sound.clear();
    }

    /// Takes what came next; false if nobody listens any more.
    pub fn take(&mut self, bytes: &[u8]) -> bool {
        self.body.feed(bytes, &mut self.sound);
        self.hand_on()
    }

    /// Nothing comes any more.
    pub fn end(&mut self) {
        self.body.end(&mut self.sound);
        if self.hand_on() {
            self.out.end();
        }
    }

    /// Reading failed.
    pub fn fail(&mut self, what: String) {
        if self.queue().trouble(Trouble::Unreadable { what }) {
            self.out.end();
        }
    }

    fn hand_on(&mut self) -> bool {
        if let Some(what) = self.body.lie()
            && !self.queue().trouble(Trouble::HeaderLies { what })
        {
            return false;
        }
        let Layout { coding, frame_bytes, chosen, .. } = self.layout;
        let whole = self.sound.len() / frame_bytes * frame_bytes;
        for piece in self.sound[..whole].chunks(self.out.queue.block_frames() * frame_bytes) {
            for (side, channel) in self.sides.iter_mut().zip(chosen) {
                side.clear();
                coding.decode(piece, frame_bytes, channel, side);
            }
            if !self.out.push([&self.sides[0], &self.sides[1]]) {
                return false;
            }
        }
        // Half a frame waits for its rest.
        self.sound.drain(..whole);
        true
    }
}

/// Reads the header from `input`, and says what comes and which of its bytes came along.
///
/// `wait` is asked at the end of the input: true if it is worth to look again.
pub(super) fn begin(
    path: &Path,
    raw: Option<RawFormat>,
    choice: Option<[usize; 2]>,
    input: &mut dyn Read,
    wait: &mut dyn FnMut() -> bool,
) -> Result<(Begun, Vec<u8>), CaptureError> {
    let mut header = Header::new(path, raw, choice);
    let mut head = Vec::new();
    let mut buffer = [0; 4096];
    loop {
        if let Some(begun) = header.look(&head)? {
            head.drain(..begun.samples_at);
            return Ok((begun, head));
        }
        match input.read(&mut buffer) {
            Ok(0) if wait() => {}
            Ok(0) => return Err(header.ended(&head)),
            Ok(got) => head.extend_from_slice(&buffer[..got]),
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            Err(source) => return Err(CaptureError::Io { path: path.to_owned(), source }),
        }
    }
}

/// Reads `input` to its end. `came`: bytes of it that came with the header.
pub(super) fn read(mut input: Input, came: &[u8], mut pump: Pump) {
    let mut buffer = pump.buffer();
    if !pump.take(came) {
        return;
    }
    loop {
        match input.read(&mut buffer) {
            Ok(0) => return pump.end(),
            Ok(got) if pump.take(&buffer[..got]) => {}
            Ok(_) => return,
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            Err(error) => return pump.fail(error.to_string()),
        }
    }
}

/// Decodes `file` to its end.
pub(super) fn decode(file: &ReturnFile, queue: Arc<Queue>, pace: Pace) {
    if file.is_cut_short() {
        let what = "promises more samples than the file has".to_owned();
        if !queue.trouble(Trouble::HeaderLies { what }) {
            return;
        }
    }
    let mut out = Out::new(queue, file.rate_hz(), pace);
    let mut listens = true;
    let decoded = file.read(0, u64::MAX, &mut |block| listens = listens && out.push(block));
    if let Err(error) = decoded {
        listens = listens && out.queue.trouble(Trouble::Unreadable { what: error.to_string() });
    }
    if listens {
        out.end();
    }
}
