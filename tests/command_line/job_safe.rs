//! A job's file: nothing in it is ever lost, however it was written and whatever is in the way.

use super::bench::Bench;
use deckproof::internals::judge::judge_skew;
use deckproof::reading::{SKEW_FORMAT, SkewConsensus, SkewContent, SkewReading, SkewTape, SkewVerdict};

const JOB: &str = "# mine\nformat = \"deckproof-job/1\"\n[deck]\nname = \"invented deck 9\"\nheads = 2\n\n[as_found]\n\
                   back_tension_g_cm = 4 # soft\n";

fn with_job(text: impl AsRef<[u8]>) -> Bench {
    let bench = Bench::new();
    std::fs::create_dir(bench.path("job")).unwrap();
    bench.put("job/job.toml", text);
    bench
}

/// What music says, with this delay.
fn music(delay_us: f64) -> String {
    let tape = |name: &str| SkewTape {
        file: format!("music/{name}.wav"),
        rate_hz: 48_000.0,
        duration_s: 60.0,
        delay_us: Some(delay_us),
        uncertainty_us: Some(9.0),
        angle_arcmin: Some(0.182 * delay_us),
        verdict: SkewVerdict::Usable,
        angle_uncertainty_arcmin: Some(1.6),
        common_uncertainty_us: Some(0.4),
        content: SkewContent::Mono,
        agreeing_percent: None,
        opposed: false,
        wander_us_rms: None,
        along: Vec::new(),
        outlier: false,
        why: String::new(),
        warnings: Vec::new(),
    };
    let mut reading = SkewReading {
        format: SKEW_FORMAT.into(),
        made: None,
        tapes: vec![tape("a"), tape("b"), tape("c")],
        consensus: SkewConsensus {
            delay_us: Some(delay_us),
            uncertainty_us: Some(9.0),
            angle_arcmin: Some(0.182 * delay_us),
            angle_uncertainty_arcmin: Some(1.6),
            loss_at_10k_db: Some(-0.5),
            tapes: 3,
            spread_us: Some(3.0),
            recorders_us: 8.0,
            says: String::new(),
            turn: None,
        },
    };
    judge_skew(&mut reading);
    deckproof::internals::show::skew_to_json(&reading)
}

#[test]
fn line_ends_and_mark_of_another_system_stay() {
    let written = format!("\u{feff}{}", JOB.replace('\n', "\r\n"));
    let bench = with_job(&written);
    bench.run_words(&["bench", "note", "belt renewed", "--job", "job"]).done();
    bench.run("bench set take-up-torque 45 g.cm --within 3 --job job").done();
    bench.put("music.json", music(20.0));
    bench.run("bench attach as-found music.json --job job").done();
    bench.run("bench done offset --job job").done();
    let text = bench.text("job/job.toml");
    assert!(text.starts_with("\u{feff}# mine\r\nformat"), "{text:?}");
    assert_eq!(text.matches('\n').count(), text.matches("\r\n").count(), "{text:?}");
    assert!(text.contains("back_tension_g_cm = 4 # soft\r\n") && text.contains("belt renewed"), "{text:?}");
    bench.run("bench sheet --job job").done();
    // Two bytes a character: refused, and left alone.
    let wide: Vec<u8> = "\u{feff}format".encode_utf16().flat_map(u16::to_le_bytes).collect();
    bench.put("job/job.toml", &wide);
    bench.run("bench note x --job job").refused(&["job.toml: no UTF-8 text", "save it as UTF-8"]);
    assert_eq!(std::fs::read(bench.path("job/job.toml")).unwrap(), wide);
}

#[test]
fn a_gauge_that_is_noted_goes_with_its_value() {
    let bench = with_job(JOB);
    let ran = bench.run("bench set take-up-torque 37 g.cm --within 2 --job job").done();
    assert!(ran.out.contains("37 +- 2 g.cm (3.63 mN.m): outside; gauge: as noted"), "{}", ran.out);
    let text = bench.text("job/job.toml");
    assert!(text.contains("take_up_torque_g_cm = 37\ntake_up_torque_within_g_cm = 2\n"), "{text}");
    // The same again is nothing new; another uncertainty is.
    bench.run("bench set take-up-torque 37 g.cm --within 2 --job job").done();
    assert_eq!(bench.text("job/job.toml"), text);
    bench.run("bench set take-up-torque 37 g.cm --within 4 --job job").refused(&["stands there already"]);
    let ran = bench.run("bench set take-up-torque 3.6 mN.m --force --job job").done();
    assert!(ran.out.contains("3.6 +- 0.4 mN.m (36.7 g.cm): marginal"), "{}", ran.out);
    let text = bench.text("job/job.toml");
    let want =
        "# before: take_up_torque_g_cm = 37, take_up_torque_within_g_cm = 2\ntake_up_torque_mn_m = 3.6\n";
    assert!(text.contains(want) && text.matches("within").count() == 1, "{text}");
    for (line, words) in [
        ("bench set back-tension 5 g.cm --within 0 --force --job job", ["0: ", "above 0"]),
        ("bench set back-tension 5 g.cm --within wide --force --job job", ["wide: ", "above 0"]),
        ("bench set tape-path straight --within 3 --job job", ["3: ", "leave --within away"]),
    ] {
        bench.run(line).refused(&words);
        assert_eq!(bench.text("job/job.toml"), text, "{line}");
    }
    for (key, words) in [
        ("take_up_torque_within_g_cm = 3", ["line 9: ", "the value that it belongs to is not here"]),
        ("back_tension_within_mn_m = 3", ["line 9: ", "its value is in g.cm"]),
        ("back_tension_within_g_cm = -1", ["line 9: ", "above 0"]),
    ] {
        let bench = with_job(format!("{JOB}{key}\n"));
        bench.run("bench sheet --job job").refused(&words);
    }
}

#[test]
fn the_meter_says_which_way_and_what_comes_first() {
    let bench = with_job(JOB);
    let ran = bench.run("bench set meter-left 1.8 dB --job job").done();
    for words in ["1.8 +- 0.5 dB: outside", "goes down by 1.8 dB", "Set playback level first"] {
        let text = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains(words), "{words}\n{}", ran.out);
    }
    let next = bench.run("bench next meter --job job").done().out;
    assert!(next.contains("First: Playback level (playback-level:"), "{next}");
    let ran = bench.run_words(&["bench", "set", "meter-right", "--job", "job", "--", "-2", "dB"]).done();
    assert!(ran.out.contains("goes up by 2 dB"), "{}", ran.out);
}

#[test]
fn music_is_attached_and_closes_azimuth() {
    let bench = with_job(JOB);
    bench.put("before.json", music(30.0));
    bench.put("after.json", music(-1.0));
    let line = "bench next azimuth --job job";
    let open = bench.run(line).done().out;
    assert!(open.contains("open  azimuth") && open.contains("--json music-1.json"), "{open}");
    bench.run("bench attach as-found before.json --job job").done();
    let turn = bench.run(line).done().out;
    assert!(turn.contains("TURN  azimuth") && turn.contains("attach as-left music-1.json"), "{turn}");
    bench.run("bench attach as-left after.json --job job").done();
    let done = bench.run(line).done().out;
    assert!(done.contains("done  azimuth"), "{done}");
    let files = bench.files();
    assert!(files.iter().any(|file| file == "job/readings/as-left-azimuth-by-music-1.json"), "{files:?}");
    let sheet = bench.run("bench sheet --job job --out sheet.html").done().out;
    let page = bench.text("sheet.html");
    // Both known to 0.4 us on each of three tapes: sqrt(3 (0.4^2 + 0.4^2)) / 3 = 0.33 us.
    for words in ["AZIMUTH BY ORDINARY MUSIC", "+30 +- 9 us", "-31.0 +- 0.4 us: changed, by the same 3 tapes"]
    {
        assert!(sheet.contains(words), "{words}\n{sheet}");
    }
    assert!(page.contains("Azimuth by ordinary music") && page.contains("by the same 3 tapes"), "{page}");
    // It is no reading of a return.
    bench.run("compare before.json after.json").refused(&["before.json: no reading", "deckproof-skew/1"]);
}

#[test]
fn what_was_said_of_a_step_stays() {
    let bench = with_job(JOB);
    bench.run_words(&["bench", "done", "offset", "coupled by capacitors", "--job", "job"]).done();
    bench.run_words(&["bench", "done", "offset", "looked again", "--job", "job"]).done();
    bench
        .run_words(&["bench", "done", "offset", "coupled by capacitors; looked again", "--job", "job"])
        .done();
    let text = bench.text("job/job.toml");
    assert!(text.contains("offset = \"coupled by capacitors; looked again\"\n"), "{text}");
}

#[cfg(unix)]
#[test]
fn a_protected_or_linked_file_is_respected() {
    use std::os::unix::fs::PermissionsExt;
    let bench = with_job(JOB);
    let place = bench.path("job/job.toml");
    let set = |mode| std::fs::set_permissions(&place, std::fs::Permissions::from_mode(mode)).unwrap();
    set(0o444);
    bench.run("bench note x --job job").refused(&[
        "job.toml: cannot be changed",
        "write-protected",
        "nothing was lost",
    ]);
    assert_eq!(bench.text("job/job.toml"), JOB);
    set(0o640);
    bench.run("bench note x --job job").done();
    assert_eq!(place.metadata().unwrap().permissions().mode() & 0o777, 0o640);
    // A link stays one, and what it points at is changed.
    std::fs::create_dir(bench.path("other")).unwrap();
    std::os::unix::fs::symlink("../job/job.toml", bench.path("other/job.toml")).unwrap();
    bench.run("bench note y --job other").done();
    assert!(bench.path("other/job.toml").symlink_metadata().unwrap().is_symlink());
    assert!(bench.text("job/job.toml").contains("y\","), "{}", bench.text("job/job.toml"));
    std::fs::remove_file(&place).unwrap();
    bench.run("bench note z --job other").refused(&["job.toml: cannot be read"]);
    assert_eq!(bench.files(), ["other/job.toml"]);
}

#[cfg(unix)]
#[test]
fn a_folder_that_cannot_be_written_loses_nothing() {
    use std::os::unix::fs::PermissionsExt;
    let bench = with_job(JOB);
    let folder = bench.path("job");
    std::fs::set_permissions(&folder, std::fs::Permissions::from_mode(0o555)).unwrap();
    // Whoever may do everything is not refused: then there is nothing to be seen here.
    if std::fs::write(folder.join("probe"), "").is_ok() {
        std::fs::remove_file(folder.join("probe")).unwrap();
    } else {
        bench.run("bench note x --job job").refused(&["job.toml: cannot be changed", "allow writing"]);
        bench.put("music.json", music(1.0));
        bench.run("bench attach as-found music.json --job job").refused(&["cannot be changed"]);
    }
    assert_eq!(bench.text("job/job.toml"), JOB);
    std::fs::set_permissions(&folder, std::fs::Permissions::from_mode(0o755)).unwrap();
    assert_eq!(bench.files().iter().filter(|file| file.starts_with("job/")).count(), 1);
}
