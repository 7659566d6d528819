//! What the system's thread tells ours: numbers that only grow, and why it ended.

use cpal::ErrorKind;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

/// Shared by the callbacks and the owner of a stream.
#[derive(Debug, Default)]
pub(super) struct State {
    /// Frames that went through the callback.
    pub frames: AtomicU64,
    /// Frames that the ring had no room for, or did not have in time.
    pub missed: AtomicU64,
    /// Times that the system itself was too late.
    pub late: AtomicU64,
    /// Nothing is put into the ring any more.
    pub ended: AtomicBool,
    gone: Mutex<Option<String>>,
}

impl State {
    /// Takes what the system says of a running stream.
    pub fn take(&self, error: &cpal::Error) {
        match error.kind() {
            ErrorKind::Xrun => {
                self.late.fetch_add(1, Ordering::Relaxed);
            }
            // It goes on all the same.
            ErrorKind::DeviceChanged | ErrorKind::RealtimeDenied | ErrorKind::DeviceBusy => {}
            _ => {
                let mut gone = self.gone.lock().unwrap_or_else(PoisonError::into_inner);
                gone.get_or_insert_with(|| said(error));
            }
        }
    }

    /// Why it ended, if it has.
    pub fn gone(&self) -> Option<String> {
        self.gone.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

/// What the system says, without a full stop: it becomes a part of a sentence.
pub(super) fn said(error: &cpal::Error) -> String {
    error.to_string().trim_end_matches('.').to_owned()
}
