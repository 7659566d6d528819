//! Text that comes from files and names: shown, never obeyed, and bounded.

use super::bench::{Bench, Ran, SHORT};
use serde_json::Value;

const FAULTY: &str = include_str!("../readings/faulty.json");
/// Clears a screen, colours, turns the direction of writing.
const EVIL: &str = "\u{1b}[2J\u{9b}31m\u{202e}\u{2066}evil";
const SHOWN: &str = r"\u{1b}[2J\u{9b}31m\u{202e}\u{2066}evil";

fn acts(text: &str) -> bool {
    text.chars().any(|c| c.is_control() && !"\r\n".contains(c) || "\u{202e}\u{2066}\u{200f}".contains(c))
}

#[track_caller]
fn harmless(ran: &Ran) {
    assert!(!acts(&ran.out) && !acts(&ran.err), "{:?}\n{:?}", ran.out, ran.err);
}

/// Every file in the folder that a command wrote is harmless.
#[track_caller]
fn all_harmless(bench: &Bench, folder: &str) {
    let mut count = 0;
    for name in bench.files().iter().filter(|name| name.starts_with(folder) && !name.ends_with(".wav")) {
        assert!(!acts(&bench.text(name)), "{name}");
        count += 1;
    }
    assert!(count > 3, "{:?}", bench.files());
}

#[test]
fn text_in_names_and_files_never_acts() {
    let bench = Bench::with_short_return();
    let escaped = r"\u001b[2J\u009b31m\u202e\u2066evil";
    bench.put("limits.toml", format!("name = \"{escaped}\"\nsource = \"{escaped}\"\nspeed_percent = 0.7\n"));
    let name = format!("{EVIL}.wav");
    std::fs::rename(bench.path("return.wav"), bench.path(&name)).unwrap();
    let words = ["read", &name, "--recipe", "short.toml", "--limits", "limits.toml", "--out", "found"];
    let ran =
        bench.run_words(&[&words[..], &["--recorded-on", "calibrated", "--deck", EVIL]].concat()).done();
    harmless(&ran);
    assert!(ran.out.contains(SHOWN), "{}", ran.out);
    all_harmless(&bench, "found/");
    for file in ["summary.txt", "report.html", "findings.csv"] {
        assert!(bench.text(&format!("found/{file}")).contains(SHOWN), "{file}");
    }
    // The same when it is read.
    let reading: Value = serde_json::from_str(&bench.text("found/reading.json")).unwrap();
    assert_eq!(reading["made"]["deck"], EVIL);
    let printed = bench.run_words(&["read", &name, "--recipe", "short.toml", "--json", "-"]).done();
    harmless(&printed);
    assert_eq!(printed.json()["capture"]["file"], name);

    std::fs::copy(bench.path("found/reading.json"), bench.path("c.json")).unwrap();
    let ran = bench.run_words(&[
        "compare",
        "c.json",
        "found/reading.json",
        "--name",
        EVIL,
        "--name",
        "b",
        "--out",
        "both",
    ]);
    harmless(&ran.done());
    all_harmless(&bench, "both/");

    let ran = bench
        .run_words(&["write", "short.toml", "--out", &name, "--force"])
        .failed(&["of another kind", SHOWN]);
    harmless(&ran);
}

#[test]
fn text_of_jobs_decks_and_cards_never_acts() {
    let bench = Bench::with_short_return();
    bench.run_words(&["bench", "new", "job", "--deck", EVIL, "--complaint", EVIL]).done();
    harmless(&bench.run_words(&["bench", "note", EVIL, "--job", "job"]).done());
    let ran = bench.run("bench sheet --job job --out sheet.html").done();
    harmless(&ran);
    assert!(ran.out.contains(SHOWN) && bench.text("sheet.html").contains(SHOWN), "{}", ran.out);
    assert!(!acts(&bench.text("sheet.html")));
    harmless(&bench.run("bench next --job job").done());

    bench.put("deck.toml", "about = \"\\u001b[2J\\u202eevil\"\n");
    let ran = bench.run("rehearse short.toml --deck deck.toml --out r").done();
    harmless(&ran);
    assert!(ran.out.contains(r"\u{1b}[2J\u{202e}evil"), "{}", ran.out);
    for file in ["summary.txt", "report.html", "reading.json", "programme.sheet.txt"] {
        assert!(!acts(&bench.text(&format!("r/{file}"))), "{file}");
    }

    let read = |line: &str| {
        bench.run(&format!("read return.wav --recipe short.toml --tape-type I --deck d {line}")).done()
    };
    read("--recorded-on calibrated --json c.json");
    read("--recorded-on house --json h.json");
    let words = [
        "house",
        "make",
        "--house",
        "h.json",
        "--calibrated",
        "c.json",
        "--name",
        EVIL,
        "--out",
        "card.json",
    ];
    harmless(&bench.run_words(&words).done());
    harmless(&bench.run("house show card.json").done());
    assert!(!acts(&bench.text("card.json")));

    bench.put("mine.toml", SHORT.replace("\"Short\"", "\"a\\u202eb\""));
    bench.run("write mine.toml --out a.wav").refused(&[
        "mine.toml, line 2: title",
        "marks of direction",
        "take them out",
    ]);
    bench.put("job/job.toml", format!("format = \"{}\"\n[deck]\nname = \"x\"\n", r"\u001b[2J"));
    harmless(&bench.run("bench sheet --job job").failed(&["job.toml"]));
    bench.run_words(&[EVIL]).wrong(&["unrecognized subcommand", SHOWN]);
}

#[test]
fn a_cell_is_no_formula() {
    let bench = Bench::with_short_return();
    bench.put("mine.toml", SHORT.replace("\"level\"", "\"-level+1\""));
    bench.run("read return.wav --recipe mine.toml --recorded-on calibrated --out found").done();
    let mut words = 0;
    for name in bench.files().iter().filter(|name| name.ends_with(".csv")) {
        for cell in bench.text(name).split([',', '\n']) {
            let cell = cell.trim_start_matches('"');
            assert!(!cell.starts_with(['=', '@']), "{name}: {cell}");
            assert!(!cell.starts_with(['+', '-']) || cell.trim().parse::<f64>().is_ok(), "{name}: {cell}");
            words += usize::from(cell == "'-level+1");
        }
    }
    assert!(words > 0, "the part stands in no table");
}

#[test]
fn a_long_value_is_not_said_whole() {
    let bench = Bench::with_short_return();
    let long = "w ".repeat(2500);
    let solid = "x".repeat(5000);
    bench.put("limits.toml", format!("\"{long}\" = 1\n"));
    bench.put("deck.toml", format!("[\"{long}\"]\na = 1\n"));
    bench.put("numbers.toml", "speed_percent = 1e308\n");
    bench.put("mine.toml", SHORT.replace("\"level\"", &format!("\"{solid}\"")));
    bench.put("key.toml", SHORT.replace("level_db = 0", &format!("{solid} = 0")));
    bench.put("other.json", format!("{{\"format\": \"{solid}\"}}"));
    bench.run("bench new job --deck grey").done();
    for words in [
        &["read", "return.wav", "--limits", "limits.toml"][..],
        &["read", "return.wav", "--limits", "numbers.toml"],
        &["read", "return.wav", "--limits", &solid],
        &["read", "return.wav", "--recipe", &solid],
        &["read", &solid],
        &["rehearse", "short.toml", "--deck", "deck.toml"],
        &["rehearse", "short.toml", "--deck", &long],
        &["write", "mine.toml", "--out", "a.wav"],
        &["write", "key.toml", "--out", "a.wav"],
        &["compare", "other.json", "other.json"],
        &["house", "show", "other.json"],
        &["list", "recipe", &long],
        &["bench", "set", &solid, "1", "--job", "job"],
        &["bench", "set", "take-up-torque", &long, "g.cm", "--job", "job"],
        &["bench", "next", &long, "--job", "job"],
    ] {
        let ran = bench.run_words(words).failed(&[]);
        assert!(ran.err.len() < 2500 && !ran.err.contains(&"x".repeat(100)), "{words:?}\n{}", ran.err);
        assert!(
            !ran.err.contains(&"w ".repeat(100)) && !ran.err.contains(&"0".repeat(100)),
            "{words:?}\n{}",
            ran.err
        );
    }
    let ran = bench.run_words(&["read", "return.wav", "--heads", &solid]);
    assert!(ran.status == 2 && ran.err.len() < 2500 && ran.err.contains("xxx..."), "{}", ran.err);
}

#[test]
fn an_empty_file_is_told_as_such() {
    let bench = Bench::with_short_return();
    bench.run("bench new job --deck grey").done();
    let job = bench.text("job/job.toml");
    for text in ["", " \n\t\n", "\u{feff}# nothing\r\n\r\n# yet\n"] {
        bench.put("empty.toml", text);
        for line in [
            "read return.wav --limits empty.toml",
            "read return.wav --transport empty.toml",
            "read return.wav --recipe empty.toml",
            "read return.wav --unslated --tape empty.toml",
            "rehearse short.toml --deck empty.toml",
            "compare empty.toml empty.toml",
            "house show empty.toml",
            "bench sheet --job empty.toml",
        ] {
            bench.run(line).refused(&["empty.toml", "it is empty"]);
        }
    }
    for words in [["bench", "note", "", "--job", "job"], ["bench", "note", "  ", "--job", "job"]] {
        bench.run_words(&words).refused(&["the note is empty", "give some words"]);
    }
    bench.run_words(&["bench", "note", "", "--complaint", "--job", "job"]).refused(&["the note is empty"]);
    assert_eq!(bench.text("job/job.toml"), job);
    bench.run_words(&["bench", "new", "other", "--deck", " "]).refused(&["--deck", "empty"]);
    assert!(!bench.path("other").exists());
}

#[cfg(target_os = "linux")]
#[test]
fn what_has_no_end_is_read_up_to_its_bound() {
    let bench = Bench::with_short_return();
    bench.put("found.json", FAULTY);
    for line in [
        "read return.wav --limits /dev/zero",
        "read return.wav --transport /dev/zero",
        "read return.wav --recipe /dev/zero",
        "read return.wav --unslated --tape /dev/zero",
        "read return.wav --card /dev/zero --recorded-on house",
        "write /dev/zero --out a.wav",
        "rehearse short.toml --deck /dev/zero",
        "compare found.json /dev/zero",
        "house show /dev/zero",
        "bench sheet --job /dev/zero",
    ] {
        bench.run(line).refused(&["/dev/zero", "MiB"]);
    }
    bench.run("read /dev/zero").refused(&["/dev/zero: is a pipe or a device", "save it as a file"]);
    // Nobody writes into it: whoever opened it would wait for ever.
    assert!(std::process::Command::new("mkfifo").arg(bench.path("pipe.wav")).status().unwrap().success());
    for line in ["read pipe.wav", "read return.wav --recipe short.toml --loopback pipe.wav", "skew pipe.wav"]
    {
        bench.run(line).refused(&["pipe.wav: is a pipe or a device", "save it as a file"]);
    }
}

#[test]
fn limits_that_no_deck_has_are_refused_with_their_line() {
    let bench = Bench::with_short_return();
    for (line, words) in [
        ("speed_percent = nan", "`speed_percent` is NaN, expected a number above 0 and at most 100"),
        ("speed_percent = 1e9", "expected a number above 0 and at most 100"),
        ("hum_db = 50", "expected a number of dB below 0 and at least -200"),
        ("hum_db = -inf", "expected a number of dB below 0 and at least -200"),
        ("playback_response_to_hz = 1e7", "at most 100000"),
    ] {
        bench.put("limits.toml", format!("# mine\n\n{line}\n"));
        bench.run("read return.wav --limits limits.toml").refused(&["limits.toml: line 3: ", words]);
    }
    std::fs::create_dir(bench.path("job")).unwrap();
    let job = "format = \"deckproof-job/1\"\n[deck]\nname = \"grey\"\n";
    for line in ["take_up_torque_max_g_cm = -5", "dc_offset_max_mv = nan", "take_up_torque_min_g_cm = 1e9"] {
        bench.put("job/job.toml", format!("{job}[hand_limits]\n{line}\n"));
        bench.run("bench sheet --job job").refused(&["job.toml: line 5: ", "expected a number from"]);
    }
}
