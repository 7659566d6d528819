//! `follow`: from a pipe, a file that grows and a finished file, onto lines and a screen, as a technician meets it.

use super::bench::Bench;
use super::containers::{Header, Sample, wav};
use std::f64::consts::TAU;
use std::fs::OpenOptions;
use std::io::Write;
use std::process::{Output, Stdio};

/// Two tones at once, the right channel late by 5 us, with a little noise; `seconds` of them behind half a second of nothing.
fn tones(seconds: f64) -> impl Iterator<Item = Vec<f64>> {
    let mut state = 1u64;
    let mut noise = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        0.0005 * ((state >> 11) as f64 * 2f64.powi(-52) - 1.0)
    };
    (0..((0.5 + seconds) * 48_000.0) as usize).map(move |n| {
        let t = n as f64 / 48_000.0 - 0.5;
        let at = |t: f64| {
            if t < 0.0 { 0.0 } else { 0.02 * ((TAU * 1000.0 * t).sin() + (TAU * 10_000.0 * t).sin()) }
        };
        vec![at(t) + noise(), at(t - 5e-6) + noise()]
    })
}

fn sound(seconds: f64) -> Vec<u8> {
    wav(Header::Plain, Sample::Int16, 48_000, tones(seconds))
}

/// Runs the command with `bytes` on its standard input.
fn piped(bench: &Bench, words: &str, bytes: &[u8]) -> Output {
    let mut command = bench.command();
    command.args(words.split_whitespace());
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    let (mut input, bytes) = (child.stdin.take().unwrap(), bytes.to_vec());
    // It may end before it has read all.
    let sender = std::thread::spawn(move || drop(input.write_all(&bytes)));
    let output = child.wait_with_output().unwrap();
    sender.join().unwrap();
    output
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn a_finished_file_gives_a_line_a_second_and_ends() {
    let bench = Bench::new();
    bench.put("a.wav", sound(6.0));
    let said = bench.run("follow a.wav --pace fast --plain --show azimuth").done();
    let lines: Vec<&str> = said.out.lines().collect();
    assert!((7..=8).contains(&lines.len()), "{}", said.out);
    // -360 x 10 kHz x 5 us, by hand.
    assert!(lines[5].starts_with("0:05: phase at 10 kHz -18"), "{}", said.out);
    assert!(lines[5].contains("within, limit +-20 degrees; right lags"), "{}", said.out);
    assert!(said.err.contains("Following: WAV, 48000 Hz, 16 bit, stereo"), "{}", said.err);
    assert!(!said.out.contains('\u{1b}'));
    assert_eq!(bench.files(), ["a.wav"]);
}

#[test]
fn json_lines_are_data_with_units_in_their_keys() {
    let bench = Bench::new();
    bench.put("a.wav", sound(4.0));
    let said = bench.run("follow a.wav --pace fast --json --show azimuth").done();
    let lines: Vec<serde_json::Value> =
        said.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let picture = &lines[3];
    assert_eq!(picture["format"], "deckproof-live/1");
    let now = &picture["shown"]["azimuth"];
    deckproof::assert_within!(now["delay_us"].as_f64().unwrap(), 5.0, 0.2, "us");
    assert_eq!(now["turn"]["known"]["hz"].as_array().unwrap().len(), 2);
    assert_eq!(picture["playing"]["sound"], "at-once");
}

#[test]
fn a_pipe_is_followed_with_a_header_that_lies_and_without_one() {
    let bench = Bench::new();
    let mut whole = sound(4.0);
    let data = whole.windows(4).position(|w| w == b"data").unwrap();
    let samples = whole[data + 8..].to_vec();
    whole[data + 4..data + 8].copy_from_slice(&[0xFF; 4]);
    for (words, bytes) in [
        ("follow - --plain --show azimuth", &whole),
        ("follow - --raw 48000,2,s16 --plain --show azimuth", &samples),
    ] {
        let said = piped(&bench, words, bytes);
        assert!(said.status.success() && text(&said.stdout).contains("phase at 10 kHz -18"), "{said:?}");
    }
}

#[test]
fn what_cannot_be_followed_is_said_in_one_line() {
    let bench = Bench::new();
    bench.put("a.wav", sound(1.0));
    for (line, word) in [
        ("follow none.wav --plain", "none.wav"),
        ("follow a.wav --pace fast", "--plain or --json"),
        ("follow - --plain --pace real", "leave --pace away"),
        ("follow a.wav --pace fast --plain --limits none.toml", "none.toml"),
    ] {
        bench.run(line).refused(&[word]);
    }
    for (line, word) in [
        ("follow a.wav --raw 48000 --plain", "48000,2,s16"),
        ("follow a.wav --show colour --plain", "azimuth"),
        ("follow a.wav --known-hz 3 --plain", "20 to 20000 Hz"),
        ("follow a.wav --plain --json", "--json"),
    ] {
        bench.run(line).wrong(&[word]);
    }
    // The same words as of a file that is read.
    let said = piped(&bench, "follow - --raw 8000,2,s16 --plain", &[0; 4000]);
    let err = text(&said.stderr);
    assert!(err.contains("standard input: sample rate 8000 Hz is outside 11000 to 384000 Hz"), "{err}");
    assert!(err.contains("or resample the file to 11025 Hz") && err.lines().count() == 1, "{err}");
    let said = piped(&bench, "follow - --plain", b"hello, this is text");
    assert_eq!((said.status.code(), text(&said.stdout).as_str()), (Some(1), ""));
    let err = text(&said.stderr);
    assert!(err.contains("standard input: is a text file") && err.lines().count() == 1, "{err}");
}

#[test]
fn the_figure_for_the_ear_is_samples_that_pulse_within_the_limits() {
    let bench = Bench::new();
    bench.put("a.wav", sound(8.0));
    let said = piped(&bench, "follow a.wav --pace fast --show azimuth --sound=-", &[]);
    let samples: Vec<f64> =
        said.stdout.chunks_exact(2).map(|s| f64::from(i16::from_le_bytes([s[0], s[1]])) / 32_768.0).collect();
    // As long as the sound, but for the last picture.
    deckproof::assert_within!(samples.len() as f64 / 48_000.0, 8.5, 0.2, "s");
    let loudest = |from_s: f64, to_s: f64| {
        let range = (from_s * 48_000.0) as usize..(to_s * 48_000.0) as usize;
        samples[range].iter().fold(0.0f64, |most, x| most.max(x.abs()))
    };
    // Nothing before there is a figure; -30 dBFS and no more after it.
    assert!(loudest(0.0, 0.4) == 0.0 && loudest(4.0, 8.0) > 0.02, "{}", loudest(4.0, 8.0));
    assert!(loudest(0.0, 8.3) < 0.05);
    // Within its limits it pulses: there is quiet between.
    let quiet = (40..80).map(|k| loudest(0.1 * f64::from(k), 0.1 * f64::from(k) + 0.03)).fold(1.0, f64::min);
    assert!(quiet < 0.005, "{quiet}");
}

#[cfg(unix)]
mod on_a_screen {
    use super::*;
    use crate::pty::Pty;
    use std::thread::sleep;
    use std::time::Duration;

    #[test]
    fn the_view_follows_keys_and_the_figure_is_kept_in_the_job() {
        let bench = Bench::new();
        bench.run("bench new job --deck black-deck --heads 3").done();
        let folder = bench.path("job");
        let mut pty =
            Pty::deckproof(&format!("follow - --recorded-on calibrated --job {}", folder.display()));
        let mut pipe = pty.sender();
        let sender = std::thread::spawn(move || {
            // As a recorder sends: a fifth of a second at a time.
            for piece in sound(60.0).chunks(38_400) {
                if pipe.write_all(piece).is_err() {
                    return;
                }
                sleep(Duration::from_millis(190));
            }
        });
        pty.wait_for_text("q quit");
        pty.type_keys("1");
        let screen = pty.wait_for_text("within");
        assert!(screen.contains("right lags"), "{screen}");
        pty.type_keys("k");
        pty.wait_for_text("Kept as left");
        pty.type_keys("2");
        pty.wait_for("level", |screen| screen.contains("dBFS") && screen.contains("minus"));
        pty.resize(100, 30);
        pty.wait_for_text("q quit");
        pty.type_keys("q");
        assert_eq!(pty.wait(), 0);
        assert!(!pty.is_on_other_screen() && !pty.hides_cursor());
        pty.end_signal();
        sender.join().unwrap();
        let job = std::fs::read_to_string(folder.join("job.toml")).unwrap();
        assert!(job.contains("[[followed]]") && job.contains("view = \"azimuth\""), "{job}");
        let sheet = bench.run("bench sheet --job job").done().out;
        assert!(sheet.contains("azimuth: phase at 10 kHz -18"), "{sheet}");
    }

    #[test]
    fn a_file_that_grows_is_followed_until_an_interrupt() {
        let bench = Bench::new();
        let whole = sound(6.0);
        bench.put("grows.wav", &whole[..300_000]);
        let path = bench.path("grows.wav");
        let mut pty = Pty::deckproof(&format!("follow {} --show azimuth", path.display()));
        pty.wait_for_text("No sound comes");
        let mut file = OpenOptions::new().append(true).open(&path).unwrap();
        file.write_all(&whole[300_000..]).unwrap();
        pty.wait_for_text("comes again");
        pty.type_keys("\u{3}");
        assert_eq!(pty.wait(), 0);
        assert!(!pty.is_on_other_screen());
    }
}
