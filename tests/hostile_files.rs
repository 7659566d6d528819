//! Files with wrong bytes in them, made from right ones: recordings of every kind, recipes, decks, limits. None may end
//! in a panic or without end, and every refusal names the file.

use crate::command_line::containers::{self, Header, Sample};
use crate::effort;
use deckproof::internals::capture::{ReturnFile, Source};
use deckproof::internals::deck::{DeckFile, EXAMPLES};
use deckproof::internals::job::{ReadOptions, read_return};
use deckproof::internals::judge::{Key, Limits};
use deckproof::internals::programme::{Recipe, Renderer, Timeline, built_in_names, built_in_text};
use deckproof::internals::trade::Medium;
use deckproof::reading::{Circumstances, NoiseReduction, RecordedOn};
use proptest::prelude::*;
use std::path::Path;
use std::sync::LazyLock;

const FRAMES: usize = 9000;

/// Frames that are all different, in whole steps of 16 bits.
static SOUND: LazyLock<Vec<[f64; 2]>> = LazyLock::new(|| {
    let step = |n: usize, by: usize| (n * by % 65_521) as f64 - 32_760.0;
    (0..FRAMES).map(|n| [step(n, 7919) / 32_768.0, step(n, 104_729) / 32_768.0]).collect()
});

/// The same recording in every kind of container.
static RECORDINGS: LazyLock<Vec<(&str, Vec<u8>)>> = LazyLock::new(|| {
    let wav =
        |header, sample| containers::wav(header, sample, 48_000, SOUND.iter().map(|frame| frame.to_vec()));
    vec![
        ("16.wav", wav(Header::Plain, Sample::Int16)),
        ("24.wav", wav(Header::Extensible, Sample::Int24)),
        ("float.wav", wav(Header::Extensible, Sample::Float32)),
        ("double.wav", wav(Header::Plain, Sample::Float64)),
        ("sound.aiff", containers::aiff(&SOUND)),
        ("sound.flac", containers::flac(&SOUND)),
    ]
});

/// One thing that goes wrong with bytes; places are shares of the length, so that they hit a file of any length.
#[derive(Debug, Clone)]
enum Fault {
    /// The byte there is another one.
    Byte(f64, u8),
    /// The byte in the first hundred, where headers are, is another one.
    Head(usize, u8),
    /// Four bytes in the first hundred are one number (little-endian or big-endian happen both).
    Number(usize, u32),
    /// The file ends there.
    End(f64),
    /// Some bytes are missing.
    Missing(f64, usize),
    /// Some bytes are there twice.
    Twice(f64, usize),
}

impl Fault {
    fn apply(&self, bytes: &mut Vec<u8>) {
        let length = bytes.len();
        let at = |share: f64| (share * length as f64) as usize;
        match *self {
            Self::Byte(share, byte) => bytes.iter_mut().skip(at(share)).take(1).for_each(|slot| *slot = byte),
            Self::Head(place, byte) => bytes.iter_mut().skip(place).take(1).for_each(|slot| *slot = byte),
            Self::Number(place, number) => {
                let number = number.to_le_bytes();
                bytes.iter_mut().skip(place).zip(number).for_each(|(slot, byte)| *slot = byte);
            }
            Self::End(share) => bytes.truncate(at(share)),
            Self::Missing(share, count) => {
                let from = at(share).min(length);
                bytes.drain(from..(from + count).min(length));
            }
            Self::Twice(share, count) => {
                let from = at(share).min(length);
                let again = bytes[from..(from + count).min(length)].to_vec();
                bytes.splice(from..from, again);
            }
        }
    }
}

fn faults() -> impl Strategy<Value = Vec<Fault>> {
    let number = prop_oneof![
        Just(0u32),
        Just(1),
        Just(u32::MAX),
        Just(u32::MAX - 7),
        Just(1 << 31),
        Just(0xFF),
        Just(0xFF00_0000),
        any::<u32>(),
    ];
    let fault = prop_oneof![
        1 => (0.0f64..1.0, any::<u8>()).prop_map(|(share, byte)| Fault::Byte(share, byte)),
        3 => (0usize..100, any::<u8>()).prop_map(|(place, byte)| Fault::Head(place, byte)),
        3 => (0usize..100, number).prop_map(|(place, number)| Fault::Number(place, number)),
        1 => (0.0f64..1.0).prop_map(Fault::End),
        1 => (0.0f64..0.01).prop_map(Fault::End),
        1 => (0.0f64..1.0, 1usize..200).prop_map(|(share, count)| Fault::Missing(share, count)),
        1 => (0.0f64..1.0, 1usize..200).prop_map(|(share, count)| Fault::Twice(share, count)),
    ];
    prop::collection::vec(fault, 1..5)
}

fn spoilt(bytes: &[u8], faults: &[Fault]) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    faults.iter().for_each(|fault| fault.apply(&mut bytes));
    bytes
}

/// One thing that goes wrong with a line of `key = value`; which line is a share of their number.
#[derive(Debug, Clone)]
enum Slip {
    /// Another value.
    Value(f64, &'static str),
    /// The key of another line.
    Key(f64, f64),
    /// The line is missing.
    Missing(f64),
    /// The line is there twice.
    Twice(f64),
}

/// Values of every kind that TOML knows, at their limits.
const VALUES: [&str; 20] = [
    "nan",
    "inf",
    "-inf",
    "0",
    "-1",
    "1e400",
    "-0.0",
    "1e-320",
    "9223372036854775807",
    "0.1",
    "\"\"",
    "\"x\"",
    "\"a b\"",
    "true",
    "[]",
    "[1, 2]",
    "[[]]",
    "{}",
    "{ hz = 1 }",
    "1979-05-27",
];

impl Slip {
    fn apply(&self, lines: &mut Vec<String>) {
        let length = lines.len();
        let at = |share: f64| (share * length as f64) as usize;
        let key = |line: &str| line.split_once('=').map(|(key, value)| (key.to_owned(), value.to_owned()));
        match *self {
            Self::Value(share, value) => {
                if let Some((key, _)) = key(&lines[at(share)]) {
                    lines[at(share)] = format!("{key}= {value}");
                }
            }
            Self::Key(share, other) => {
                if let (Some((_, value)), Some((key, _))) = (key(&lines[at(share)]), key(&lines[at(other)])) {
                    lines[at(share)] = format!("{key}={value}");
                }
            }
            Self::Missing(share) => drop(lines.remove(at(share))),
            Self::Twice(share) => lines.insert(at(share), lines[at(share)].clone()),
        }
    }
}

/// Slips of the pen, then perhaps wrong bytes.
fn slips() -> impl Strategy<Value = (Vec<Slip>, Vec<Fault>)> {
    let place = || 0.0f64..1.0;
    let slip = prop_oneof![
        4 => (place(), prop::sample::select(VALUES.to_vec())).prop_map(|(share, value)| Slip::Value(share, value)),
        1 => (place(), place()).prop_map(|(share, other)| Slip::Key(share, other)),
        1 => place().prop_map(Slip::Missing),
        1 => place().prop_map(Slip::Twice),
    ];
    (prop::collection::vec(slip, 1..4), prop_oneof![2 => Just(vec![]), 1 => faults()])
}

fn misspelt(text: &str, (slips, faults): &(Vec<Slip>, Vec<Fault>)) -> Vec<u8> {
    // Lines that say something: most of a recipe's are comments.
    let mut lines: Vec<String> =
        text.lines().filter(|line| !line.starts_with('#') && !line.is_empty()).map(str::to_owned).collect();
    slips.iter().for_each(|slip| slip.apply(&mut lines));
    spoilt((lines.join("\n") + "\n").as_bytes(), faults)
}

/// Reads all there is, from the start and from the middle; the frames that came out of both.
fn read_all(path: &Path, choice: Option<[usize; 2]>) -> Option<[Vec<[f64; 2]>; 2]> {
    let named = |error: deckproof::internals::capture::CaptureError| {
        let text = error.to_string();
        assert!(text.starts_with(&path.display().to_string()), "{text}");
    };
    let file = ReturnFile::open(path, choice).map_err(named).ok()?;
    let frames = file.frames();
    let read = |from: u64| {
        let mut out = Vec::new();
        let mut sink = |[left, right]: [&[f64]; 2]| {
            assert_eq!(left.len(), right.len());
            out.extend(left.iter().zip(right).map(|(left, right)| [*left, *right]));
        };
        let done = file.read(from, u64::MAX, &mut sink);
        assert!(out.len() as u64 <= frames, "{} frames came out of {frames}", out.len());
        done.map_err(named).ok().map(|()| out)
    };
    Some([read(0)?, read(frames / 2)?])
}

/// What the formats' descriptions say is what is read: the ground on which the faults below are put.
#[test]
fn every_kind_of_recording_gives_its_samples() {
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in RECORDINGS.iter() {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        let [whole, half] = read_all(&path, None).unwrap();
        assert_eq!(whole, *SOUND, "{name}");
        assert_eq!(half, SOUND[FRAMES / 2..], "{name} from the middle");
    }
}

/// Systematically what chance seldom hits: 32 770 channels of an AIFF made a decoder overflow.
#[test]
fn any_byte_and_any_number_of_a_header_may_be_wrong() {
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in RECORDINGS.iter() {
        let path = folder.path().join(name);
        for place in 0..100 {
            let ones = [0u8, 1, 0x7F, 0x80, 0xFF].map(|byte| Fault::Head(place, byte));
            let numbers = [0u32, 1, 0x80, 1 << 31, u32::MAX].map(|number| Fault::Number(place, number));
            for fault in ones.into_iter().chain(numbers) {
                std::fs::write(&path, spoilt(bytes, &[fault])).unwrap();
                read_all(&path, None);
            }
        }
    }
}

/// A decoder stumbled over these masks (and shifted by 32 bits).
#[test]
fn a_channel_mask_that_says_nothing_costs_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (name, bytes) = &RECORDINGS[1];
    let path = folder.path().join(name);
    for mask in [0u32, 1, 4, 1 << 31, u32::MAX, 1 << 31 | 1, 0x30000] {
        let mut bytes = bytes.clone();
        bytes[40..44].copy_from_slice(&mask.to_le_bytes());
        std::fs::write(&path, bytes).unwrap();
        assert_eq!(read_all(&path, None).unwrap()[0], *SOUND, "mask {mask:#x}");
    }
}

/// What an interrupted recorder or copy leaves is read as far as it goes.
#[test]
fn half_a_recording_gives_half_the_samples() {
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in RECORDINGS.iter() {
        let path = folder.path().join(name);
        std::fs::write(&path, &bytes[..bytes.len() / 2]).unwrap();
        let file = ReturnFile::open(&path, None).unwrap_or_else(|error| panic!("{error}"));
        let mut got = Vec::new();
        let mut sink = |[left, right]: [&[f64]; 2]| got.extend(left.iter().zip(right).map(|(l, r)| [*l, *r]));
        file.read(0, u64::MAX, &mut sink).unwrap();
        // A FLAC loses the block that is broken, 4096 frames; the others at most a frame by their headers.
        let least = if name.ends_with("flac") { FRAMES / 2 - 4096 } else { FRAMES / 2 - 60 };
        assert!(got.len() >= least && got.len() <= FRAMES / 2 + 60, "{name}: {} frames", got.len());
        assert_eq!(got, SOUND[..got.len()], "{name}");
        // The header of a FLAC is believed until it is decoded.
        assert_eq!(file.is_cut_short(), !name.ends_with("flac"), "{name}");
    }
}

/// A FLAC says nothing of being cut off, and seeking behind its end fails: what is there is measured all the same.
#[test]
fn a_flac_that_is_cut_off_is_measured_as_far_as_it_goes() {
    const RECIPE: &str = "name = \"cut\"\ntitle = \"Cut\"\n[[part]]\nkind = \"slate\"\n[[part]]\nkind = \"tone\"\n\
        id = \"level\"\nhz = 400\nlevel_db = 0\nlength_s = 2\nserves = \"level\"\n[[part]]\nkind = \"tone\"\n\
        id = \"late\"\nhz = 1000\nlevel_db = 0\nlength_s = 2\nserves = \"level\"\n";
    let recipe = Recipe::parse(RECIPE, "cut.toml").unwrap();
    let [left, right] = Renderer::new(&Timeline::from(&recipe), 48_000, -12.0).unwrap().collect();
    let frames: Vec<[f64; 2]> = left.into_iter().zip(right).map(|(left, right)| [left, right]).collect();
    let flac = containers::flac(&frames);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("cut.flac");
    // 5.3 s of 7.1 s: the first tone is whole, the second has just begun.
    std::fs::write(&path, &flac[..flac.len() * 3 / 4]).unwrap();
    let options = ReadOptions {
        recipe: Some(recipe),
        reference_dbfs: -12.0,
        channels: None,
        circumstances: Circumstances {
            recorded_on: Some(RecordedOn::Loopback),
            heads: None,
            tape_type: None,
            noise_reduction: NoiseReduction::Off,
            card: None,
        },
        medium: Medium::COMPACT_CASSETTE,
        limits: Limits::full_size(),
        loopback: None,
        made: None,
        transport: None,
    };
    let reading = read_return(&path, &options).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(reading.level.iter().map(|level| level.part.as_str()).collect::<Vec<_>>(), ["level"]);
    let share = reading.capture.duration_s * 48_000.0 / frames.len() as f64;
    // Less the broken block of 4096 frames, of 342 000.
    assert!((0.735..=0.75).contains(&share), "{share} of the frames");
    let warning = reading.warnings.iter().find(|warning| warning.id == "cut-end").expect("a warning");
    assert!(warning.text.contains("not closed properly"), "{}", warning.text);
}

proptest! {
    #![proptest_config(effort::cases(400))]

    #[test]
    fn no_recording_with_wrong_bytes_makes_it_panic(
        which in 0..RECORDINGS.len(),
        faults in faults(),
        choice in prop_oneof![Just(None), Just(Some([0, 1])), Just(Some([3, 0]))],
    ) {
        let (name, bytes) = &RECORDINGS[which];
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(name);
        std::fs::write(&path, spoilt(bytes, &faults)).unwrap();
        read_all(&path, choice);
    }

    #[test]
    fn no_bytes_at_all_make_it_panic(head in 0usize..60, which in 0..RECORDINGS.len(), tail in prop::collection::vec(any::<u8>(), 0..300)) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("bytes.wav");
        let mut bytes = RECORDINGS[which].1[..head].to_vec();
        bytes.extend(tail);
        std::fs::write(&path, bytes).unwrap();
        read_all(&path, None);
    }

    #[test]
    fn no_recipe_with_wrong_letters_makes_it_panic(name in prop::sample::select(built_in_names().collect::<Vec<_>>()), slips in slips()) {
        let bytes = misspelt(built_in_text(name).unwrap(), &slips);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("spoilt.toml");
        std::fs::write(&path, &bytes).unwrap();
        let outcomes = [Recipe::load(&path), Recipe::parse(&String::from_utf8_lossy(&bytes), &path.display().to_string())];
        for outcome in outcomes {
            match outcome {
                Ok(recipe) => {
                    let timeline = Timeline::from(&recipe);
                    // Its refusals (too high for the rate, clipping) are results too.
                    let _ = Renderer::new(&timeline, 48_000, -12.0);
                }
                Err(error) => {
                    let text = error.to_string();
                    prop_assert!(text.starts_with(&path.display().to_string()), "{}", text);
                }
            }
        }
    }

    #[test]
    fn no_deck_with_wrong_letters_makes_it_panic(which in 0..EXAMPLES.len(), slips in slips()) {
        let text = misspelt(EXAMPLES[which].1, &slips);
        if let Err(error) = DeckFile::from_toml(&String::from_utf8_lossy(&text), "spoilt.toml") {
            let text = error.to_string();
            prop_assert!(text.starts_with("spoilt.toml"), "{}", text);
        }
    }

    #[test]
    fn no_limits_with_wrong_letters_make_it_panic(slips in slips()) {
        const LIMITS: &str = "deck = \"portable\"\nsource = \"invented\"\nspeed_percent = 0.7\nhum_db = -50\n\
            playback_response_db = 2\nplayback_response_from_hz = 63\nplayback_response_to_hz = 12500\n";
        let text = misspelt(LIMITS, &slips);
        match Limits::from_toml(&String::from_utf8_lossy(&text), "spoilt.toml") {
            Ok(limits) => prop_assert!(limits.of(Key::Speed).value > 0.0 && limits.of(Key::Hum).value < 0.0),
            Err(error) => {
                let text = error.to_string();
                prop_assert!(text.starts_with("spoilt.toml"), "{}", text);
            }
        }
    }
}
