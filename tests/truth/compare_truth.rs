//! What `compare` says of decks that nobody touched, and of one that was mended.

use super::bench::{Case, Store, options, play};
use crate::effort;
use deckproof::internals::deck::DeckFile;
use deckproof::internals::judge::{Named, compare, compare_repeated};
use deckproof::internals::judge::{Reading, conclude};
use deckproof::internals::programme::find;
use deckproof::reading::{ChangeState, ComparedChannel, Comparison, Heads, RecordedOn};
use rayon::prelude::*;

const COMMON: &str = "[speed]\nflutter = [{ hz = 5.2, percent_peak = 0.05 }]\n\
                      random = { percent_rms = 0.04, low_hz = 0.3, high_hz = 150 }\n\
                      [tape]\nhiss = { db = -54 }\nmodulation_noise = { db = -50 }\nlevel_wander = { db_rms = 0.03 }\n";

fn read(deck: &str, seed: u64, recipe: &str) -> Reading {
    let case = Case {
        name: "compared",
        deck: DeckFile::from_toml(&format!("{deck}{COMMON}"), "compared").unwrap(),
        seed,
        rate_hz: 48_000,
        store: Store::TwentyFour,
    };
    let mut facts = play(&find(recipe).unwrap(), &case).reading.into_facts();
    let told = options(RecordedOn::Calibrated);
    facts.circumstances = told.circumstances;
    facts.circumstances.heads = Some(Heads::Three);
    conclude(facts, &told.medium, &told.limits, None)
}

fn named(readings: &[Reading]) -> Vec<Named<'_>> {
    readings.iter().map(|reading| Named { name: "run", file: "run.json", reading }).collect()
}

/// Quantities that really changed, the most important first.
fn changed(comparison: &Comparison) -> Vec<&str> {
    let real = comparison.summary.iter().filter(|change| change.state == ChangeState::Changed);
    real.map(|change| change.quantity.as_str()).collect()
}

#[test]
fn runs_of_one_deck_show_no_change_and_a_mended_one_just_what_was_mended() {
    let healthy = "[azimuth]\nangle_arcmin = 0.3\n[head]\nspacing_um = 0.05\n";
    let faulty = "[azimuth]\nangle_arcmin = 5\n[head]\nspacing_um = [0.5, 0.05]\n";
    let count = u64::from(effort::of([3, 5, 5]));
    let runs: Vec<Reading> =
        (1..=count).into_par_iter().map(|seed| read(healthy, 700 + seed, "first-look")).collect();
    for first in 0..runs.len() {
        for last in first + 1..runs.len() {
            let pair = [runs[first].clone(), runs[last].clone()];
            let comparison = compare(&named(&pair));
            assert!(comparison.rows.len() >= 40, "{}", comparison.rows.len());
            assert_eq!(changed(&comparison), Vec::<&str>::new(), "runs {first} and {last}");
        }
    }
    let all = compare(&named(&runs));
    assert_eq!(changed(&all), Vec::<&str>::new());
    assert!(all.rows.iter().any(|row| row.repeatability.is_some_and(|most| most > row.spread.unwrap())));

    let mended = [read(faulty, 800, "first-look"), runs[0].clone()];
    for comparison in
        [compare(&named(&mended)), compare_repeated(&named(&mended), &named(&runs[1..runs.len().min(4)]))]
    {
        let found = changed(&comparison);
        assert!(found.contains(&"azimuth") && found.contains(&"playback-response"), "{found:?}");
        assert!(!found.contains(&"speed") && !found.contains(&"flutter"), "{found:?}");
        // The right channel's spacing was not touched: what it changed is what azimuth costs, 0.6 mm wide tracks.
        let loss_db = |arcmin: f64, hz: f64| {
            let x = std::f64::consts::PI * 0.6 * (arcmin / 60.0).to_radians().tan() * hz / 47.625;
            if x == 0.0 { 0.0 } else { 20.0 * (x.sin() / x).log10() }
        };
        let mut seen = 0;
        for row in comparison.rows.iter().filter(|row| row.quantity == "playback-response") {
            let (Some(hz), Some(ComparedChannel::Right), Some(by)) = (row.hz, row.channel, row.change) else {
                continue;
            };
            let want = loss_db(0.3, hz) - loss_db(5.0, hz);
            // Design's targets for steps and for sweeps.
            let most = if row.what.contains("steps") { 0.15 } else { 0.3 };
            deckproof::assert_within!(by, want, most, "dB", "{}", row.what);
            seen += 1;
        }
        assert!(seen > 5);
        // At 10 kHz: azimuth from 5' to 0.3', by hand sinc(pi 0.6 tan 5' 10000 / 47.625) = 0.943: +0.49 dB.
        let words = comparison.remarks.join(" ");
        assert!(words.contains("accounts for +0.5"), "{words}");
    }
}
