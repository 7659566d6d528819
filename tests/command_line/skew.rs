//! `skew`: what it prints, refuses and leaves behind.

use super::bench::Bench;
use super::containers::{Header, Sample, wav};

/// Frames of noise that both channels carry, the right one `late` samples later, with `own` noise of each.
fn common(seconds: usize, late: usize, own: f64) -> impl Iterator<Item = Vec<f64>> {
    let mut state = 1u64;
    let mut random = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 * 2f64.powi(-52) - 1.0
    };
    let mut past = vec![0.0; late + 1];
    (0..seconds * 48_000).map(move |n| {
        // Louder and softer, as sound is: a second of each.
        let loud = if n / 48_000 % 2 == 0 { 0.2 } else { 0.02 };
        past.rotate_right(1);
        past[0] = loud * random();
        vec![past[0] + own * random(), past[late] + own * random()]
    })
}

fn tape(late: usize) -> Vec<u8> {
    wav(Header::Plain, Sample::Int16, 48_000, common(14, late, 0.001))
}

#[test]
fn three_tapes_of_one_sample_of_delay() {
    let bench = Bench::new();
    bench.put("a.wav", tape(1));
    bench.put("b.wav", wav(Header::Plain, Sample::Int16, 48_000, common(15, 1, 0.001)));
    // At another rate a sample is longer: 22.7 us.
    bench.put("c.wav", wav(Header::Plain, Sample::Float32, 44_100, common(14, 1, 0.001)));
    let said = bench.run("skew a.wav b.wav c.wav --json -").done();
    assert_eq!(said.err, "");
    let json = said.json();
    assert_eq!(json["format"], "deckproof-skew/1");
    let tapes = json["tapes"].as_array().unwrap();
    for (tape, (file, want_us)) in tapes.iter().zip([("a.wav", 20.833), ("b.wav", 20.833), ("c.wav", 22.676)])
    {
        assert_eq!((tape["file"].as_str(), tape["verdict"].as_str()), (Some(file), Some("usable")), "{tape}");
        // One sample; the noise of 14 s is far below.
        deckproof::assert_within!(tape["delay_us"].as_f64().unwrap(), want_us, 0.1, "us", "{file}");
        // tan a = 47.625 mm/s * delay / 0.9 mm, by hand: 20.833 us are 3.790 minutes of arc.
        let angle = tape["angle_arcmin"].as_f64().unwrap();
        deckproof::assert_within!(angle, 3.790 * want_us / 20.833, 0.02, "minutes of arc", "{file}");
        assert_eq!(tape["content"], "mono");
    }
    deckproof::assert_within!(json["consensus"]["delay_us"].as_f64().unwrap(), 21.45, 0.2, "us");
    assert_eq!(json["consensus"]["tapes"], 3);
    let text = bench.run("skew a.wav b.wav c.wav --json skew.json").done().out;
    for words in
        ["usable; mono", "CONSENSUS", "lags", "minutes of arc", "azimuth screw", "An open deck on mains"]
    {
        assert!(text.contains(words), "{words}\n{text}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
    assert_eq!(bench.files(), ["a.wav", "b.wav", "c.wav", "skew.json"]);
    // The first one again, with finer samples.
    bench.put("finer.wav", wav(Header::Plain, Sample::Float32, 48_000, common(14, 1, 0.001)));
    bench.run("skew a.wav b.wav finer.wav").failed(&["finer.wav", "the same recording as a.wav"]);
}

#[test]
fn one_tape_carries_the_spread_of_recorders_and_says_so() {
    let bench = Bench::new();
    bench.put("a.wav", tape(1));
    let said = bench.run("skew a.wav").done().out;
    assert!(said.contains("one tape alone"), "{said}");
    let json = bench.run("skew a.wav --json -").done().json();
    assert!(json["consensus"]["uncertainty_us"].as_f64().unwrap() > 15.0, "{json}");
    assert!(json["tapes"][0]["uncertainty_us"].as_f64().unwrap() < 0.5, "{json}");
    assert_eq!(json["consensus"]["spread_us"], serde_json::Value::Null);
}

#[test]
fn what_cannot_tell_is_null_and_says_why() {
    let bench = Bench::new();
    bench
        .put("mono.wav", wav(Header::Plain, Sample::Int16, 48_000, common(14, 0, 0.001).map(|f| vec![f[0]])));
    let twice = |frame: Vec<f64>| vec![frame[0], frame[0]];
    bench.put("doubled.wav", wav(Header::Plain, Sample::Int16, 48_000, common(14, 0, 0.001).map(twice)));
    bench.put(
        "silent.wav",
        wav(Header::Plain, Sample::Int16, 48_000, common(14, 0, 0.0).map(|_| vec![0.0; 2])),
    );
    bench.put("short.wav", wav(Header::Plain, Sample::Int16, 48_000, common(3, 0, 0.001)));
    let line = "skew mono.wav doubled.wav silent.wav short.wav";
    let json = bench.run(&format!("{line} --json -")).done().json();
    let contents: Vec<&str> =
        json["tapes"].as_array().unwrap().iter().map(|tape| tape["content"].as_str().unwrap()).collect();
    assert_eq!(contents, ["mono file", "one track doubled", "silence", "too short"]);
    for tape in json["tapes"].as_array().unwrap() {
        assert_eq!(tape["verdict"], "cannot tell");
        for key in ["delay_us", "uncertainty_us", "angle_arcmin"] {
            assert!(tape[key].is_null() && json["consensus"][key].is_null(), "{key} of {tape}");
        }
    }
    let text = bench.run(line).done().out;
    assert_eq!(text.matches("verdict  cannot tell").count(), 4, "{text}");
    assert!(text.contains("nothing can be said of this deck's azimuth"), "{text}");
}

#[test]
fn refusals_come_before_the_work_and_leave_no_file() {
    let bench = Bench::new();
    bench.put("a.wav", tape(1));
    bench.put("note.txt", "not audio at all, but long enough to look at");
    bench.put("there.json", "mine");
    bench.run("skew").wrong(&["MUSIC"]);
    bench.run("skew a.wav --channels 3").wrong(&["1,2"]);
    bench.run("skew a.wav gone.wav").refused(&["gone.wav", "cannot be read"]);
    bench.run("skew a.wav note.txt").refused(&["note.txt"]);
    bench.run("skew a.wav ./a.wav").refused(&["./a.wav", "given twice"]);
    bench.run("skew a.wav --json a.wav --force").refused(&["a.wav", "which is read here"]);
    bench.run("skew a.wav --json there.json").refused(&["there.json", "exists already"]);
    bench.run("skew a.wav --channels 1,3").refused(&["a.wav", "channel 3"]);
    assert_eq!(bench.text("there.json"), "mine");
    bench.run("skew a.wav --json there.json --force").refused(&["there.json", "not of Deckproof's making"]);
    assert_eq!(bench.text("there.json"), "mine");
    bench.run("skew a.wav --json ours.json").done();
    bench.run("skew a.wav --json ours.json --force").done();
    assert!(bench.text("ours.json").contains("deckproof-skew/1"));
    assert_eq!(bench.files(), ["a.wav", "note.txt", "ours.json", "there.json"]);
}

#[test]
fn the_schema_is_printed() {
    let schema = Bench::new().run("list schema skew").done().json();
    for key in ["tapes", "consensus"] {
        assert!(schema["properties"][key].is_object(), "{key}");
    }
}
