//! The header of a stream: read as it comes, without going back.

use super::body::Body;
use super::format::{Layout, RawFormat};
use crate::capture::CaptureError;
use crate::capture::container::{LOOK_BYTES, long_wav, name_of};
use crate::capture::wav_header::WavWalk;
use std::path::Path;

/// Bytes by which the kind is told.
const KIND_BYTES: usize = 12;

/// What a stream begins with.
pub(super) struct Begun {
    pub layout: Layout,
    pub body: Body,
    /// Where the samples begin.
    pub samples_at: usize,
    pub kind: &'static str,
}

/// Takes bytes until it is clear what comes.
pub(super) struct Header<'a> {
    path: &'a Path,
    raw: Option<RawFormat>,
    choice: Option<[usize; 2]>,
    walk: WavWalk,
}

impl<'a> Header<'a> {
    /// For what comes from `path`.
    pub fn new(path: &'a Path, raw: Option<RawFormat>, choice: Option<[usize; 2]>) -> Self {
        Self { path, raw, choice, walk: WavWalk::new(None) }
    }

    /// What `head`, all bytes that have come, begins; `None` if more must come before that is clear.
    ///
    /// # Errors
    /// If it is nothing that can be followed.
    pub fn look(&mut self, head: &[u8]) -> Result<Option<Begun>, CaptureError> {
        if let Some(raw) = self.raw {
            let layout = Layout::raw(self.path, raw, self.choice)?;
            return Ok(Some(Begun { layout, body: Body::raw(), samples_at: 0, kind: "raw samples" }));
        }
        if head.len() < KIND_BYTES {
            return Ok(None);
        }
        if !(head.starts_with(b"RIFF") && head.get(8..12) == Some(b"WAVE")) {
            return Err(self.no_wav(head));
        }
        let Some(header) = self.walk.go(self.path, head)? else {
            let too_long = head.len() as u64 > LOOK_BYTES;
            return if too_long { Err(self.ended(head)) } else { Ok(None) };
        };
        let layout = Layout::wav(self.path, header.format, self.choice)?;
        let body = Body::wav(header.promised);
        Ok(Some(Begun { layout, body, samples_at: header.samples_at, kind: "WAV" }))
    }

    /// What is wrong if nothing comes behind `head`, which began nothing.
    pub fn ended(&self, head: &[u8]) -> CaptureError {
        if head.is_empty() {
            return CaptureError::Empty { path: self.path.to_owned() };
        }
        if head.len() < KIND_BYTES {
            return self.no_wav(head);
        }
        self.walk.cut_off(self.path, head.len(), head.len() as u64)
    }

    fn no_wav(&self, head: &[u8]) -> CaptureError {
        let path = self.path.to_owned();
        if let Some(what) = long_wav(head, 0) {
            return CaptureError::Unsupported { path, what };
        }
        let found = if head.starts_with(b"fLaC") {
            "FLAC".to_owned()
        } else if head.starts_with(b"FORM") {
            "AIFF".to_owned()
        } else {
            name_of(head)
        };
        CaptureError::NotLive { path, found }
    }
}
