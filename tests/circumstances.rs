//! Circumstances are enforced everywhere: every cell of the table of meanings, held against the meaning itself, every finding
//! of every sample reading (measured or not), the summary and the report.

use crate::effort;
use deckproof::internals::judge::Reading;
use deckproof::internals::judge::{Limits, Meaning, Quantity, conclude, meaning};
use deckproof::internals::show;
use deckproof::internals::trade::Medium;
use deckproof::reading::{Circumstances, Facts, Finding, Heads, NoiseReduction, RecordedOn, Verdict};
use std::collections::BTreeMap;
use std::sync::Mutex;

const SAMPLES: [&str; 4] = [
    include_str!("readings/healthy.json"),
    include_str!("readings/faulty.json"),
    include_str!("readings/empty.json"),
    include_str!("readings/rounds.json"),
];

/// A card that holds everything.
const CARD: &str = r#"{"file": "card.json", "name": "tape 3 (invented)", "made_at": "2026-01-10 09:00 UTC",
    "calibrated": {"tape": "borrowed (invented)", "file": "c.wav", "at": null, "fluxivity_nwb_per_m": null}, "passes": 4,
    "level": [{"part": "level-0", "db": [0.1, 0.2]}], "response": true, "delay_us": 1.0, "speed_percent": 0.1}"#;

fn told(column: &str) -> Circumstances {
    let (recorded_on, heads) = match column {
        "calibrated" => (Some(RecordedOn::Calibrated), None),
        "house" | "house-without-card" => (Some(RecordedOn::House), None),
        "other-deck" => (Some(RecordedOn::OtherDeck), None),
        "this-deck-3" => (Some(RecordedOn::ThisDeck), Some(Heads::Three)),
        "this-deck-2" => (Some(RecordedOn::ThisDeck), Some(Heads::Two)),
        "this-deck" => (Some(RecordedOn::ThisDeck), None),
        "injected" => (Some(RecordedOn::Injected), None),
        "loopback" => (Some(RecordedOn::Loopback), None),
        "not-told" => (None, Some(Heads::Two)),
        other => panic!("column {other}"),
    };
    let card = (column == "house").then(|| serde_json::from_str(CARD).unwrap());
    Circumstances { recorded_on, heads, card, ..Circumstances::default() }
}

/// Every cell: quantity, ids of its findings, column, kind and words.
fn cells() -> Vec<(Quantity, Vec<&'static str>, &'static str, &'static str, &'static str)> {
    let rows: Vec<Vec<&str>> = include_str!("tables/meanings.tsv")
        .lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| line.split('\t').collect())
        .collect();
    let names: Vec<&str> = rows[1..].iter().map(|row| row[0]).collect();
    assert_eq!(names, Quantity::ALL.map(Quantity::name));
    let mut cells = Vec::new();
    for (row, quantity) in rows[1..].iter().zip(Quantity::ALL) {
        for (column, cell) in rows[0].iter().zip(row).skip(2) {
            let (kind, words) = cell.split_once(':').unwrap();
            cells.push((quantity, row[1].split(' ').collect(), *column, kind, words));
        }
    }
    cells
}

#[test]
fn every_cell_of_the_table_is_what_the_code_says() {
    let cells = cells();
    assert_eq!(cells.len(), 90);
    for (quantity, _, column, kind, words) in cells {
        let got = meaning(quantity, &told(column));
        let got_kind = match got {
            Meaning::Absolute { .. } => "A",
            Meaning::Relative { .. } => "R",
            Meaning::CannotTell { .. } => "C",
        };
        assert_eq!(got_kind, kind, "{quantity:?}, {column}: {got:?}");
        assert!(got.basis().contains(words), "{quantity:?}, {column}: {words:?} not in {got:?}");
        if let Meaning::CannotTell { find_out, .. } = got {
            assert!(!find_out.is_empty(), "{quantity:?}, {column}: no way to find out");
        }
    }
}

/// What follows from the sample `text` under the circumstances of `column`; concluded once for all tests.
fn under(text: &'static str, column: &str) -> Reading {
    static CONCLUDED: Mutex<BTreeMap<(usize, String), Reading>> = Mutex::new(BTreeMap::new());
    let key = (text.len(), column.to_owned());
    if let Some(reading) = CONCLUDED.lock().unwrap().get(&key) {
        return reading.clone();
    }
    let facts = Facts { circumstances: told(column), ..serde_json::from_str(text).unwrap() };
    let reading = conclude(facts, &Medium::COMPACT_CASSETTE, &Limits::full_size(), None);
    CONCLUDED.lock().unwrap().insert(key, reading.clone());
    reading
}

#[test]
fn every_finding_measured_or_not_keeps_to_its_cell() {
    for text in effort::some(SAMPLES, 2) {
        for (quantity, ids, column, kind, words) in cells() {
            let reading = under(text, column);
            for id in ids {
                let of_id: Vec<&Finding> =
                    reading.findings.iter().filter(|finding| finding.id == id).collect();
                assert!(!of_id.is_empty(), "{id}");
                for finding in of_id {
                    let at = format!("{quantity:?}, {column}: {finding:?}");
                    let begins = match kind {
                        "A" => "absolute: ",
                        "R" => "relative to ",
                        _ => "cannot tell: ",
                    };
                    assert!(finding.basis.starts_with(begins) && finding.basis.contains(words), "{at}");
                    if kind == "C" {
                        assert_eq!((finding.verdict, &finding.turn), (Verdict::CannotTell, &None), "{at}");
                        let why = &finding.why;
                        assert!(
                            why.starts_with("cannot tell, because ") && why.contains("to find out: "),
                            "{at}"
                        );
                    }
                }
            }
        }
    }
}

#[test]
fn summary_and_report_say_the_meaning_of_every_quantity() {
    let plain = |text: &str| {
        let spaced = text.replace("&amp;", "&").replace('\u{a0}', " ").replace('\u{2212}', "-");
        spaced.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    for text in effort::some(SAMPLES, 2) {
        for (quantity, _, column, _, _) in cells() {
            let reading = under(text, column);
            let words = plain(&meaning(quantity, &reading.circumstances).words());
            let summary = plain(&show::summary(&reading));
            let row = format!("{} {words}", quantity.name());
            assert!(summary.contains(&row), "{row}\n{summary}");
        }
        for column in ["house", "this-deck-2"] {
            let reading = under(text, column);
            let report = show::report(&reading, None);
            for quantity in Quantity::ALL {
                let words = meaning(quantity, &reading.circumstances).words();
                // Apostrophes are escaped; what comes before the first serves.
                let words = plain(words.split('\'').next().unwrap());
                assert!(plain(&report).contains(&words), "{words}");
            }
        }
    }
}

#[test]
fn noise_reduction_spoils_what_depends_on_level_in_every_column() {
    for (quantity, _, column, kind, _) in cells() {
        let on = Circumstances { noise_reduction: NoiseReduction::On, ..told(column) };
        let spoilt = matches!(
            quantity,
            Quantity::PlaybackResponse | Quantity::ChannelMatch | Quantity::Recording | Quantity::Noise
        );
        if spoilt && kind != "C" && !["injected", "loopback"].contains(&column) {
            let got = meaning(quantity, &on);
            assert!(matches!(got, Meaning::CannotTell { .. }), "{quantity:?}, {column}: {got:?}");
        }
    }
}
