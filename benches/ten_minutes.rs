//! A ten-minute return: how many times a bare decode reading takes, and whether memory grows with the length.
//!
//! `cargo bench --bench ten_minutes` prints both beside their targets. Time is the median of alternate runs in one
//! process; memory is the peak (VmHWM, Linux only) of a process of its own that does nothing but read.

mod returns;

use deckproof::capture::{ReturnFile, Source};
use deckproof::job::read_return;
use deckproof::programme::Recipe;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

/// Runs of each kind.
const RUNS: usize = 7;
/// Largest ratio of reading to decoding, on two cores.
const RATIO: f64 = 4.0;
/// Largest peak of memory, MiB.
const PEAK_MIB: f64 = 128.0;

/// Two and a half minutes of what the recipe `full` consists of.
const ROUND: &str = r#"
[[part.part]]
kind = "slate"
[[part.part]]
kind = "tone"
id = "level"
hz = 315
level_db = 0
length_s = 5.0
[[part.part]]
kind = "steps"
id = "low"
hz = [40, 55, 70, 80, 110, 130, 165, 210, 270]
level_db = -20
length_s = 2.0
[[part.part]]
kind = "steps"
id = "high"
hz = [315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000]
level_db = -20
length_s = 1.2
[[part.part]]
kind = "slate"
[[part.part]]
kind = "tone"
id = "azimuth"
hz = 10000
level_db = -20
length_s = 12.0
serves = "azimuth"
[[part.part]]
kind = "sweep"
id = "sweep"
from_hz = 20
to_hz = 20000
level_db = -20
length_s = 30.0
[[part.part]]
kind = "slate"
[[part.part]]
kind = "tone"
id = "flutter"
hz = 3150
level_db = 0
length_s = 35.0
serves = "flutter"
[[part.part]]
kind = "silence"
id = "noise"
length_s = 12.8
serves = "noise"
"#;

fn recipe(rounds: u32) -> Recipe {
    let end = "[[part]]\nkind = \"slate\"\n";
    let text = format!(
        "name = \"long\"\ntitle = \"Long\"\n[[part]]\nkind = \"rounds\"\ncount = {rounds}\n{ROUND}\n{end}"
    );
    Recipe::parse(&text, "long.toml").expect("sound")
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        [_, "peak-of-reading", rounds, path] => {
            let options = returns::options(Some(recipe(rounds.parse().expect("rounds"))));
            read_return(Path::new(path), &options).expect("read");
            print_peak();
        }
        [_, "peak-of-decoding", path] => {
            returns::decode(Path::new(path));
            print_peak();
        }
        // `cargo test --benches` only wants to know that it starts.
        _ if arguments.iter().any(|argument| argument == "--test") => {}
        _ => report(),
    }
}

fn report() {
    let folder = tempfile::tempdir().expect("folder");
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let made: Vec<(u32, PathBuf)> = [1, 4]
        .map(|rounds| {
            println!("making a return of {rounds} rounds");
            (rounds, returns::make(&recipe(rounds), &folder.path().join(rounds.to_string())))
        })
        .to_vec();
    println!();
    for (rounds, path) in &made {
        let seconds = ReturnFile::open(path, None).expect("opened").frames() as f64 / 48_000.0;
        println!("{seconds:.0} s, 48 kHz, 24 bit, stereo; {cores} cores; {RUNS} runs of each, alternating");
        let options = returns::options(Some(recipe(*rounds)));
        let (mut decoding, mut by_samples, mut reading) = (Vec::new(), Vec::new(), Vec::new());
        for _ in 0..RUNS {
            decoding.push(time(|| returns::decode(path)));
            by_samples.push(time(|| returns::decode_by_samples(path)));
            reading.push(time(|| read_return(path, &options).expect("read")));
        }
        let [decode_s, by_samples_s, read_s] =
            [&mut decoding, &mut by_samples, &mut reading].map(|t| median_s(t));
        println!(
            "  bare block decode to f64 (the reader's own)     {decode_s:7.3} s  ({})",
            spread(&decoding)
        );
        println!(
            "  bare decode to f64 (hound, sample by sample)    {by_samples_s:7.3} s  ({})",
            spread(&by_samples)
        );
        println!("  read_return                                     {read_s:7.3} s  ({})", spread(&reading));
        println!(
            "  read / block decode                             {:7.2}    target: at most {RATIO}",
            read_s / decode_s
        );
        println!("  read / decode sample by sample                  {:7.2}", read_s / by_samples_s);
    }
    println!("\npeak memory of a process (VmHWM)");
    let peaks: Vec<Option<f64>> = made
        .iter()
        .map(|(rounds, path)| {
            let path = path.to_str().expect("plain path");
            let decoding = peak_mib(&["peak-of-decoding", path]);
            let reading = peak_mib(&["peak-of-reading", &rounds.to_string(), path]);
            let said = |peak: Option<f64>| peak.map_or("not known".into(), |mib| format!("{mib:.1} MiB"));
            println!("  {rounds} rounds: decoding {}, reading {}", said(decoding), said(reading));
            reading
        })
        .collect();
    if let [Some(short), Some(long)] = peaks[..] {
        println!("  target: below {PEAK_MIB} MiB, and not growing: {:+.1} MiB", long - short);
    }
}

fn time<T>(work: impl FnOnce() -> T) -> Duration {
    let start = Instant::now();
    std::hint::black_box(work());
    start.elapsed()
}

fn median_s(times: &mut [Duration]) -> f64 {
    times.sort();
    times[times.len() / 2].as_secs_f64()
}

/// Least and most of sorted times.
fn spread(times: &[Duration]) -> String {
    format!("{:.3} to {:.3}", times[0].as_secs_f64(), times[times.len() - 1].as_secs_f64())
}

/// Runs this program on one task and returns the peak that it prints.
fn peak_mib(arguments: &[&str]) -> Option<f64> {
    let program = std::env::current_exe().ok()?;
    let output = Command::new(program).args(arguments).output().ok()?;
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let kib: f64 = String::from_utf8_lossy(&output.stdout).trim().parse().ok()?;
    Some(kib / 1024.0)
}

/// Prints the peak of this process, KiB; nothing where the system does not tell.
fn print_peak() {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    println!("{}", peak.unwrap_or_default().trim_end_matches("kB").trim());
}
