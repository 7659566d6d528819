//! What `--force` replaces, and what it never does; and what a write that fails leaves.

use super::bench::{Bench, first_look};
use super::containers::stereo;

const FAULTY: &str = include_str!("../readings/faulty.json");
const CARD: &str = "{\n  \"format\": \"deckproof-card/1\",\n  \"name\": \"mine\"\n}\n";
const READ: &str = "read return.wav --recipe short.toml --recorded-on this-deck";

#[test]
fn only_files_of_our_making_and_of_the_same_kind_are_replaced() {
    let bench = Bench::with_short_return();
    bench.run("bench new job --deck grey").done();
    bench.put("found.json", FAULTY);
    bench.put("left.json", FAULTY.replace("0.1", "0.2"));
    for (name, text) in [
        ("mine.json", "{\"notes\": \"about deckproof-reading/1\"}"),
        ("notes.txt", "Deckproof said: speed"),
        ("mine.html", "<!DOCTYPE html>\n<p>mine"),
        ("job/job.toml", &bench.text("job/job.toml")),
    ] {
        bench.put(name, text);
        for line in [
            format!("{READ} --json {name}"),
            format!("compare found.json left.json --json {name}"),
            format!("bench sheet --job job --out {name}"),
        ] {
            let ran = bench.run(&format!("{line} --force"));
            // The job is read by the last.
            assert!(
                ran.err.contains("not of Deckproof's making") || ran.err.contains("read here"),
                "{}",
                ran.err
            );
            ran.failed(&[name, "another name"]);
            assert_eq!(bench.text(name), text, "{line}");
        }
    }
    // A card holds what no reading does.
    bench.put("card.json", CARD);
    bench.run(&format!("{READ} --json card.json --force")).failed(&["card.json", "of another kind"]);
    assert_eq!(bench.text("card.json"), CARD);
    for line in [
        format!("{READ} --json r.json"),
        "compare found.json left.json --json c.json".into(),
        "compare found.json left.json --out both".into(),
        "bench sheet --job job --out sheet.html".into(),
    ] {
        bench.run(&line).done();
        bench.run(&line).failed(&["exists already"]);
        bench.run(&format!("{line} --force")).done();
    }
    // What somebody made empty holds nothing.
    bench.put("empty.json", "");
    bench.run(&format!("{READ} --json empty.json --force")).done();
}

#[test]
fn tables_are_ours_in_a_folder_of_ours_only() {
    let bench = Bench::with_short_return();
    for name in ["level.csv", "summary.txt", "phase.svg"] {
        std::fs::create_dir_all(bench.path("found")).unwrap();
        bench.put(&format!("found/{name}"), "mine");
        bench.run(&format!("{READ} --out found --force")).refused(&[name, "not of Deckproof's making"]);
        assert_eq!(bench.text(&format!("found/{name}")), "mine");
        std::fs::remove_dir_all(bench.path("found")).unwrap();
    }
    bench.run(&format!("{READ} --out found")).done();
    bench.put("found/notes.txt", "mine");
    bench.run(&format!("{READ} --json found/notes.txt --force")).failed(&["notes.txt", "of another kind"]);
    assert_eq!(bench.text("found/notes.txt"), "mine");
}

#[test]
fn nothing_is_left_of_an_older_reading_and_what_is_not_ours_stays() {
    let bench = Bench::with_short_return();
    bench.put("long.wav", stereo(first_look()));
    bench.run(&format!("{READ} --out fresh")).done();
    bench.run("read long.wav --recorded-on this-deck --out found").done();
    let in_folder = |folder: &str| -> Vec<String> {
        bench.files().iter().filter_map(|name| Some(name.strip_prefix(folder)?.to_owned())).collect()
    };
    assert!(in_folder("found/").contains(&"flutter.svg".to_owned()));
    // The name of a table that the older reading has not.
    for mine in ["notes.md", "bias.csv"] {
        bench.put(&format!("found/{mine}"), "mine");
    }
    bench.run(&format!("{READ} --out found --force")).done();
    let mut want = in_folder("fresh/");
    want.extend(["notes.md", "bias.csv"].map(str::to_owned));
    want.sort();
    assert_eq!(in_folder("found/"), want);
    for mine in ["notes.md", "bias.csv"] {
        assert_eq!(bench.text(&format!("found/{mine}")), "mine");
    }
    // Unasked nothing is taken away.
    bench.run("read long.wav --out found").refused(&["exists already"]);
    assert_eq!(in_folder("found/"), want);
}

#[cfg(unix)]
#[test]
fn links_are_followed_and_rights_stay() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let bench = Bench::with_short_return();
    bench.put("found.json", FAULTY);
    bench.put("left.json", FAULTY.replace("0.1", "0.2"));
    bench.run("bench new job --deck grey").done();
    let mode = |name: &str| bench.path(name).metadata().unwrap().permissions().mode() & 0o777;
    for (k, line) in [
        format!("{READ} --json NAME"),
        "compare found.json left.json --json NAME".into(),
        "bench sheet --job job --out NAME".into(),
        "write short.toml --out NAME.wav".into(),
    ]
    .iter()
    .enumerate()
    {
        let ending = if line.starts_with("write") { ".wav" } else { "" };
        let [place, link, nowhere] = ["place", "link", "nowhere"].map(|name| format!("{name}{k}{ending}"));
        let run = |name: &str| bench.run(&line.replace("NAME.wav", name).replace("NAME", name));
        run(&place).done();
        std::fs::set_permissions(bench.path(&place), PermissionsExt::from_mode(0o640)).unwrap();
        symlink(&place, bench.path(&link)).unwrap();
        symlink("gone", bench.path(&nowhere)).unwrap();
        let forced =
            |name: &str| bench.run(&(line.replace("NAME.wav", name).replace("NAME", name) + " --force"));
        forced(&link).done();
        assert!(bench.path(&link).is_symlink(), "{line}");
        assert_eq!(mode(&place), 0o640, "{line}");
        forced(&nowhere).refused(&[&nowhere, "leads nowhere"]);
        assert!(!bench.path("gone").exists());
        std::fs::set_permissions(bench.path(&place), PermissionsExt::from_mode(0o440)).unwrap();
        forced(&link).refused(&[&link, "write-protected"]);
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_limit_on_the_size_of_files_is_an_error_and_leaves_nothing() {
    let bench = Bench::new();
    let line =
        format!("ulimit -f 200; exec {} write first-look --out a.wav", env!("CARGO_BIN_EXE_deckproof"));
    let ended =
        std::process::Command::new("sh").args(["-c", &line]).current_dir(bench.path(".")).output().unwrap();
    let told = String::from_utf8_lossy(&ended.stderr);
    assert_eq!(ended.status.code(), Some(1), "{told}");
    assert!(
        told.starts_with("deckproof: a.wav: cannot be written") && told.matches('\n').count() == 1,
        "{told}"
    );
    assert!(bench.files().is_empty(), "{:?}", bench.files());
}
