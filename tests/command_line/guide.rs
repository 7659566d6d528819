//! `guide`.

use super::bench::Bench;

/// Names in the list of pages.
fn names(list: &str) -> Vec<&str> {
    list.lines().filter_map(|line| line.strip_prefix("  ")?.split(' ').next()).collect()
}

#[test]
fn lists_every_page_on_a_line_of_its_own() {
    let ran = Bench::new().run("guide").done();
    assert_eq!(ran.err, "");
    insta::assert_snapshot!("guide", ran.out);
    assert!(names(&ran.out).len() > 20);
}

#[test]
fn every_page_is_plain_text_of_at_most_100_columns() {
    let bench = Bench::new();
    for name in names(&bench.run("guide").done().out) {
        let page = bench.run(&format!("guide {name}")).done().out;
        for line in page.lines() {
            let of_table = line.starts_with('|') || line.contains("| ---");
            assert!(!of_table && !line.starts_with("```") && !line.contains("**"), "{name}: {line}");
            assert!(line.chars().count() <= 100, "{name}: {line}");
        }
        assert!(!page.contains("\n\n\n") && page.ends_with('\n'), "{name}");
    }
}

#[test]
fn lays_tables_lists_and_blocks_out() {
    let bench = Bench::new();
    insta::assert_snapshot!("guide-report", bench.run("guide report").done().out);
    insta::assert_snapshot!("guide-circumstances", bench.run("guide circumstances").done().out);
}

#[test]
fn finds_a_word_with_the_pages_that_hold_it() {
    let bench = Bench::new();
    let found = bench.run("guide --find AZIMUTH").done().out;
    assert!(found.lines().all(|line| line.chars().count() <= 100), "{found}");
    // What is too long for the room beside the name goes on below it.
    for entry in found.replace("\n  ", " ").lines() {
        assert!(entry.to_lowercase().contains("azimuth"), "{entry}");
    }
    let pages: std::collections::BTreeSet<&str> =
        found.lines().filter_map(|line| line.split(' ').next()).collect();
    assert!(pages.contains("report") && pages.contains("no-calibration-tape"), "{found}");
    // Wherever the lines end, words that follow each other are found.
    let page = bench.run("guide causes").done().out;
    let paragraph: Vec<&str> = page.split("\n\n").last().unwrap().split_whitespace().collect();
    assert!(paragraph.len() > 30, "{page}");
    for words in paragraph.windows(3) {
        let found = bench.run_words(&["guide", "--find", &words.join(" ")]).done().out;
        assert!(found.lines().any(|line| line.starts_with("causes ")), "{words:?}\n{found}");
    }
}

#[test]
fn what_is_not_there_is_refused() {
    let bench = Bench::new();
    bench.run("guide nonesuch").wrong(&["nonesuch", "first-job"]);
    bench.run("guide --find zzyzx").refused(&["zzyzx: no page holds it", "deckproof guide"]);
    bench.run_words(&["guide", "--find", " "]).refused(&["--find: no word"]);
    bench.run("guide report --find level").wrong(&["cannot be used with"]);
}
