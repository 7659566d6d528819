//! `list`.

use super::bench::Bench;
use deckproof::internals::deck::EXAMPLES;
use deckproof::internals::measure::TransportNumbers;
use deckproof::internals::programme::{TapeFile, built_in_names};
use deckproof::internals::trade::Medium;

#[test]
fn names_every_recipe_deck_and_set_of_limits() {
    let ran = Bench::new().run("list").done();
    assert_eq!(ran.err, "");
    let starts = |name: &str| ran.out.lines().any(|line| line.split_whitespace().next() == Some(name));
    for name in built_in_names().chain(EXAMPLES.iter().map(|deck| deck.0)).chain(["full-size", "portable"]) {
        assert!(starts(name), "{name}\n{}", ran.out);
    }
}

#[test]
fn what_it_prints_can_be_edited_and_used() {
    let bench = Bench::new();
    for name in built_in_names() {
        let ran = bench.run(&format!("list recipe {name}")).done();
        bench.put("mine.toml", &ran.out);
        bench.run("write mine.toml --out mine.wav --rate 44100 --depth 16 --force").done();
    }
    for (name, text) in EXAMPLES {
        assert_eq!(bench.run(&format!("list deck {name}")).done().out, *text);
    }
}

#[test]
fn the_tape_it_prints_is_a_tape() {
    let text = Bench::new().run("list tape").done().out;
    assert!(TapeFile::parse(&text, "tape.toml").unwrap().name.contains("invented"));
}

/// `text` with each line that begins with `# key = ` read as one, but those that hold one of `but`.
fn filled_in(text: &str, but: &[&str]) -> String {
    let is_key = |line: &str| {
        let key = line.split(" = ").next().unwrap_or_default();
        line.contains(" = ") && key.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')
    };
    let filled = |line: &str| match line.strip_prefix("# ") {
        Some(bare) if is_key(bare) && !but.iter().any(|key| bare.starts_with(key)) => format!("{bare}\n"),
        _ => format!("{line}\n"),
    };
    text.lines().map(filled).collect()
}

#[test]
fn the_transport_and_the_job_it_prints_can_be_filled_in_and_used() {
    let bench = Bench::new();
    let transport = bench.run("list transport").done().out;
    std::fs::create_dir(bench.path("job")).unwrap();
    // A pulley or turns a minute, not both.
    bench.put("job/transport.toml", filled_in(&transport, &["name", "hz"]));
    let numbers = TransportNumbers::from_toml(&transport, "transport.toml").unwrap();
    assert_eq!(numbers.rates(&Medium::COMPACT_CASSETTE).len(), 5, "{numbers:?}");
    let job = bench.run("list job").done().out;
    bench.put("job/job.toml", &job);
    bench.run("bench sheet --job job").done();
    let filled = filled_in(&job, &["file"]);
    for key in [
        "output_nominal_mv = 580",
        "deck_standard_stated =",
        "heads = 2",
        "transport =",
        "dc_offset_max_mv =",
    ] {
        assert!(filled.lines().any(|line| line.starts_with(key)), "{key}\n{filled}");
    }
    bench.put("job/job.toml", &filled);
    bench.run("bench next --job job").done();
    // What is wrong in it is named with its line.
    let wrong = filled.replace("output_nominal_mv = 580", "output_nominal_mv = -580");
    let line = 1 + wrong.lines().position(|line| line.starts_with("output_nominal_mv")).unwrap();
    bench.put("job/job.toml", &wrong);
    bench
        .run("bench sheet --job job")
        .refused(&[&format!("job.toml: line {line}: `output_nominal_mv` is -580"), "correct the number"]);
}

#[test]
fn the_schema_is_the_committed_one() {
    let ran = Bench::new().run("list schema").done();
    assert_eq!(ran.out, include_str!("../reading.schema.json"));
    assert_eq!(ran.json()["title"], "Reading");
}

#[test]
fn what_is_not_built_in_is_refused() {
    let bench = Bench::new();
    bench.run("list recipe nonesuch").refused(&["nonesuch: no such recipe", "deckproof list"]);
    bench.run("list deck nonesuch").refused(&["nonesuch: no such deck", "deckproof list"]);
    bench.run("list everything").wrong(&["everything"]);
}
