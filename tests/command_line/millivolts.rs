//! The deck's output in millivolts and its level mark: told once in the job or a limits file, and what a reading makes of it.

use super::bench::Bench;
use crate::effort;
use serde_json::Value;

/// The level tone of `first-look`, as a tape of 250 nWb/m carries it.
const TAPE: &str = "name = \"invented level tape\"\ncertificate = true\nreference_flux_nwb_m = 250\n\
                    flux_stated = \"short-circuit\"\n\n[[tone]]\nhz = 315\nlevel_db = 0\nuncertainty_db = 0.05\n";
const READ: &str = "--unslated --tape tape.toml --recorded-on calibrated";

/// A job with a rehearsed return, as of a tape without slates.
fn with_return() -> Bench {
    let bench = Bench::new();
    bench
        .run_words(&["bench", "new", "job", "--deck", "invented deck of the mark", "--calibrated-tape"])
        .done();
    bench.put("tape.toml", TAPE);
    bench.run("rehearse first-look --out heard --rate 44100 --depth 16").done();
    std::fs::copy(bench.path("heard/return.wav"), bench.path("job/level-1.wav")).unwrap();
    bench
}

fn finding(reading: &Value, id: &str, channel: &str) -> Value {
    let findings = reading["findings"].as_array().unwrap();
    let found = findings.iter().find(|finding| finding["id"] == id && finding["channel"] == channel);
    found.unwrap_or_else(|| panic!("{id} {channel}")).clone()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

#[test]
fn told_once_in_the_job_playback_level_is_judged_in_millivolts() {
    if effort::left_to_ci() {
        return;
    }
    let bench = with_return();
    let read =
        |file: &str, more: &str| bench.run(&format!("read {file} {READ} --job job --json - {more}")).done();
    // Nothing told: it cannot be told, and the finding says what is missing.
    let before = finding(&read("job/level-1.wav", "").json(), "playback-level", "left");
    assert_eq!((&before["verdict"], &before["value"]), (&"cannot tell".into(), &Value::Null));
    for words in ["level_tone_mv", "output_nominal_mv", "deck_standard_nwb_m"] {
        assert!(before["why"].as_str().unwrap().contains(words), "{words}: {}", before["why"]);
    }
    let next = bench.run("bench next playback-level --job job").done().out;
    for words in [
        "deckproof bench set level-tone-left NUMBER mV --return playback-level-1.wav",
        "sockets at the back",
        "NUMBER is what you read",
        "on mains",
    ] {
        assert!(next.split_whitespace().collect::<Vec<_>>().join(" ").contains(words), "{words}\n{next}");
    }
    bench.run("bench set output-nominal 580 mV --job job").done();
    bench.run("bench set deck-standard 200,short-circuit nWb/m --job job").done();
    let set = bench.run("bench set level-tone 650 mV --return level-1.wav --within 3 --job job").done().out;
    assert!(set.contains("level tone at the output, left") && set.contains("650 +- 3 mV"), "{set}");
    let job = bench.text("job/job.toml");
    for line in [
        "output_nominal_mv = 580\n",
        "deck_standard_nwb_m = 200\n",
        "deck_standard_stated = \"short-circuit\"\n",
        "level_tone_right_mv = 650\n",
        "level_tone_right_within_mv = 3\n",
        "level_tone_right_return = \"level-1.wav\"\n",
    ] {
        assert!(job.contains(line), "{line}\n{job}");
    }
    let ran = read("job/level-1.wav", "");
    assert!(
        ran.err.contains("level tone at the output, left, read while level-1.wav was recorded"),
        "{}",
        ran.err
    );
    let reading = ran.json();
    let row = &reading["output"]["levels"][0];
    // By hand: 20 lg(650/580) = +0.990 dB against the deck's 0; 250 nWb/m ask for 20 lg(250/200) = +1.938 dB. Both channels were
    // read to the same millivolts, so both lack 0.948 dB, however loud they came back.
    for side in 0..2 {
        deckproof::assert_within!(number(&row["mv"][side]), 650.0, 1e-6, "mV");
        deckproof::assert_within!(number(&row["against_zero_db"][side]), 0.990, 0.001, "dB");
        deckproof::assert_within!(number(&row["tape_db"][side]), 1.938, 0.001, "dB");
        deckproof::assert_within!(number(&row["tape_nwb_m"][side]), 250.0, 0.01, "nWb/m");
    }
    let found = finding(&reading, "playback-level", "left");
    assert_eq!(found["verdict"], "outside", "{found}");
    deckproof::assert_within!(number(&found["value"]), -0.948, 0.001, "dB");
    // 3 mV are 20 lg(653/650) = 0.040 dB, the tape adds 0.05 dB, the tone little.
    deckproof::assert_within!(number(&found["uncertainty"]), 0.07, 0.02, "dB");
    assert!(
        found["turn"].as_str().unwrap().starts_with("turn the playback level trimmer left up 0.9"),
        "{found}"
    );
    assert!(found["turn"].as_str().unwrap().ends_with("to 725 mV on the level tone"), "{found}");
    let text = bench.run(&format!("read job/level-1.wav {READ} --job job --long")).done().out;
    for words in ["LEVEL AT THE DECK'S OUTPUT", "580 mV at the deck's mark of 200 nWb/m", "left, mV"] {
        assert!(text.contains(words), "{words}\n{text}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
    // The manual's millivolts and the mark are not typed over unasked, and what was there stays.
    bench
        .run("bench set output-nominal 500 mV --job job")
        .refused(&["output_nominal_mv = 580 stands there already", "--force"]);
    bench.run("bench set output-nominal 500 mV --force --job job").done();
    assert!(
        bench.text("job/job.toml").contains("# before: output_nominal_mv = 580\noutput_nominal_mv = 500\n")
    );
}

#[test]
fn millivolts_of_one_return_hold_for_the_next_once_its_reading_is_attached() {
    if effort::left_to_ci() {
        return;
    }
    let bench = with_return();
    bench.run("bench set output-nominal 580 mV --job job").done();
    bench.run("bench set level-tone 580 mV --return level-1.wav --job job").done();
    bench.run("bench set deck-standard 250,short-circuit --job job").done();
    // The same tape 6 dB weaker, as if somebody had turned the trimmers.
    let mut wav = hound::WavReader::open(bench.path("job/level-1.wav")).unwrap();
    let mut out = hound::WavWriter::create(bench.path("job/level-2.wav"), wav.spec()).unwrap();
    wav.samples::<i32>().for_each(|sample| out.write_sample(sample.unwrap() / 2).unwrap());
    out.finalize().unwrap();
    let read = |more: &str| bench.run(&format!("read job/level-2.wav {READ} --job job {more}")).done();
    let alone = read("--json -");
    assert!(
        alone.err.contains("read while level-1.wav was recorded, and no reading of it is attached"),
        "{}",
        alone.err
    );
    assert_eq!(alone.json()["output"], Value::Null);
    bench.run(&format!("read job/level-1.wav {READ} --job job --json one.json")).done();
    bench.run("bench attach as-found one.json --job job").done();
    let tied = read("--json -").json();
    for side in ["left", "right"] {
        let found = finding(&tied, "playback-level", side);
        // 580 mV stood at the mark; half of it is 20 lg(1/2) = -6.021 dB.
        deckproof::assert_within!(number(&found["value"]), -6.021, 0.01, "dB");
        assert_eq!(found["verdict"], "outside");
    }
    deckproof::assert_within!(number(&tied["output"]["levels"][0]["mv"][0]), 290.0, 0.4, "mV");
}

#[test]
fn a_limits_file_tells_the_same_and_what_is_listed_can_be_filled_in() {
    if effort::left_to_ci() {
        return;
    }
    let bench = with_return();
    let listed = bench.run("list limits").done().out;
    let mut filled = listed.clone();
    for (line, value) in [
        ("# output_nominal_mv =", "output_nominal_mv = 580"),
        ("# deck_standard_nwb_m =", "deck_standard_nwb_m = 200"),
        ("# deck_standard_stated =", "deck_standard_stated = \"short-circuit\""),
        ("# level_tone_mv =", "level_tone_mv = [650, 725]"),
        ("# level_tone_dbfs =", "level_tone_dbfs = -12"),
    ] {
        let there = filled
            .lines()
            .find(|there| there.starts_with(line))
            .unwrap_or_else(|| panic!("{line}\n{listed}"));
        filled = filled.replace(there, value);
    }
    bench.put("manual.toml", &filled);
    let ran =
        bench.run(&format!("read job/level-1.wav {READ} --limits manual.toml --no-job --json -")).done();
    let row = &ran.json()["output"]["levels"][0];
    for (side, mv) in [(0, 650.0), (1, 725.0)] {
        let dbfs = number(&row["return_dbfs"][side]);
        deckproof::assert_within!(
            number(&row["mv"][side]),
            mv * 10f64.powf((dbfs + 12.0) / 20.0),
            1e-6,
            "mV"
        );
    }
    bench.put("manual.toml", "\noutput_nominal_mv = -3\n");
    bench
        .run(&format!("read job/level-1.wav {READ} --limits manual.toml"))
        .refused(&["manual.toml: line 2: `output_nominal_mv` is -3, expected a number from 1 to 20000 mV; correct the number"]);
}

#[test]
fn what_cannot_be_meant_is_refused_and_the_job_stays_as_it_was() {
    let bench = Bench::new();
    bench.run_words(&["bench", "new", "job", "--deck", "invented"]).done();
    let before = bench.text("job/job.toml");
    for (line, words) in [
        ("level-tone 650 mV", "--return NAME.wav"),
        ("level-tone 0 mV --return a.wav", "from 1 to 20000 mV"),
        ("level-tone-left 650 V --return a.wav", "no unit of level tone at the output, left; write mV"),
        ("level-tone-left 650 mV --within 0 --return a.wav", "expected a number above 0"),
        ("take-up-torque 48 g.cm --return a.wav", "leave --return away"),
        ("tape-path straight --return a.wav", "leave --return away"),
        ("output-nominal 580 V", "write mV"),
        ("output-nominal lots", "a number from 1 to 20000 mV"),
        ("output-tolerance 50 mV", "expected output_nominal_mv beside it"),
        ("deck-standard 5 nWb/m", "from 50 to 1000"),
        ("deck-standard 200,din", "short-circuit"),
        ("deck-standard 200 --as-left", "leave --as-left away"),
        ("level-mark 200", "unknown; known are take-up-torque"),
    ] {
        bench.run(&format!("bench set {line} --job job")).refused(&[words]);
    }
    assert_eq!(bench.text("job/job.toml"), before);
    // Both channels or none.
    bench.run("bench set level-tone-right 500 mV --within 0.5 --return a.wav --job job").done();
    let one = bench.text("job/job.toml");
    bench
        .run("bench set level-tone 650 mV --return a.wav --job job")
        .refused(&["level_tone_right_mv = 500 stands there"]);
    assert_eq!(bench.text("job/job.toml"), one);
    // Numbers of a limits file of its own go there.
    bench.put("job/manual.toml", "speed_percent = 1\n");
    bench.put("job/job.toml", before.replace("deck = \"full-size\"", "file = \"manual.toml\" #"));
    bench
        .run("bench set output-nominal 580 mV --job job")
        .refused(&["the job's limits are in manual.toml; write output_nominal_mv there"]);
}
