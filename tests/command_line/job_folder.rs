//! `bench`: the folder of a job, and `read` inside it.

use super::bench::{Bench, SHORT, short};
use super::containers::stereo;
use deckproof::internals::judge::{Limits, conclude};
use deckproof::internals::trade::Medium;
use deckproof::reading::Facts;
use serde_json::Value;

/// A job that somebody wrote in, with comments of their own.
const BY_HAND: &str = r#"# my own first line
format = "deckproof-job/1"
complaint = "hums"   # on the phone
work = [
    # nothing yet
]

[at_hand]
# I like this section first
tape_types = ["II", "I"]

[deck]
heads = 3   # seen through the door
name = "invented deck 7"

[as_found]
# gauge of the other bench
take_up_torque_g_cm = 30   # twice
"#;

fn with_job(text: &str) -> Bench {
    let bench = Bench::new();
    std::fs::create_dir(bench.path("job")).unwrap();
    bench.put("job/job.toml", text);
    bench
}

/// A sample reading with its findings, as `read` would leave it.
pub fn judged(text: &str) -> String {
    let facts: Facts = serde_json::from_str(text).unwrap();
    let reading = conclude(facts, &Medium::COMPACT_CASSETTE, &Limits::full_size(), None);
    serde_json::to_string(&reading).unwrap()
}

#[test]
fn a_new_job_is_a_file_to_be_edited_and_never_written_over() {
    let bench = Bench::new();
    let words = ["bench", "new", "job", "--deck", "the \"grey\" one", "--heads", "2", "--tape-type", "II"];
    bench.run_words(&words).done();
    assert_eq!(bench.files(), ["job/job.toml"]);
    let text = bench.text("job/job.toml");
    assert!(text.contains("heads = 2\n") && text.contains("tape_types = [\"II\"]"), "{text}");
    assert!(!text.contains("# heads ="), "{text}");
    let sheet = bench.run("bench sheet --job job").done();
    assert!(sheet.out.contains("the \"grey\" one") && sheet.out.contains("can kill"), "{}", sheet.out);
    bench.run_words(&words).refused(&["job/job.toml: this file exists already"]);
    assert_eq!(bench.text("job/job.toml"), text);
    bench.run("bench sheet").refused(&["no job here", "bench new", "--job"]);
}

#[test]
fn comments_and_order_survive_every_change() {
    let bench = with_job(BY_HAND);
    bench.put("found.json", judged(include_str!("../readings/faulty.json")));
    bench.run_words(&["bench", "note", "belt renewed", "--job", "job"]).done();
    bench.run_words(&["bench", "note", "--complaint", "and squeaks", "--job", "job"]).done();
    bench.run("bench set back-tension 4 gcm --job job").done();
    bench.run("bench set take-up-torque 5 mN.m --as-left --job job").done();
    bench.run("bench set dc-offset-left -3.5 --job job").done();
    bench.run_words(&["bench", "done", "safety", "read", "--job", "job"]).done();
    bench.run("bench attach as-found found.json --job job").done();
    let text = bench.text("job/job.toml");
    let mut rest = text.as_str();
    // Every line that was there, in its order; the lines of values that were added to are the exceptions.
    for line in BY_HAND.lines().filter(|line| !line.starts_with("complaint")) {
        let (_, behind) = rest.split_once(line).unwrap_or_else(|| panic!("{line:?} is lost in\n{text}"));
        rest = behind;
    }
    for line in [
        "# on the phone",
        "and squeaks",
        "    \"2025-01-01: belt renewed\",",
        "back_tension_g_cm = 4\n",
        "take_up_torque_mn_m = 5\n",
        "dc_offset_left_mv = -3.5\n",
        "safety = \"read\"",
        "file = \"readings/as-found-full-1.json\"",
    ] {
        assert!(text.contains(line), "{line:?} is missing in\n{text}");
    }
    assert_eq!(bench.files(), ["found.json", "job/job.toml", "job/readings/as-found-full-1.json"]);
    // The copy is the reading, byte for byte, and is not attached twice.
    assert_eq!(bench.text("job/readings/as-found-full-1.json"), bench.text("found.json"));
    bench.run("bench attach as-left found.json --job job").refused(&["found.json: attached already"]);
    assert_eq!(bench.text("job/job.toml"), text);
}

#[test]
fn a_value_is_replaced_only_by_force_and_stays_as_a_comment() {
    let bench = with_job(BY_HAND);
    bench
        .run("bench set take-up-torque 48 g.cm --job job")
        .refused(&["job.toml: take_up_torque_g_cm = 30 stands there already", "--force"]);
    assert_eq!(bench.text("job/job.toml"), BY_HAND);
    let ran = bench.run("bench set take-up-torque 4.7 mN.m --force --job job").done();
    // 4.7 mN.m / 0.0980665 = 47.9 g.cm.
    assert!(
        ran.out.contains("4.7 +- 0.5 mN.m (47.9 g.cm): within; gauge: usual for such a gauge, from memory"),
        "{}",
        ran.out
    );
    let text = bench.text("job/job.toml");
    let want = "# gauge of the other bench\n# before: take_up_torque_g_cm = 30\ntake_up_torque_mn_m = 4.7   # twice\n";
    assert!(text.contains(want), "{text}");
}

#[test]
fn malformed_files_are_refused_with_line_and_remedy() {
    for (text, words) in [
        ("format = \"deckproof-job/1\"\n[deck\nname = \"x\"\n", ["job.toml: line 2: ", "correct the line"]),
        (
            "format = \"deckproof-job/1\"\n[deck]\nname = \"x\"\ncolour = 1\n",
            ["line 4: ", "unknown field `colour`"],
        ),
        ("format = \"deckproof-job/1\"\n[deck]\nname = \"x\"\nheads = 4\n", ["line 4: ", "expected 2 or 3"]),
        (
            "format = \"deckproof-job/9\"\n[deck]\nname = \"x\"\n",
            ["line 1: ", "expected \"deckproof-job/1\""],
        ),
        (
            "format = \"deckproof-job/1\"\n[deck]\nname = \"x\"\n[as_found]\ntake_up_torque = 4\n",
            ["line 5: ", "unknown key `take_up_torque`, known are take_up_torque_g_cm"],
        ),
        (
            "format = \"deckproof-job/1\"\n[deck]\nname = \"x\"\n[as_left]\n\nback_tension_g_cm = nan\n",
            ["line 6: ", "expected a number from 0 to 5000 g.cm"],
        ),
        (
            "format = \"deckproof-job/1\"\n[deck]\nname = \"x\"\n[as_left]\nback_tension_g_cm = 4\nback_tension_mn_m = 4\n",
            ["line 6: ", "in another unit already"],
        ),
        (
            "format = \"deckproof-job/1\"\n[deck]\nname = \"x\"\n[hand_limits]\nfast_forward_and_rewind_torque_min_g_cm = 90\nfast_forward_and_rewind_torque_max_g_cm = 80\n",
            ["line 5: ", "above the most"],
        ),
        (
            "format = \"deckproof-job/1\"\n[deck]\nname = \"x\"\n[limits]\nspeed_percent = -1\n",
            ["`speed_percent` is -1", "above 0"],
        ),
        (
            "format = \"deckproof-job/1\"\n[deck]\nname = \"x\"\n[limits]\nspede = 1\n",
            ["line 5", "unknown field `spede`"],
        ),
        (
            "format = \"deckproof-job/1\"\n[deck]\nname = \"x\"\n[limits]\nfile = \"gone.toml\"\n",
            ["gone.toml", "cannot be read"],
        ),
    ] {
        let bench = with_job(text);
        for line in
            ["bench sheet --job job", "bench note x --job job", "bench set back-tension 4 g.cm --job job"]
        {
            bench.run(line).refused(&words);
        }
        assert_eq!(bench.text("job/job.toml"), text, "left alone");
        assert_eq!(bench.files(), ["job/job.toml"]);
    }
    let bench = with_job(BY_HAND);
    for (line, words) in [
        ("bench set back-tension 4 --job job", ["in which unit", "g.cm or mN.m"]),
        ("bench set back-tension 4,5 g.cm --job job", ["4,5: ", "with a point for decimals"]),
        ("bench set back-tension inf g.cm --job job", ["inf: ", "from 0 to 5000"]),
        ("bench set back-tension 4 mV --job job", ["mV: no unit of supply back tension", "g.cm or mN.m"]),
        ("bench set wow 4 g.cm --job job", ["wow: unknown", "take-up-torque"]),
        ("bench done singing --job job", ["singing: no such step", "azimuth"]),
        ("bench next singing --job job", ["singing: no step", "azimuth"]),
        ("bench attach as-found job/job.toml --job job", ["job.toml: no reading", "reading"]),
    ] {
        bench.run(line).refused(&words);
        assert_eq!(bench.text("job/job.toml"), BY_HAND, "{line}");
    }
}

#[test]
fn two_at_once_lose_nothing() {
    let bench = with_job(BY_HAND);
    std::thread::scope(|scope| {
        for k in 0..6 {
            let bench = &bench;
            scope.spawn(move || {
                let words = format!("line-{k}");
                loop {
                    let ran = bench.run_words(&["bench", "note", &words, "--job", "job"]);
                    if ran.status == 0 {
                        break;
                    }
                    ran.refused(&["changed by somebody else meanwhile", "do it again"]);
                }
            });
        }
    });
    let text = bench.text("job/job.toml");
    for k in 0..6 {
        assert_eq!(text.matches(&format!("line-{k}")).count(), 1, "{text}");
    }
    assert_eq!(bench.files(), ["job/job.toml"]);
}

#[test]
fn read_takes_from_the_job_what_is_not_typed() {
    let job = "format = \"deckproof-job/1\"\n[deck]\nname = \"invented deck 7\"\nnumber = \"12\"\nheads = 3\n[limits]\n\
               source = \"invented manual\"\nspeed_percent = 0.7\n[read]\nrecorded_on = \"this-deck\"\ntape_type = \"II\"\n";
    let bench = with_job(job);
    bench.put("short.toml", SHORT);
    bench.put("return.wav", stereo(short()));
    let line = "read return.wav --recipe short.toml --json -";
    let ran = bench.run(&format!("{line} --job job")).done();
    assert!(
        ran.err.contains(
            "job.toml: deck invented deck 7, 12, recorded on this-deck, 3 heads, tape type II, limits"
        ),
        "{}",
        ran.err
    );
    let reading = ran.json();
    let told = &reading["circumstances"];
    assert_eq!(
        (&told["recorded_on"], &told["heads"], &told["tape_type"]),
        (&"this-deck".into(), &3.into(), &"II".into())
    );
    let made = &reading["made"];
    assert_eq!((&made["deck"], &made["job"]), (&"invented deck 7, 12".into(), &"job/job.toml".into()));
    let limit = |reading: &Value| {
        let findings = reading["findings"].as_array().unwrap();
        findings.iter().find(|finding| finding["id"] == "speed").unwrap()["limit"]
            .as_str()
            .unwrap_or("")
            .to_owned()
    };
    assert!(
        limit(&reading).contains("0.7") && limit(&reading).contains("invented manual"),
        "{}",
        limit(&reading)
    );
    // The command line goes first.
    let words = "--job job --recorded-on calibrated --heads 2 --tape-type I --limits portable --deck mine";
    let reading = bench.run(&format!("{line} {words}")).done().json();
    let told = &reading["circumstances"];
    assert_eq!(
        (&told["recorded_on"], &told["heads"], &told["tape_type"]),
        (&"calibrated".into(), &2.into(), &"I".into())
    );
    assert_eq!(reading["made"]["deck"], "mine");
    // And what contradicts the job is said.
    let said = bench.run(&format!("{line} {words}")).done().err;
    for words in [
        "The command line differs from the job: deck mine (the job says invented deck 7, 12)",
        "recorded on calibrated (the job says this-deck)",
        "2 heads (the job says 3 heads)",
        "tape type I (the job says II)",
        "limits (the job has ",
    ] {
        assert!(said.contains(words), "{words}\n{said}");
    }
    let said = bench.run(&format!("{line} --job job --tape-type II")).done().err;
    assert!(!said.contains("not as the job has it"), "{said}");
    assert!(limit(&reading).contains("portable"), "{}", limit(&reading));
    // Inside the folder, and below it, nothing needs to be typed.
    for folder in ["job", "job/below"] {
        std::fs::create_dir_all(bench.path(folder)).unwrap();
        let run = |more: &[&str]| {
            let [file, recipe] = ["return.wav", "short.toml"].map(|name| bench.path(name));
            let mut command = bench.command();
            command.current_dir(bench.path(folder)).arg("read").arg(file).arg("--recipe").arg(recipe);
            command.args(["--json", "-"]).args(more).output().unwrap()
        };
        let reading: Value = serde_json::from_slice(&run(&[]).stdout).unwrap();
        assert_eq!(reading["made"]["job"], "job/job.toml", "{folder}");
        let without: Value = serde_json::from_slice(&run(&["--no-job"]).stdout).unwrap();
        assert_eq!(
            (&without["made"]["job"], &without["circumstances"]["heads"]),
            (&Value::Null, &Value::Null)
        );
    }
    // No job, and a file of the same name that is some other program's.
    bench.put("job.toml", "[job]\nanything = 1\n");
    let reading = bench.run(line).done();
    assert_eq!((reading.err.as_str(), &reading.json()["made"]["job"]), ("", &Value::Null));
}

#[test]
fn read_attaches_what_it_read() {
    let bench = Bench::with_short_return();
    let line = "read return.wav --recipe short.toml --recorded-on calibrated";
    bench.run(&format!("{line} --attach as-left")).refused(&["--attach: no job here", "--job DIR"]);
    bench.run("bench new job --deck mine").done();
    let ran = bench.run(&format!("{line} --job job --attach as-left")).done();
    assert!(
        ran.err.ends_with("job/job.toml: attached as left: readings/as-left-short-1.json\n"),
        "{}",
        ran.err
    );
    assert!(bench.text("job/readings/as-left-short-1.json").contains("deckproof-reading/1"));
    // What is in the folder already is attached where it is.
    let ran = bench.run(&format!("{line} --heads 3 --job job --out job/readings/a --attach as-found")).done();
    assert!(ran.err.ends_with("attached as found: readings/a/reading.json\n"), "{}", ran.err);
    let sheet = bench.run("bench sheet --job job").done().out;
    for words in ["readings/a/reading.json", "readings/as-left-short-1.json"] {
        assert!(sheet.contains(words), "{words}\n{sheet}");
    }
    // The reading alone on standard output.
    bench.run(&format!("{line} --heads 2 --job job --attach as-left --json -")).done().json();
}

#[test]
fn the_sheet_has_both_states_and_next_says_what_to_turn() {
    let bench = with_job(&BY_HAND.replace("[at_hand]", "[at_hand]\ncalibrated_tape = true"));
    bench.put("found.json", judged(include_str!("../readings/faulty.json")));
    bench.put("left.json", judged(include_str!("../readings/healthy.json")));
    let next = bench.run("bench next --job job").done();
    assert!(
        next.out.contains("NEXT: Read the cautions (safety)") && next.out.contains("can kill"),
        "{}",
        next.out
    );
    bench.run("bench done safety --job job").done();
    let next = bench.run("bench next torques --job job").done();
    assert!(
        next.out.contains("TURN  torques") && next.out.contains("30 +- 3 g.cm (2.94 mN.m)"),
        "{}",
        next.out
    );
    bench.run("bench attach as-found found.json --job job").done();
    let next = bench.run("bench next azimuth --job job").done();
    assert!(next.out.contains("TURN  azimuth"), "{}", next.out);
    assert!(
        next.out.contains("azimuth screw") && next.out.contains("--recorded-on calibrated"),
        "{}",
        next.out
    );
    bench.run("bench attach as-left left.json --job job").done();
    let next = bench.run("bench next azimuth --job job").done();
    let done = |line: &str| line.split_whitespace().take(2).eq(["done", "azimuth"]);
    assert!(next.out.lines().any(done), "{}", next.out);
    let sheet = bench.run("bench show --job job --out sheet.html").done();
    for words in [
        "AS FOUND AND AS LEFT: FULL, CALIBRATED TAPE",
        "as left     ",
        "What really changed, most important first",
        "changed",
        "Signed",
        "hums",
        "30 +- 3 g.cm (2.94 mN.m): outside",
    ] {
        assert!(sheet.out.contains(words), "{words}\n{}", sheet.out);
    }
    assert!(sheet.out.lines().all(|line| line.chars().count() <= 100), "{}", sheet.out);
    let page = bench.text("sheet.html");
    for words in [
        "As found and as left: full, calibrated tape",
        "class=\"badge outside\"",
        "Signed",
        "can kill",
        "hums",
    ] {
        assert!(page.contains(words), "{words}");
    }
    bench.run("bench sheet --job job --out sheet.html").refused(&["sheet.html: this file exists already"]);
    // A reading that is gone is said, and stops nothing.
    std::fs::remove_file(bench.path("job/readings/as-left-full-1.json")).unwrap();
    let sheet = bench.run("bench sheet --job job").done();
    assert!(sheet.out.contains("as-left-full-1.json"), "{}", sheet.out);
}
