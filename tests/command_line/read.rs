//! `read`.

use super::bench::{Bench, Frames, SHORT, first_look, short, warnings};
use super::containers::{Header, Sample, aiff, flac, stereo, wav};

/// A bench with the short recipe and its return.
fn with_short_return() -> Bench {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    bench.put("return.wav", stereo(short()));
    bench
}

const SHORT_AS_JSON: &str = "read return.wav --recipe short.toml --recorded-on loopback --json -";

#[test]
fn prints_one_screen_or_all_and_nothing_else() {
    let bench = with_short_return();
    let line = "read return.wav --recipe short.toml --recorded-on loopback";
    let ran = bench.run(line).done();
    assert_eq!(ran.err, "");
    for words in ["Reading of  return.wav", "FINDINGS", "loopback capture", "--long", "--out FOLDER"] {
        assert!(ran.out.contains(words), "{words}\n{}", ran.out);
    }
    assert!(ran.out.lines().count() < 45, "{}", ran.out);
    let long = bench.run(&format!("{line} --long")).done();
    for words in ["Reading of     return.wav", "FINDINGS", "loopback capture", "CAUTIONS", "can kill"] {
        assert!(long.out.contains(words), "{words}\n{}", long.out);
    }
    assert_eq!(bench.files(), ["return.wav", "short.toml"]);
}

#[test]
fn knows_a_built_in_recipe_by_its_slates() {
    let bench = Bench::new();
    bench.put("return.wav", stereo(first_look()));
    let reading = bench.run("read return.wav --recorded-on loopback --json -").done().json();
    assert_eq!(reading["recipe"]["name"], "first-look");
    assert!(warnings(&reading).is_empty(), "{reading}");
    assert_eq!(reading["findings"].as_array().unwrap().len(), 32);
    // A wrong recipe is set right, and said.
    let reading = bench.run("read return.wav --recipe flutter --json -").done().json();
    assert_eq!(
        (reading["recipe"]["name"].as_str(), warnings(&reading)),
        (Some("first-look"), vec!["wrong-recipe"])
    );
}

#[test]
fn a_recipe_that_is_not_built_in_must_be_given() {
    let bench = with_short_return();
    bench.run("read return.wav").refused(&["return.wav", "which no built-in recipe has", "--recipe"]);
    bench.run("read return.wav --recipe flutter").refused(&[
        "return.wav",
        "the recipe flutter has",
        "--recipe",
    ]);
    bench.run("read return.wav --recipe nonesuch").refused(&["nonesuch: no such recipe"]);
    let reading = bench.run(SHORT_AS_JSON).done().json();
    assert_eq!(reading["recipe"]["name"], "short");
}

#[test]
fn json_goes_to_standard_output_alone_or_to_a_file_beside_the_summary() {
    let bench = with_short_return();
    let printed = bench.run(SHORT_AS_JSON).done();
    assert_eq!((printed.json()["format"].as_str(), printed.err.as_str()), (Some("deckproof-reading/1"), ""));
    let line = "read return.wav --recipe short.toml --recorded-on loopback --json reading.json";
    let ran = bench.run(line).done();
    assert!(ran.out.starts_with("Reading of"), "{}", ran.out);
    assert_eq!(bench.text("reading.json"), printed.out);
    bench.run(line).refused(&["reading.json", "exists already and was left alone"]);
    bench.run(&format!("{line} --force")).done();
}

#[test]
fn the_folder_holds_report_reading_tables_and_figures() {
    let bench = with_short_return();
    let line = "read return.wav --recipe short.toml --recorded-on this-deck --heads 3 --long --out found";
    let ran = bench.run(line).done();
    assert_eq!(ran.err, "Report: found/report.html (with 10 more files)\n");
    assert_eq!(
        bench.files(),
        [
            "found/channel-difference.svg",
            "found/figures.csv",
            "found/findings.csv",
            "found/level.csv",
            "found/phase.csv",
            "found/phase.svg",
            "found/reading.json",
            "found/report.html",
            "found/response.csv",
            "found/response.svg",
            "found/summary.txt",
            "return.wav",
            "short.toml"
        ]
    );
    assert_eq!(bench.text("found/summary.txt"), ran.out);
    assert!(bench.text("found/report.html").contains("can kill"));
    bench.run(line).refused(&["found/reading.json", "exists already and was left alone"]);
    bench.run(&format!("{line} --force")).done();
    bench
        .run("read return.wav --recipe short.toml --out return.wav")
        .failed(&["return.wav: cannot be written"]);
}

/// A pipe gives its text once: whoever opens it again waits for ever.
#[cfg(unix)]
#[test]
fn limits_may_come_by_a_pipe() {
    let bench = with_short_return();
    let pipe = bench.path("limits");
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let writer = std::thread::spawn(move || std::fs::write(pipe, "speed_percent = 0.7\n"));
    bench.run("read return.wav --recipe short.toml --limits limits --json found.json").done();
    bench.run("read return.wav --recipe short.toml --json found.json --force").done();
    writer.join().unwrap().unwrap();
}

#[test]
fn no_input_is_ever_written_over() {
    let bench = with_short_return();
    std::fs::write(bench.path("limits.toml"), "speed_percent = 0.7\n").unwrap();
    std::fs::copy(bench.path("return.wav"), bench.path("wire.wav")).unwrap();
    std::fs::hard_link(bench.path("return.wav"), bench.path("hard.json")).unwrap();
    let mut names = vec!["return.wav", "./return.wav", "hard.json", "limits.toml", "short.toml", "wire.wav"];
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("limits.toml", bench.path("soft.json")).unwrap();
        names.push("soft.json");
    }
    let before: Vec<Vec<u8>> = names.iter().map(|name| std::fs::read(bench.path(name)).unwrap()).collect();
    for (name, before) in names.into_iter().zip(before) {
        for force in ["", " --force"] {
            let line = format!(
                "read return.wav --recipe short.toml --limits limits.toml --loopback wire.wav --json {name}{force}"
            );
            bench.run(&line).refused(&["which is read here", "another name"]);
        }
        assert_eq!(std::fs::read(bench.path(name)).unwrap(), before, "{name}");
    }
    std::fs::hard_link(bench.path("short.toml"), bench.path("programme.wav")).unwrap();
    bench.run("write short.toml --out programme.wav --force").refused(&["which is read here"]);
}

#[test]
fn outputs_that_cannot_be_written_are_refused_before_the_work() {
    let bench = with_short_return();
    let ran = bench
        .run("read return.wav --recipe short.toml --json nowhere/reading.json")
        .failed(&["nowhere/reading.json: cannot be written", "check that the folder exists"]);
    assert!(ran.out.is_empty() && !ran.err.contains(".part"), "{}", ran.err);
    bench
        .run("read return.wav --recipe short.toml --out short.toml/found")
        .refused(&["short.toml is no folder"]);
    std::fs::create_dir(bench.path("found")).unwrap();
    for name in ["level.csv", "phase.csv", "flutter.svg", "summary.txt"] {
        bench.put(&format!("found/{name}"), "mine");
        bench
            .run("read return.wav --recipe short.toml --out found")
            .refused(&[&format!("found/{name}: this file exists already")]);
        assert_eq!(bench.files(), [format!("found/{name}"), "return.wav".into(), "short.toml".into()]);
        std::fs::remove_file(bench.path("found").join(name)).unwrap();
    }
    for name in ["found/reading.json", "./found/../found/reading.json"] {
        bench
            .run(&format!("read return.wav --recipe short.toml --out found --json {name}"))
            .refused(&["--out writes a file of this name"]);
    }
    assert_eq!(bench.files(), ["return.wav", "short.toml"]);
}

#[test]
fn a_slate_of_an_unknown_recipe_is_answered_in_both_forms() {
    let bench = with_short_return();
    let ran = bench.run("read return.wav --json -").failed(&["wrong-recipe", "--recipe"]);
    let reading = ran.json();
    assert_eq!(warnings(&reading), ["wrong-recipe"]);
    let code = reading["recipe"]["code"].as_str().unwrap();
    assert!(code.len() == 4 && ran.err.contains(code), "{code}\n{}", ran.err);
    assert_eq!(reading["capture"]["rate_hz"], 48_000.0);
    assert_eq!(reading["capture"]["slates_found"], 2);
    assert_eq!(reading["level"].as_array().unwrap().len(), 0);
    bench.run("read return.wav --json reading.json").refused(&["wrong-recipe"]);
    assert!(bench.text("reading.json").contains(code));
}

#[test]
fn date_version_and_deck_stand_at_the_head() {
    let bench = with_short_return();
    let words = [
        "read",
        "return.wav",
        "--recipe",
        "short.toml",
        "--deck",
        "Lantern 3 <no. 7>",
        "--long",
        "--out",
        "found",
    ];
    let ran = bench.run_words(&words).done();
    let version = env!("CARGO_PKG_VERSION");
    for line in [
        "Deck           Lantern 3 <no. 7>\n".to_owned(),
        format!("Read           2025-01-01 00:00 UTC, Deckproof {version}\n"),
    ] {
        assert!(ran.out.contains(&line), "{line}\n{}", ran.out);
    }
    let report = bench.text("found/report.html");
    assert!(report.contains("<dd>Lantern 3 &lt;no. 7&gt;</dd>"), "{report}");
    assert!(report.contains(&format!("<dd>2025-01-01 00:00 UTC, Deckproof {version}</dd>")), "{report}");
    let reading: serde_json::Value = serde_json::from_str(&bench.text("found/reading.json")).unwrap();
    assert_eq!(reading["made"]["deck"], "Lantern 3 <no. 7>");
}

#[test]
fn parts_that_were_cut_off_are_named_with_the_reason() {
    let bench = with_short_return();
    // Cut within the last tone: the second slate is gone, and one tone with it.
    let end = (9.5 * 48_000.0) as usize;
    bench.put("cut.wav", stereo(&short()[..end]));
    let reading = bench.run("read cut.wav --recipe short.toml --json -").done().json();
    let text = warning_text(&reading, "unmeasured");
    assert!(text.contains("response-10000 is cut off by the end of the recording"), "{text}");
    assert!(!text.contains("response-1000 ") && !text.contains("response-1000,"), "{text}");
    // One dead channel loses no part: the other one gives it.
    let dead: Frames = short().iter().map(|frame| [frame[0], 0.0]).collect();
    bench.put("dead.wav", stereo(&dead));
    let reading = bench.run("read dead.wav --recipe short.toml --json -").done().json();
    assert!(!warnings(&reading).contains(&"unmeasured"), "{:?}", warnings(&reading));
}

fn warning_text<'a>(reading: &'a serde_json::Value, id: &str) -> &'a str {
    let warnings = reading["warnings"].as_array().unwrap();
    let found = warnings.iter().find(|warning| warning["id"] == id);
    found.unwrap_or_else(|| panic!("{id} is not among {warnings:?}"))["text"].as_str().unwrap()
}

#[test]
fn a_response_without_its_reference_tone_says_why_it_is_not_stated() {
    let bench = Bench::new();
    let recipe = SHORT.replace("hz = [400, 1000, 3150, 10000]", "hz = [1000, 3150, 10000]");
    bench.put("short.toml", &recipe);
    bench.run("write short.toml --out return.wav").done();
    let reading = bench.run("read return.wav --recipe short.toml --json -").done().json();
    assert!(reading["response"].is_null(), "{}", reading["response"]);
    assert!(warning_text(&reading, "unmeasured").contains("reference frequency, 400 Hz"));
}

#[test]
fn every_kind_of_sample_and_header_gives_the_same_reading() {
    let bench = with_short_return();
    let stereo = || short().iter().map(|frame| frame.to_vec());
    let mut files = Vec::new();
    for header in [Header::Plain, Header::Extensible] {
        for sample in [Sample::Int16, Sample::Int24, Sample::Int32, Sample::Float32, Sample::Float64] {
            files.push((format!("{header:?} {sample:?}.wav"), wav(header, sample, 48_000, stereo())));
        }
    }
    files.push(("a.aiff".into(), aiff(short())));
    files.push(("a.flac".into(), flac(short())));
    for (name, bytes) in files {
        bench.put(&name, bytes);
        let ran = bench.run_words(&[
            "read",
            &name,
            "--recipe",
            "short.toml",
            "--recorded-on",
            "loopback",
            "--json",
            "-",
        ]);
        let reading = ran.done().json();
        assert!(warnings(&reading).is_empty(), "{name}: {reading}");
        assert_eq!(reading["capture"]["duration_s"], short().len() as f64 / 48_000.0, "{name}");
        let depth = reading["capture"]["depth"].as_str().unwrap();
        let want = ["Int24", "Int32", "Float"].iter().find(|kind| name.contains(**kind));
        let want = want.map_or("16", |kind| kind.trim_start_matches("Int"));
        assert_eq!(depth, want.to_lowercase(), "{name}");
        for side in 0..2 {
            // 16 bit without dither: half a step at -12 dBFS is 0.0006 dB.
            let db = reading["level"][0]["gain_db"][side].as_f64().unwrap();
            deckproof::assert_within!(db, 0.0, 0.001, "dB", "{name}");
            let db = reading["response"]["steps"][3]["db"][side].as_f64().unwrap();
            deckproof::assert_within!(db, 0.0, 0.005, "dB", "{name} at 10 kHz");
        }
    }
}

#[test]
fn what_is_no_recording_is_named() {
    let bench = Bench::new();
    let cases: [(&str, &[u8], &str); 10] = [
        ("empty.wav", b"", "holds no samples"),
        ("words.wav", b"Dear customer,\nyour deck is ready.\n", "is a text file"),
        ("music.wav", b"ID3\x04\x00\x00\x00\x00\x00\x00TIT2", "is an MP3 file (lossy"),
        ("stream.wav", b"\xFF\xFB\x90\x64\x00\x00\x00\x00\x00\x00", "is an MP3 file (lossy"),
        ("song.wav", b"OggS\x00\x02\x00\x00\x00\x00\x00\x00", "is an Ogg file"),
        ("film.wav", b"RIFF\x24\x00\x00\x00AVI LIST", "is a RIFF file without WAVE audio"),
        ("large.wav", b"RF64\xFF\xFF\xFF\xFFWAVEds64", "is a 64-bit WAV"),
        ("raw.wav", b"\x00\x01\x80\x02\x00\x03\x80\x04\x00\x05\x80\x06\x00\x07", "of an unknown kind"),
        ("head.wav", b"RIFF\x24\x00\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00", "cut off"),
        ("list.wav", b"RIFF\x24\x00\x00\x00WAVELIST\xFF\xFF\x00\x00", "longer than the file"),
    ];
    for (name, bytes, words) in cases {
        bench.put(name, bytes);
        bench.run(&format!("read {name}")).refused(&[name, words]);
        bench.run(&format!("read {name} --json -")).refused(&[name, words]);
    }
    bench.run("read .").refused(&["is a folder"]);
    let ran = bench.run("read missing.wav").failed(&["missing.wav: cannot be read", "check the path"]);
    assert_eq!(ran.err.matches("No such file").count(), 1, "the reason is said once: {}", ran.err);
}

#[test]
fn a_header_without_samples_is_an_empty_recording() {
    let bench = Bench::new();
    for (name, header) in [("plain.wav", Header::Plain), ("extensible.wav", Header::Extensible)] {
        let whole = wav(header, Sample::Int16, 48_000, std::iter::empty());
        bench.put(name, &whole);
        bench.run(&format!("read {name}")).refused(&[name, "holds no samples", "record the return again"]);
        // Cut off anywhere in its header it is damaged or empty, never something else.
        for length in 1..whole.len() {
            bench.put(name, &whole[..length]);
            let ran = bench.run(&format!("read {name}")).failed(&[name]);
            assert!(!ran.err.contains("unknown coding"), "{length} bytes: {}", ran.err);
        }
    }
}

#[test]
fn a_cut_off_recording_is_read_as_far_as_it_goes() {
    let bench = with_short_return();
    let whole = std::fs::read(bench.path("return.wav")).unwrap();
    bench.put("return.wav", &whole[..whole.len() * 3 / 5]);
    let reading = bench.run(SHORT_AS_JSON).done().json();
    assert_eq!(warnings(&reading), ["cut-end", "unmeasured"]);
    assert_eq!(reading["capture"]["slates_found"], 1);
    deckproof::assert_within!(reading["level"][0]["gain_db"][0].as_f64().unwrap(), 0.0, 0.001, "dB");
    // The recorder did not come to write the lengths.
    for unknown in [[0; 4], [0xFF; 4]] {
        let mut open_ended = whole.clone();
        open_ended[40..44].copy_from_slice(&unknown);
        bench.put("return.wav", &open_ended);
        let reading = bench.run(SHORT_AS_JSON).done().json();
        assert_eq!(reading["capture"]["slates_found"], 2);
    }
}

#[test]
fn a_cut_start_is_named() {
    let bench = with_short_return();
    bench.put("return.wav", stereo(&short()[100_000..]));
    let reading = bench.run(SHORT_AS_JSON).done().json();
    assert_eq!(warnings(&reading), ["cut-start"]);
}

#[test]
fn one_channel_is_read_and_named() {
    let bench = with_short_return();
    let left = wav(Header::Plain, Sample::Int24, 48_000, short().iter().map(|frame| vec![frame[0]]));
    bench.put("return.wav", left);
    let reading = bench.run(SHORT_AS_JSON).done().json();
    assert_eq!(warnings(&reading), ["mono"]);
    let level = &reading["level"][0]["return_dbfs"];
    deckproof::assert_within!(level[0].as_f64().unwrap(), -12.0, 0.001, "dB");
    assert!(level[1].is_null() && reading["azimuth"].is_null(), "{reading}");
}

#[test]
fn swapped_and_inverted_leads_are_undone_and_named() {
    let bench = with_short_return();
    let crossed: Vec<[f64; 2]> = short().iter().map(|&[left, right]| [0.5 * right, -left]).collect();
    bench.put("return.wav", stereo(&crossed));
    let reading = bench.run(SHORT_AS_JSON).done().json();
    assert_eq!(warnings(&reading), ["swapped", "inverted"]);
    let gain = &reading["level"][0]["gain_db"];
    deckproof::assert_within!(gain[0].as_f64().unwrap(), 0.0, 0.01, "dB");
    deckproof::assert_within!(gain[1].as_f64().unwrap(), -6.021, 0.01, "dB");
}

#[test]
fn of_more_than_two_channels_two_must_be_chosen() {
    let bench = with_short_return();
    for header in [Header::Plain, Header::Extensible] {
        let three = short().iter().map(|&[left, right]| vec![0.0, left, right]);
        bench.put("return.wav", wav(header, Sample::Int16, 48_000, three));
        bench.run(SHORT_AS_JSON).refused(&["has 3 channels", "--channels 1,2"]);
        let reading = bench.run(&format!("{SHORT_AS_JSON} --channels 2,3")).done().json();
        assert!(warnings(&reading).is_empty(), "{header:?}: {reading}");
        bench
            .run(&format!("{SHORT_AS_JSON} --channels 2,4"))
            .refused(&["3 channels", "channel 4 was asked for"]);
    }
    for choice in ["0,1", "1", "1,2,3", "left,right", "1,-2"] {
        bench.run(&format!("{SHORT_AS_JSON} --channels {choice}")).wrong(&["--channels"]);
    }
}

#[test]
fn silence_is_no_return_and_says_so_in_both_forms() {
    let bench = Bench::new();
    bench.put("return.wav", stereo(&vec![[0.0; 2]; 240_000]));
    bench.run("read return.wav").refused(&["return.wav: no-slate", "is silent", "check cables"]);
    let ran = bench.run("read return.wav --json -").failed(&["no-slate"]);
    let reading = ran.json();
    assert_eq!(warnings(&reading), ["no-slate"]);
    assert_eq!(reading["capture"]["slates_found"], 0);
    bench.run("read return.wav --json reading.json").refused(&["no-slate"]);
    assert!(bench.text("reading.json").contains("no-slate"));
}

#[test]
fn music_and_a_scrap_of_a_recording_are_told_from_silence() {
    let bench = Bench::new();
    let tone: Vec<[f64; 2]> = (0..240_000).map(|n| [0.2 * (f64::from(n) * 0.05).sin(); 2]).collect();
    bench.put("return.wav", stereo(&tone));
    bench.run("read return.wav").refused(&["no-slate", "not a Deckproof programme"]);
    bench.put("return.wav", stereo(&tone[..48_000]));
    bench.run("read return.wav").refused(&["no-slate", "only 1.0 s long"]);
    let faint: Vec<[f64; 2]> = tone.iter().map(|frame| frame.map(|x| 0.01 * x)).collect();
    bench.put("return.wav", stereo(&faint));
    bench.run("read return.wav").refused(&["no-slate", "very quiet"]);
}

#[test]
fn a_wrong_rate_in_the_header_is_named_and_undone() {
    let bench = with_short_return();
    for rate_hz in [44_100, 96_000] {
        bench.put(
            "return.wav",
            wav(Header::Plain, Sample::Int16, rate_hz, short().iter().map(|f| f.to_vec())),
        );
        let reading = bench.run(SHORT_AS_JSON).done().json();
        assert_eq!(warnings(&reading), ["rate-mismatch"], "{rate_hz}");
        deckproof::assert_within!(reading["speed"]["error_percent"].as_f64().unwrap(), 0.0, 0.001, "%");
        deckproof::assert_within!(reading["level"][0]["gain_db"][0].as_f64().unwrap(), 0.0, 0.001, "dB");
    }
    bench.put("return.wav", wav(Header::Plain, Sample::Int16, 8_000, short().iter().map(|f| f.to_vec())));
    for line in [SHORT_AS_JSON, "read return.wav --unslated"] {
        bench.run(line).refused(&[
            "return.wav: sample rate 8000 Hz is outside 11000 to 384000 Hz",
            "record again at 44100",
            "or resample the file to 11025 Hz, which shows little but the speed",
        ]);
    }
}

#[test]
fn strict_is_status_3_only_when_something_is_outside() {
    let bench = with_short_return();
    let line = "read return.wav --recipe short.toml --recorded-on loopback --strict";
    assert_eq!(bench.run(line).done().err, "");
    bench.put(
        "manual.toml",
        "source = \"invented manual, page 3\"\nplayback_level_db = 0.4\nplayback_level_target_dbfs = -6.0\n",
    );
    let ran = bench.run(&format!("{line} --long --limits manual.toml"));
    assert_eq!((ran.status, ran.err.as_str()), (3, "Outside limits: playback-level\n"));
    assert!(ran.out.contains("invented manual, page 3"), "{}", ran.out);
    // Without --strict a deck that is off is a job that is done.
    bench.run("read return.wav --recipe short.toml --recorded-on loopback --limits manual.toml").done();
}

#[test]
fn limits_are_refused_with_file_and_remedy() {
    let bench = with_short_return();
    for (text, words) in [
        ("speed = 1\n", "unknown field `speed`"),
        ("speed_percent = -1\n", "`speed_percent` is -1, expected a number above 0"),
        ("deck = \"fine\"\n", "expected \"full-size\" or \"portable\""),
        ("speed_percent = \n", "manual.toml"),
    ] {
        bench.put("manual.toml", text);
        bench.run("read return.wav --limits manual.toml").refused(&["manual.toml: ", words]);
    }
    bench.run("read return.wav --limits nonesuch.toml").refused(&["nonesuch.toml: cannot be read", "limits"]);
    bench.run("read return.wav --recipe short.toml --limits portable").done();
}

#[test]
fn a_file_name_cannot_command_the_terminal() {
    let bench = Bench::new();
    let ran = bench.run_words(&["read", "a\u{1b}[31m\nb.wav"]).failed(&["cannot be read"]);
    assert!(!ran.err.contains('\u{1b}'), "{:?}", ran.err);
}

#[test]
fn what_is_no_programme_is_called_by_what_it_is() {
    let bench = Bench::new();
    let seconds = |count: usize, value: &dyn Fn(usize) -> f64| -> Vec<Vec<f64>> {
        (0..count * 48_000).map(|n| vec![value(n); 2]).collect()
    };
    let file = |sample, frames: Vec<Vec<f64>>| wav(Header::Plain, sample, 48_000, frames.into_iter());
    // Some of its periods resemble the chirps of a slate.
    for hz in [50.0, 100.0] {
        let tone = |n: usize| 0.25 * (std::f64::consts::TAU * hz * n as f64 / 48_000.0).sin();
        bench.put("tone.wav", file(Sample::Int16, seconds(20, &tone)));
        let ran =
            bench.run("read tone.wav").failed(&["tone.wav: no-slate: this is not a Deckproof programme"]);
        assert!(!ran.err.contains("indices"), "{}", ran.err);
    }
    for value in [1e308, f64::NAN] {
        bench.put("broken.wav", file(Sample::Float64, seconds(8, &|_| value)));
        for line in ["read broken.wav", "read broken.wav --unslated"] {
            let ran = bench.run(line).failed(&[
                "broken.wav",
                "768000 of its samples are no numbers",
                "save it anew",
            ]);
            assert!(!ran.err.contains("silent"), "{}", ran.err);
        }
    }
    let mut rf64 = file(Sample::Int16, seconds(1, &|_| 0.5));
    rf64[..4].copy_from_slice(b"RF64");
    bench.put("long.wav", rf64);
    let ran = bench.run("read long.wav").failed(&["64-bit WAV (RF64)", "save the return as WAV"]);
    assert!(!ran.err.contains("4 GiB"), "{}", ran.err);
}

#[test]
fn a_tape_that_was_not_told_is_heard() {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    // 1 % fast, which no two clocks are.
    let frames = short().iter().map(|frame| frame.to_vec());
    bench.put("fast.wav", wav(Header::Plain, Sample::Int24, 48_480, frames));
    bench.put("true.wav", stereo(short()));
    for (told, heard) in [("loopback", true), ("injected", true), ("this-deck", false)] {
        let line = format!("read fast.wav --recipe short.toml --recorded-on {told} --json -");
        let reading = bench.run(&line).done().json();
        assert_eq!(warnings(&reading).contains(&"tape-heard"), heard, "{told}");
        if heard {
            let text = warning_text(&reading, "tape-heard");
            assert!(text.contains("a speed error of") && text.contains("whose recording it is"), "{text}");
        }
    }
    let reading =
        bench.run("read true.wav --recipe short.toml --recorded-on loopback --json -").done().json();
    assert!(warnings(&reading).is_empty(), "{reading}");
}

#[test]
fn a_wrong_command_line_is_status_2() {
    let bench = Bench::new();
    bench.run("read").wrong(&["<RETURN>"]);
    bench.run("read a.wav --recorded-on mars").wrong(&["calibrated, house, other-deck, this-deck"]);
    bench.run("read a.wav --heads 4").wrong(&["2, 3"]);
    bench.run("read a.wav --tape-type V").wrong(&["I, II, III, IV"]);
    bench.run("read a.wav --reference-dbfs 1").wrong(&["-60 to 0 dBFS"]);
}
