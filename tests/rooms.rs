//! The rooms of the house: data flows one way, and nothing imports against it.
//!
//! The order is that of the documentation of `src/lib.rs`; the table below is what it means for imports. The test reads
//! the sources: comments and texts are taken out, then every path that leads from the crate's root into a room counts,
//! in `use` or not, alone or in a group, by `crate::` or by enough `super::`.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

/// Every room and the rooms that it may import besides itself.
const ROOMS: [(&str, &[&str]); 13] = [
    ("trade", &[]),
    ("signal", &["trade"]),
    ("programme", &["trade", "signal"]),
    ("reading", &[]),
    // Devices and nothing else; it stands behind a feature.
    ("sound_card", &[]),
    ("capture", &["trade", "signal", "programme", "reading", "sound_card"]),
    ("measure", &["trade", "signal", "programme", "reading", "capture"]),
    // Only who concludes asks measure, and only for what it computes from facts: see `only_one_file_of_judge_measures`.
    ("judge", &["trade", "reading", "measure"]),
    ("follow", &["trade", "signal", "programme", "reading", "capture", "measure", "judge"]),
    // Only the running sheet comes from the programme: see `only_the_running_sheet_shows_a_programme`.
    ("show", &["trade", "programme", "reading", "judge"]),
    // The virtual deck stands beside: what it makes is measured, so it must not know how.
    ("deck", &["trade", "signal"]),
    // Pages to read: nothing of the code is in them.
    ("guide", &[]),
    (
        "job",
        &[
            "trade",
            "signal",
            "programme",
            "reading",
            "sound_card",
            "capture",
            "measure",
            "judge",
            "follow",
            "show",
            "deck",
        ],
    ),
];
/// Rooms that must not know each other even in their tests: a mistake made in both would show in neither.
const STRANGERS: (&str, &str) = ("deck", "measure");
/// What else stands at the crate's root: the macro of the tests, and text made harmless.
const NO_ROOM: [&str; 2] = ["assert_within", "harmless"];
/// The command line: free to import every room, and imported by none.
const COMMANDS: [&str; 3] = ["main", "cli", "bin"];
/// Printing belongs to the commands, and to tests.
const PRINTING: [&str; 5] = ["println!", "eprintln!", "print!", "eprint!", "dbg!"];
/// Rooms that open no file.
const WITHOUT_FILES: [&str; 8] =
    ["trade", "signal", "reading", "sound_card", "measure", "judge", "follow", "show"];
/// Longest file, lines: at this length it is two things.
const LONGEST: usize = 800;

/// A path into a room, or a word, with the line that it stands in and whether that is in a test module.
#[derive(Debug, Clone, PartialEq)]
struct Use {
    name: String,
    line: usize,
    in_tests: bool,
}

/// The source without comments and texts; line breaks stay where they are.
fn bare(source: &str) -> String {
    let chars: Vec<char> = source.chars().collect();
    let mut out = String::with_capacity(source.len());
    let mut at = 0;
    let starts = |at: usize, text: &str| text.chars().enumerate().all(|(k, c)| chars.get(at + k) == Some(&c));
    let lines = |out: &mut String, from: usize, to: usize| {
        out.extend(chars[from..to.min(chars.len())].iter().filter(|&&c| c == '\n'));
        out.push(' ');
    };
    while at < chars.len() {
        let before = at.checked_sub(1).map(|k| chars[k]);
        let in_word = before.is_some_and(|c| c.is_alphanumeric() || c == '_');
        let from = at;
        if starts(at, "//") {
            at = (at..chars.len()).find(|&k| chars[k] == '\n').unwrap_or(chars.len());
        } else if starts(at, "/*") {
            let mut depth = 0;
            loop {
                if starts(at, "/*") {
                    (depth, at) = (depth + 1, at + 2);
                } else if starts(at, "*/") {
                    (depth, at) = (depth - 1, at + 2);
                } else {
                    at += 1;
                }
                if depth == 0 || at >= chars.len() {
                    break;
                }
            }
        } else if !in_word
            && (starts(at, "r\"") || starts(at, "r#") || starts(at, "br\"") || starts(at, "br#"))
        {
            let open = (at..chars.len()).find(|&k| !matches!(chars[k], 'b' | 'r' | '#')).unwrap_or(at);
            let hashes = (at..open).filter(|&k| chars[k] == '#').count();
            if chars.get(open) != Some(&'"') {
                // A raw identifier.
                out.push(chars[at]);
                at += 1;
                continue;
            }
            let close = format!("\"{}", "#".repeat(hashes));
            at = (open + 1..chars.len()).find(|&k| starts(k, &close)).unwrap_or(chars.len()) + close.len();
        } else if chars[at] == '"' {
            at += 1;
            while at < chars.len() && chars[at] != '"' {
                at += if chars[at] == '\\' { 2 } else { 1 };
            }
            at += 1;
        } else if starts(at, "'\\") {
            at = (at + 3..chars.len()).find(|&k| chars[k] == '\'').unwrap_or(chars.len()) + 1;
        } else if chars[at] == '\'' && chars.get(at + 2) == Some(&'\'') {
            at += 3;
        } else {
            out.push(chars[at]);
            at += 1;
            continue;
        }
        lines(&mut out, from, at);
    }
    out
}

/// Words (with `!` for macros) and signs of a bare source, each with its line. `::` is one sign.
fn tokens(bare: &str) -> Vec<(String, usize)> {
    let mut found: Vec<(String, usize)> = Vec::new();
    for (n, line) in bare.lines().enumerate() {
        let mut rest = line.trim_start();
        while let Some(first) = rest.chars().next() {
            let word = rest.find(|c: char| !(c.is_alphanumeric() || c == '_')).unwrap_or(rest.len());
            let length = match word {
                0 if rest.starts_with("::") => 2,
                0 => first.len_utf8(),
                _ if rest[word..].starts_with('!') && !rest[word..].starts_with("!=") => word + 1,
                _ => word,
            };
            found.push((rest[..length].to_owned(), n + 1));
            rest = rest[length..].trim_start();
        }
    }
    found
}

/// All names that paths take from the crate's root, and all words that are looked for, in a file `depth` modules deep.
fn uses(source: &str, depth: usize) -> (Vec<Use>, Vec<Use>) {
    let tokens = tokens(&bare(source));
    let token = |k: usize| tokens.get(k).map_or("", |token| token.0.as_str());
    let (mut roots, mut words) = (Vec::new(), Vec::new());
    // Open braces: whether they belong to a module, and whether all inside is test code.
    let mut braces: Vec<(bool, bool)> = Vec::new();
    let mut k = 0;
    while k < tokens.len() {
        let line = tokens[k].1;
        let in_tests = braces.last().is_some_and(|brace| brace.1);
        match token(k) {
            "{" => {
                let of_module = k >= 2 && token(k - 2) == "mod";
                let marks: Vec<&str> = (1..=k)
                    .map(|back| token(k - back))
                    .take_while(|mark| !matches!(*mark, ";" | "{" | "}"))
                    .collect();
                // `#[cfg(test)]` right before `mod name {`, visibility and further attributes allowed for.
                let marked = of_module && marks.windows(3).any(|w| w == ["test", "(", "cfg"]);
                braces.push((of_module, in_tests || marked));
                words.push(Use { name: "{".into(), line, in_tests });
            }
            "}" => {
                braces.pop();
            }
            "crate" | "super" if token(k + 1) == "::" && token(k.wrapping_sub(1)) != "$" => {
                let mut ups = usize::from(token(k) == "super");
                let mut at = k + 2;
                while token(at) == "super" && token(at + 1) == "::" {
                    (ups, at) = (ups + 1, at + 2);
                }
                let here = depth + braces.iter().filter(|brace| brace.0).count();
                if token(k) == "crate" || ups >= here {
                    let names = if token(at) == "{" { group(&tokens, at) } else { vec![at] };
                    roots.extend(names.into_iter().map(|at| Use {
                        name: token(at).trim_end_matches('!').to_owned(),
                        line: tokens[at.min(tokens.len() - 1)].1,
                        in_tests,
                    }));
                }
                // A group inside is looked through by the loop itself; only the head of the path is done with.
                k = at.max(k + 1);
                continue;
            }
            word => words.push(Use { name: word.to_owned(), line, in_tests }),
        }
        k += 1;
    }
    (roots, words)
}

/// Places of the first names of each path in the group that opens at `open`.
fn group(tokens: &[(String, usize)], open: usize) -> Vec<usize> {
    let mut names = vec![open + 1];
    let mut depth = 0;
    for (k, (text, _)) in tokens.iter().enumerate().skip(open) {
        match text.as_str() {
            "{" => depth += 1,
            "}" if depth == 1 => break,
            "}" => depth -= 1,
            "," if depth == 1 => names.push(k + 1),
            _ => {}
        }
    }
    names.retain(|&k| tokens.get(k).is_some_and(|token| token.0 != "}"));
    names
}

/// Modules in files of their own that `source` declares for tests only.
fn test_modules(source: &str) -> Vec<String> {
    let tokens: Vec<String> = tokens(&bare(source)).into_iter().map(|token| token.0).collect();
    let mark = ["#", "[", "cfg", "(", "test", ")", "]", "mod"];
    tokens.windows(10).filter(|w| w[..8] == mark && w[9] == ";").map(|w| w[8].clone()).collect()
}

/// What is wrong with one file of `room`, in words; `all_tests` if the whole file is a test module.
fn faults_in(room: &str, source: &str, depth: usize, all_tests: bool) -> Vec<String> {
    let Some((_, allowed)) = ROOMS.iter().find(|(name, _)| *name == room) else {
        return vec![format!("{room} is no room of the table")];
    };
    let (mut roots, mut words) = uses(source, depth);
    roots.iter_mut().chain(&mut words).for_each(|found| found.in_tests |= all_tests);
    let mut found = Vec::new();
    for Use { name, line, in_tests } in roots {
        let name = name.as_str();
        if name == room || NO_ROOM.contains(&name) {
            continue;
        }
        let strangers = [(room, name), (name, room)].contains(&STRANGERS);
        if !ROOMS.iter().any(|(room, _)| *room == name) {
            found.push(format!("line {line}: crate::{name} is no room of the table"));
        } else if strangers || !(in_tests || allowed.contains(&name)) {
            found.push(format!("line {line}: {room} must not import {name}"));
        }
    }
    for (k, Use { name, line, in_tests }) in words.iter().enumerate() {
        if PRINTING.contains(&name.as_str()) && !in_tests {
            found.push(format!("line {line}: {name} in the library"));
        }
        let before = |back: usize| k.checked_sub(back).map_or("", |k| words[k].name.as_str());
        let from_std = before(1) == "::" && before(2) == "std";
        if name == "fs" && from_std && !in_tests && WITHOUT_FILES.contains(&room) {
            found.push(format!("line {line}: std::fs in {room}"));
        }
        if name == "deckproof" && words.get(k + 1).is_some_and(|next| next.name == "::") {
            found.push(format!("line {line}: the library names itself; write crate::"));
        }
        if name == "{" && from_std && !in_tests {
            found.push(format!(
                "line {line}: std:: before a group; write one use a line, so that std::fs is seen"
            ));
        }
    }
    found
}

fn faults(room: &str, source: &str, depth: usize) -> Vec<String> {
    faults_in(room, source, depth, false)
}

/// All `.rs` files below `folder`, as (path from `folder` with `/`, text), sorted.
fn sources(folder: &Path) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(inside) = folders.pop() {
        for entry in fs::read_dir(&inside).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                let parts = path.strip_prefix(folder).unwrap().iter().map(|part| part.to_str().unwrap());
                let name = parts.collect::<Vec<_>>().join("/");
                found.push((name, fs::read_to_string(&path).unwrap()));
            }
        }
    }
    found.sort();
    found
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

#[test]
fn nothing_imports_against_the_flow() {
    let mut seen = BTreeSet::new();
    let mut wrong = Vec::new();
    let files = sources(&root().join("src"));
    let tests: BTreeSet<String> = files
        .iter()
        .filter_map(|(name, text)| Some((name.strip_suffix("/mod.rs")?, text)))
        .flat_map(|(folder, text)| test_modules(text).into_iter().map(move |m| format!("{folder}/{m}.rs")))
        .collect();
    for (name, text) in &files {
        let parts: Vec<&str> = name.trim_end_matches(".rs").split('/').collect();
        if COMMANDS.contains(&parts[0]) || NO_ROOM.contains(&parts[0]) || parts[0] == "lib" {
            continue;
        }
        // `mod.rs` is the module of its folder.
        let depth = parts.len() - usize::from(parts.last() == Some(&"mod"));
        seen.insert(parts[0].to_owned());
        let found = faults_in(parts[0], text, depth, tests.contains(name));
        wrong.extend(found.into_iter().map(|fault| format!("src/{name}, {fault}")));
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
    let rooms: BTreeSet<String> = ROOMS.iter().map(|(room, _)| (*room).to_owned()).collect();
    assert_eq!(seen, rooms, "rooms in src and in the table");
}

/// What the paths of a `use` (or elsewhere) that begin at `at` lead to, groups opened: each a list of names.
fn paths(tokens: &[(String, usize)], mut at: usize) -> (Vec<Vec<String>>, usize) {
    let token = |k: usize| tokens.get(k).map_or("", |token| token.0.as_str());
    let mut path = Vec::new();
    loop {
        if token(at) == "{" {
            let mut all = Vec::new();
            at += 1;
            while !matches!(token(at), "}" | "") {
                let (inside, next) = paths(tokens, at);
                all.extend(inside.into_iter().map(|rest| [path.clone(), rest].concat()));
                at = if token(next) == "," { next + 1 } else { next };
                if token(at) == "as" {
                    at += 2;
                }
            }
            return (all, at + 1);
        }
        path.push(token(at).to_owned());
        if token(at + 1) != "::" {
            return (vec![path], at + 1);
        }
        at += 2;
    }
}

/// The files of `room`, each with those of the same room that it imports, tests apart. What the room itself hands on
/// counts as the file that it comes from.
fn imports(room: &str, files: &[(String, String)]) -> BTreeMap<String, BTreeSet<String>> {
    let module = |name: &str| name.trim_end_matches(".rs").trim_end_matches("/mod").replace('/', "::");
    let names: BTreeSet<String> = files.iter().map(|(name, _)| module(name)).collect();
    let mut tests: Vec<String> = Vec::new();
    let mut found: Vec<(String, Vec<Vec<String>>)> = Vec::new();
    for (name, text) in files {
        tests.extend(test_modules(text).into_iter().map(|test| format!("{}::{test}", module(name))));
        let own = text.split("\n#[cfg(test)]\nmod tests {").next().unwrap();
        let tokens = tokens(&bare(own));
        let leads = |k: usize| tokens[k].0 == "crate" && tokens.get(k + 1).is_some_and(|t| t.0 == "::");
        let mut all: Vec<Vec<String>> =
            (0..tokens.len()).filter(|&k| leads(k)).flat_map(|k| paths(&tokens, k + 2).0).collect();
        all.retain(|path| path[0] == room);
        if name == "mod.rs" {
            // `pub use findings::level::level` of the room itself.
            let inside = |k: usize| tokens[k].0 == "pub" && tokens.get(k + 1).is_some_and(|t| t.0 == "use");
            let own = (0..tokens.len()).filter(|&k| inside(k)).flat_map(|k| paths(&tokens, k + 2).0);
            all.extend(own.map(|path| [vec![room.to_owned()], path].concat()));
        }
        found.push((module(name), all));
    }
    let file_of = |path: &[String]| {
        (2..=path.len()).rev().map(|k| path[1..k].join("::")).find(|name| names.contains(name))
    };
    let handed: BTreeMap<String, String> = found
        .iter()
        .filter(|(name, _)| name == "mod")
        .flat_map(|(_, all)| all.iter().filter_map(|path| Some((path.last()?.clone(), file_of(path)?))))
        .collect();
    found
        .into_iter()
        .filter(|(name, _)| name != "mod" && !tests.contains(name))
        .map(|(name, all)| {
            let to =
                all.iter().filter_map(|path| file_of(path).or_else(|| handed.get(path.get(1)?).cloned()));
            let to = to.filter(|to| *to != name).collect();
            (name, to)
        })
        .collect()
}

/// A way from a file back to itself; empty where there is none.
fn circle(imports: &BTreeMap<String, BTreeSet<String>>) -> Vec<String> {
    fn follow(
        name: &str,
        imports: &BTreeMap<String, BTreeSet<String>>,
        way: &mut Vec<String>,
        done: &mut BTreeSet<String>,
    ) -> Option<Vec<String>> {
        if let Some(from) = way.iter().position(|passed| passed == name) {
            return Some([&way[from..], &[name.to_owned()]].concat());
        }
        if !done.insert(name.to_owned()) {
            return None;
        }
        way.push(name.to_owned());
        let found = imports.get(name).into_iter().flatten().find_map(|next| follow(next, imports, way, done));
        way.pop();
        found
    }
    let mut done = BTreeSet::new();
    imports.keys().find_map(|name| follow(name, imports, &mut Vec::new(), &mut done)).unwrap_or_default()
}

/// Another program sees what `src/lib.rs` names; tests see the rooms as well, so its examples could do by mistake.
#[test]
fn examples_of_the_library_take_only_what_another_program_sees() {
    let library = fs::read_to_string(root().join("src/lib.rs")).unwrap();
    let examples: String = library.lines().filter(|line| line.starts_with("//! ")).collect();
    assert!(examples.contains("use deckproof::{") && !examples.contains("internals::"));
    let rooms = library.lines().filter(|line| line.starts_with("pub mod "));
    assert_eq!(rooms.collect::<Vec<_>>(), ["pub mod guide;", "pub mod reading;", "pub mod internals {"]);
}

#[test]
fn only_one_file_of_judge_measures() {
    assert_eq!(who_asks("judge", "measure"), ["conclude.rs"]);
}

#[test]
fn only_the_running_sheet_shows_a_programme() {
    assert_eq!(who_asks("show", "programme"), ["mod.rs", "pages/running_sheet.rs"]);
}

/// Files of `room` that import from `other`, tests apart.
fn who_asks(room: &str, other: &str) -> Vec<String> {
    let files = sources(&root().join("src").join(room)).into_iter();
    let asks = |(name, text): &(String, String)| {
        let found = uses(text, name.split('/').count() + 1).0;
        found.iter().any(|found| found.name == other && !found.in_tests)
    };
    files.filter(asks).map(|file| file.0).collect()
}

/// Texts of a source, as they stand between their quotes; comments apart.
fn texts(source: &str) -> Vec<String> {
    let chars: Vec<char> = source.chars().collect();
    let (mut found, mut at) = (Vec::new(), 0);
    while at < chars.len() {
        match chars[at] {
            '/' if chars.get(at + 1) == Some(&'/') => {
                at = (at..chars.len()).find(|&k| chars[k] == '\n').unwrap_or(chars.len());
            }
            '\'' if chars.get(at + 1) == Some(&'\\') => at += 4,
            '\'' if chars.get(at + 2) == Some(&'\'') => at += 3,
            '"' => {
                let from = at + 1;
                at = from;
                while at < chars.len() && chars[at] != '"' {
                    at += if chars[at] == '\\' { 2 } else { 1 };
                }
                found.push(chars[from..at.min(chars.len())].iter().collect());
                at += 1;
            }
            _ => at += 1,
        }
    }
    found
}

/// What of a text is a command line: an option, or the name of the program with a command.
fn typed(text: &str) -> Option<&str> {
    let option = text.match_indices("--").find(|(at, _)| {
        let rest = &text[at + 2..];
        rest.starts_with(|c: char| c.is_ascii_lowercase())
    });
    let commands = ["`read", "`write", "`house", "`bench", "`skew", "`compare", "`rehearse", "deckproof "];
    let at = option.map(|(at, _)| at).or_else(|| commands.iter().find_map(|name| text.find(name)))?;
    Some(&text[at..])
}

#[test]
fn who_measures_and_judges_knows_no_command_line() {
    let mut wrong = Vec::new();
    for room in ["reading", "sound_card", "capture", "measure", "judge"] {
        for (name, text) in sources(&root().join("src").join(room)) {
            let own = text.split("\n#[cfg(test)]\nmod ").next().unwrap();
            let found = texts(own);
            wrong
                .extend(found.iter().filter_map(|text| Some(format!("src/{room}/{name}: {}", typed(text)?))));
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
    assert!(typed("give --card").is_some() && typed("type `read --tape`").is_some());
    assert_eq!(typed("a tape -- or a `level` -3 dB"), None);
    assert_eq!(texts("let a = '\"'; // \"no\"\nf(\"yes \\\" and\", 'x')"), ["yes \\\" and"]);
}

#[test]
fn no_files_of_a_room_import_each_other_in_a_circle() {
    for room in ["judge", "measure"] {
        let imports = imports(room, &sources(&root().join("src").join(room)));
        assert!(imports.values().map(BTreeSet::len).sum::<usize>() > 20, "{room}: {imports:?}");
        assert_eq!(circle(&imports), [""; 0], "{room}");
    }
}

#[test]
fn circles_are_seen_through_groups_and_what_a_room_hands_on() {
    let of = |files: &[(&str, &str)]| {
        let files: Vec<_> =
            files.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect();
        circle(&imports("judge", &files))
    };
    let b = "use crate::judge::a::{self, w};";
    assert_eq!(of(&[("a.rs", "use crate::{trade::x, judge::b};"), ("b.rs", b)]), ["a", "b", "a"]);
    let a = "use crate::judge::{b::{y, z}, c};";
    assert_eq!(of(&[("a.rs", a), ("b.rs", b)]), ["a", "b", "a"]);
    assert_eq!(of(&[("a.rs", a), ("b.rs", "")]), [""; 0]);
    let handed = ("mod.rs", "mod a;\npub use f::a::{w, v};");
    assert_eq!(of(&[handed, ("f/a.rs", "use crate::judge::b;"), ("b.rs", "use crate::judge::v;")]).len(), 3);
    let tested = "#[cfg(test)]\nmod tests {\n use crate::judge::b; }";
    let in_tests = format!("fn f() {{}}\n{tested}");
    assert_eq!(of(&[("a.rs", &in_tests), ("b.rs", b)]), [""; 0]);
}

#[test]
fn the_library_declares_the_rooms_of_the_table_and_no_other() {
    let lib = tokens(&bare(&fs::read_to_string(root().join("src/lib.rs")).unwrap()));
    let declared = lib.windows(3).filter(|w| w[0].0 == "mod" && w[2].0 == ";").map(|w| w[1].0.as_str());
    let rooms: BTreeSet<&str> =
        declared.filter(|name| !NO_ROOM.contains(name) && !COMMANDS.contains(name)).collect();
    assert_eq!(rooms, ROOMS.iter().map(|(room, _)| *room).collect());
}

#[test]
fn no_file_is_longer_than_two_things() {
    let mut files = sources(&root().join("src"));
    files.extend(sources(&root().join("tests")));
    assert!(files.len() > 50, "only {} files were found", files.len());
    for (name, text) in files {
        let lines = text.lines().count();
        assert!(lines <= LONGEST, "{name} has {lines} lines, more than {LONGEST}");
    }
}

/// The lint itself: each of these is seen, and nothing else.
#[test]
fn every_way_to_import_is_seen() {
    let wrong = [
        ("use crate::measure::ToneMeter;", "measure"),
        ("use crate::{\n  trade::{a, b},\n  deck,\n};", "deck"),
        ("fn f() { let x = crate::judge::Limits::full_size(); }", "judge"),
        ("use super::super::show::html;", "show"),
        ("mod inner { use super::super::super::job; }", "job"),
        ("#[cfg(test)]\nmod tests {\n  fn f() { g('}', '\\'', \"}\"); }\n}\nuse crate::capture;", "capture"),
        ("/* /* */ */ use crate::programme;", "programme"),
        ("const A: &str = \"//\"; use crate::reading;", "reading"),
        ("const A: &str = r#\"\"//\"#; use crate::reading;", "reading"),
        ("use crate::*;", "*"),
        ("fn f<'a>(x: &'a str) { println!(\"{x}\"); }", "println!"),
        ("use std::fs;", "std::fs"),
        ("fn f() { std::fs::read(p); }", "std::fs"),
        ("use std::{fs, io};", "std:: before a group"),
        ("#[cfg(test)]\nmod a;\nmod b { use crate::show; }", "show"),
        ("mod a {\n#[cfg(not(test))] mod b { use crate::job; }\n}", "job"),
        ("use deckproof::internals::deck;", "names itself"),
    ];
    for (source, what) in wrong {
        let found = faults("signal", source, 2);
        assert_eq!(found.len(), 1, "{source}: {found:?}");
        assert!(found[0].contains(what), "{source}: {found:?}");
    }
    let right = [
        "// use crate::measure;",
        "/* use crate::measure; */",
        "//! [`crate::deck`]",
        "const A: &str = \"crate::measure\";",
        "const A: &str = r\"crate::measure\\\";",
        "use crate::trade::Medium;",
        "use crate::signal::fir::low_pass;",
        "use super::super::signal::fir;",
        "use super::measure;",
        "mod inner { use super::super::measure; }",
        "crate::assert_within!(a, b, c, \"\");",
        "#[cfg(test)]\nmod tests {\n use crate::programme::slate;\n fn f() { println!(\"\"); }\n}",
    ];
    for source in right {
        assert_eq!(faults("signal", source, 2), [""; 0], "{source}");
    }
    for (room, stranger) in [("measure", "deck"), ("deck", "measure")] {
        let source = format!("#[cfg(test)]\nmod tests {{\n use crate::{{trade::a, {stranger}::b}};\n}}");
        assert_eq!(faults(room, &source, 2).len(), 1, "{room}");
    }
    assert_eq!(test_modules("mod a;\n#[cfg(test)]\nmod b;\n#[cfg(test)]\nmod tests {}\nmod c;"), ["b"]);
    assert_eq!(faults("cellar", "", 2).len(), 1);
    assert_eq!(faults("signal", "use super::measure;", 1).len(), 1, "from a mod.rs");
}
