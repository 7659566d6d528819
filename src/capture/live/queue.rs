//! What the reading thread has and the measuring one has not taken yet: some ten seconds of sound, in blocks whose memory
//! goes round.
//!
//! A queue of its own instead of a channel: a block that waits is filled up, so that a source which hands out few samples
//! at a time makes no long row of small blocks; and the time of the last arrival is known.

use super::{Arrival, Trouble};
use crate::capture::extend_mended;
use std::collections::VecDeque;
use std::sync::{Condvar, Mutex, MutexGuard};
use std::time::{Duration, Instant};

/// Longest block, s.
const BLOCK_S: f64 = 0.02;
/// Sound that waits before the reader does, s.
const QUEUE_S: f64 = 10.0;
/// Longest row of arrivals, blocks or not.
const ARRIVALS: usize = 1024;

pub(super) struct Queue {
    state: Mutex<State>,
    /// Something has come.
    came: Condvar,
    /// There is room again, or nobody listens any more.
    went: Condvar,
    block_frames: usize,
    most_frames: usize,
}

struct State {
    row: VecDeque<Arrival>,
    /// Blocks without samples, to be filled again.
    spare: Vec<[Vec<f64>; 2]>,
    /// In the blocks of the row.
    frames: usize,
    last: Instant,
    /// Nobody listens any more.
    closed: bool,
}

/// What the listener got.
pub(super) enum Popped {
    Arrival(Arrival),
    /// Nothing yet; how long ago something came.
    Nothing(Duration),
}

impl Queue {
    pub fn new(rate_hz: f64) -> Self {
        let state = State {
            row: VecDeque::with_capacity(ARRIVALS),
            spare: Vec::with_capacity(ARRIVALS),
            frames: 0,
            last: Instant::now(),
            closed: false,
        };
        Self {
            state: Mutex::new(state),
            came: Condvar::new(),
            went: Condvar::new(),
            block_frames: (rate_hz * BLOCK_S) as usize,
            most_frames: (rate_hz * QUEUE_S) as usize,
        }
    }

    /// Frames of the longest block.
    pub fn block_frames(&self) -> usize {
        self.block_frames
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        // No code under the lock can leave it half done.
        self.state.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    /// Waits until there is room; `None` if nobody listens any more.
    fn room(&self) -> Option<MutexGuard<'_, State>> {
        let full = |state: &mut State| {
            !state.closed && (state.frames >= self.most_frames || state.row.len() >= ARRIVALS)
        };
        let state = self.went.wait_while(self.lock(), full).unwrap_or_else(|error| error.into_inner());
        (!state.closed).then_some(state)
    }

    /// Appends one block at most, `[left, right]` of equal length, with 0 for what is no sample. Returns how many were
    /// none; `None` if nobody listens any more.
    pub fn push(&self, block: [&[f64]; 2]) -> Option<u64> {
        let mut state = self.room()?;
        let frames = block[0].len();
        state.frames += frames;
        state.last = Instant::now();
        let waiting = match state.row.back_mut() {
            Some(Arrival::Block(last)) if last[0].len() + frames <= self.block_frames => last,
            _ => {
                let fresh = || [(); 2].map(|()| Vec::with_capacity(self.block_frames));
                let block = state.spare.pop().unwrap_or_else(fresh);
                state.row.push_back(Arrival::Block(block));
                match state.row.back_mut() {
                    Some(Arrival::Block(last)) => last,
                    _ => return Some(0),
                }
            }
        };
        let broken = (0..2).map(|k| extend_mended(&mut waiting[k], block[k])).sum();
        self.came.notify_one();
        Some(broken)
    }

    /// Appends what is no block; false if nobody listens any more.
    pub fn say(&self, arrival: Arrival) -> bool {
        let Some(mut state) = self.room() else { return false };
        state.row.push_back(arrival);
        self.came.notify_one();
        true
    }

    /// Appends a trouble; false if nobody listens any more.
    pub fn trouble(&self, trouble: Trouble) -> bool {
        self.say(Arrival::Trouble(trouble))
    }

    /// Waits until `until`; false if nobody listens any more.
    pub fn pause(&self, until: Instant) -> bool {
        let mut state = self.lock();
        loop {
            let left = until.saturating_duration_since(Instant::now());
            if state.closed || left.is_zero() {
                return !state.closed;
            }
            state = self.went.wait_timeout(state, left).unwrap_or_else(|error| error.into_inner()).0;
        }
    }

    /// Takes what comes next within `patience`.
    pub fn pop(&self, patience: Duration) -> Popped {
        let empty = |state: &mut State| state.row.is_empty();
        let waited = self.came.wait_timeout_while(self.lock(), patience, empty);
        let mut state = waited.unwrap_or_else(|error| error.into_inner()).0;
        match state.row.pop_front() {
            Some(arrival) => {
                if let Arrival::Block([left, _]) = &arrival {
                    state.frames -= left.len();
                }
                self.went.notify_one();
                Popped::Arrival(arrival)
            }
            None => Popped::Nothing(state.last.elapsed()),
        }
    }

    /// Takes a block's memory back.
    pub fn give_back(&self, mut block: [Vec<f64>; 2]) {
        let mut state = self.lock();
        if state.spare.len() < ARRIVALS && block.iter().all(|side| side.capacity() >= self.block_frames) {
            block.iter_mut().for_each(Vec::clear);
            state.spare.push(block);
        }
    }

    /// Nobody listens any more.
    pub fn close(&self) {
        self.lock().closed = true;
        self.went.notify_all();
    }
}
