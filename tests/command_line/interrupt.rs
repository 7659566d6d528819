//! Interrupts: no half file stays behind, and one that cannot be caught confuses nobody later.

#![cfg(unix)]

use super::bench::{Bench, SHORT};
use std::os::unix::process::ExitStatusExt;
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

fn start(bench: &Bench, line: &str) -> Child {
    Command::new(env!("CARGO_BIN_EXE_deckproof"))
        .args(line.split_whitespace())
        .current_dir(bench.path("."))
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

fn send(signal: &str, child: &Child) {
    let sent = Command::new("kill").args(["-s", signal, &child.id().to_string()]).status().unwrap();
    assert!(sent.success(), "{signal}");
}

fn parts(bench: &Bench) -> Vec<String> {
    bench.files().into_iter().filter(|name| name.contains(".deckproof-")).collect()
}

/// Waits until `is_so`; fails if the command ended before.
#[track_caller]
fn wait_until(child: &mut Child, is_so: impl Fn() -> bool) {
    let begun = Instant::now();
    while !is_so() {
        assert_eq!(child.try_wait().unwrap(), None, "ended too soon");
        assert!(begun.elapsed() < Duration::from_secs(60), "nothing happened");
        std::thread::sleep(Duration::from_millis(1));
    }
}

#[track_caller]
fn interrupted(output: &Output, status: i32) {
    let told = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(status), "{told}");
    assert_eq!(told.matches('\n').count(), 1, "{told}");
    assert!(told.starts_with("deckproof: interrupted"), "{told}");
}

#[test]
fn an_interrupted_write_leaves_no_file() {
    for (signal, status) in [("INT", 130), ("TERM", 143), ("HUP", 129)] {
        let bench = Bench::new();
        let mut child = start(&bench, "write full --out full.wav --rate 96000 --depth float");
        // The short-lived ones only try whether the place can be written to.
        wait_until(&mut child, || {
            let size = |name: &String| bench.path(name).metadata().map_or(0, |file| file.len());
            parts(&bench).iter().any(|name| size(name) > 100_000)
        });
        send(signal, &child);
        interrupted(&child.wait_with_output().unwrap(), status);
        assert!(bench.files().is_empty(), "{signal}: {:?}", bench.files());
    }
}

#[test]
fn an_interrupted_rehearsal_leaves_whole_files_only() {
    let bench = Bench::new();
    let mut child = start(&bench, "rehearse first-look --out r");
    wait_until(&mut child, || bench.path("r/deck.toml").exists() && !parts(&bench).is_empty());
    send("TERM", &child);
    interrupted(&child.wait_with_output().unwrap(), 143);
    assert_eq!(
        bench.files(),
        ["r/deck.toml", "r/programme.sheet.html", "r/programme.sheet.txt", "r/programme.wav"]
    );
}

#[test]
fn an_interrupted_reading_leaves_no_file() {
    let bench = Bench::new();
    bench.run("write full --out full.wav").done();
    let mut child = start(&bench, "read full.wav --out results --json reading.json");
    std::thread::sleep(Duration::from_millis(150));
    wait_until(&mut child, || true);
    send("INT", &child);
    interrupted(&child.wait_with_output().unwrap(), 130);
    assert_eq!(bench.files(), ["full.sheet.html", "full.sheet.txt", "full.wav"]);
}

#[test]
fn what_a_killed_write_left_does_not_confuse_the_next() {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    let mut child = start(&bench, "write full --out a.wav");
    wait_until(&mut child, || !parts(&bench).is_empty());
    send("KILL", &child);
    assert_eq!(child.wait().unwrap().signal(), Some(9));
    let left = parts(&bench);
    assert!(!bench.path("a.wav").exists());
    bench.run("write short.toml --out a.wav").done();
    bench.run("read a.wav --recipe short.toml").done();
    assert_eq!(parts(&bench), left);
}

#[test]
#[cfg(target_os = "linux")]
fn a_signal_that_the_starter_ignores_stays_ignored() {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    let mut child = Command::new("nohup")
        .args([env!("CARGO_BIN_EXE_deckproof"), "write", "full", "--out", "a.wav"])
        .current_dir(bench.path("."))
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    wait_until(&mut child, || !parts(&bench).is_empty());
    send("HUP", &child);
    let ended = child.wait_with_output().unwrap();
    assert_eq!(ended.status.code(), Some(0), "{}", String::from_utf8_lossy(&ended.stderr));
    assert!(bench.path("a.wav").exists());
}
