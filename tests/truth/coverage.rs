//! Whether the stated uncertainties are true: over 200 returns of different decks, the true
//! value shall lie inside the stated interval (k = 2) in at least 90 %, and the interval shall be no more than 3 times as
//! wide as needed. By default four returns are too few to count each quantity by: all are counted together.
//!
//! `DECKPROOF_TEST=full DECKPROOF_BLESS=1 cargo test --release --test all truth::coverage -- --nocapture` (some minutes)
//! counts all of them and writes `tests/truth/coverage.tsv`. Truth is the virtual deck's: this proves the code, not the
//! standards.

use super::bench::{Case, Played, Row, Store, play, rows};
use super::nonlinear_truth::of_the_whole;
use crate::effort;
use deckproof::internals::deck::DeckFile;
use deckproof::internals::programme::Recipe;
use rayon::prelude::*;
use std::fmt::Write;

/// A number between `low` and `high` that depends on `seed` and `what` (SplitMix64).
fn between(seed: u64, what: u64, low: f64, high: f64) -> f64 {
    let mut z =
        seed.wrapping_mul(0x9E37_79B9_7F4A_7C15).wrapping_add(what.wrapping_mul(0xBF58_476D_1CE4_E5B9));
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    low + (high - low) * ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
}

/// A deck with normal hiss, flutter and wander of the azimuth, and faults that differ from seed to seed.
pub fn deck(seed: u64) -> DeckFile {
    let at = |what, low, high| between(seed, what, low, high);
    let text = format!(
        "[speed]\nerror_percent = {:.3}\nflutter = [{{ hz = {:.2}, percent_peak = {:.3} }}]\n\
         random = {{ percent_rms = {:.3}, low_hz = 0.3, high_hz = 120 }}\n\
         [azimuth]\nangle_arcmin = {:.2}\nrandom_wander = {{ arcmin_rms = {:.3} }}\n[head]\nspacing_um = [{:.2}, {:.2}]\ngap_um = {:.2}\n\
         [playback]\ngain_db = [{:.2}, {:.2}]\n[tape]\nhiss = {{ db = {:.1} }}\n\
         saturation = {{ k3_percent_at_0db = {:.2}, k2_percent_at_0db = {:.2} }}\n\
         [electronics]\nleft_into_right_db = {:.1}\nright_into_left_db = {:.1}\n",
        at(1, -2.0, 2.0),
        at(2, 0.6, 12.0),
        at(3, 0.03, 0.12),
        at(4, 0.01, 0.05),
        at(5, -6.0, 6.0),
        at(16, 0.03, 0.15),
        at(6, 0.0, 0.5),
        at(7, 0.0, 0.5),
        at(8, 0.8, 1.6),
        at(9, -2.0, 2.0),
        at(10, -2.0, 2.0),
        at(11, -56.0, -46.0),
        at(12, 0.5, 4.0),
        at(13, 0.05, 0.5),
        at(14, -60.0, -40.0),
        at(15, -60.0, -40.0),
    );
    DeckFile::from_toml(&text, "coverage").unwrap()
}

/// The rows of one reading whose uncertainties are looked at, under the names of the table.
fn looked_at(played: &Played) -> Vec<(&'static str, Row)> {
    let Played { reading, truth, .. } = played;
    let mut found: Vec<(&'static str, Row)> = rows(played)
        .into_iter()
        .filter_map(|row| {
            let name = match (row.quantity, row.what.as_str()) {
                ("level", _) => "level, dB",
                ("steps", what) if what.starts_with("1000 Hz") => "response at 1 kHz, dB",
                ("steps", what) if what.starts_with("10000 Hz") => "response at 10 kHz, dB",
                ("steps", what) if what.starts_with("15000 Hz") => "response at 15 kHz, dB",
                ("delay", _) => "delay, us",
                ("speed", _) => "speed, %",
                ("noise", what) if what.starts_with("A-weighted") => "noise, A-weighted, dB",
                ("flutter", "weighted rms") => "flutter, weighted rms, %",
                _ => return None,
            };
            Some((name, row))
        })
        .collect();
    for (name, row) in &mut found {
        if *name == "flutter, weighted rms, %" {
            row.uncertainty = reading.flutter.as_ref().unwrap().uncertainties.weighted_rms_percent;
        }
    }
    for step in &reading.distortion.as_ref().unwrap().steps {
        for channel in 0..2 {
            let want = of_the_whole(truth, channel, 3, step.hz, step.programme_db - 12.0);
            let row = Row {
                quantity: "K3",
                what: step.part.clone(),
                got: step.k3_percent[channel],
                want,
                target: 0.05 * want,
                uncertainty: step.k3_uncertainty_percent[channel],
            };
            found.push(("third harmonic, %", row));
        }
    }
    found
}

#[test]
fn stated_uncertainties_are_true() {
    let recipe = Recipe::parse(include_str!("coverage.toml"), "tests/truth/coverage.toml").unwrap();
    let all: Vec<(&'static str, Row)> = (0..u64::from(effort::of([2, 12, 200])))
        .into_par_iter()
        .flat_map_iter(|seed| {
            let rates_hz = [44_100, 48_000, 96_000];
            let case = Case {
                name: "coverage",
                deck: deck(seed),
                seed,
                rate_hz: rates_hz[(seed % 3) as usize],
                store: [Store::Sixteen, Store::TwentyFour][(seed % 2) as usize],
            };
            looked_at(&play(&recipe, &case))
        })
        .collect();
    if effort::left_to_ci() {
        let holds = |row: &Row| row.got.is_some_and(|got| (got - row.want).abs() <= row.uncertainty.unwrap());
        let inside = all.iter().filter(|(_, row)| holds(row)).count();
        assert!(all.len() >= 20 && inside * 10 >= all.len() * 9, "{inside} of {}", all.len());
        return;
    }
    let mut names: Vec<&'static str> = Vec::new();
    for (name, _) in &all {
        if !names.contains(name) {
            names.push(name);
        }
    }
    let mut table = String::from(
        "# Written by tests/truth/coverage.rs: 200 simulated returns with seeds 0 to 199, three sample rates, 16 and 24 bit.\n\
         # inside_percent: how often the true value lay inside the stated interval (k = 2). needed: the half-width that would\n\
         # have held 95 % of the errors. stated: mean of the stated half-widths.\n\
         quantity\tfigures\tinside_percent\tneeded\tstated\tstated_over_needed\n",
    );
    let mut missed = Vec::new();
    for name in names {
        let of_name: Vec<&Row> = all.iter().filter(|(other, _)| *other == name).map(|(_, row)| row).collect();
        let mut errors: Vec<f64> =
            of_name.iter().filter_map(|row| Some((row.got? - row.want).abs())).collect();
        let stated: Vec<f64> = of_name.iter().filter_map(|row| row.uncertainty).collect();
        let inside = of_name
            .iter()
            .filter(|row| row.got.is_some_and(|got| (got - row.want).abs() <= row.uncertainty.unwrap()));
        let share = 100.0 * inside.count() as f64 / errors.len() as f64;
        errors.sort_by(f64::total_cmp);
        let needed = errors[(errors.len() as f64 * 0.95) as usize];
        let mean = stated.iter().sum::<f64>() / stated.len() as f64;
        let ratio = mean / needed;
        writeln!(table, "{name}\t{}\t{share:.1}\t{needed:.6}\t{mean:.6}\t{ratio:.2}", errors.len()).unwrap();
        if share < 90.0 || ratio > 3.0 {
            missed.push(format!("{name}: {share:.1} % inside, {ratio:.2} times as wide as needed"));
        }
    }
    println!("{table}");
    let all_of_them = effort::of([0, 0, 1]) == 1;
    if all_of_them && std::env::var_os("DECKPROOF_BLESS").is_some() {
        std::fs::write(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/truth/coverage.tsv"), &table).unwrap();
    }
    assert!(missed.is_empty(), "{}", missed.join("\n"));
}
