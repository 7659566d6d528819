//! Readings of virtual decks with known faults, held against what is really true of them.
//!
//! This proves that the code does what it should on the decks that we can imagine; the checks against documents and
//! other software are elsewhere.

mod advice;
mod bench;
mod causes_truth;
mod compare_truth;
mod coverage;
mod decks;
mod flutter_truth;
mod from_length;
pub mod house_truth;
mod injected;
mod loopback;
mod low_rates;
mod noise_truth;
mod nonlinear_truth;
pub mod panel;
mod same_tape;
mod skew;
mod slates;
mod spoilt;
mod trims;
mod wander;
mod wrong_rate;

use crate::effort;
use bench::{Case, Row, Store, play, rows};
use deckproof::internals::deck::DeckFile;
use deckproof::internals::programme::Recipe;
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
    let cases: Vec<Case> = effort::some(decks::TWELVE.iter().enumerate(), 7)
        .into_iter()
        .map(|(k, (name, text))| Case {
            name,
            deck: DeckFile::from_toml(text, name).unwrap(),
            seed: 1000 + 17 * k as u64,
            rate_hz: rates_hz[k % rates_hz.len()],
            store: stores[k % stores.len()],
        })
        .collect();
    assert!(decks::TWELVE.len() >= 12);
    let missed = all_misses(&short(), cases);
    assert!(missed.is_empty(), "{}", missed.join("\n"));
}

#[test]
fn other_seeds_change_nothing() {
    if effort::left_to_ci() {
        return;
    }
    let cases = effort::some([3u64, 77, 4242], 3)
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
