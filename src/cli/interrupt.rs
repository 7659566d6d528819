//! Interrupts (Ctrl-C, an end of the session, a request to stop): nothing half written stays behind, and the terminal is given
//! back as it was.

use super::live_screen::give_back;
use crate::programme::abandon_unfinished;
use std::io::Write;
#[cfg(unix)]
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::channel;
use std::time::Duration;

/// Nothing is being written that could be half done.
static NOTHING_WRITTEN: AtomicBool = AtomicBool::new(false);

/// From now on an interrupt has no files to speak of.
#[cfg(feature = "sound-card")]
pub fn nothing_is_written() {
    NOTHING_WRITTEN.store(true, Ordering::Relaxed);
}

/// What is said of an interrupt.
#[cfg(any(unix, windows))]
fn said() -> &'static str {
    if NOTHING_WRITTEN.load(Ordering::Relaxed) {
        return "deckproof: interrupted";
    }
    "deckproof: interrupted; files that were not finished were removed; start it again"
}

/// Watches for interrupts from now on. One that the starter has told the process to ignore (`nohup`) stays ignored.
///
/// Where the system has no way to watch, interrupts end the process as ever.
#[cfg(unix)]
pub fn watch() {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM, SIGXFSZ};
    // A file that grows over the user's limit is an error of writing then, not an end without clearing up.
    let _ = signal_hook::flag::register(SIGXFSZ, Arc::default());
    let ignored = ignored_signals();
    let watched = [SIGINT, SIGTERM, SIGHUP].into_iter().filter(|signal| ignored & (1 << (signal - 1)) == 0);
    let Ok(mut signals) = signal_hook::iterator::Signals::new(watched) else { return };
    std::thread::spawn(move || {
        if let Some(signal) = signals.forever().next() {
            // 128 + number: what shells say of a process that a signal ended.
            end(128 + signal);
        }
    });
}

/// Bit n - 1 is set if signal n is ignored; 0 where the system does not say.
#[cfg(unix)]
fn ignored_signals() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    mask.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok()).unwrap_or(0)
}

/// Watches for interrupts from now on.
#[cfg(windows)]
pub fn watch() {
    // Without a handler the interrupt ends the process as ever.
    let _ = ctrlc::set_handler(|| end(130));
}

/// Watches for nothing: this system has no interrupts that are known here.
#[cfg(not(any(unix, windows)))]
pub fn watch() {}

/// An interrupt by the keyboard is how the command ends that runs now: nothing is said of it.
static IS_THE_END: AtomicBool = AtomicBool::new(false);

/// From now on an interrupt by the keyboard ends the command as if it were done.
pub fn is_the_end() {
    IS_THE_END.store(true, Ordering::SeqCst);
}

/// Longest that an end waits for a terminal that takes nothing.
#[cfg(any(unix, windows))]
const PATIENCE: Duration = Duration::from_secs(1);

#[cfg(any(unix, windows))]
fn end(status: i32) -> ! {
    // 130: an interrupt by the keyboard.
    let quiet = status == 130 && IS_THE_END.load(Ordering::SeqCst);
    abandon_unfinished(|| {
        let (done, wait) = channel();
        std::thread::spawn(move || {
            give_back();
            if !quiet {
                let _ = writeln!(std::io::stderr(), "{}", said());
            }
            done.send(())
        });
        // Said, or not to be said: it ends.
        let _ = wait.recv_timeout(PATIENCE);
        std::process::exit(if quiet { 0 } else { status })
    })
}
