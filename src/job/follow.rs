//! Following a deck live: sound is measured in a thread of its own, pictures are taken from it.
//!
//! Whoever looks slowly loses pictures, never sound: measuring waits for nobody who looks at a running deck. Only a file that is
//! read as fast as it goes waits until each of its pictures was taken, so that every run gives the same ones.

use crate::capture::live::{Arrival, LiveStream, Trouble};
use crate::follow::{FollowOptions, Follower};
use crate::reading::{LiveKey, Picture};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, SyncSender, TrySendError, channel, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// What the measuring thread waits for sound at a time: so long a key waits where no sound comes.
const PATIENCE: Duration = Duration::from_millis(50);

/// What is done with pictures that nobody has taken yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Untaken {
    /// The newest takes their place.
    Replaced,
    /// They are waited for.
    WaitedFor,
}

/// How often a picture is made, and what becomes of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pictures {
    /// From picture to picture, s of the sound.
    pub every_s: f64,
    /// Those that nobody took.
    pub untaken: Untaken,
}

/// What comes next.
#[derive(Debug, Clone, PartialEq)]
pub enum Next {
    /// A picture.
    Picture(Box<Picture>),
    /// Nothing came in time.
    Nothing,
    /// The sound has ended, and so has the following; why, if it was broken off.
    End(Option<String>),
}

/// A deck that is followed.
pub struct Following {
    pictures: Receiver<Box<Picture>>,
    told: Sender<Told>,
    measuring: Option<JoinHandle<Option<String>>>,
}

impl Following {
    /// Begins to follow `stream`.
    ///
    /// # Errors
    /// If the system gives no thread for it.
    pub fn begin(stream: LiveStream, options: FollowOptions, pictures: Pictures) -> std::io::Result<Self> {
        let (send, receive) = sync_channel(1);
        let (told, heard) = channel();
        let follower = Follower::new(stream.format.rate_hz, options);
        let mut measuring =
            Measuring { stream, follower, pictures, send, heard, next_s: 0.0, broken_off: None };
        let thread = std::thread::Builder::new().name("measuring".into());
        let measuring = thread.spawn(move || measuring.run())?;
        Ok(Self { pictures: receive, told, measuring: Some(measuring) })
    }

    /// The next picture, or the newest of those that came meanwhile.
    pub fn next(&mut self, patience: Duration) -> Next {
        match self.pictures.recv_timeout(patience) {
            Ok(picture) => Next::Picture(picture),
            Err(RecvTimeoutError::Timeout) => Next::Nothing,
            Err(RecvTimeoutError::Disconnected) => {
                let ended = self.measuring.take().map(JoinHandle::join);
                Next::End(match ended {
                    Some(Ok(why)) => why,
                    Some(Err(panic)) => std::panic::resume_unwind(panic),
                    None => None,
                })
            }
        }
    }

    /// A key was pressed; [`LiveKey::Keep`] and [`LiveKey::Quit`] are for whoever shows the pictures.
    pub fn press(&self, key: LiveKey) {
        // Where nobody measures any more, nothing can be done.
        let _ = self.told.send(Told::Key(key));
    }

    /// Says on the pictures that something was done.
    pub fn say(&self, words: &str) {
        let _ = self.told.send(Told::Did(words.to_owned()));
    }
}

/// What the measuring thread is told.
enum Told {
    Key(LiveKey),
    /// What was done elsewhere, to be said on the pictures.
    Did(String),
}

/// The measuring thread.
struct Measuring {
    stream: LiveStream,
    follower: Follower,
    pictures: Pictures,
    send: SyncSender<Box<Picture>>,
    heard: Receiver<Told>,
    /// When the next picture is due, s of the sound.
    next_s: f64,
    broken_off: Option<String>,
}

impl Measuring {
    /// Until the sound ends, or nobody looks any more; why it was broken off.
    fn run(&mut self) -> Option<String> {
        loop {
            let mut due = self.take_keys();
            match self.stream.next(PATIENCE) {
                Some(Arrival::Block(block)) => {
                    self.follower.feed([&block[0], &block[1]]);
                    self.stream.give_back(block);
                }
                Some(Arrival::Trouble(trouble)) => {
                    self.follower.trouble(&sentence(&trouble));
                    if let Trouble::Unplugged { .. } | Trouble::Unreadable { .. } = trouble {
                        self.broken_off = Some(trouble.to_string());
                    }
                    due = true;
                }
                Some(Arrival::End) => {
                    self.give();
                    return self.broken_off.take();
                }
                None => {}
            }
            // Its time begins anew where the rate was wrong.
            self.next_s = self.next_s.min(self.follower.now_s() + self.pictures.every_s);
            if due || self.follower.now_s() >= self.next_s {
                self.next_s = self.follower.now_s() + self.pictures.every_s;
                if !self.give() {
                    return None;
                }
            }
        }
    }

    /// Does what was pressed; true if something was.
    fn take_keys(&mut self) -> bool {
        let mut any = false;
        while let Ok(told) = self.heard.try_recv() {
            any = true;
            let key = match told {
                Told::Key(key) => key,
                Told::Did(words) => {
                    self.follower.did(&words);
                    continue;
                }
            };
            match key {
                LiveKey::View(view) => self.follower.show(Some(view)),
                LiveKey::FollowSignal => self.follower.show(None),
                LiveKey::Source => self.follower.take_source(),
                LiveKey::Hold => self.follower.hold(),
                LiveKey::Reset => self.follower.reset(),
                LiveKey::Keep | LiveKey::Quit => {}
            }
        }
        any
    }

    /// Gives a picture to whoever looks; false if nobody does any more.
    fn give(&mut self) -> bool {
        let picture = Box::new(self.follower.picture());
        match self.pictures.untaken {
            Untaken::WaitedFor => self.send.send(picture).is_ok(),
            Untaken::Replaced => match self.send.try_send(picture) {
                Ok(()) => true,
                // The one that waits is a fifteenth of a second older.
                Err(TrySendError::Full(_)) => true,
                Err(TrySendError::Disconnected(_)) => false,
            },
        }
    }
}

/// A trouble as a sentence.
fn sentence(trouble: &Trouble) -> String {
    let text = trouble.to_string();
    let mut chars = text.chars();
    let first = chars.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", chars.as_str())
}
