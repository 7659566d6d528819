//! The terminal while a deck is followed: its screen, its keys, and that it is given back as it was.
//!
//! Keys come from the terminal itself, because standard input is the signal. On Unix that is `/dev/tty`, on Windows the
//! console's input. The terminal is given back when the screen is dropped, when the program panics, and by interrupts.
//! Ctrl-Z does nothing: a stopped reader would hold up whoever sends the signal.

use crate::reading::{LiveKey, Picture, View};
use crate::show::live::{Look, draw};
use anyhow::Context;
use crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers, poll, read};
use crossterm::terminal::{EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode};
use crossterm::{cursor, execute};
use ratatui_core::terminal::Terminal;
use ratatui_crossterm::CrosstermBackend;
use std::io::{BufWriter, IsTerminal, Write, stderr, stdout};
use std::panic::{set_hook, take_hook};
use std::sync::atomic::{AtomicU8, Ordering};
use std::sync::{Mutex, MutexGuard, Once, TryLockError};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// Shortest time that keys are waited for: asked for no time at all, the terminal is not looked at.
const LEAST: Duration = Duration::from_millis(1);
/// Longest that whoever gives the terminal back waits for a picture that is being written.
const PATIENCE: Duration = Duration::from_millis(300);

/// Where the screen is open: a [`Stream`] as a number, or [`CLOSED`].
static OPEN: AtomicU8 = AtomicU8::new(CLOSED);
const CLOSED: u8 = 0;
/// Held while something is written to the screen.
static WRITING: Mutex<()> = Mutex::new(());

/// Where it is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stream {
    Output = 1,
    Error = 2,
}

impl Stream {
    /// Standard output if that is a terminal, else standard error if that is one.
    fn of_terminal() -> Option<Self> {
        let output = stdout().is_terminal().then_some(Self::Output);
        output.or_else(|| stderr().is_terminal().then_some(Self::Error))
    }
}

impl Write for Stream {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        match self {
            Self::Output => stdout().write(bytes),
            Self::Error => stderr().write(bytes),
        }
    }

    fn flush(&mut self) -> std::io::Result<()> {
        match self {
            Self::Output => stdout().flush(),
            Self::Error => stderr().flush(),
        }
    }
}

/// The terminal while it shows pictures.
pub struct LiveScreen {
    terminal: Terminal<CrosstermBackend<BufWriter<Stream>>>,
    look: Look,
}

impl LiveScreen {
    /// Whether there is a terminal to draw on.
    pub fn is_possible() -> bool {
        Stream::of_terminal().is_some()
    }

    /// Takes the terminal: another screen, no cursor, keys one by one.
    ///
    /// # Errors
    ///
    /// There is no terminal, or it cannot be set.
    pub fn open(look: Look) -> anyhow::Result<Self> {
        let none = "standard output: no terminal to draw on; use --plain for a line a second";
        let mut stream = Stream::of_terminal().context(none)?;
        static HOOK: Once = Once::new();
        HOOK.call_once(|| {
            let before = take_hook();
            set_hook(Box::new(move |panic| {
                give_back();
                before(panic);
            }));
        });
        let cannot = "the terminal: cannot be drawn on; use --plain for a line a second";
        let opened = (|| {
            enable_raw_mode()?;
            OPEN.store(stream as u8, Ordering::SeqCst);
            execute!(stream, EnterAlternateScreen, cursor::Hide)?;
            Terminal::new(CrosstermBackend::new(BufWriter::new(stream)))
        })();
        match opened {
            Ok(terminal) => Ok(Self { terminal, look }),
            Err(error) => {
                give_back();
                Err(error).context(cannot)
            }
        }
    }

    /// Draws `picture`, as large as the terminal is now. Writes only what has changed.
    ///
    /// Does nothing once the terminal has been given back.
    ///
    /// # Errors
    ///
    /// The terminal cannot be written to.
    pub fn draw(&mut self, picture: &Picture) -> anyhow::Result<()> {
        let _writing = WRITING.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
        if OPEN.load(Ordering::SeqCst) == CLOSED {
            return Ok(());
        }
        let look = self.look;
        let drawn = self.terminal.draw(|frame| draw(picture, frame.area(), frame.buffer_mut(), look));
        drawn.context("the terminal: cannot be written to")?;
        Ok(())
    }

    /// The next key that means something, or `None` if none came in time. Comes back early when the terminal has changed
    /// its size: then it is time to draw.
    pub fn key(&mut self, wait: Duration) -> Option<LiveKey> {
        let until = Instant::now() + wait;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            match poll(left.max(LEAST)) {
                Ok(true) => {}
                Ok(false) => return None,
                Err(_) => {
                    // A terminal without keys: the time passes all the same.
                    sleep(left);
                    return None;
                }
            }
            match read() {
                Ok(Event::Key(key)) => {
                    if let Some(key) = meant(key) {
                        return Some(key);
                    }
                }
                Ok(Event::Resize(..)) => return None,
                _ => {}
            }
            if Instant::now() >= until {
                return None;
            }
        }
    }
}

impl Drop for LiveScreen {
    fn drop(&mut self) {
        give_back();
    }
}

/// Gives the terminal back as it was, if a screen is open. May be called at any time, from any thread.
pub fn give_back() {
    // One whose terminal stands still, or who panicked while drawing, holds it for ever.
    let _writing = within_patience();
    let mut stream = match OPEN.swap(CLOSED, Ordering::SeqCst) {
        stream if stream == Stream::Output as u8 => Stream::Output,
        stream if stream == Stream::Error as u8 => Stream::Error,
        _ => return,
    };
    // Nothing can be done where it fails. The first needs no room in the terminal, the second may wait for it.
    let _ = disable_raw_mode();
    let _ = execute!(stream, LeaveAlternateScreen, cursor::Show);
}

/// Waits for a picture that is being written, but not for ever.
fn within_patience() -> Option<MutexGuard<'static, ()>> {
    let until = Instant::now() + PATIENCE;
    loop {
        match WRITING.try_lock() {
            Ok(guard) => return Some(guard),
            Err(TryLockError::Poisoned(poisoned)) => return Some(poisoned.into_inner()),
            Err(TryLockError::WouldBlock) if Instant::now() >= until => return None,
            Err(TryLockError::WouldBlock) => sleep(LEAST),
        }
    }
}

/// What a key means; `None`: nothing.
fn meant(key: KeyEvent) -> Option<LiveKey> {
    // Windows tells when it is let go as well.
    if key.kind == KeyEventKind::Release {
        return None;
    }
    if key.modifiers.contains(KeyModifiers::CONTROL) {
        return (key.code == KeyCode::Char('c')).then_some(LiveKey::Quit);
    }
    match key.code {
        KeyCode::Esc => Some(LiveKey::Quit),
        KeyCode::Char(c) => match c.to_ascii_lowercase() {
            '0' => Some(LiveKey::FollowSignal),
            '1'..='9' => View::ALL.get(c as usize - '1' as usize).copied().map(LiveKey::View),
            's' => Some(LiveKey::Source),
            'h' => Some(LiveKey::Hold),
            'r' => Some(LiveKey::Reset),
            'k' => Some(LiveKey::Keep),
            'q' => Some(LiveKey::Quit),
            _ => None,
        },
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_of_the_key_line_means_something_and_no_other_does() {
        let press = |c| meant(KeyEvent::new(KeyCode::Char(c), KeyModifiers::NONE));
        let views: Vec<_> = ('1'..='6').map(press).collect();
        assert_eq!(views, View::ALL.map(|view| Some(LiveKey::View(view))));
        let all = [
            ('0', LiveKey::FollowSignal),
            ('s', LiveKey::Source),
            ('h', LiveKey::Hold),
            ('r', LiveKey::Reset),
            ('k', LiveKey::Keep),
            ('q', LiveKey::Quit),
            ('Q', LiveKey::Quit),
        ];
        for (c, means) in all {
            assert_eq!(press(c), Some(means), "{c}");
        }
        for c in ['7', '9', 'x', ' ', '\u{e9}'] {
            assert_eq!(press(c), None, "{c}");
        }
        let with = |code, modifiers| meant(KeyEvent::new(code, modifiers));
        assert_eq!(with(KeyCode::Char('c'), KeyModifiers::CONTROL), Some(LiveKey::Quit));
        assert_eq!(with(KeyCode::Esc, KeyModifiers::NONE), Some(LiveKey::Quit));
        for c in ['s', 'h', 'z', 'k'] {
            assert_eq!(with(KeyCode::Char(c), KeyModifiers::CONTROL), None, "Ctrl-{c}");
        }
        let mut released = KeyEvent::new(KeyCode::Char('q'), KeyModifiers::NONE);
        released.kind = KeyEventKind::Release;
        assert_eq!(meant(released), None);
    }
}
