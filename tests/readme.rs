//! The README and the pages of the guide keep their word: their commands run as printed, their tables are the code's,
//! their files are there.

use crate::effort;
use crate::returns;
use deckproof::internals::judge::{Meaning, Quantity, meaning};
use deckproof::internals::programme::{Timeline, built_in, built_in_by_name};
use deckproof::internals::trade::{CAUTIONS, INJECTION_CAUTIONS, TRIMMER_CAUTIONS};
use deckproof::reading::{Circumstances, Heads, NoiseReduction, RecordedOn};
use rayon::prelude::*;
use std::path::Path;
use std::process::Command;

/// A card that holds everything.
const CARD: &str = r#"{"file": "", "name": "", "made_at": "", "passes": 0, "level": [{"part": "", "db": [0.0, 0.0]}],
    "calibrated": {"tape": null, "file": "", "at": null, "fluxivity_nwb_per_m": null},
    "response": true, "delay_us": 0.0, "speed_percent": 0.0}"#;
const README: &str = include_str!("../README.md");
/// Most bytes of the README.
const MOST_BYTES: usize = 8_000;

/// Text of the page `name` of the guide, as it is written; long commands that go on in the next line are one again.
fn page(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("src/guide/{name}.md"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    text.replace(" \\\n", " ")
}

/// Names and texts of all pages, in the order in which the command lists them.
fn pages() -> Vec<(String, String)> {
    let output = Command::new(env!("CARGO_BIN_EXE_deckproof")).arg("guide").output().unwrap();
    let list = String::from_utf8(output.stdout).unwrap();
    let lines = list.lines().filter_map(|line| line.strip_prefix("  "));
    let names: Vec<String> = lines.map(|line| line.split(' ').next().unwrap().to_owned()).collect();
    names.into_iter().map(|name| (name.clone(), page(&name))).collect()
}

/// Texts of the fenced blocks of `text` in `language`.
fn blocks<'a>(text: &'a str, language: &str) -> Vec<&'a str> {
    let mut rest = text;
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

/// Rows of the table in `text` whose head begins with `head`, as trimmed cells; the head is the first row.
fn table<'a>(text: &'a str, head: &str) -> Vec<Vec<&'a str>> {
    let rows =
        text.lines().skip_while(|line| !line.starts_with(head)).take_while(|line| line.starts_with('|'));
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

/// The command lines of `texts`, in chains that need nothing of each other: no block of one names what another has left.
fn chains<'a>(texts: &[&'a str]) -> Vec<Vec<&'a str>> {
    let mut chains: Vec<Vec<&str>> = Vec::new();
    for block in texts.iter().flat_map(|text| blocks(text, "sh")) {
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

/// Runs all commands of `texts` in one folder, as somebody would who reads them one after the other.
fn run_all(texts: &[&str], folder: &Path) {
    write_return(&folder.join("return.wav"));
    for text in texts.iter().flat_map(|text| blocks(text, "toml")) {
        let (head, _) = text.split_once('\n').unwrap();
        let name = head.strip_prefix("# ").expect("a file begins with its name");
        std::fs::write(folder.join(name), text).unwrap();
    }
    let mut chains = chains(texts);
    // A rehearsal is minutes of sound: by default only what does without.
    let whole = effort::of([0, 1, 1]) == 1;
    chains.retain(|chain| whole || !chain.iter().any(|line| line.contains(" rehearse ")));
    chains.par_iter().for_each(|chain| chain.iter().for_each(|line| run(line, folder)));
}

#[test]
fn every_command_of_the_readme_runs_as_printed() {
    let commands = blocks(README, "sh").iter().flat_map(|block| block.lines()).count();
    assert_eq!(commands, 5, "one job in five commands");
    let folder = tempfile::tempdir().unwrap();
    run_all(&[README], folder.path());
    assert!(folder.path().join("before-after/comparison.json").is_file());
}

#[test]
fn every_command_of_the_guide_runs_as_printed() {
    let folder = tempfile::tempdir().unwrap();
    let pages = pages();
    let texts: Vec<&str> = pages.iter().map(|page| page.1.as_str()).collect();
    let count = chains(&texts).iter().map(Vec::len).sum::<usize>();
    assert!(count >= 40 && chains(&texts).len() >= 5, "{count}");
    run_all(&texts, folder.path());
    if effort::of([0, 1, 1]) == 0 {
        return;
    }
    // Every file that the table of files names has been left by one of them.
    let left: Vec<String> = ["as-found", "worn", "loud", "leaks", "levels", "mine-rehearsed", "."]
        .iter()
        .flat_map(|name| std::fs::read_dir(folder.path().join(name)).unwrap())
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    for row in &table(&page("files"), "| file | what it is |")[1..] {
        for name in row[0].split(", ").map(|name| name.trim_matches('`')) {
            // A cue sheet comes with 44.1 kHz, 16 bit only.
            let name = if name == "programme.cue" { "full.cue" } else { name };
            assert!(left.iter().any(|left| left == name), "{name} in {left:?}");
        }
    }
}

#[test]
fn the_readme_is_short_and_has_the_two_commands() {
    assert!(README.len() <= MOST_BYTES, "{} bytes", README.len());
    let indented = |start: &str| README.lines().filter(|line| line.starts_with(start)).count();
    // `.ci/run` takes the test command from here.
    assert_eq!(indented("    cargo test "), 1);
    assert_eq!(indented("    cargo run --release -- rehearse"), 1);
    assert_eq!(table(README, "| quantity | stated as |").len() - 1, 8);
}

#[test]
fn the_cautions_are_there_word_for_word() {
    let page = page("cautions");
    for (caution, page) in CAUTIONS.iter().map(|caution| (caution, README)).chain(
        [&CAUTIONS[..], &TRIMMER_CAUTIONS, &INJECTION_CAUTIONS]
            .concat()
            .iter()
            .map(|caution| (caution, page.as_str())),
    ) {
        assert!(page.contains(&format!("- {caution}\n")), "{caution}");
    }
}

#[test]
fn what_can_be_known_is_what_the_code_says() {
    let page = page("circumstances");
    let mut rows = table(&page, "| quantity | calibrated |");
    for (row, own) in rows.iter_mut().zip(table(&page, "| quantity | this-deck, 3 heads |")) {
        assert_eq!(row[0], own[0]);
        row.extend(&own[1..]);
    }
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
    let mut listed: Vec<(String, String)> = table(&page("programmes"), "| recipe | length | for |")[1..]
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

/// Ids in the list of warnings, as the source has them.
fn warning_ids() -> Vec<&'static str> {
    let source = include_str!("../src/reading/warning.rs");
    let list = source.split_once("\nwarning_ids! {\n").unwrap().1.split_once("\n}\n").unwrap().0;
    list.lines().map(|line| line.split('"').nth(1).unwrap()).collect()
}

#[test]
fn every_warning_stands_on_its_page() {
    let page = page("warnings");
    let mut told: Vec<&str> = table(&page, "| about | warnings |")[1..]
        .iter()
        .flat_map(|row| row[1].split(", ").map(|id| id.trim_matches('`')))
        .collect();
    told.sort_unstable();
    let mut want = warning_ids();
    want.sort_unstable();
    assert_eq!(told, want);
}

#[test]
fn the_files_they_name_are_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let texts = [vec![README.to_owned()], pages().into_iter().map(|page| page.1).collect()].concat();
    let of_ours = |name: &&str| {
        !name.contains(char::is_whitespace)
            && (["tests/", "src/", "docs/", "tones/"].iter().any(|folder| name.starts_with(folder))
                || ["DEVELOPERS.md", "CHANGELOG.md", "LICENSE-APACHE", "LICENSE-MIT"].contains(name))
    };
    let named: Vec<&str> = texts
        .iter()
        .flat_map(|text| {
            let quoted = text.split('`').skip(1).step_by(2).map(|text| text.trim());
            quoted.chain(text.split("](").skip(1).filter_map(|text| text.split(')').next()))
        })
        .filter(of_ours)
        .collect();
    assert!(named.len() >= 30, "{named:?}");
    for name in named {
        assert!(root.join(name).exists(), "{name}");
    }
}

/// Names after `guide ` in quoted text: `guide azimuth`, `deckproof guide files`.
fn named_pages(text: &str) -> Vec<&str> {
    let quoted = text.split('`').skip(1).step_by(2);
    let after = quoted
        .filter_map(|quoted| quoted.strip_prefix("deckproof ").unwrap_or(quoted).strip_prefix("guide "));
    after.filter(|name| !name.starts_with("--") && *name != "PAGE").collect()
}

#[test]
fn pages_that_texts_send_to_are_there_and_every_file_is_a_page() {
    let pages = pages();
    let names: Vec<&str> = pages.iter().map(|page| page.0.as_str()).collect();
    let texts = pages.iter().map(|page| (page.0.as_str(), page.1.as_str())).chain([("README", README)]);
    let mut sent = 0;
    for (from, text) in texts {
        for name in named_pages(text) {
            assert!(names.contains(&name), "{from} names {name}");
            sent += 1;
        }
    }
    assert!(sent > 30, "{sent}");
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/guide");
    let files = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name());
    let mut files: Vec<String> =
        files.filter_map(|name| Some(name.to_str()?.strip_suffix(".md")?.to_owned())).collect();
    files.sort();
    let mut listed = names.clone();
    listed.sort_unstable();
    assert_eq!(files, listed);
}

/// What `deckproof guide` lays out, and nothing else of Markdown.
#[test]
fn pages_keep_to_what_is_laid_out_for_a_terminal() {
    for (name, text) in pages() {
        assert!(text.starts_with("# "), "{name}");
        let mut in_block = false;
        for line in text.lines() {
            if let Some(language) = line.strip_prefix("```") {
                assert!(in_block || ["sh", "toml", "text"].contains(&language), "{name}: {line}");
                in_block = !in_block;
            } else if !in_block {
                let indented = line.starts_with("    ") || line.starts_with('\t');
                let line = line.replace("**", "");
                let marks = ["](", "<", "* ", "__"].iter().any(|mark| line.contains(mark));
                assert!(!indented && !marks, "{name}: {line}");
            }
        }
        assert!(!in_block, "{name}");
    }
}
