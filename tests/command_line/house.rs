//! `house`, and `read --card`.

use super::bench::{Bench, Frames, SHORT, short, warnings};
use super::containers::stereo;
use serde_json::Value;

/// The short programme as another tape gives it back: left louder, right weaker, right late by one sample.
fn other_tape() -> Frames {
    let frames = short();
    let right = |k: usize| k.checked_sub(1).map_or(0.0, |k| frames[k][1]);
    (0..frames.len()).map(|k| [1.1 * frames[k][0], 0.95 * right(k)]).collect()
}

/// A bench with a reading of a calibrated tape, one of a house tape on the same deck, and its card.
fn with_card() -> Bench {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    bench.put("c.wav", stereo(short()));
    bench.put("h.wav", stereo(&other_tape()));
    let read =
        |line: &str| bench.run(&format!("read {line} --recipe short.toml --tape-type I --deck bench")).done();
    read("c.wav --recorded-on calibrated --json c.json");
    read("h.wav --recorded-on house --json h.json");
    let ran = bench
        .run("house make --house h.json --calibrated c.json --name tape-3 --fluxivity 250 --out card.json")
        .done();
    assert!(
        ran.out.contains("THE RECORDING ITSELF") && ran.err.contains("card.json"),
        "{}\n{}",
        ran.out,
        ran.err
    );
    bench
}

fn card(bench: &Bench) -> Value {
    serde_json::from_str(&bench.text("card.json")).unwrap()
}

const READ: &str = "read r.wav --recipe short.toml --recorded-on house --deck other";

#[test]
fn a_card_is_made_shown_and_taken_off() {
    let bench = with_card();
    let made = card(&bench);
    assert_eq!((made["format"].as_str(), made["name"].as_str()), (Some("deckproof-card/1"), Some("tape-3")));
    // 20 lg 1.1 and 20 lg 0.95.
    let db = |k: usize| made["level"][0]["db"][k].as_f64().unwrap();
    assert!((db(0) - 0.828).abs() < 0.02 && (db(1) + 0.446).abs() < 0.02, "{made}");
    let nwb = made["level"][0]["fluxivity_nwb_per_m"][0].as_f64().unwrap();
    assert!((nwb - 275.0).abs() < 1.0, "{nwb}");
    assert_eq!(made["made"]["deck"], "bench");
    let shown = bench.run("house show card.json").done().out;
    for words in
        ["House tape       tape-3", "Passes           1, 0 of them since", "PASSES", "Not yet", "nWb/m"]
    {
        assert!(shown.contains(words), "{words}\n{shown}");
    }
    // The house tape on a perfect deck: what is left is nothing, less surely.
    bench.put("r.wav", stereo(&other_tape()));
    let reading = bench.run(&format!("{READ} --card card.json --json -")).done().json();
    let used = &reading["circumstances"]["card"];
    assert_eq!((used["name"].as_str(), used["passes"].as_u64()), (Some("tape-3"), Some(1)), "{used}");
    assert!(reading["level"][0]["difference_db"].as_f64().unwrap().abs() < 0.05, "{}", reading["level"]);
    assert!(
        reading["azimuth"]["delay_us"].as_f64().unwrap().abs() < 0.5,
        "{}",
        reading["azimuth"]["delay_us"]
    );
    let basis = |reading: &Value, id: &str| {
        let findings = reading["findings"].as_array().unwrap();
        findings.iter().find(|finding| finding["id"] == id).unwrap()["basis"].as_str().unwrap().to_owned()
    };
    assert!(basis(&reading, "azimuth").starts_with("absolute: house tape with its card"));
    let plain = bench.run(&format!("{READ} --json -")).done().json();
    assert!(basis(&plain, "azimuth").contains("its card was not given"), "{plain}");
    let late_us = plain["azimuth"]["delay_us"].as_f64().unwrap();
    assert!((late_us - 1e6 / 48_000.0).abs() < 0.5, "{late_us}");
    let text = bench.run(&format!("{READ} --long --card card.json")).done().out;
    assert!(text.contains("Card           tape-3 (card.json), made 2025-01-01"), "{text}");
}

#[test]
fn a_pass_is_counted_only_when_told_and_only_once() {
    let bench = with_card();
    let mut own = card(&bench);
    own["shelf"] = "B 4".into();
    bench.put("card.json", serde_json::to_string(&own).unwrap());
    let before = bench.text("card.json");
    bench.put("r.wav", stereo(short()));
    // Nobody sits at the terminal: nothing is asked, nothing is written.
    let ran = bench.run(&format!("{READ} --card card.json")).done();
    assert!(ran.err.contains("not counted; --count-pass") && !ran.err.contains("[y/N]"), "{}", ran.err);
    assert_eq!(bench.text("card.json"), before);
    let ran = bench.run(&format!("{READ} --card card.json --count-pass")).done();
    assert!(ran.err.contains("pass 2 counted on card.json"), "{}", ran.err);
    let counted = card(&bench);
    assert_eq!(counted["shelf"], "B 4");
    let history = counted["history"].as_array().unwrap();
    assert_eq!((history.len(), history[1]["deck"].as_str()), (2, Some("other")));
    assert_eq!(counted["level"], own["level"]);
    // The same return again, under another name.
    bench.put("again.wav", stereo(short()));
    let after = bench.text("card.json");
    for line in [READ.to_owned(), READ.replace("r.wav", "again.wav")] {
        let ran = bench.run(&format!("{line} --card card.json --count-pass")).done();
        assert!(ran.err.contains("counted already (2025-01-01"), "{}", ran.err);
    }
    // And the one that the card was made from.
    let ran = bench.run(&format!("{} --card card.json --count-pass", READ.replace("r.wav", "h.wav"))).done();
    assert!(ran.err.contains("counted already"), "{}", ran.err);
    assert_eq!(bench.text("card.json"), after);
    assert!(bench.files().iter().all(|name| !name.contains(".part")), "{:?}", bench.files());
}

#[test]
fn a_card_that_is_old_worn_or_contradicted_is_to_be_renewed() {
    let bench = with_card();
    let mut own = card(&bench);
    own["made"]["at"] = "2023-06-01 10:00 UTC".into();
    own["passes_before"] = 60.into();
    bench.put("card.json", serde_json::to_string(&own).unwrap());
    // Another tilt on the deck on which the card was made.
    bench.put("r.wav", stereo(short()));
    let line = READ.replace("other", "bench");
    let reading = bench.run(&format!("{line} --card card.json --json -")).done().json();
    assert!(warnings(&reading).contains(&"card-renew"), "{:?}", warnings(&reading));
    let text = reading["warnings"].to_string();
    for words in ["played 61 times", "580 days old", "On bench the tape read differently", "delay by -2"] {
        assert!(text.contains(words), "{words}\n{text}");
    }
    let shown = bench.run("house show card.json").done().out;
    assert!(shown.contains("! The tape has been played 61 times"), "{shown}");
}

#[test]
fn what_does_not_go_together_is_refused() {
    let bench = with_card();
    bench.put("r.wav", stereo(short()));
    let make = |line: &str| bench.run(&format!("house make --name x {line}"));
    make("--house h.json --calibrated c.json --out card.json").refused(&["card.json", "exists already"]);
    make("--house h.json --calibrated c.json --out h.json --force")
        .refused(&["h.json", "which is read here"]);
    make("--house h.json --calibrated h.json --out x.json").refused(&["h.json", "--recorded-on calibrated"]);
    make("--house c.json --calibrated c.json --out x.json").refused(&["c.json", "--recorded-on house"]);
    make("--house h.json h.json --calibrated c.json --out x.json").refused(&["h.json", "given twice"]);
    make("--house card.json --calibrated c.json --out x.json").refused(&[
        "card.json",
        "deckproof-card/1",
        "a reading",
    ]);
    make("--house nowhere.json --calibrated c.json --out x.json").refused(&["nowhere.json: cannot be read"]);
    make("--house r.wav --calibrated c.json --out x.json").refused(&["r.wav", "a reading in JSON"]);
    make("--house h.json --calibrated c.json --out x.json --fluxivity 0").wrong(&["nWb/m"]);
    make("--calibrated c.json --out x.json").wrong(&["--house"]);
    bench.run(&format!("{READ} --card card.json --json with.json")).done();
    make("--house with.json --calibrated c.json --out x.json")
        .refused(&["with.json", "subtracted from it already"]);
    bench.run("read h.wav --recipe short.toml --recorded-on house --tape-type II --json two.json").done();
    make("--house two.json --calibrated c.json --out x.json").refused(&["two.json", "tape type is II"]);
    bench.run("read h.wav --recipe short.toml --recorded-on house --deck B --json b.json").done();
    make("--house b.json --calibrated c.json --out x.json").refused(&["b.json", "\"B\"", "\"bench\""]);
    assert!(!bench.files().contains(&"x.json".to_owned()));

    let read = |line: &str| bench.run(&format!("read r.wav --recipe short.toml {line}"));
    read("--recorded-on calibrated --card card.json").refused(&["card.json", "--recorded-on house"]);
    read("--card card.json").refused(&["card.json", "--recorded-on house"]);
    read("--recorded-on house --count-pass").wrong(&["--card"]);
    read("--recorded-on house --card h.json").refused(&["h.json", "not \"deckproof-card/1\""]);
    read("--recorded-on house --tape-type II --card card.json").failed(&["card.json", "type I", "type II"]);
    let mut absurd = card(&bench);
    absurd["speed"]["error_percent"] = (-100).into();
    bench.put("absurd.json", absurd.to_string());
    read("--recorded-on house --card absurd.json").refused(&["absurd.json", "speed.error_percent"]);
    bench.put("cut.json", &bench.text("card.json")[..500]);
    read("--recorded-on house --card cut.json").refused(&["cut.json", "no JSON"]);
}

#[test]
fn the_card_has_a_schema() {
    let schema = Bench::new().run("list schema card").done().json();
    assert!(schema["properties"]["history"].is_object(), "{schema}");
}
