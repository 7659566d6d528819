//! `bench sheet`: the page for the owner.

use super::bench::Bench;
use super::job_folder::judged;

const SETTINGS: &str = "[workshop]\nname = \"Lantern Lane bench, invented\"\nlines = [\"at the lantern\"]\n";

/// A job with the faulty sample as found and the healthy one as left.
fn job() -> Bench {
    let bench = Bench::new();
    let new = [
        "bench",
        "new",
        "job",
        "--deck",
        "invented deck 7",
        "--owner",
        "the choir",
        "--reference",
        "ticket 12",
    ];
    bench.run_words(&[&new[..], &["--complaint", "dull on the right"]].concat()).done();
    bench.run_words(&["bench", "note", "head cleaned", "--job", "job"]).done();
    bench.run("bench set take-up-torque 30 g.cm --job job").done();
    bench.run("bench set take-up-torque 48 g.cm --as-left --job job").done();
    for (state, sample) in [
        ("as-found", include_str!("../readings/faulty.json")),
        ("as-left", include_str!("../readings/healthy.json")),
    ] {
        bench.put("reading.json", judged(sample));
        bench.run(&format!("bench attach {state} reading.json --job job")).done();
    }
    bench
}

/// The sheet as printed, cut behind the line to sign on.
fn owners_page(bench: &Bench) -> String {
    let sheet = bench.run("bench sheet --job job").done().out;
    let (page, _) = sheet.split_once("READ BY HAND").unwrap_or_else(|| panic!("{sheet}"));
    page.to_owned()
}

#[test]
fn the_sheet_begins_with_one_page_for_the_owner() {
    let bench = job();
    bench.put_in("settings/deckproof", "settings.toml", SETTINGS);
    let page = owners_page(&bench);
    // At ten characters and six lines an inch an A4 page holds some 64 lines.
    assert!(page.lines().count() <= 62, "{page}");
    assert!(page.lines().all(|line| line.chars().count() <= 100), "{page}");
    for words in [
        "Workshop      Lantern Lane bench, invented; at the lantern",
        "Date          2025-01-01",
        "Owner         the choir",
        "Reference     ticket 12",
        "dull on the right",
        "head cleaned",
        "In order: ",
        "as found",
        "as left",
        "Signed ____",
    ] {
        assert!(page.contains(words), "{words}\n{page}");
    }
    let row = |name: &str| {
        let row = page.lines().find(|line| line.trim_start().starts_with(name));
        row.unwrap_or_else(|| panic!("{name}\n{page}")).to_owned()
    };
    // Trade's figure, both verdicts, the limit.
    let azimuth = row("azimuth");
    assert!(azimuth.contains("61 degrees at 10 kHz") && azimuth.contains("outside"), "{azimuth}");
    assert!(azimuth.contains("within") && azimuth.contains("+-20 degrees"), "{azimuth}");
    assert!(row("take-up torque").contains("outside") && row("take-up torque").contains("40 to 60 g.cm"));
    bench.run("bench sheet --job job --out sheet.html").done();
    let html = bench.text("sheet.html");
    let (first, rest) = html.split_once("class=\"page\"").expect("further pages");
    assert_eq!(first.matches("<svg").count(), 1);
    assert!(
        first.contains("class=\"sign\"") && !rest.contains("class=\"sign\"") && !first.contains("Cautions")
    );
}

#[test]
fn the_verdict_goes_by_what_was_read_after_the_work() {
    let bench = job();
    // Played once more, and not a copy.
    let again = judged(include_str!("../readings/faulty.json")).replace("-13.92", "-13.93");
    bench.put("reading.json", again);
    bench.run("bench attach as-left reading.json --job job").done();
    let page = owners_page(&bench);
    assert!(
        page.contains("Not in order. Outside the limits: speed, flutter, weighted quasi-peak, azimuth"),
        "{page}"
    );
    // The job's own workshop goes first; a job without one, and no settings, has none.
    assert!(!page.contains("Workshop"), "{page}");
    bench.put_in("settings/deckproof", "settings.toml", SETTINGS);
    let text = bench.text("job/job.toml");
    let own = "[workshop]\nname = \"bench of another street, invented\"\n";
    bench.put("job/job.toml", text.replace("[workshop]\n", own));
    assert!(owners_page(&bench).contains("Workshop      bench of another street, invented\n"));
    // What was outside before is not in order because something else is.
    let half = Bench::new();
    half.run("bench new job --deck x").done();
    half.put("reading.json", judged(include_str!("../readings/faulty.json")));
    half.run("bench attach as-found reading.json --job job").done();
    half.run("bench set take-up-torque 48 g.cm --as-left --job job").done();
    let page = owners_page(&half);
    let flowing = page.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flowing.contains("Cannot tell. Outside as found, and not read after the work: speed,"), "{page}");
    assert!(!page.contains("In order"), "{page}");
    let other = Bench::new();
    other.run("bench new job --deck x").done();
    assert!(owners_page(&other).contains("The deck was not read after the work."));
}

#[test]
fn settings_that_cannot_be_understood_are_named_with_their_line() {
    let bench = job();
    bench.put_in("settings/deckproof", "settings.toml", "[workshop]\nnmae = \"x\"\n");
    bench.run("bench sheet --job job").refused(&["settings.toml: line ", "nmae", "correct the line"]);
    bench.put_in("settings/deckproof", "settings.toml", [0xff, 0xfe]);
    bench.run("bench sheet --job job").refused(&["settings.toml: no UTF-8 text"]);
}
