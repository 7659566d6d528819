//! A file to which a recorder still appends.

use super::format::RawFormat;
use super::header::Begun;
use super::queue::Queue;
use super::reader::{Pump, begin};
use super::{LiveFormat, Trouble};
use crate::capture::CaptureError;
use same_file::Handle;
use std::fs::File;
use std::io::{ErrorKind, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// How often the end of the file is looked at.
const LOOK: Duration = Duration::from_millis(20);
/// How long a recorder may take to write the header.
const HEADER: Duration = Duration::from_secs(3);

/// The file as it is now.
pub(super) struct Growing {
    path: PathBuf,
    raw: Option<RawFormat>,
    choice: Option<[usize; 2]>,
    file: File,
    /// Where the samples begin, bytes.
    samples_at: u64,
    /// Bytes that have been read.
    read: u64,
}

/// What became of a file at whose end nothing is.
enum Fate {
    /// Nothing yet.
    Same,
    /// It is shorter than what was read of it.
    Cut,
    /// Another file stands at its place.
    Other,
}

impl Growing {
    /// Opens the file and waits for its header.
    pub fn open(
        path: &Path,
        raw: Option<RawFormat>,
        choice: Option<[usize; 2]>,
    ) -> Result<(Self, Begun, Vec<u8>), CaptureError> {
        let until = Instant::now() + HEADER;
        let wait = &mut || {
            std::thread::sleep(LOOK);
            Instant::now() < until
        };
        Self::begin(path, raw, choice, wait)
    }

    fn begin(
        path: &Path,
        raw: Option<RawFormat>,
        choice: Option<[usize; 2]>,
        wait: &mut dyn FnMut() -> bool,
    ) -> Result<(Self, Begun, Vec<u8>), CaptureError> {
        let mut file =
            File::open(path).map_err(|source| CaptureError::Io { path: path.to_owned(), source })?;
        let (mut begun, came) = begin(path, raw, choice, &mut file, wait)?;
        let samples_at = begun.samples_at as u64;
        let read = samples_at + came.len() as u64;
        begun.body.still_grows();
        Ok((Self { path: path.to_owned(), raw, choice, file, samples_at, read }, begun, came))
    }

    /// Starts the thread's work: everything that is there, then what is appended, until nobody listens any more.
    pub fn follow(mut self, came: Vec<u8>, mut pump: Pump) {
        let mut buffer = pump.buffer();
        if !pump.take(&came) {
            return;
        }
        loop {
            match self.file.read(&mut buffer) {
                Ok(0) => {
                    let goes_on = match self.fate() {
                        Fate::Same => pump.queue().pause(Instant::now() + LOOK),
                        Fate::Cut => self.again("was cut", &mut pump),
                        Fate::Other => self.again("was replaced", &mut pump),
                    };
                    if !goes_on {
                        return;
                    }
                }
                Ok(got) => {
                    self.read += got as u64;
                    if let Some(promised) = self.promised() {
                        pump.body().now_promises(promised);
                    }
                    if !pump.take(&buffer[..got]) {
                        return;
                    }
                }
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) => return pump.fail(error.to_string()),
            }
        }
    }

    fn fate(&self) -> Fate {
        if self.file.metadata().is_ok_and(|meta| meta.len() < self.read) {
            return Fate::Cut;
        }
        let here = self.file.try_clone().and_then(Handle::from_file);
        // A name that is gone for a moment is on the way to be replaced, or never comes back.
        match (here, Handle::from_path(&self.path)) {
            (Ok(here), Ok(there)) if here != there => Fate::Other,
            _ => Fate::Same,
        }
    }

    /// Begins with the file that stands there now; false if that is the end.
    fn again(&mut self, what: &str, pump: &mut Pump) -> bool {
        let begun = {
            let queue: &Queue = pump.queue();
            let wait = &mut || queue.pause(Instant::now() + LOOK);
            Self::begin(&self.path, self.raw, self.choice, wait)
        };
        match begun {
            Ok((this, begun, came)) if begun.layout == pump.layout() => {
                *self = this;
                let what = format!("{what}; it is read from its start again");
                pump.begin_again(begun.body);
                pump.queue().trouble(Trouble::Replaced { what }) && pump.take(&came)
            }
            Ok((_, begun, _)) => {
                let LiveFormat { words, .. } = begun.layout.live(begun.kind);
                let what = format!("{what}, and holds something else now ({words}); start again");
                if pump.queue().trouble(Trouble::Replaced { what }) {
                    pump.end();
                }
                false
            }
            Err(error) => {
                pump.fail(error.to_string());
                false
            }
        }
    }

    /// Length of the samples as the header says it now.
    fn promised(&mut self) -> Option<u32> {
        if self.raw.is_some() {
            return None;
        }
        let mut four = [0; 4];
        self.file.seek(SeekFrom::Start(self.samples_at - 4)).ok()?;
        let told = self.file.read_exact(&mut four).map(|()| u32::from_le_bytes(four));
        self.file.seek(SeekFrom::Start(self.read)).ok()?;
        told.ok()
    }
}
