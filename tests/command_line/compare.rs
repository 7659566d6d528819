//! `compare`.

use super::bench::Bench;
use serde_json::Value;

const FAULTY: &str = include_str!("../readings/faulty.json");

/// The sample reading, its speed, and one step of its response moved.
fn moved(percent: f64, db: f64) -> String {
    let mut reading: Value = serde_json::from_str(FAULTY).unwrap();
    let add = |value: &mut Value, by: f64| *value = (value.as_f64().unwrap() + by).into();
    add(&mut reading["speed"]["error_percent"], percent);
    add(&mut reading["response"]["steps"][0]["db"][0], db);
    reading.to_string()
}

fn bench() -> Bench {
    let bench = Bench::new();
    bench.put("found.json", FAULTY);
    bench.put("left.json", moved(-1.5, 0.0));
    bench
}

#[test]
fn says_what_changed_and_leaves_its_files() {
    let bench = bench();
    let ran = bench.run("compare found.json left.json --out both").done();
    assert!(ran.out.contains("found.json; "), "{}", ran.out);
    let change = ran.out.lines().find(|line| line.contains("speed: mean")).unwrap();
    assert!(change.contains("-1.5"), "{change}");
    // Only the speed was moved.
    let data = bench.text("both/comparison.json");
    let data: Value = serde_json::from_str(&data).unwrap();
    let changed: Vec<&Value> =
        data["rows"].as_array().unwrap().iter().filter(|row| row["changed"] == true).collect();
    assert_eq!(changed.len(), 1, "{changed:?}");
    assert_eq!((&changed[0]["quantity"], &changed[0]["what"]), (&"speed".into(), &"mean".into()));
    for file in ["comparison.html", "comparison.csv", "summary.txt"] {
        assert!(bench.text(&format!("both/{file}")).contains("speed"), "{file}");
    }
    // Once more: nothing is overwritten unasked.
    bench
        .run("compare found.json left.json --out both")
        .refused(&["comparison.html: this file exists already"]);
    bench.run("compare found.json left.json --out both --force").done();
}

#[test]
fn three_runs_have_a_spread() {
    let bench = bench();
    bench.put("third.json", moved(1.5, 0.0));
    let ran = bench.run("compare found.json left.json third.json --json -").done();
    let data = ran.json();
    assert_eq!(data["format"], "deckproof-comparison/1");
    let row = |quantity: &str| {
        data["rows"].as_array().unwrap().iter().find(|row| row["quantity"] == quantity).unwrap().clone()
    };
    // 0, -1.5, +1.5: their standard deviation is 1.5.
    assert!((row("speed")["spread"].as_f64().unwrap() - 1.5).abs() < 1e-9, "{}", row("speed"));
    assert_eq!(row("speed")["spread_is_real"], true);
    assert!(row("playback-response")["spread"].as_f64().unwrap() < 1e-12);
    assert_eq!(row("playback-response")["spread_is_real"], false);
}

#[test]
fn other_circumstances_are_named() {
    let bench = bench();
    let mut other: Value = serde_json::from_str(FAULTY).unwrap();
    other["circumstances"]["tape_type"] = "IV".into();
    bench.put("other.json", other.to_string());
    let ran = bench.run("compare found.json other.json").done();
    assert!(ran.out.contains("The tape types differ"), "{}", ran.out);
}

#[test]
fn what_is_no_reading_is_refused() {
    let bench = bench();
    bench.put("broken.json", "{\"format\": ");
    bench.put("foreign.json", "{\"format\": \"else/1\"}");
    bench.put("short.json", "{\"format\": \"deckproof-reading/1\"}");
    bench.run("compare found.json missing.json").refused(&["missing.json", "reading.json"]);
    bench.run("compare found.json broken.json").refused(&["broken.json: no reading: not JSON"]);
    bench.run("compare found.json foreign.json").refused(&["foreign.json: no reading", "else/1"]);
    bench.run("compare found.json short.json").refused(&["short.json: no reading"]);
    bench.run("compare found.json").wrong(&[]);
    bench.run("compare found.json left.json --name once").refused(&["--name was given 1 times"]);
}
