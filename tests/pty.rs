//! A terminal of 80 columns and 24 lines for a command that draws on one: its keys are typed, its screen is read as text.
//!
//! Standard input of the command is a pipe, as it is when a signal comes that way.

#![cfg(unix)]

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::ffi::OsString;
use std::fs::{File, OpenOptions};
use std::io::{Read, Write};
use std::num::NonZero;
use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// Longest that anything is waited for.
const PATIENCE: Duration = Duration::from_secs(60);

/// So many lines or columns, one at least.
fn lines(count: u16) -> NonZero<u16> {
    NonZero::new(count).unwrap()
}

/// A command that runs in a terminal of its own.
pub struct Pty {
    screen: Arc<Mutex<vt100::Parser>>,
    keys: Box<dyn Write + Send>,
    child: Box<dyn Child + Send + Sync>,
    master: Box<dyn MasterPty + Send>,
    /// The other end of its standard input; `None` once that has ended.
    signal: Option<File>,
    is_standing: Arc<AtomicBool>,
    _folder: TempDir,
}

impl Pty {
    /// Starts `program` with these arguments and variables of the environment. Standard output and standard error are the
    /// terminal, unless `redirected` says otherwise to a shell, such as `2>log` or `>/dev/null`.
    pub fn start<S: Into<OsString>>(
        program: &str,
        arguments: impl IntoIterator<Item = S>,
        variables: &[(&str, &str)],
        redirected: &str,
    ) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let pipe = folder.path().join("signal");
        assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
        let size = PtySize { rows: 24, cols: 80, pixel_width: 0, pixel_height: 0 };
        let pty = native_pty_system().openpty(size).unwrap();
        // The shell gives the pipe and becomes the command: the terminal is its own, and so is its process number.
        let mut command = CommandBuilder::new("sh");
        command.args(["-c", &format!("exec \"$0\" \"$@\" <\"$SIGNAL\" {redirected}"), program]);
        command.args(arguments.into_iter().map(Into::into));
        command.env("SIGNAL", &pipe);
        command.env("TERM", "xterm");
        command.cwd(folder.path());
        variables.iter().for_each(|(name, value)| command.env(name, value));
        let child = pty.slave.spawn_command(command).unwrap();
        // Otherwise the end of the command would not be the end of what can be read.
        drop(pty.slave);
        let screen = Arc::new(Mutex::new(vt100::Parser::new(lines(24), lines(80), 0)));
        let (mut output, drawn) = (pty.master.try_clone_reader().unwrap(), screen.clone());
        let is_standing = Arc::new(AtomicBool::new(false));
        let stands = is_standing.clone();
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            // A terminal that nobody writes to any more is an end or an error, as the system likes.
            while let Ok(count @ 1..) = output.read(&mut bytes) {
                drawn.lock().unwrap().process(&bytes[..count]);
                while stands.load(Ordering::SeqCst) {
                    std::thread::sleep(Duration::from_millis(5));
                }
            }
        });
        let keys = pty.master.take_writer().unwrap();
        // Opens as soon as the shell has opened it.
        let signal = Some(OpenOptions::new().write(true).open(&pipe).unwrap());
        Self { screen, keys, child, master: pty.master, signal, is_standing, _folder: folder }
    }

    /// Starts `deckproof` with the words of `line`.
    pub fn deckproof(line: &str) -> Self {
        Self::start(env!("CARGO_BIN_EXE_deckproof"), line.split_whitespace(), &[], "")
    }

    /// Types `keys`, such as `"q"` or `"\u{3}"`.
    pub fn type_keys(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).unwrap();
        self.keys.flush().unwrap();
    }

    /// Sends `bytes` into standard input. Comes back when the command has taken them, as far as the pipe is too small.
    pub fn send(&mut self, bytes: &[u8]) -> std::io::Result<()> {
        self.signal.as_mut().expect("it has not ended").write_all(bytes)
    }

    /// Another way into standard input, for a thread that sends while the test reads.
    pub fn sender(&self) -> File {
        self.signal.as_ref().expect("it has not ended").try_clone().unwrap()
    }

    /// Ends standard input, once all [`sender`](Self::sender)s are gone.
    pub fn end_signal(&mut self) {
        self.signal = None;
    }

    /// Lets the terminal stand still, taking nothing, or go on.
    pub fn stand_still(&self, is_standing: bool) {
        self.is_standing.store(is_standing, Ordering::SeqCst);
    }

    /// Makes the terminal so large.
    pub fn resize(&mut self, columns: u16, rows: u16) {
        self.screen.lock().unwrap().screen_mut().set_size(lines(rows), lines(columns));
        self.master.resize(PtySize { rows, cols: columns, pixel_width: 0, pixel_height: 0 }).unwrap();
    }

    /// What stands on the screen, a line a row.
    pub fn screen(&self) -> String {
        self.screen.lock().unwrap().screen().contents()
    }

    /// Whether another screen than the usual one is shown.
    pub fn is_on_other_screen(&self) -> bool {
        self.screen.lock().unwrap().screen().alternate_screen()
    }

    /// Whether the cursor is hidden.
    pub fn hides_cursor(&self) -> bool {
        self.screen.lock().unwrap().screen().hide_cursor()
    }

    /// Whether anything on the screen is coloured.
    pub fn has_colour(&self) -> bool {
        let parser = self.screen.lock().unwrap();
        let (rows, columns) = parser.screen().size();
        let (rows, columns) = (rows.get(), columns.get());
        let cells = (0..rows).flat_map(|row| (0..columns).map(move |column| (row, column)));
        let plain = vt100::Color::Default;
        cells
            .filter_map(|(row, column)| parser.screen().cell(row, column))
            .any(|cell| cell.fgcolor() != plain || cell.bgcolor() != plain)
    }

    /// How the terminal is set, as `stty` says it.
    pub fn settings(&self) -> String {
        let name = self.master.tty_name().unwrap();
        let said = Command::new("stty").arg("-a").stdin(File::open(name).unwrap()).output().unwrap();
        String::from_utf8(said.stdout).unwrap()
    }

    /// Sends a signal of this name to the command.
    pub fn kill(&self, signal: &str) {
        let id = self.child.process_id().unwrap().to_string();
        assert!(Command::new("kill").args(["-s", signal, &id]).status().unwrap().success(), "{signal}");
    }

    /// Waits until the screen is as wanted; fails with what stands there if it never is.
    #[track_caller]
    pub fn wait_for(&self, what: &str, is_so: impl Fn(&str) -> bool) -> String {
        let begun = Instant::now();
        loop {
            let screen = self.screen();
            if is_so(&screen) {
                return screen;
            }
            assert!(begun.elapsed() < PATIENCE, "never {what}:\n{screen}");
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// Waits until this text stands on the screen, and says all that stands there.
    #[track_caller]
    pub fn wait_for_text(&self, text: &str) -> String {
        self.wait_for(text, |screen| screen.contains(text))
    }

    /// Waits for the end; the exit status, which a shell counts as 128 and the signal's number if one ended it.
    #[track_caller]
    pub fn wait(&mut self) -> u32 {
        let begun = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                return status.exit_code();
            }
            assert!(begun.elapsed() < PATIENCE, "it does not end:\n{}", self.screen());
            std::thread::sleep(Duration::from_millis(5));
        }
    }
}

impl Drop for Pty {
    fn drop(&mut self) {
        // What a failed test has started must not stay.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
