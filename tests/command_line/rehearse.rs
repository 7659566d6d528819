//! `rehearse`.

use super::bench::{Bench, SHORT};
use crate::effort;

/// What every rehearsal leaves, without tables and figures.
const ALWAYS: [&str; 8] = [
    "deck.toml",
    "programme.sheet.txt",
    "programme.sheet.html",
    "programme.wav",
    "reading.json",
    "report.html",
    "return.wav",
    "summary.txt",
];

#[test]
fn the_whole_job_is_left_in_the_folder_and_never_done_over() {
    if effort::left_to_ci() {
        return;
    }
    let bench = Bench::new();
    let line = "rehearse first-look --deck tilted-head --seed 7 --out worn";
    let ran = bench.run(line).done();
    let mut want: Vec<String> = ALWAYS
        .into_iter()
        .chain(["channel-difference.svg", "flutter.svg", "level.csv", "noise.csv", "phase.csv", "phase.svg"])
        .chain(["response.csv", "response.svg"])
        .chain(["causes.csv", "unexplained.csv"])
        .chain([
            "figures.csv",
            "findings.csv",
            "speed-against-time.csv",
            "flutter-lines.csv",
            "flutter-spectrum.csv",
            "flutter-stretches.csv",
            "mean-speed.csv",
            "noise-bands.csv",
        ])
        .chain(["causes-left.svg", "causes-right.svg", "speed-against-time.svg", "noise.svg"])
        .map(|name| format!("worn/{name}"))
        .collect();
    want.sort();
    assert_eq!(bench.files(), want);
    assert!(ran.out.contains(&format!("{} files in worn", want.len())), "{}", ran.out);
    for words in ["Nothing above is from a real deck", "tilted-head, seed 7", "invented"] {
        assert!(ran.out.contains(words), "{words}\n{}", ran.out);
    }
    assert_eq!(ran.err, "Report to open: worn/report.html\n");
    // Nobody shall take a rehearsal's report for a deck's.
    for name in ["worn/report.html", "worn/reading.json", "worn/summary.txt"] {
        assert!(bench.text(name).contains("rehearsal"), "{name}");
    }
    let report = bench.text("worn/report.html");
    let (head, _) = report.split_once("<h2>").unwrap();
    assert!(head.contains("Nothing here is from a real deck"), "{head}");
    bench.run(line).refused(&["worn/reading.json", "exists already and was left alone"]);
    assert_eq!(bench.text("worn/report.html"), report);

    // The return is a return like any other, and the same seed gives the same one.
    let again =
        bench.run("read worn/return.wav --recorded-on calibrated --heads 2 --tape-type I --json -").done();
    let mut reading: serde_json::Value = serde_json::from_str(&bench.text("worn/reading.json")).unwrap();
    let rehearsed = reading["warnings"].as_array_mut().unwrap().remove(0);
    assert_eq!(rehearsed["id"], "rehearsal");
    assert_eq!(reading["made"]["deck"], "virtual: built-in deck tilted-head, seed 7");
    reading["made"]["deck"] = serde_json::Value::Null;
    assert_eq!(again.json(), reading);
}

#[test]
fn without_a_folder_a_new_one_is_made_each_time() {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    bench.put("wire.toml", "about = \"Workshop: nowhere, invented. A wire.\"\n");
    for folder in ["rehearsal", "rehearsal-2", "rehearsal-3"] {
        let ran = bench.run("rehearse short.toml --deck wire.toml").done();
        assert_eq!(ran.err, format!("Report to open: {folder}/report.html\n"));
        for name in ALWAYS {
            assert!(bench.path(folder).join(name).exists(), "{folder}/{name}");
        }
    }
    let (mark, deck) = bench
        .text("rehearsal/deck.toml")
        .split_once('\n')
        .map(|(a, b)| (a.to_owned(), b.to_owned()))
        .unwrap();
    assert!(mark.starts_with("# ") && mark.contains("Deckproof"), "{mark}");
    assert_eq!(deck, bench.text("wire.toml"));
}

#[test]
fn programme_and_return_have_the_rate_and_level_asked_for() {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    bench.put("wire.toml", "about = \"A wire\"\n");
    bench
        .run("rehearse short.toml --deck wire.toml --rate 44100 --depth 16 --reference-dbfs -20 --out cd")
        .done();
    assert!(bench.path("cd/programme.cue").exists());
    let spec = hound::WavReader::open(bench.path("cd/return.wav")).unwrap().spec();
    assert_eq!((spec.sample_rate, spec.bits_per_sample), (44_100, 24));
    let reading: serde_json::Value = serde_json::from_str(&bench.text("cd/reading.json")).unwrap();
    deckproof::assert_within!(reading["level"][0]["return_dbfs"][0].as_f64().unwrap(), -20.0, 0.01, "dB");
    deckproof::assert_within!(reading["level"][0]["gain_db"][0].as_f64().unwrap(), 0.0, 0.01, "dB");
}

#[test]
fn strict_is_status_3_on_a_deck_that_is_off() {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    bench.put("fast.toml", "about = \"Fast\"\n[speed]\nerror_percent = 2.0\n");
    let ran = bench.run("rehearse short.toml --deck fast.toml --strict --out a");
    assert_eq!(ran.status, 3, "{}", ran.err);
    assert!(ran.err.contains("Outside limits: speed"), "{}", ran.err);
}

#[test]
fn decks_are_refused_with_file_line_key_and_remedy() {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    bench.run("rehearse short.toml --deck nonesuch").refused(&["nonesuch: no such deck", "worn-portable"]);
    for (text, words) in [
        ("about = \"x\"\n[speed]\nerror = 3\n", ["mine.toml", "line 3", "error"]),
        ("about = \"x\"\n[speed]\nerror_percent = 300\n", ["mine.toml", "line 3", "error_percent"]),
        ("about = \"x\"\n[speed\n", ["mine.toml", "line 2", ""]),
    ] {
        bench.put("mine.toml", text);
        bench.run("rehearse short.toml --deck mine.toml").refused(&words);
    }
    bench.run("rehearse nonesuch").refused(&["nonesuch: no such recipe"]);
    assert_eq!(bench.files(), ["mine.toml", "short.toml"]);
}

#[test]
fn any_file_in_the_way_is_found_before_the_work() {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    std::fs::create_dir(bench.path("r")).unwrap();
    for name in [
        "return.wav",
        "deck.toml",
        "programme.sheet.html",
        "programme.sheet.txt",
        "level.csv",
        "phase.svg",
        "summary.txt",
    ] {
        bench.put(&format!("r/{name}"), "mine");
        bench.run("rehearse short.toml --out r").refused(&[&format!("r/{name}: this file exists already")]);
        assert_eq!(bench.files(), [format!("r/{name}"), "short.toml".to_owned()]);
        assert_eq!(bench.text(&format!("r/{name}")), "mine");
        std::fs::remove_file(bench.path("r").join(name)).unwrap();
    }
}

#[test]
fn a_folder_that_cannot_be_made_is_named() {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    bench.run("rehearse short.toml --out short.toml").refused(&["short.toml: cannot be written"]);
    bench
        .run("rehearse short.toml --out short.toml/a/b")
        .refused(&["short.toml/a/b: cannot be written: short.toml is no folder"]);
}

#[test]
fn a_bias_sweep_leaves_its_tables_and_figures() {
    if effort::left_to_ci() {
        return;
    }
    let bench = Bench::new();
    // Two rounds fewer of the built-in recipe would be another programme; its first six are enough here.
    let text = deckproof::internals::programme::built_in_text("bias-sweep").unwrap();
    bench.put(
        "sweep.toml",
        text.replacen("count = 15", "count = 6", 1).replacen("\"bias-sweep\"", "\"six\"", 1),
    );
    let ran = bench
        .run("rehearse sweep.toml --deck stepped-bias --recorded-on this-deck --heads 3 --seed 3 --long --out swept")
        .done();
    for name in ["rounds.csv", "bias.csv", "bias-sweep.csv", "bias-sweep.svg", "bias-sweep-distortion.svg"] {
        assert!(bench.path("swept").join(name).exists(), "{name}");
    }
    assert!(ran.out.contains("BIAS SWEEP") && ran.out.contains("Overbias"), "{}", ran.out);
    for name in
        ["swept/programme.sheet.html", "swept/programme.sheet.txt", "swept/report.html", "swept/summary.txt"]
    {
        let text = bench.text(name).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains("insulated tools only"), "{name}");
    }
}

#[test]
fn a_programme_for_turning_leaves_a_return_to_follow_and_no_reading() {
    let bench = Bench::new();
    let text = deckproof::internals::programme::built_in_text("turn-speed").unwrap();
    bench.put("speed.toml", text.replacen("length_s = 56.2", "length_s = 5", 1));
    let ran = bench.run("rehearse speed.toml --out turned").done();
    let want = ["deck.toml", "programme.sheet.html", "programme.sheet.txt", "programme.wav", "return.wav"];
    assert_eq!(
        bench.files(),
        ["speed.toml"]
            .into_iter()
            .map(str::to_owned)
            .chain(want.map(|name| format!("turned/{name}")))
            .collect::<Vec<_>>()
    );
    for words in ["Nothing of this is from a real deck", "deck turned-azimuth, seed 1", "5 files in turned"] {
        assert!(ran.out.contains(words), "{words}\n{}", ran.out);
    }
    assert_eq!(ran.err, "");
    assert!(bench.text("turned/programme.sheet.txt").contains("TURNING WHILE IT REPEATS"));
    let line = "read turned/return.wav --recipe speed.toml --recorded-on calibrated";
    bench.run(line).refused(&["turned/return.wav: made-to-be-followed: it carries turn-speed"]);
}
