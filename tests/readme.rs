//! The README keeps its word: its commands run as printed, its tables are the code's, its files are there.

use crate::effort;
use crate::returns;
use deckproof::internals::judge::{Meaning, Quantity, meaning};
use deckproof::internals::programme::{Timeline, built_in, built_in_by_name};
use deckproof::internals::trade::CAUTIONS;
use deckproof::reading::{Circumstances, Heads, NoiseReduction, RecordedOn};
use rayon::prelude::*;
use std::path::Path;
use std::process::Command;

/// A card that holds everything.
const CARD: &str = r#"{"file": "", "name": "", "made_at": "", "passes": 0, "level": [{"part": "", "db": [0.0, 0.0]}],
    "calibrated": {"tape": null, "file": "", "at": null, "fluxivity_nwb_per_m": null},
    "response": true, "delay_us": 0.0, "speed_percent": 0.0}"#;
const README: &str = include_str!("../README.md");

/// Texts of the fenced blocks in `language`.
fn blocks(language: &str) -> Vec<&'static str> {
    let mut rest = README;
    let mut found = Vec::new();
    while let Some((_, after)) = rest.split_once("\n```") {
        let (head, body) = after.split_once('\n').unwrap();
        let (text, behind) = body.split_once("```\n").unwrap();
        if head == language {
            found.push(text);
        }
        rest = behind;
    }
    found
}

/// Rows of the table whose head begins with `head`, as trimmed cells; the head is the first row.
fn table(head: &str) -> Vec<Vec<&'static str>> {
    let rows =
        README.lines().skip_while(|line| !line.starts_with(head)).take_while(|line| line.starts_with('|'));
    let rows: Vec<Vec<&str>> = rows
        .filter(|line| !line.starts_with("| ---"))
        .map(|line| line.trim_matches('|').split('|').map(str::trim).collect())
        .collect();
    assert!(rows.len() > 1, "no table {head}");
    rows
}

/// Writes a programme as it would come back over a wire.
fn write_return(path: &Path) {
    let programme = returns::programme(&built_in_by_name("first-look").unwrap(), 48_000);
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 48_000,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(path, spec).unwrap();
    for value in programme[0].iter().zip(&programme[1]).flat_map(|(left, right)| [left, right]) {
        wav.write_sample((value * 8_388_608.0).round() as i32).unwrap();
    }
    wav.finalize().unwrap();
}

/// The names that a command line speaks of, each without what is in that folder.
fn named(line: &str) -> impl Iterator<Item = &str> {
    line.split_whitespace().map(|word| word.split('/').next().unwrap())
}

/// Those of them that are files and folders which it leaves behind or writes into.
fn left(line: &str) -> impl Iterator<Item = &str> {
    let before = ["--out", "--json", "--job", "new", ">"];
    named(line).zip(named(line).skip(1)).filter(move |pair| before.contains(&pair.0)).map(|pair| pair.1)
}

/// The command lines, in chains that need nothing of each other: no block of one names what another has left.
fn chains() -> Vec<Vec<&'static str>> {
    let mut chains: Vec<Vec<&str>> = Vec::new();
    for block in blocks("sh") {
        let lines: Vec<&str> = block.lines().collect();
        let needs = |chain: &Vec<&str>| {
            chain
                .iter()
                .flat_map(|line| left(line))
                .any(|name| lines.iter().any(|line| named(line).any(|n| n == name)))
        };
        let (needed, mut apart): (Vec<_>, Vec<_>) = chains.into_iter().partition(needs);
        apart.push(needed.into_iter().flatten().chain(lines).collect());
        chains = apart;
    }
    chains
}

/// A small number of a path.
fn text_hash(path: &Path) -> u8 {
    path.to_string_lossy().bytes().fold(1, |sum, byte| (sum % 13) * 3 + byte % 7)
}

/// Multiplies all levels in `value`.
fn scaled(value: &mut serde_json::Value, by: f64) {
    match value {
        serde_json::Value::Object(keys) => {
            for (key, value) in keys {
                if key == "db" || key.ends_with("weighted_db") {
                    for side in value.as_array_mut().into_iter().flatten() {
                        *side = side.as_f64().map_or(serde_json::Value::Null, |db| (db * by + by).into());
                    }
                }
                scaled(value, by);
            }
        }
        serde_json::Value::Array(values) => values.iter_mut().for_each(|value| scaled(value, by)),
        _ => {}
    }
}

/// Runs one command line in `folder`, as a shell would.
fn run(line: &str, folder: &Path) {
    let words = line.strip_prefix("deckproof ").unwrap_or_else(|| panic!("{line}: not our command"));
    let (words, file) = words.split_once(" > ").map_or((words, None), |(words, file)| (words, Some(file)));
    // Readings that only time would bring: the one that there is stands in for them.
    for other in
        words.split_whitespace().filter(|word| words.starts_with("compare") && word.ends_with(".json"))
    {
        let other = folder.join(other);
        if !other.exists() {
            std::fs::create_dir_all(other.parent().unwrap()).unwrap();
            let text = std::fs::read_to_string(folder.join("as-found/reading.json")).unwrap();
            let mut reading: serde_json::Value = serde_json::from_str(&text).unwrap();
            // A copy of one is no repeat of it.
            let scale = 1.0 + 0.01 * f64::from(text_hash(&other));
            scaled(&mut reading["response"], scale);
            scaled(&mut reading["noise"], scale);
            std::fs::write(other, reading.to_string()).unwrap();
        }
    }
    let output = Command::new(env!("CARGO_BIN_EXE_deckproof"))
        .args(words.split_whitespace())
        .current_dir(folder)
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&output.stderr);
    let done = if words.contains("--strict") { [Some(0), Some(3)] } else { [Some(0); 2] };
    assert!(done.contains(&output.status.code()), "{line}\n{told}");
    assert!(!output.stdout.is_empty(), "{line}");
    if let Some(file) = file {
        std::fs::write(folder.join(file), output.stdout).unwrap();
    }
}

#[test]
fn every_command_runs_as_printed() {
    let folder = tempfile::tempdir().unwrap();
    write_return(&folder.path().join("return.wav"));
    for text in blocks("toml") {
        let (head, _) = text.split_once('\n').unwrap();
        let name = head.strip_prefix("# ").expect("a file begins with its name");
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let mut chains = chains();
    // A rehearsal is minutes of sound: by default only what does without.
    let whole = effort::of([0, 1, 1]) == 1;
    chains.retain(|chain| whole || !chain.iter().any(|line| line.contains(" rehearse ")));
    let count = chains.iter().map(Vec::len).sum::<usize>();
    assert!(count >= 14 && chains.len() >= 5, "{chains:?}");
    chains.par_iter().for_each(|chain| chain.iter().for_each(|line| run(line, folder.path())));
    if !whole {
        return;
    }
    // Every file that the table of files names has been left by one of them.
    let left: Vec<String> = ["as-found", "worn", "loud", "leaks", "levels", "mine-rehearsed", "."]
        .iter()
        .flat_map(|name| std::fs::read_dir(folder.path().join(name)).unwrap())
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    for row in &table("| file | what it is |")[1..] {
        for name in row[0].split(", ").map(|name| name.trim_matches('`')) {
            // A cue sheet comes with 44.1 kHz, 16 bit only.
            let name = if name == "programme.cue" { "full.cue" } else { name };
            assert!(left.iter().any(|left| left == name), "{name} in {left:?}");
        }
    }
}

#[test]
fn the_cautions_are_there_word_for_word() {
    for caution in CAUTIONS {
        assert!(README.contains(&format!("- {caution}\n")), "{caution}");
    }
}

#[test]
fn what_can_be_known_is_what_the_code_says() {
    let rows = table("| quantity | calibrated |");
    let columns = rows[0][1..].iter().map(|head| {
        let (recorded_on, heads) = match *head {
            "calibrated" => (RecordedOn::Calibrated, None),
            "house, with card" => (RecordedOn::House, None),
            "other-deck" => (RecordedOn::OtherDeck, None),
            "this-deck, 3 heads" => (RecordedOn::ThisDeck, Some(Heads::Three)),
            "this-deck, 2 heads" => (RecordedOn::ThisDeck, Some(Heads::Two)),
            "injected" => (RecordedOn::Injected, None),
            "loopback" => (RecordedOn::Loopback, None),
            other => panic!("column {other}"),
        };
        Circumstances {
            recorded_on: Some(recorded_on),
            heads,
            tape_type: None,
            noise_reduction: NoiseReduction::Off,
            // The house column is that of a tape with its card.
            card: serde_json::from_str(CARD).ok().filter(|_| recorded_on == RecordedOn::House),
        }
    });
    let columns: Vec<Circumstances> = columns.collect();
    assert_eq!(columns.len(), 7);
    let quantities = [
        ("playback level", Quantity::PlaybackLevel),
        ("playback response", Quantity::PlaybackResponse),
        ("channel match", Quantity::ChannelMatch),
        ("azimuth", Quantity::Azimuth),
        ("speed", Quantity::SpeedError),
        ("flutter", Quantity::Flutter),
        ("noise, hum", Quantity::Noise),
        ("distortion, saturation", Quantity::Recording),
        ("separation", Quantity::Separation),
        ("record level, bias", Quantity::Recording),
    ];
    assert_eq!(rows.len() - 1, quantities.len());
    for (row, (name, quantity)) in rows[1..].iter().zip(quantities) {
        assert_eq!(row[0], name);
        for (cell, circumstances) in row[1..].iter().zip(&columns) {
            let want = match meaning(quantity, circumstances) {
                Meaning::Absolute { .. } => "absolute",
                Meaning::Relative { .. } => "relative",
                Meaning::CannotTell { .. } => "cannot tell",
            };
            assert_eq!(*cell, want, "{name}: {circumstances:?}");
        }
    }
}

#[test]
fn the_recipes_are_those_built_in_with_their_lengths() {
    let mut listed: Vec<(String, String)> = table("| recipe | length | for |")[1..]
        .iter()
        .map(|row| (row[0].trim_matches('`').to_owned(), row[1].to_owned()))
        .collect();
    listed.sort();
    let mut want: Vec<(String, String)> = built_in()
        .iter()
        .map(|recipe| {
            let seconds = Timeline::from(recipe).length_s.ceil() as u64;
            (recipe.name.clone(), format!("{}:{:02}", seconds / 60, seconds % 60))
        })
        .collect();
    want.sort();
    assert_eq!(listed, want);
}

#[test]
fn the_files_it_names_are_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let quoted = README.split('`').skip(1).step_by(2).map(|text| text.trim());
    let linked = README.split("](").skip(1).filter_map(|text| text.split(')').next());
    let of_ours = |name: &&str| {
        !name.contains(char::is_whitespace)
            && (["tests/", "src/", "docs/", "tones/"].iter().any(|folder| name.starts_with(folder))
                || ["DEVELOPERS.md", "CHANGELOG.md", "LICENSE-APACHE", "LICENSE-MIT"].contains(name))
    };
    let named: Vec<&str> = quoted.chain(linked).filter(of_ours).collect();
    assert!(named.len() >= 12, "{named:?}");
    for name in named {
        assert!(root.join(name).exists(), "{name}");
    }
}
