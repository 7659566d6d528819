//! What reads files that somebody else made: each must end in figures or in words, whatever the bytes are.
//!
//! `main.rs` runs these under libFuzzer, `tests/corpus.rs` runs them on the files of `corpus`.

use deckproof::internals::capture::live::{Arrival, LiveStream, RawFormat};
use deckproof::internals::capture::{Coding, InMemory, ReturnFile, Source};
use deckproof::internals::deck::{DeckFile, VirtualDeck};
use deckproof::internals::job::{
    HandSet, JobFile, ReadOptions, compare_files, load_card, read_return, read_samples,
};
use deckproof::internals::judge::{
    JobEvidence, JobReading, Limits, Reading, SheetMade, bench_sheet, conclude, judge_by_hand, renewal, steps,
};
use deckproof::internals::measure::{TapeValues, Told, TransportNumbers, subtract_card};
use deckproof::internals::programme::{
    Depth, Feeding, Recipe, Renderer, TapeFile, Timeline, Written, cue_sheet, running_sheet,
};
use deckproof::internals::show;
use deckproof::internals::trade::Medium;
use deckproof::reading::{Card, Facts, JobState, RecordedOn};
use std::fmt::Display;
use std::io::Read;
use std::path::PathBuf;
use std::sync::LazyLock;
use std::time::Duration;

/// Takes any bytes.
pub type Target = fn(&[u8]);

/// All targets by name; the files of each lie in `corpus` under that name.
pub const TARGETS: [(&str, Target); 11] = [
    ("recording", recording),
    ("samples", samples),
    ("live", live),
    ("recipe", recipe),
    ("limits", limits),
    ("tape", tape),
    ("transport", transport),
    ("deck", deck),
    ("job", job),
    ("card", card),
    ("reading", reading),
];

const MEDIUM: Medium = Medium::COMPACT_CASSETTE;
/// A healthy deck's reading, all invented.
const HEALTHY: &str = include_str!("../tests/readings/healthy.json");
static HEALTHY_READING: LazyLock<Reading> = LazyLock::new(|| serde_json::from_str(HEALTHY).unwrap());
/// Its facts with so few tones that looking for causes takes little time.
static FACTS: LazyLock<Facts> = LazyLock::new(|| {
    let mut facts = HEALTHY_READING.clone().into_facts();
    let response = facts.response.as_mut().unwrap();
    response.steps.retain(|row| [63.0, 400.0, 1000.0, 10_000.0, 14_000.0].contains(&row.hz));
    response.sweep.clear();
    response.noise.clear();
    facts
});

/// A refusal names the file and fits on a screen.
fn in_words(error: impl Display, file: &str) {
    let text = error.to_string();
    assert!(text.starts_with(file), "{text}");
    assert!(text.len() < 2000, "{text}");
}

/// What is printed has no character that acts (lines of CSV end with both marks).
fn harmless(text: &str) {
    let acts = |c: char| c.is_control() && !"\r\n".contains(c) || ('\u{202a}'..='\u{202e}').contains(&c);
    assert!(!text.chars().any(acts), "{:?}", text.chars().find(|c| acts(*c)));
}

/// The bytes as a file; text is what a text file must be.
fn text(data: &[u8]) -> Option<&str> {
    std::str::from_utf8(data).ok()
}

/// A file with these bytes, in a folder of its own.
fn written(name: &str, data: &[u8]) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    std::fs::write(&path, data).unwrap();
    (folder, path)
}

/// All that is made of a reading.
fn shown(reading: &Reading, limits: &Limits) {
    harmless(&show::summary(reading));
    harmless(&show::report(reading, Some(limits)));
    show::tables(reading).iter().for_each(|(_, table)| harmless(table));
}

/// WAV, AIFF or FLAC: its header, its samples, and what is read in them.
fn recording(data: &[u8]) {
    let (_folder, path) = written("return.wav", data);
    let name = path.display().to_string();
    let file = match ReturnFile::open(&path, None) {
        Ok(file) => file,
        Err(error) => return in_words(error, &name),
    };
    let mut frames = 0;
    let sink = &mut |[left, right]: [&[f64]; 2]| {
        assert_eq!(left.len(), right.len());
        frames += left.len() as u64;
    };
    if let Err(error) = file.read(0, u64::MAX, sink) {
        in_words(error, &name);
    }
    assert!(frames <= file.frames(), "{frames} of {} frames", file.frames());
    // A FLAC of a kilobyte may hold minutes of silence.
    if frames < 100_000 {
        match read_return(&path, &ReadOptions::default()) {
            Ok(reading) => shown(&reading, &Limits::full_size()),
            Err(error) => in_words(error, &name),
        }
    }
}

/// Samples as they come, at a rate that the first byte chooses: 32-bit floats, whatever they are.
fn samples(data: &[u8]) {
    const RATES_HZ: [f64; 6] = [8_000.0, 22_050.0, 32_000.0, 44_100.0, 48_000.0, 192_000.0];
    let Some((rate, data)) = data.split_first() else { return };
    let values =
        data.chunks_exact(4).map(|four| f64::from(f32::from_le_bytes([four[0], four[1], four[2], four[3]])));
    // Few bytes make a long return: each value stays for a while, in both channels by turns.
    let hold = 1 + usize::from(rate >> 3);
    let values: Vec<f64> = values.flat_map(|value| std::iter::repeat_n(value, hold)).collect();
    let half = values.len() / 2;
    let channels = [values[..half].to_vec(), values[half..2 * half].to_vec()];
    let source = InMemory { rate_hz: RATES_HZ[usize::from(rate & 7) % RATES_HZ.len()], channels };
    match read_samples(&source, "return", &ReadOptions::default()) {
        Ok(reading) => {
            shown(&reading, &Limits::full_size());
            let json = serde_json::to_string(&reading).unwrap();
            assert_eq!(serde_json::from_str::<Reading>(&json).unwrap(), reading);
        }
        Err(error) => in_words(error, "return"),
    }
}

/// A pipe: the first byte says whether raw samples come and in which pieces, the rest comes. Each cut gives the same.
fn live(data: &[u8]) {
    /// Hands out pieces of so many bytes at most.
    struct Pieces(std::io::Cursor<Vec<u8>>, usize);
    impl Read for Pieces {
        fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
            let most = buffer.len().min(self.1);
            self.0.read(&mut buffer[..most])
        }
    }
    let Some((how, data)) = data.split_first() else { return };
    let coding = Coding::RAW[usize::from(how & 3)];
    let raw = (how & 4 != 0).then_some(RawFormat { rate_hz: 48_000, channels: 2, coding });
    let heard = |step: usize| {
        let input = Box::new(Pieces(std::io::Cursor::new(data.to_vec()), step));
        let mut stream = match LiveStream::reader("a pipe", input, raw, None) {
            Ok(stream) => stream,
            Err(error) => {
                in_words(error, "a pipe: ");
                return None;
            }
        };
        let mut heard: [Vec<f64>; 2] = Default::default();
        loop {
            match stream.next(Duration::from_secs(20)).expect("a pipe that is full goes on") {
                Arrival::Block(block) => {
                    heard.iter_mut().zip(&block).for_each(|(all, side)| all.extend(side));
                    stream.give_back(block);
                }
                Arrival::Trouble(trouble) => harmless(&trouble.to_string()),
                Arrival::End => return Some(heard),
            }
        }
    };
    let whole = heard(usize::MAX);
    assert!(whole.iter().flatten().flatten().all(|x| x.abs() <= 1000.0));
    assert_eq!(whole, heard(1 + usize::from(how >> 3)));
}

fn recipe(data: &[u8]) {
    let Some(text) = text(data) else { return };
    let recipe = match Recipe::parse(text, "recipe.toml") {
        Ok(recipe) => recipe,
        Err(error) => return in_words(error, "recipe.toml"),
    };
    let timeline = Timeline::from(&recipe);
    let written = Written {
        wav_name: "programme.wav",
        rate_hz: 48_000,
        depth: Depth::TwentyFour,
        reference_dbfs: -12.0,
        feeding: Feeding::default(),
    };
    let sheet = running_sheet(&recipe, &timeline, &written);
    harmless(&show::running_sheet_text(&sheet));
    harmless(&show::running_sheet_html(&sheet));
    cue_sheet("programme.wav", &recipe.title).unwrap();
    // Its refusals (too high for the rate, clipping) are results too.
    let _ = Renderer::new(&timeline, 48_000, -12.0);
}

fn limits(data: &[u8]) {
    let Some(text) = text(data) else { return };
    match Limits::from_toml(text, "limits.toml") {
        Ok(limits) => {
            let facts = FACTS.clone();
            shown(&conclude(facts, &MEDIUM, &limits, None), &limits);
        }
        Err(error) => in_words(error, "limits.toml"),
    }
}

fn tape(data: &[u8]) {
    let Some(text) = text(data) else { return };
    let file = match TapeFile::parse(text, "tape.toml") {
        Ok(file) => file,
        Err(error) => return in_words(error, "tape.toml"),
    };
    let mut facts = FACTS.clone();
    let ladder: Vec<Told> = file.tones.iter().map(|tone| Told { hz: tone.hz, tone: *tone }).collect();
    let levels =
        facts.level.iter().zip(&file.tones).map(|(level, tone)| (level.part.clone(), *tone)).collect();
    let values = TapeValues {
        ladder,
        levels,
        played_at: file.played_at,
        deck_standard: file.deck_standard,
        is_reference: true,
        file: Some(&file),
    };
    values.correct_response(facts.response.as_mut().unwrap());
    values.correct_levels(&mut facts.level);
    facts.tape = values.section(&facts.level);
    let limits = Limits::full_size();
    shown(&conclude(facts, &MEDIUM, &limits, None), &limits);
}

fn transport(data: &[u8]) {
    let Some(text) = text(data) else { return };
    match TransportNumbers::from_toml(text, "transport.toml") {
        Ok(numbers) => {
            let mut facts = FACTS.clone();
            facts.response = None;
            let limits = Limits::full_size();
            shown(&conclude(facts, &MEDIUM, &limits, Some(&numbers)), &limits);
        }
        Err(error) => in_words(error, "transport.toml"),
    }
}

/// A tenth of a second of a tone, played by the deck.
fn deck(data: &[u8]) {
    const RATE_HZ: f64 = 48_000.0;
    let Some(text) = text(data) else { return };
    let file = match DeckFile::from_toml(text, "deck.toml") {
        Ok(file) => file,
        Err(error) => return in_words(error, "deck.toml"),
    };
    assert_eq!(DeckFile::from_toml(&file.to_toml(), "deck.toml").unwrap(), file);
    let mut n = 0;
    let source = |block: &mut [Vec<f64>; 2], most: usize| {
        let frames = most.min(4800 - n);
        for k in n..n + frames {
            let x = 0.2 * (k as f64 * 0.13).sin();
            block.iter_mut().for_each(|channel| channel.push(x));
        }
        n += frames;
        frames
    };
    let Ok(deck) = VirtualDeck::new(&file, 1, RATE_HZ) else { return };
    // What is long is cut short: a lead-in may have minutes.
    let mut left = 20_000usize;
    let _ = deck.play(source, |[block, _]| {
        assert!(block.iter().all(|x| x.is_finite()));
        left = left.checked_sub(block.len()).ok_or(())?;
        Ok::<(), ()>(())
    });
}

fn job(data: &[u8]) {
    let Some(text) = text(data) else { return };
    let (_folder, path) = written("job.toml", data);
    let name = path.display().to_string();
    let job = match JobFile::from_text(path.clone(), text.to_owned()) {
        Ok(job) => job,
        // A limits file that the job names is named instead.
        Err(error) => return in_words(error, &path.parent().unwrap().display().to_string()),
    };
    judge_by_hand(&job.sheet).iter().for_each(|row| harmless(&show::hand_text(row)));
    let readings = [JobReading { state: JobState::AsFound, file: "reading.json", reading: &HEALTHY_READING }];
    let evidence = JobEvidence { readings: &readings, skews: &[], loopback: None, taken: &[] };
    let sheet = bench_sheet(&job.sheet, &evidence, vec![], SheetMade::default());
    harmless(&show::sheet_text(&sheet));
    harmless(&show::sheet_html(&sheet));
    harmless(&show::next_text(&steps(&job.sheet, &evidence), None).unwrap_or_default());
    let set = HandSet {
        state: JobState::AsLeft,
        name: "take-up-torque",
        told: "45",
        unit: Some("g.cm"),
        within: None,
        of: None,
        force: true,
    };
    let edits: [fn(&JobFile, &HandSet<'_>) -> _; 4] = [
        |job, _| job.note("belt renewed", false),
        |job, _| job.note("dull", true),
        |job, set| job.set(&[*set]),
        |job, _| job.tick("safety", "read"),
    ];
    for edit in edits {
        std::fs::write(&path, data).unwrap();
        if let Err(error) = edit(&job, &set) {
            in_words(error, &name);
        }
    }
}

fn card(data: &[u8]) {
    static BASE: LazyLock<String> = LazyLock::new(|| {
        let card = include_str!("corpus/card/whole.json");
        serde_json::to_string(&serde_json::from_str::<serde_json::Value>(card).unwrap()).unwrap()
    });
    let (_folder, path) = written("card.json", &edited(data, &BASE));
    let card: Card = match load_card(&path) {
        Ok(card) => card,
        Err(error) => return in_words(error, &path.display().to_string()),
    };
    harmless(&show::card_text(&card, "2000-01-01"));
    let _ = renewal(&card, "2000-01-01", None);
    let mut facts = FACTS.clone();
    facts.circumstances.recorded_on = Some(RecordedOn::House);
    subtract_card(&mut facts, &[], &card, "card.json", &MEDIUM);
    let limits = Limits::full_size();
    shown(&conclude(facts, &MEDIUM, &limits, None), &limits);
}

fn reading(data: &[u8]) {
    let text = edited(data, HEALTHY);
    let (folder, path) = written("reading.json", &text);
    let before = folder.path().join("before.json");
    std::fs::write(&before, HEALTHY).unwrap();
    let names = ["before".to_owned(), "after".to_owned()];
    let comparison = match compare_files(&[before, path.clone()], &names, &[]) {
        Ok(comparison) => comparison,
        Err(error) => return in_words(error, &path.display().to_string()),
    };
    let reading: Reading = serde_json::from_slice(&text).unwrap();
    let limits = Limits::full_size();
    shown(&reading, &limits);
    harmless(&show::comparison(&comparison));
    harmless(&show::comparison_report(&comparison));
    harmless(&show::comparison_table(&comparison));
}

/// What may stand in a JSON file in place of a value.
const VALUES: [&str; 16] = [
    "null",
    "0",
    "-1",
    "1",
    "1e308",
    "-1e308",
    "1e-320",
    "-0.0",
    "20000",
    "4294967296",
    "\"\"",
    "\"left\"",
    "[]",
    "[null]",
    "{}",
    "true",
];

/// JSON from `data`: the bytes themselves if they begin with a brace, otherwise `base` with changes, each by three bytes:
/// at which value (two), and what stands there.
fn edited(data: &[u8], base: &str) -> Vec<u8> {
    if data.first() == Some(&b'{') {
        return data.to_vec();
    }
    let mut value: serde_json::Value = serde_json::from_str(base).unwrap();
    for change in data.chunks_exact(3).take(30) {
        let mut places = Vec::new();
        leaves(&value, &mut String::new(), &mut places);
        if places.is_empty() {
            break;
        }
        let place = &places[usize::from(u16::from_le_bytes([change[0], change[1]])) % places.len()];
        let (what, how) = (usize::from(change[2] & 31), change[2] >> 5);
        // Some changes hit what the value stands in.
        let up = place.match_indices('/').map(|(at, _)| at).rev().nth(usize::from(how.saturating_sub(5)));
        let place = if how > 5 { &place[..up.unwrap_or(0)] } else { place };
        let Some(slot) = value.pointer_mut(place).filter(|_| !place.is_empty()) else { continue };
        *slot = match (VALUES.get(what), slot.as_f64()) {
            (Some(new), _) => serde_json::from_str(new).unwrap(),
            (None, Some(number)) => (number * 10f64.powi(what as i32 - 24)).into(),
            (None, None) => slot.take(),
        };
    }
    serde_json::to_vec(&value).unwrap()
}

fn leaves(value: &serde_json::Value, place: &mut String, places: &mut Vec<String>) {
    let length = place.len();
    let mut inner = |key: &str, value| {
        *place += "/";
        *place += &key.replace('~', "~0").replace('/', "~1");
        leaves(value, place, places);
        place.truncate(length);
    };
    match value {
        serde_json::Value::Array(rows) => {
            rows.iter().enumerate().for_each(|(k, row)| inner(&k.to_string(), row));
        }
        serde_json::Value::Object(keys) => keys.iter().for_each(|(key, value)| inner(key, value)),
        _ => places.push(place.clone()),
    }
}
