//! `read --unslated`.

use super::bench::Bench;

/// 48 kHz, 16 bit, both channels alike.
fn wav(samples: &[f64]) -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
    for x in samples.iter().flat_map(|x| [x, x]) {
        writer.write_sample((x * 32_767.0).round() as i16).unwrap();
    }
    writer.finalize().unwrap();
    bytes.into_inner()
}

/// Tones of three seconds and pauses of one, in a little hiss.
fn tones(hz: &[f64]) -> Vec<f64> {
    let mut state = 5u64;
    let mut hiss = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        0.002 * ((state >> 33) as f64 / (1u64 << 31) as f64 - 0.5)
    };
    let mut out: Vec<f64> = (0..48_000).map(|_| hiss()).collect();
    for hz in hz {
        out.extend(
            (0..144_000).map(|n| 0.2 * (std::f64::consts::TAU * hz * f64::from(n) / 48_000.0).sin() + hiss()),
        );
        out.extend((0..48_000).map(|_| hiss()));
    }
    out
}

const LADDER: [f64; 7] = [315.0, 1000.0, 3150.0, 6300.0, 10_000.0, 12_500.0, 125.0];

#[test]
fn a_tape_without_slates_is_read_and_says_what_was_found() {
    let bench = Bench::new();
    bench.put("tape.wav", wav(&tones(&LADDER)));
    let ran = bench.run("read tape.wav --unslated --recorded-on calibrated --long --out found").done();
    for words in
        ["FOUND BY LISTENING", "315 Hz (guess)", "level, response, speed", "none: read without slates"]
    {
        assert!(ran.out.contains(words), "{words}\n{}", ran.out);
    }
    assert!(ran.out.lines().all(|line| line.chars().count() <= 100), "{}", ran.out);
    assert!(bench.text("found/report.html").contains("Found by listening"));
    assert_eq!(
        bench.text("found/found.csv").lines().filter(|line| line.starts_with("tone,")).count(),
        LADDER.len()
    );
    let reading = bench.run("read tape.wav --unslated --json -").done().json();
    assert!(reading["recipe"].is_null());
    let serves = |hz: f64| {
        let found = reading["found"].as_array().unwrap().iter();
        found.clone().find(|row| row["nominal_hz"] == hz).unwrap()["serves"].as_str().unwrap().to_owned()
    };
    assert!(serves(315.0).contains("level") && serves(10_000.0).contains("response"));
    // Plain `read` says what could be done instead.
    bench.run("read tape.wav").refused(&["no-slate", "--unslated"]);
}

#[test]
fn what_holds_no_tones_is_refused_in_one_line_and_as_data() {
    let bench = Bench::new();
    bench.put("hiss.wav", wav(&tones(&[])));
    bench.run("read hiss.wav --unslated").refused(&["hiss.wav: no test tones were found"]);
    let reading = bench.run("read hiss.wav --unslated --json -").failed(&["no test tones"]).json();
    assert_eq!(reading["warnings"][0]["id"], "no-test-tones");
}

#[test]
fn a_known_pitch_gives_the_speed_and_the_tapes_file_its_levels() {
    let bench = Bench::new();
    bench.put("pitch.wav", wav(&tones(&[443.0])));
    // A guess is no basis: what it is off by is open until somebody names the tone.
    let ran = bench.run("read pitch.wav --unslated").done();
    assert!(ran.out.contains("Nobody knows what frequency") && ran.out.contains("--known-hz"), "{}", ran.out);
    assert!(bench.run("read pitch.wav --unslated --json -").done().json()["speed"].is_null());
    let reading =
        bench.run("read pitch.wav --unslated --known-hz 440 --known-within 0.05 --json -").done().json();
    let error = reading["speed"]["error_percent"].as_f64().unwrap();
    deckproof::assert_within!(error, 100.0 * (443.0 / 440.0 - 1.0), 0.002, "%");
    bench.put("tape.wav", wav(&tones(&LADDER)));
    bench.put("values.toml", bench.run("list tape").done().out);
    let ran = bench
        .run("read tape.wav --unslated --tape values.toml --deck-standard 200,short-circuit --recorded-on calibrated --long")
        .done();
    for words in [
        "THE TAPE",
        "250 nWb/m, open-circuit",
        "200 nWb/m, short-circuit",
        "level tone against the deck's standard",
    ] {
        assert!(ran.out.contains(words), "{words}\n{}", ran.out);
    }
}

#[test]
fn wrong_lines_and_files_are_refused() {
    let bench = Bench::new();
    bench.put("tape.wav", wav(&tones(&[315.0])));
    for line in [
        "read tape.wav --tape values.toml",
        "read tape.wav --known-hz 440",
        "read tape.wav --unslated --known-hz 0",
        "read tape.wav --unslated --known-within 0.1",
        "read tape.wav --unslated --known-hz 440 --known-within nan",
        "read tape.wav --unslated --deck-standard 200,iec",
        "read tape.wav --unslated --recipe full",
        "read tape.wav --unslated --loopback tape.wav",
    ] {
        bench.run(line).wrong(&[]);
    }
    bench.run("read tape.wav --unslated --tape none.toml").refused(&["none.toml", "list tape"]);
    bench.put("bad.toml", "name = \"t\"\ncertificate = true\nflux = 3\n");
    bench.run("read tape.wav --unslated --tape bad.toml").refused(&["bad.toml, line 3: flux: found a key"]);
}
