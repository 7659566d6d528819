//! Readings of virtual decks with known faults, held against what is really true of them.
//!
//! This proves that the code does what it should on the decks that we can imagine; the checks against documents and
//! other software are elsewhere. `cargo test --release --test all truth:: -- --ignored --nocapture` prints the table of the
//! worst figures for the recipe `full`.

mod advice;
mod bench;
mod causes_truth;
mod compare_truth;
mod coverage;
mod decks;
mod flutter_truth;
mod from_length;
mod house_truth;
mod injected;
mod loopback;
mod noise_truth;
mod nonlinear_truth;
mod same_tape;
mod skew;
mod slates;
mod trims;
mod wrong_rate;

use bench::{Case, Row, Store, play, rows};
use deckproof::deck::{DeckFile, EXAMPLES};
use deckproof::programme::{Recipe, find};
use rayon::prelude::*;

fn short() -> Recipe {
    Recipe::parse(include_str!("short.toml"), "tests/truth/short.toml").unwrap()
}

/// Rows that miss their target, with the case they are of.
fn misses(case: &Case, rows: &[Row]) -> Vec<String> {
    rows.iter()
        .filter(|row| row.share() > 1.0)
        .map(|row| {
            format!(
                "{} seed {} at {} Hz, {:?}: {} {}: got {:?}, true {:.5}, target {:.5}",
                case.name,
                case.seed,
                case.rate_hz,
                case.store,
                row.quantity,
                row.what,
                row.got,
                row.want,
                row.target
            )
        })
        .collect()
}

/// Plays all cases, two at a time.
fn all_misses(recipe: &Recipe, cases: Vec<Case>) -> Vec<String> {
    cases
        .into_par_iter()
        .flat_map(|case| {
            let rows = rows(&play(recipe, &case));
            assert!(rows.len() > 20, "{}: only {} figures", case.name, rows.len());
            misses(&case, &rows)
        })
        .collect()
}

#[test]
fn every_target_is_met_on_twelve_decks_at_all_rates_and_depths() {
    let rates_hz = [44_100, 48_000, 96_000, 48_000];
    let stores = [Store::Sixteen, Store::TwentyFour, Store::Float];
    let cases: Vec<Case> = decks::TWELVE
        .iter()
        .enumerate()
        .map(|(k, (name, text))| Case {
            name,
            deck: DeckFile::from_toml(text, name).unwrap(),
            seed: 1000 + 17 * k as u64,
            rate_hz: rates_hz[k % rates_hz.len()],
            store: stores[k % stores.len()],
        })
        .collect();
    assert!(cases.len() >= 12);
    let missed = all_misses(&short(), cases);
    assert!(missed.is_empty(), "{}", missed.join("\n"));
}

#[test]
fn other_seeds_change_nothing() {
    let cases = [3u64, 77, 4242]
        .into_iter()
        .map(|seed| {
            let (name, text) = decks::TWELVE[(seed % 12) as usize];
            let deck = DeckFile::from_toml(text, name).unwrap();
            Case { name, deck, seed, rate_hz: 48_000, store: Store::TwentyFour }
        })
        .collect();
    let missed = all_misses(&short(), cases);
    assert!(missed.is_empty(), "{}", missed.join("\n"));
}

#[test]
#[ignore = "a table to look at, of minutes of audio for each of the example decks"]
fn look_at_full_on_every_example_deck() {
    let recipe = find(&std::env::var("RECIPE").unwrap_or("full".into())).unwrap();
    for (k, (name, text)) in EXAMPLES.iter().enumerate() {
        let deck = DeckFile::from_toml(text, name).unwrap();
        let case = Case { name, deck, seed: 100 + k as u64, rate_hz: 48_000, store: Store::TwentyFour };
        let played = play(&recipe, &case);
        let warnings: Vec<&str> = played.reading.warnings.iter().map(|warning| warning.id.as_str()).collect();
        println!("{name}, warnings {warnings:?}");
        let all = rows(&played);
        let mut kinds: Vec<&str> = all.iter().map(|row| row.quantity).collect();
        kinds.dedup();
        for kind in kinds {
            let of_kind = all.iter().filter(|row| row.quantity == kind);
            if let Some(row) = of_kind.max_by(|a, b| a.share().total_cmp(&b.share())) {
                println!(
                    "  {kind:16} worst {:6.2} of the target: {} got {:?}, true {:.4}, stated +- {:?}",
                    row.share(),
                    row.what,
                    row.got,
                    row.want,
                    row.uncertainty
                );
            }
        }
    }
}
