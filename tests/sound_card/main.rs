//! The sound card's commands and streams, against devices without hardware: `asound.conf` beside this file has them.
//!
//! The tape is a named pipe that the test empties eight times as fast as a deck would. What runs in the program itself
//! runs in a child, because the devices are named by the environment: tests that are ignored are the children.

#![cfg(target_os = "linux")]

// Its own tests run here: a second build of the whole library for them would take minutes.
#[allow(dead_code, unused_imports, unused_macros)]
#[path = "../../src/sound_card/grid.rs"]
mod grid;

use deckproof::internals::capture::live::{Arrival, LiveStream, Trouble};
use deckproof::internals::programme::{Recipe, Renderer, Timeline};
use deckproof::internals::sound_card::ToneOut;
use std::fs::OpenOptions;
use std::io::{BufRead, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// What the test writes into the tape's pipe when nothing comes any more.
const END: &[u8] = b"that was all";
/// Longest run of a child.
const LONGEST: Duration = Duration::from_secs(120);

/// A folder with a tape in it.
struct Bench(tempfile::TempDir);

impl Bench {
    fn new() -> Self {
        let bench = Self(tempfile::tempdir().unwrap());
        let made = Command::new("mkfifo").arg(bench.path("tape")).status().expect("mkfifo is there");
        assert!(made.success());
        bench
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// The environment in which the devices are those of `asound.conf`.
    fn command(&self, program: impl AsRef<Path>) -> Command {
        let mut command = Command::new(program.as_ref());
        command
            .env(
                "ALSA_CONFIG_PATH",
                Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sound_card/asound.conf"),
            )
            .env("DECKPROOF_TAPE", self.path("tape"))
            .env("DECKPROOF_PLAYER", self.path("player"))
            .current_dir(self.0.path())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        command
    }

    fn deckproof(&self, words: &[&str]) -> Child {
        self.command(env!("CARGO_BIN_EXE_deckproof")).args(words).spawn().unwrap()
    }

    /// One of the ignored tests of this file, in a process of its own.
    fn child(&self, test: &str) -> Child {
        let words = ["--exact", test, "--ignored", "--nocapture"];
        self.command(std::env::current_exe().unwrap()).args(words).spawn().unwrap()
    }

    /// Takes what comes to the tape until [`END`], and keeps so many frames of it.
    fn tape(&self, most_frames: usize) -> Tape {
        let path = self.path("tape");
        // Open for both, so that it never ends while a device is opened anew.
        let mut file = OpenOptions::new().read(true).write(true).open(&path).unwrap();
        let taking = std::thread::spawn(move || {
            let (mut all, mut buffer) = (Vec::new(), [0; 8192]);
            while !all.ends_with(END) {
                let got = file.read(&mut buffer).unwrap();
                all.extend(&buffer[..got]);
                // What is over stays as long as it may be a part of the end.
                let (kept, end) = (8 * most_frames, all.len().saturating_sub(END.len()));
                if end > kept {
                    all.drain(kept..end);
                }
                std::thread::sleep(Duration::from_secs_f64(got as f64 / 8.0 / 48_000.0 / 8.0));
            }
            all.truncate(all.len() - END.len());
            all
        });
        Tape { path, taking }
    }
}

struct Tape {
    path: PathBuf,
    taking: JoinHandle<Vec<u8>>,
}

impl Tape {
    /// All frames that it took, 32 bit.
    fn frames(self) -> Vec<[i32; 2]> {
        OpenOptions::new().write(true).open(self.path).unwrap().write_all(END).unwrap();
        let bytes = self.taking.join().unwrap();
        let values: Vec<i32> =
            bytes.chunks_exact(4).map(|four| i32::from_le_bytes(four.try_into().unwrap())).collect();
        values.chunks_exact(2).map(|frame| [frame[0], frame[1]]).collect()
    }
}

/// The end of a child; one that hangs is a fault.
fn ended(mut child: Child) -> Output {
    let until = Instant::now() + LONGEST;
    while child.try_wait().unwrap().is_none() {
        if Instant::now() > until {
            child.kill().unwrap();
            panic!("it hangs: {:?}", child.wait_with_output());
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    child.wait_with_output().unwrap()
}

fn text(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).unwrap()
}

const CAUTION: &str = "Test tones at line level can destroy tweeters and hearing: speakers off, headphones off your ears, \
                       volume down first.\n";

/// Frames of 24 bit in 32 in which no sample is 0 and none repeats soon.
fn pattern(frames: i64) -> Vec<[i32; 2]> {
    let sample = |k: i64, step: i64| (((k * step) % 8_000_000 + 1) as i32) << 8;
    (0..frames).map(|k| [sample(k, 7919), -sample(k, 104_729)]).collect()
}

/// A WAV of 24 bit with those frames.
fn write_wav(path: &Path, frames: &[[i32; 2]]) {
    let mut data: Vec<u8> = Vec::new();
    frames.as_flattened().iter().for_each(|value| data.extend(&value.to_le_bytes()[1..]));
    let mut bytes = b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0\x01\0\x02\0".to_vec();
    bytes.extend([48_000u32, 48_000 * 6].map(u32::to_le_bytes).concat());
    bytes.extend(b"\x06\0\x18\0data");
    bytes.extend((data.len() as u32).to_le_bytes());
    bytes.extend(data);
    std::fs::write(path, bytes).unwrap();
}

#[test]
fn devices_are_listed_with_their_rates() {
    let ran = ended(Bench::new().deckproof(&["list", "devices"]));
    let (out, err) = (text(&ran.stdout), text(&ran.stderr));
    assert!(ran.status.success() && err.is_empty(), "{err}");
    let (inputs, outputs) = out.split_once("\n\n").unwrap();
    for part in [inputs, outputs] {
        for (name, words) in
            [("default", "Default"), ("deaf", "Nothing behind it"), ("tape", "A file as a tape")]
        {
            let row = part.lines().find(|line| line.trim_start().starts_with(&format!("{name} ")));
            let row = row.unwrap_or_else(|| panic!("{name}\n{out}"));
            assert!(row.contains(words) && row.contains(" 44100, 48000, 88200, 96000"), "{row}");
        }
    }
}

#[test]
fn what_cannot_be_played_is_refused_in_one_line() {
    let bench = Bench::new();
    write_wav(&bench.path("a.wav"), &pattern(100));
    for (words, wanted) in [
        (
            &["play", "a.wav", "--device", "nonesuch"][..],
            "nonesuch: no output of the sound card has this name; there are: deaf, tape",
        ),
        (
            &["play", "a.wav", "--device", "file as a"],
            "file as a: fits more than one output; give the whole name",
        ),
        (&["play", "none.wav"], "none.wav: cannot be read"),
        (&["play", "nonesuch"], "nonesuch"),
    ] {
        let ran = ended(bench.deckproof(words));
        let err = text(&ran.stderr);
        assert_eq!(ran.status.code(), Some(1), "{words:?}: {err}");
        assert!(
            err.starts_with(&format!("deckproof: {wanted}")) && err.lines().count() == 1,
            "{words:?}: {err}"
        );
        assert!(ran.stdout.is_empty());
    }
}

#[test]
fn a_file_is_played_sample_by_sample() {
    let bench = Bench::new();
    // Longer than the ring.
    let frames = pattern(150_000);
    write_wav(&bench.path("a.wav"), &frames);
    let tape = bench.tape(usize::MAX >> 4);
    // A part of what the system calls it is name enough.
    let ran = ended(bench.deckproof(&["play", "a.wav", "--device", "as a TAPE"]));
    let (taken, err) = (tape.frames(), text(&ran.stderr));
    assert!(ran.status.success() && ran.stdout.is_empty(), "{err}");
    assert_eq!(err, CAUTION);
    assert!(taken.len() >= frames.len(), "{}", taken.len());
    assert!(taken[..frames.len()] == frames[..], "not what was played");
    assert!(taken[frames.len()..].iter().all(|frame| *frame == [0, 0]), "something behind it");
}

#[test]
fn a_recipe_is_played_as_it_would_be_written() {
    let recipe = r#"
        name = "short"
        title = "Short"
        part = [
            { kind = "slate" },
            { kind = "tone", id = "level-315", hz = 315, level_db = 0, length_s = 1 },
            { kind = "slate" },
        ]"#;
    let bench = Bench::new();
    std::fs::write(bench.path("short.toml"), recipe).unwrap();
    let tape = bench.tape(usize::MAX >> 4);
    let ran = ended(bench.deckproof(&["play", "short.toml", "--device", "tape"]));
    assert!(ran.status.success(), "{}", text(&ran.stderr));
    let timeline = Timeline::from(&Recipe::parse(recipe, "short.toml").unwrap());
    let [left, right] = Renderer::new(&timeline, 48_000, -12.0).unwrap().collect();
    let taken = tape.frames();
    assert!(taken.len() >= left.len());
    let steps = |value: f64| (value * 2_147_483_648.0).round() as i32;
    let wanted = left.iter().zip(&right).map(|(left, right)| [steps(*left), steps(*right)]);
    assert!(taken.into_iter().zip(wanted).all(|(taken, wanted)| taken == wanted));
}

#[test]
fn a_loop_has_no_gap_and_ends_by_an_interrupt() {
    let bench = Bench::new();
    let frames = pattern(30_000);
    write_wav(&bench.path("a.wav"), &frames);
    let tape = bench.tape(100_000);
    let child = bench.deckproof(&["play", "a.wav", "--loop", "--device", "tape"]);
    std::thread::sleep(Duration::from_millis(1500));
    let id = child.id().to_string();
    assert!(Command::new("kill").args(["-INT", &id]).status().unwrap().success());
    let ran = ended(child);
    assert_eq!(ran.status.code(), Some(130));
    assert_eq!(text(&ran.stderr), format!("{CAUTION}deckproof: interrupted\n"));
    let taken = tape.frames();
    assert!(taken.len() > 2 * frames.len(), "{}", taken.len());
    assert!(taken.iter().zip(frames.iter().cycle()).take(90_000).all(|(taken, wanted)| taken == wanted));
}

#[test]
fn a_programme_with_gaps_is_not_called_done() {
    let bench = Bench::new();
    // Ten times what is read in advance; the device takes it faster than it can be read.
    write_wav(&bench.path("a.wav"), &pattern(960_000));
    let ran = ended(bench.deckproof(&["play", "a.wav", "--device", "deaf"]));
    assert_eq!(ran.status.code(), Some(1));
    let wanted = "deckproof: deaf: the computer was too slow, and the programme has gaps; end other programs and play it again";
    assert_eq!(text(&ran.stderr), format!("{CAUTION}{wanted}\n"));
}

/// What a child that was started by [`Bench::child`] has to say.
fn passed(child: Child) {
    let ran = ended(child);
    assert!(ran.status.success(), "{}{}", text(&ran.stdout), text(&ran.stderr));
    assert!(text(&ran.stdout).contains("1 passed"), "{}", text(&ran.stdout));
}

#[test]
fn what_is_recorded_arrives_and_what_is_lost_is_said() {
    let bench = Bench::new();
    let bytes: Vec<u8> =
        pattern(48_000).as_flattened().iter().flat_map(|value| value.to_le_bytes()).collect();
    std::fs::write(bench.path("player"), bytes).unwrap();
    passed(bench.child("records_from_the_player"));
}

#[test]
#[ignore = "a child of another test"]
fn records_from_the_player() {
    let wanted = pattern(48_000);
    let mut stream = LiveStream::device(Some("player"), Some(48_000)).unwrap();
    assert_eq!(stream.format.words, "sound card player, 48000 Hz, 32 bit, stereo");
    let (mut got, mut lost) = (Vec::new(), false);
    // The player is faster than any listener, so it comes to that as well.
    while got.len() < wanted.len() || !lost {
        match stream.next(Duration::from_secs(20)).expect("something comes") {
            Arrival::Block(block) => {
                got.extend(block[0].iter().zip(&block[1]).map(|(left, right)| [*left, *right]));
                got.truncate(wanted.len());
                stream.give_back(block);
            }
            Arrival::Trouble(Trouble::Lost { frames }) => lost = frames.is_some_and(|frames| frames > 0),
            other => panic!("{other:?}"),
        }
    }
    let full_scale = |frame: &[i32; 2]| frame.map(|value| f64::from(value) / 2_147_483_648.0);
    assert!(got.iter().zip(&wanted).all(|(got, wanted)| *got == full_scale(wanted)));
    let refused = LiveStream::device(Some("nonesuch"), None).err().unwrap().to_string();
    assert!(refused.starts_with("nonesuch: no input of the sound card has this name"), "{refused}");
}

#[test]
fn a_deck_at_the_card_is_followed_and_the_figure_is_heard_at_another_output() {
    let bench = Bench::new();
    // Whole periods of 1 kHz, the right channel 6 dB below: it may be repeated.
    let sample = |n: usize| (n as f64 * std::f64::consts::TAU / 48.0).sin() * 0.1 * 2_147_483_648.0;
    let bytes: Vec<u8> = (0..480_000)
        .flat_map(|n| [sample(n) as i32, (sample(n) / 2.0) as i32])
        .flat_map(i32::to_le_bytes)
        .collect();
    std::fs::write(bench.path("player"), bytes).unwrap();
    let tape = bench.tape(usize::MAX >> 4);
    let words = ["follow", "--device", "player", "--plain", "--show", "level", "--sound=tape"];
    let mut child = bench.deckproof(&words);
    let mut lines = std::io::BufReader::new(child.stdout.take().unwrap()).lines();
    let line = lines.by_ref().map(Result::unwrap).find(|line| line.contains("left minus right +6.0"));
    let line = line.expect("the difference is shown");
    assert!(line.contains("left -20.0 dBFS, right -26.0 dBFS"), "{line}");
    // Somebody listens to it.
    std::thread::sleep(Duration::from_secs(1));
    assert!(Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap().success());
    let ran = ended(child);
    assert_eq!(ran.status.code(), Some(0), "{}", text(&ran.stderr));
    assert!(text(&ran.stderr).starts_with("Following: sound card player, 48000 Hz, 32 bit, stereo."));
    let loudest = tape.frames().iter().map(|frame| frame[0].unsigned_abs()).max().unwrap();
    let dbfs = 20.0 * (f64::from(loudest) / 2_147_483_648.0).log10();
    // Quiet at first: the peak of a tone of -30 dBFS.
    assert!((-32.0..-29.0).contains(&dbfs), "{dbfs}");
}

#[test]
fn the_output_of_the_card_that_hears_the_deck_is_refused_for_the_ear() {
    let ran = ended(Bench::new().deckproof(&["follow", "--device", "tape", "--plain", "--sound=tape"]));
    let err = text(&ran.stderr);
    assert_eq!(ran.status.code(), Some(1), "{err}");
    assert!(
        err.starts_with("deckproof: tape: hears the deck, and its output may feed it")
            && err.lines().count() == 1
    );
}

#[test]
fn a_tone_sounds_at_once_and_never_waits() {
    let bench = Bench::new();
    let tape = bench.tape(usize::MAX >> 4);
    passed(bench.child("sounds_a_tone"));
    let taken = tape.frames();
    let first = taken.iter().position(|frame| *frame != [0, 0]).expect("something sounds");
    let wanted: Vec<[i32; 2]> = (1..=1000).map(|k| [k << 16; 2]).collect();
    assert!(taken[first..first + 1000] == wanted[..], "{:?}", &taken[first..first + 4]);
}

#[test]
#[ignore = "a child of another test"]
fn sounds_a_tone() {
    let mut tone = ToneOut::open(Some("tape")).unwrap();
    assert_eq!(tone.rate_hz(), 48_000);
    let frames: Vec<f32> = (1..=1000).map(|k| k as f32 / 32_768.0).collect();
    assert_eq!(tone.push(&frames), 1000);
    // 60 ms at most wait there, however much is pushed.
    let began = Instant::now();
    assert!(tone.push(&[0.5; 100_000]) <= 2880);
    assert!(began.elapsed() < Duration::from_millis(500));
    assert!(tone.room() <= 2880);
    std::thread::sleep(Duration::from_millis(200));
    assert_eq!(tone.gone(), None);
}
