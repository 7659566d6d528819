//! `write`.

use super::bench::{Bench, SHORT};

#[test]
fn leaves_the_programme_and_its_running_sheet() {
    let bench = Bench::new();
    let ran = bench.run("write first-look --out first-look.wav").done();
    assert_eq!(ran.out, "first-look.wav\nfirst-look.sheet.txt\nfirst-look.sheet.html\n");
    assert!(ran.err.contains("Speakers off"), "{}", ran.err);
    assert_eq!(bench.files(), ["first-look.sheet.html", "first-look.sheet.txt", "first-look.wav"]);
    let wav = hound::WavReader::open(bench.path("first-look.wav")).unwrap();
    let spec = wav.spec();
    assert_eq!((spec.sample_rate, spec.bits_per_sample, spec.channels), (48_000, 24, 2));
    assert_eq!(f64::from(wav.duration()) / 48_000.0, 63.86);
    let sheet = bench.text("first-look.sheet.txt");
    for words in ["CAUTIONS", "can kill", "tweeters", "first-look.wav, 48000 Hz, 24 bit", "level-315"] {
        assert!(sheet.contains(words), "{words}\n{sheet}");
    }
}

#[test]
fn a_programme_for_a_cd_has_its_cue_sheet() {
    let bench = Bench::new();
    let ran = bench.run("write first-look --out cd.wav --rate 44100 --depth 16").done();
    assert_eq!(ran.out, "cd.wav\ncd.sheet.txt\ncd.sheet.html\ncd.cue\n");
    assert_eq!(bench.files(), ["cd.cue", "cd.sheet.html", "cd.sheet.txt", "cd.wav"]);
    assert!(bench.text("cd.cue").contains("FILE \"cd.wav\" WAVE"), "{}", bench.text("cd.cue"));
    let spec = hound::WavReader::open(bench.path("cd.wav")).unwrap().spec();
    assert_eq!((spec.sample_rate, spec.bits_per_sample), (44_100, 16));
}

#[test]
fn every_rate_and_depth_is_written_as_asked() {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    for (rate, depth, bits, format) in [
        (44_100, "24", 24, hound::SampleFormat::Int),
        (48_000, "16", 16, hound::SampleFormat::Int),
        (96_000, "float", 32, hound::SampleFormat::Float),
    ] {
        let name = format!("{rate}-{depth}.wav");
        bench.run(&format!("write short.toml --out {name} --rate {rate} --depth {depth}")).done();
        let spec = hound::WavReader::open(bench.path(&name)).unwrap().spec();
        assert_eq!((spec.sample_rate, spec.bits_per_sample, spec.sample_format), (rate, bits, format));
    }
    assert!(!bench.files().iter().any(|name| name.ends_with(".cue")));
}

#[test]
fn another_reference_level_is_written_and_said() {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    bench.run("write short.toml --out a.wav --reference-dbfs -20 --depth float").done();
    assert!(bench.text("a.sheet.txt").contains("0 dB of the programme is -20 dBFS"));
    let mut wav = hound::WavReader::open(bench.path("a.wav")).unwrap();
    let peak = wav.samples::<f32>().map(Result::unwrap).fold(0f32, |peak, x| peak.max(x.abs()));
    assert!((peak - 0.1).abs() < 1e-4, "{peak}");
}

#[test]
fn refuses_to_overwrite_any_of_its_files_and_leaves_no_other() {
    for taken in ["a.wav", "a.sheet.txt", "a.sheet.html", "a.cue"] {
        let bench = Bench::new();
        bench.put("short.toml", SHORT);
        bench.put(taken, "mine");
        let line = "write short.toml --out a.wav --rate 44100 --depth 16";
        bench.run(line).refused(&[taken, "exists already and was left alone", "force"]);
        assert_eq!(bench.text(taken), "mine");
        assert_eq!(bench.files().len(), 2, "{taken}: {:?}", bench.files());
        bench.run(&format!("{line} --force")).refused(&[taken, "not of Deckproof's making", "another name"]);
        assert_eq!(bench.text(taken), "mine");
        assert_eq!(bench.files().len(), 2, "{taken}: {:?}", bench.files());
        std::fs::remove_file(bench.path(taken)).unwrap();
        bench.run(line).done();
        assert_eq!(bench.files(), ["a.cue", "a.sheet.html", "a.sheet.txt", "a.wav", "short.toml"]);
        bench.run(&format!("{line} --force")).done();
        // The CUE sheet is of a programme that is no more.
        bench.run("write short.toml --out a.wav --force").done();
        assert_eq!(bench.files(), ["a.sheet.html", "a.sheet.txt", "a.wav", "short.toml"]);
    }
}

#[test]
fn a_mistake_in_a_recipe_is_named_by_file_line_key_and_remedy() {
    let bench = Bench::new();
    for (wrong, words) in [
        (
            SHORT.replace("hz = 315", "hz = \"315 Hz\""),
            ["mine.toml, line 10: hz: found the text \"315 Hz\"", "allowed: 5 to 44000 Hz", "without unit"],
        ),
        (
            SHORT.replace("level_db = 0", "lvel_db = 0"),
            ["mine.toml, line 11: lvel_db: found a key that", "allowed: kind, id", "correct its spelling"],
        ),
        (
            SHORT.replace("length_s = 1.5", "length_s = 1.005"),
            ["mine.toml, line 12: length_s: found 1.005 s", "allowed: multiples of 0.01 s", "write 1"],
        ),
        (
            SHORT.replace("kind = \"slate\"", "kind = \"silence\"\nlength_s = 1"),
            ["mine.toml, line 1: part: found no slate", "allowed: 1 to 32 slates", "add a part of kind"],
        ),
        (
            SHORT.replace("id = \"level\"", "id = "),
            ["mine.toml, line 9", "this is not TOML", "mend that line"],
        ),
    ] {
        bench.put("mine.toml", &wrong);
        bench.run("write mine.toml --out a.wav").refused(&words);
    }
    assert_eq!(bench.files(), ["mine.toml"]);
}

#[test]
fn what_is_too_short_to_be_measured_is_refused_with_the_shortest_length() {
    let bench = Bench::new();
    let with = |part: &str| format!("{SHORT}\n{part}");
    let tone = |hz: u32, length: f64, more: &str| {
        with(&format!(
            "[[part]]\nkind = \"tone\"\nid = \"x\"\nhz = {hz}\nlevel_db = 0\nlength_s = {length}\n{more}"
        ))
    };
    let sweep = |length: f64| {
        with(&format!(
            "[[part]]\nkind = \"sweep\"\nid = \"x\"\nfrom_hz = 20\nto_hz = 20000\nlevel_db = -20\nlength_s = {length}"
        ))
    };
    for (text, words) in [
        (
            tone(40, 0.5, ""),
            ["mine.toml, line 29: length_s: found 0.5 s", "1.05 s for a tone of 40 Hz", "longer"],
        ),
        (
            tone(3150, 2.0, "serves = \"flutter\""),
            ["line 29: length_s: found 2 s", "at least 3.26 s", "longer"],
        ),
        (
            SHORT.replace("length_s = 1.2", "length_s = [1.2, 0.3, 1.2, 1.2]"),
            [
                "line 19: length_s: found 0.3 s",
                "at least 0.44 s for a tone of 1000 Hz",
                "serves = \"nothing\"",
            ],
        ),
        (sweep(5.0), ["line 30: length_s: found 5 s", "for a sweep from 20 to 20000 Hz", "longer"]),
    ] {
        bench.put("mine.toml", text);
        bench.run("write mine.toml --out a.wav").refused(&words);
    }
    assert_eq!(bench.files(), ["mine.toml"]);
    // What nobody measures may be as short as it likes, and what is just long enough is read.
    bench.put("mine.toml", tone(40, 0.5, "serves = \"nothing\""));
    bench.run("write mine.toml --out a.wav").done();
    bench.put("mine.toml", tone(40, 1.05, "") + "\n[[part]]\nkind = \"slate\"\n");
    bench.run("write mine.toml --out b.wav").done();
    let reading = bench.run("read b.wav --recipe mine.toml --json -").done().json();
    assert_eq!(super::bench::warnings(&reading), Vec::<&str>::new());
    assert_eq!(reading["level"][1]["part"], "x");
}

#[test]
fn an_unknown_recipe_is_answered_with_those_built_in() {
    let bench = Bench::new();
    bench.run("write nonesuch --out a.wav").refused(&[
        "nonesuch: no such recipe",
        "full, first-look",
        "path",
    ]);
    bench.put("binary.toml", [0xFF, 0xFE, 0x00]);
    bench.run("write binary.toml --out a.wav").refused(&["binary.toml: cannot be read"]);
    std::fs::create_dir(bench.path("folder.toml")).unwrap();
    bench.run("write folder.toml --out a.wav").refused(&["folder.toml: cannot be read"]);
    assert_eq!(bench.files(), ["binary.toml"]);
}

#[test]
fn a_programme_that_would_clip_is_refused_with_a_level_that_works() {
    let bench = Bench::new();
    bench.put("loud.toml", SHORT.replace("level_db = 0", "level_db = 8"));
    bench
        .run("write loud.toml --out a.wav --reference-dbfs -6")
        .refused(&["loud.toml: part level", "-8.01 dBFS or lower"]);
    bench.run("write loud.toml --out a.wav --reference-dbfs -8.01").done();
}

#[test]
fn a_tone_too_high_for_the_rate_is_refused() {
    let bench = Bench::new();
    bench.put("high.toml", SHORT.replace("hz = 315", "hz = 30000"));
    bench
        .run("write high.toml --out a.wav")
        .refused(&["high.toml: part level: 30000 Hz at a sample rate of 48000 Hz"]);
    bench.run("write high.toml --out a.wav --rate 96000").done();
}

#[test]
fn a_place_that_cannot_be_written_is_named_once() {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    for line in ["write short.toml --out nowhere/a.wav", "write short.toml --out short.toml/a.wav"] {
        let ran =
            bench.run(line).failed(&["a.wav: cannot be written: there is no such folder", "check that"]);
        assert!(!ran.err.contains(".part"), "{}", ran.err);
        assert_eq!(ran.err.matches("cannot be written").count(), 1, "{}", ran.err);
    }
    std::fs::create_dir(bench.path("folder.wav")).unwrap();
    bench
        .run("write short.toml --out folder.wav")
        .refused(&["folder.wav: cannot be written: this is a folder"]);
    assert_eq!(bench.files(), ["short.toml"]);
}

#[test]
fn only_a_wav_is_written() {
    let bench = Bench::new();
    for name in ["first-look.flac", "first-look"] {
        bench.run(&format!("write first-look --out {name}")).refused(&[name, "ends in .wav"]);
    }
    assert!(bench.files().is_empty());
}

#[test]
fn names_may_hold_blanks_and_letters_of_any_language() {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    bench.run_words(&["write", "short.toml", "--out", "Prüfung 3.WAV"]).done();
    assert_eq!(bench.files(), ["Prüfung 3.WAV", "Prüfung 3.sheet.html", "Prüfung 3.sheet.txt", "short.toml"]);
}

#[test]
fn a_wrong_command_line_is_status_2() {
    let bench = Bench::new();
    bench.run("write first-look").wrong(&["--out"]);
    bench.run("write --out a.wav").wrong(&["<RECIPE>"]);
    bench.run("write first-look --out a.wav --rate 22050").wrong(&["22050", "44100, 48000, 96000"]);
    bench.run("write first-look --out a.wav --depth 8").wrong(&["16, 24, float"]);
    bench.run("write first-look --out a.wav --reference-dbfs 3").wrong(&["-60 to 0 dBFS"]);
    bench.run("write first-look --out a.wav --reference-dbfs nan").wrong(&["-60 to 0 dBFS"]);
    bench.run("write first-look --out a.wav --loud").wrong(&["--loud"]);
    assert!(bench.files().is_empty());
}
