//! `list`.

use super::bench::Bench;
use deckproof::internals::deck::EXAMPLES;
use deckproof::internals::programme::{TapeFile, built_in_names};

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
