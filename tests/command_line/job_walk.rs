//! A whole job: what `bench next` prints is typed as it is printed, until nothing is left.

use super::bench::Bench;
use super::containers::{Header, Sample, wav};
use crate::effort;
use std::path::Path;

/// Words of a command line as a shell takes them: single and double quotes.
fn words(line: &str) -> Vec<String> {
    let (mut words, mut word, mut quote, mut any) = (Vec::new(), String::new(), None, false);
    for c in line.chars() {
        match (quote, c) {
            (None, ' ') => {
                if any {
                    words.push(std::mem::take(&mut word));
                }
                any = false;
            }
            (None, '"' | '\'') => (quote, any) = (Some(c), true),
            (Some(open), c) if c == open => quote = None,
            (_, c) => {
                word.push(c);
                any = true;
            }
        }
    }
    if any {
        words.push(word);
    }
    words
}

/// Noise that both channels carry, each with its own hiss: upright.
fn music(path: &Path, seed: u64) {
    let mut state = seed;
    let mut random = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 * 2f64.powi(-52) - 1.0
    };
    let frames = (0..14 * 48_000).map(move |n| {
        let loud = if n / 48_000 % 2 == 0 { 0.2 } else { 0.02 };
        let both = loud * random();
        vec![both + 0.001 * random(), both + 0.001 * random()]
    });
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    std::fs::write(path, wav(Header::Plain, Sample::Int16, 48_000, frames)).unwrap();
}

struct Walk {
    bench: Bench,
    /// Steps that were told whole, in their order.
    told: Vec<String>,
    /// Lines that were typed.
    typed: Vec<String>,
}

impl Walk {
    /// Runs `line` in the job's folder.
    fn run(&mut self, line: &str) -> String {
        let words = words(line);
        assert_eq!(words[0], "deckproof", "{line}");
        let mut command = self.bench.command();
        command.current_dir(self.bench.path("job")).args(&words[1..]);
        let output = command.output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(0), "{line}\n{said}");
        self.typed.push(line.to_owned());
        String::from_utf8(output.stdout).unwrap()
    }

    /// What a technician would have recorded before `line` is typed: the programme itself, as a deck without faults returns it.
    fn record(&self, line: &str, step: &str) {
        for file in words(line).iter().filter(|word| word.ends_with(".wav")) {
            let path = self.bench.path("job").join(file);
            if path.exists() {
                continue;
            }
            if line.starts_with("deckproof skew") {
                music(&path, path.to_string_lossy().bytes().map(u64::from).sum());
            } else if line.starts_with("deckproof read") {
                let programme = match step {
                    "sound-card" | "as-found" => "full",
                    "transport" => "flutter",
                    "playback-response" => "injection",
                    "distortion" => "saturation",
                    step => step.strip_suffix("-type-I").unwrap_or(step),
                };
                std::fs::copy(self.bench.path("job").join(format!("{programme}.wav")), &path).unwrap();
            }
        }
    }

    /// Goes on until nothing is left.
    fn until_done(&mut self) {
        for _ in 0..40 {
            let next = self.run("deckproof bench next");
            let Some((_, step)) = next.split_once("NEXT: ") else {
                assert!(next.contains("All steps are done"), "{next}");
                return;
            };
            let (head, _) = step.split_once('\n').unwrap();
            let id = head.rsplit_once('(').unwrap().1.trim_end_matches(')').to_owned();
            // A read is minutes of sound: by default the first ones only, the rest is left out.
            let reads = self.typed.iter().filter(|line| line.starts_with("deckproof read")).count();
            let again = self.told.contains(&id) || (reads >= 3 && effort::of([0, 1, 1]) == 0);
            self.told.push(id.clone());
            let commands: Vec<&str> =
                step.lines().filter(|line| line.starts_with("    deckproof ")).collect();
            assert!(!commands.is_empty(), "{next}");
            if again {
                // What a return without faults does not tell is left out, as the last line says.
                let (_, leave) = step.split_once("with a reason: ").unwrap();
                self.run(leave.lines().next().unwrap());
                continue;
            }
            for line in commands {
                self.record(line.trim(), &id);
                let number = match id.as_str() {
                    "offset" => "-3",
                    "meter" => "0.2",
                    _ if line.contains("wind") => "150",
                    _ if line.contains("back") => "4",
                    _ => "50",
                };
                let line = line.trim().replace("NUMBER", number);
                self.run(&line);
            }
        }
        panic!("no end: {:?}", self.told);
    }
}

fn walk(new: &[&str]) -> Walk {
    let bench = Bench::new();
    let mut line = vec!["bench", "new", "job", "--deck", "invented deck of the walk"];
    line.extend(new);
    bench.run_words(&line).done();
    Walk { bench, told: Vec::new(), typed: Vec::new() }
}

#[test]
fn a_two_head_deck_without_any_reference_tape() {
    let mut walk = walk(&["--heads", "2", "--tape-type", "I"]);
    walk.until_done();
    let mut steps = walk.told.clone();
    steps.dedup();
    assert!(steps.starts_with(&["safety".into(), "tape-path".into(), "torques".into()]), "{steps:?}");
    let place =
        |id: &str| steps.iter().position(|step| step == id).unwrap_or_else(|| panic!("{id} in {steps:?}"));
    assert!(place("azimuth") < place("playback-response") && place("meter") < place("record-trim-type-I"));
    // Once the sound card was recorded, every return that carries slates has it subtracted.
    let reads: Vec<&String> = walk.typed.iter().filter(|line| line.starts_with("deckproof read")).collect();
    assert!(reads.len() >= effort::of([3, 8, 8]) as usize, "{reads:?}");
    for line in reads.iter().filter(|line| !line.contains("--recorded-on loopback")) {
        assert!(line.contains("--loopback sound-card-1.wav"), "{line}");
    }
    // The programme of two steps is written once.
    assert_eq!(walk.typed.iter().filter(|line| line.starts_with("deckproof write full")).count(), 1);
    let sheet = walk.run("deckproof bench sheet --out sheet.html");
    for words in
        ["Every step of the order of work is done", "THE SOUND CARD ALONE", "AZIMUTH BY ORDINARY MUSIC"]
    {
        assert!(sheet.contains(words), "{words}\n{sheet}");
    }
    assert!(sheet.lines().all(|line| line.chars().count() <= 100), "{sheet}");
}

#[test]
fn a_player_with_a_calibrated_tape() {
    // A minute and a half of computing: by default the other walk is enough.
    if effort::of([0, 1, 1]) == 0 {
        return;
    }
    let mut walk = walk(&["--calibrated-tape"]);
    let text = walk.bench.text("job/job.toml");
    walk.bench.put("job/job.toml", text.replace("# records = true ", "records = false "));
    // The calibrated tape is read without slates: here it is the programme `full`.
    walk.run("deckproof write full --out full.wav");
    for name in ["as-found", "transport", "azimuth", "playback-response", "playback-level"] {
        let [from, to] =
            ["full.wav".to_owned(), format!("{name}-1.wav")].map(|name| walk.bench.path("job").join(name));
        std::fs::copy(from, to).unwrap();
    }
    walk.until_done();
    assert!(
        walk.typed.iter().any(|line| line.contains("--recorded-on calibrated --unslated")),
        "{:?}",
        walk.typed
    );
    assert!(!walk.told.iter().any(|step| step.starts_with("record-trim")), "{:?}", walk.told);
}
