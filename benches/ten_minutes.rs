//! A ten-minute return: how many times a bare decode reading takes, and whether memory grows with the length; and what
//! writing a programme costs beside a plain copy of the same bytes.
//!
//! `cargo bench --bench ten_minutes` prints them beside their targets. Time is the median of alternate runs in one
//! process; memory is the peak (VmHWM, Linux only) of a process of its own that does nothing but read.

use deckproof::internals::capture::{ReturnFile, Source};
use deckproof::internals::deck::{DeckFile, EXAMPLES};
use deckproof::internals::job::{
    ReadOptions, RehearsalDeck, WriteOptions, read_return, rehearse, write_programme,
};
use deckproof::internals::judge::Limits;
use deckproof::internals::programme::{Depth, Overwrite, Recipe, built_in_by_name};
use deckproof::internals::trade::Medium;
use deckproof::reading::{Circumstances, Heads, NoiseReduction, RecordedOn, TapeType};
use std::hint::black_box;
use std::io::Write;
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

/// Options for a return of `recipe`.
fn options(recipe: Option<Recipe>) -> ReadOptions {
    ReadOptions {
        recipe,
        reference_dbfs: -12.0,
        channels: None,
        circumstances: Circumstances {
            recorded_on: Some(RecordedOn::Calibrated),
            heads: Some(Heads::Two),
            tape_type: Some(TapeType::I),
            noise_reduction: NoiseReduction::Off,
            card: None,
        },
        medium: Medium::COMPACT_CASSETTE,
        limits: Limits::full_size(),
        loopback: None,
        made: None,
        transport: None,
    }
}

/// Path of the return of `recipe` from the deck `rehearsal`, 48 kHz, 24 bit, made in `folder`.
fn make(recipe: &Recipe, folder: &Path) -> PathBuf {
    // The virtual deck's, so that nothing is cleaner than on a bench.
    let text = EXAMPLES.iter().find(|deck| deck.0 == "rehearsal").expect("built in").1;
    let deck = DeckFile::from_toml(text, "rehearsal").expect("sound");
    let deck = RehearsalDeck { deck, text: text.to_owned(), seed: 1 };
    rehearse(recipe, &deck, folder, &WriteOptions::default(), &options(Some(recipe.clone())), &mut |_| {})
        .expect("rehearsed");
    folder.join("return.wav")
}

/// Decodes a file to f64, block by block, as the reader does, and throws it away; returns its frames.
fn decode(path: &Path) -> u64 {
    let file = ReturnFile::open(path, None).expect("opened");
    let mut frames = 0;
    let mut sink = |block: [&[f64]; 2]| frames += black_box(block)[0].len() as u64;
    file.read(0, u64::MAX, &mut sink).expect("decoded");
    frames
}

/// Decodes a 24 bit file to f64 with the other library, which hands on one sample at a time; returns its samples.
fn decode_by_samples(path: &Path) -> usize {
    let mut wav = hound::WavReader::open(path).expect("opened");
    let step = 2f64.powi(-23);
    let mut samples = 0;
    for sample in wav.samples::<i32>() {
        black_box(f64::from(sample.expect("sample")) * step);
        samples += 1;
    }
    samples
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        [_, "peak-of-reading", rounds, path] => {
            let options = options(Some(recipe(rounds.parse().expect("rounds"))));
            read_return(Path::new(path), &options).expect("read");
            print_peak();
        }
        [_, "peak-of-decoding", path] => {
            decode(Path::new(path));
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
            (rounds, make(&recipe(rounds), &folder.path().join(rounds.to_string())))
        })
        .to_vec();
    println!();
    for (rounds, path) in &made {
        let seconds = ReturnFile::open(path, None).expect("opened").frames() as f64 / 48_000.0;
        println!("{seconds:.0} s, 48 kHz, 24 bit, stereo; {cores} cores; {RUNS} runs of each, alternating");
        let options = options(Some(recipe(*rounds)));
        let (mut decoding, mut by_samples, mut reading) = (Vec::new(), Vec::new(), Vec::new());
        for _ in 0..RUNS {
            decoding.push(time(|| decode(path)));
            by_samples.push(time(|| decode_by_samples(path)));
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
    println!();
    report_writing(folder.path());
}

/// What writing a programme costs beside putting the same bytes on the disk, synced and renamed likewise.
fn report_writing(folder: &Path) {
    let recipe = built_in_by_name("full").expect("built in");
    let options = WriteOptions {
        rate_hz: 44_100,
        depth: Depth::Sixteen,
        overwrite: Overwrite::Force,
        ..Default::default()
    };
    let path = folder.join("programme.wav");
    let length_s = write_programme(&recipe, &path, &options).expect("written").length_s;
    let bytes = std::fs::read(&path).expect("bytes");
    let copy = || {
        let mut file = tempfile::NamedTempFile::new_in(folder).expect("file");
        file.write_all(&bytes).expect("written");
        file.as_file().sync_all().expect("synced");
        file.persist(folder.join("copy.wav")).expect("renamed")
    };
    println!("writing {length_s:.0} s, 44.1 kHz, 16 bit, stereo; {RUNS} runs of each, alternating");
    let (mut copying, mut writing) = (Vec::new(), Vec::new());
    for _ in 0..RUNS {
        copying.push(time(copy));
        writing.push(time(|| write_programme(&recipe, &path, &options).expect("written")));
    }
    for (what, times) in [("plain copy of the same bytes", &mut copying), ("write_programme", &mut writing)] {
        println!("  {what:47} {:7.3} s  ({})", median_s(times), spread(times));
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
