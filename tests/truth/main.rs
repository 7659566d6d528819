//! Readings of virtual decks with known faults, held against what is really true of them.
//!
//! This proves that the code does what it should on the decks that we can imagine; the checks against documents and
//! other software are elsewhere.

mod bench;
mod flutter_truth;

use bench::{Case, Store, play, rows};
use deckproof::deck::{DeckFile, EXAMPLES};
use deckproof::programme::find;

#[test]
fn look() {
    let recipe = find(&std::env::var("RECIPE").unwrap_or("first-look".into())).unwrap();
    let only = std::env::var("DECK").ok();
    for (k, (name, text)) in EXAMPLES.iter().enumerate() {
        if only.as_deref().is_some_and(|only| only != *name) {
            continue;
        }
        for (rate_hz, store) in [(48_000, Store::TwentyFour)] {
            let deck = DeckFile::from_toml(text, name).unwrap();
            let case = Case { name, deck, seed: 100 + k as u64, rate_hz, store };
            let played = play(&recipe, &case);
            println!(
                "== {name} {rate_hz} {store:?}: {:?}",
                played.reading.warnings.iter().map(|w| w.id.as_str()).collect::<Vec<_>>()
            );
            let all = rows(&played);
            let mut kinds: Vec<&str> = all.iter().map(|r| r.quantity).collect();
            kinds.dedup();
            for kind in kinds {
                let worst = all
                    .iter()
                    .filter(|row| row.quantity == kind)
                    .max_by(|a, b| a.share().total_cmp(&b.share()))
                    .unwrap();
                println!(
                    "  {kind:16} {:6.2} of target: {} got {:?} want {:.4} u {:?}",
                    worst.share(),
                    worst.what,
                    worst.got,
                    worst.want,
                    worst.uncertainty
                );
            }
        }
    }
}
