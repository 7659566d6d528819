//! Absolute speed from a length of tape, against decks whose speed is known.

use super::bench::{Case, Store, assert_work_follows_from_findings, options};
use crate::returns;
use deckproof::assert_within;
use deckproof::internals::deck::DeckFile;
use deckproof::internals::job::{Marks, Recording, TapeLength, measure_with_length};
use deckproof::internals::programme::{Signal, Timeline, built_in_by_name};
use deckproof::reading::{RecordedOn, Verdict};

fn case(text: &str) -> Case {
    let deck = DeckFile::from_toml(text, "length").unwrap();
    Case { name: "length", deck, seed: 9, rate_hz: 48_000, store: Store::Float }
}

#[test]
fn slates_a_measured_length_apart_give_the_absolute_speed() {
    let recipe = built_in_by_name("first-look").unwrap();
    let timeline = Timeline::from(&recipe);
    let case = case(
        "[speed]\nerror_percent = 1.4\nflutter = [{ hz = 0.9, percent_peak = 0.2 }]\n[tape]\nhiss = { db = -50 }\n",
    );
    let samples = returns::of(&recipe, &case.deck, case.seed, case.rate_hz, Store::Double);
    let slates: Vec<f64> = timeline
        .parts
        .iter()
        .filter(|part| matches!(part.signal, Signal::Slate { .. }))
        .map(|part| part.start_s)
        .collect();
    // The tape was recorded at nominal speed, so the length between the marks is known, but for the ruler.
    let length_mm = 47.625 * (slates[3] - slates[0]);
    // Another deck's recording: without the length the speed would be relative to it.
    let (recording, told) = (Recording::Samples(&samples, "length"), options(RecordedOn::OtherDeck));
    for (ruler_mm, marks) in
        [(0.5, Marks::Slates([0, 3])), (4.0, Marks::Times([slates[0] / 1.014, slates[3] / 1.014], 0.05))]
    {
        let length = TapeLength { length_mm: length_mm + 0.7 * ruler_mm, uncertainty_mm: ruler_mm, marks };
        let reading = measure_with_length(recording, &told, &length).unwrap().conclude(&told);
        let found = reading.speed.as_ref().unwrap().from_length.as_ref().unwrap();
        assert_within!(found.error_percent, 1.4, found.uncertainty_percent, "%");
        assert!(found.uncertainty_percent < 0.25, "{found:?}");
        let finding = reading.findings.iter().find(|finding| finding.id == "speed").unwrap();
        assert_eq!(finding.verdict, Verdict::Outside, "{finding:?}");
        assert!(finding.basis.starts_with("absolute: a measured length"), "{}", finding.basis);
        assert!(!finding.turn.as_ref().unwrap().contains("other deck"), "{finding:?}");
        assert_work_follows_from_findings(&reading);
    }
    let length = TapeLength { length_mm, uncertainty_mm: 1.0, marks: Marks::Slates([0, 30]) };
    let refused = measure_with_length(recording, &told, &length).unwrap_err();
    assert!(refused.to_string().contains("slate-30 was not found"), "{refused}");
}
