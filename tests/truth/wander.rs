//! Whether the stated uncertainties of stepped levels are true on a deck whose level wanders: each tone is a second long, and
//! a slow wander moves it as a whole.
//!
//! At three sizes of wander and on a worse deck the true response shall lie inside the stated interval (k = 2) at 93 % of the
//! points at least, and the interval shall be no more than 1.5 times as wide as needed. Truth is the deck's response without
//! wander. All decks ripple, so that a band of sweep or noise is not just what the tone in it is. The worse deck wanders more
//! slowly than a tone is long, hums, and has dropouts.

use super::bench::{Case, Played, Store, play};
use crate::effort;
use deckproof::internals::deck::DeckFile;
use deckproof::internals::programme::Recipe;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use std::fmt::Write;

/// First of the seeds that nothing was tuned on.
const FRESH: u64 = 1001;

/// Name, wander and what else is the matter.
const DECKS: [(&str, &str, &str); 4] = [
    ("0.1 dB", "{ db_rms = 0.1, low_hz = 0.2, high_hz = 8, shape = \"SHAPE\" }", "hiss = { db = -54 }"),
    ("0.2 dB", "{ db_rms = 0.2, low_hz = 0.2, high_hz = 8, shape = \"SHAPE\" }", "hiss = { db = -54 }"),
    ("0.4 dB", "{ db_rms = 0.4, low_hz = 0.2, high_hz = 8, shape = \"SHAPE\" }", "hiss = { db = -54 }"),
    (
        "worse",
        "{ db_rms = 0.3, low_hz = 0.1, high_hz = 1, shape = \"SHAPE\" }",
        "hiss = { db = -62 }\nrandom_dropouts = { per_min = 6, length_ms = 40, depth_db = 12 }\n\
         [electronics]\nhum = { hz = 50, level_db = -52, harmonics_db = [-6, -10] }",
    ),
];

/// Ripple of 0.12 dB rms, independent at some twenty places of each channel.
fn ripple(seed: u64) -> String {
    let rng = &mut ChaCha8Rng::seed_from_u64(seed);
    let mut sections = String::new();
    for side in ["left", "right"] {
        for place in 0..20 {
            let hz = 45.0 * 1.36f64.powi(place) * rng.random_range(0.9..1.1);
            let db: f64 = 0.12 * Distribution::<f64>::sample(&StandardNormal, rng);
            let section =
                format!("kind = \"peaking\", hz = {hz:.0}, db = {db:.3}, q = 3, channel = \"{side}\"");
            writeln!(sections, "{{ {section} }},").unwrap();
        }
    }
    sections
}

fn deck(which: usize, seed: u64) -> DeckFile {
    let (name, wander, others) = DECKS[which];
    let shape = ["flat", "one-over-f"][(seed % 2) as usize];
    let text = format!(
        "[speed]\nerror_percent = {}\nflutter = [{{ hz = 4.1, percent_peak = 0.06 }}]\n[head]\nspacing_um = 0.1\n\
         gap_um = 1.2\n[playback]\nsections = [\n{}]\n[tape]\nlevel_wander = {}\n{others}\n",
        (seed % 5) as f64 * 0.3 - 0.6,
        ripple(seed),
        wander.replace("SHAPE", shape)
    );
    DeckFile::from_toml(&text, name).unwrap()
}

/// Ways of measuring: tones, and all together.
const WAYS: [&str; 2] = ["steps", "together"];

/// Error and stated uncertainty of each point of a response, dB.
type Points = Vec<(f64, f64)>;

/// Each point but the reference.
fn errors(Played { reading, truth, timeline: _ }: &Played, way: usize) -> Points {
    let response = reading.response.as_ref().unwrap();
    let gain = |channel: usize, hz: f64| {
        truth.gain_db(channel, hz) + truth.compression_db(channel, hz, response.programme_db - 12.0)
    };
    let rows = [&response.steps, &response.combined][way];
    assert!(rows.len() > 10, "{}: {} points", WAYS[way], rows.len());
    let points = rows.iter().filter(|point| point.hz != response.reference_hz);
    points
        .flat_map(|point| {
            [0, 1].map(|channel| {
                let want = gain(channel, point.hz) - gain(channel, response.reference_hz);
                (point.db[channel].unwrap() - want, point.uncertainty_db[channel].unwrap())
            })
        })
        .collect()
}

#[test]
fn stepped_levels_are_as_sure_as_they_say_where_the_level_wanders() {
    let recipe = Recipe::parse(include_str!("wander.toml"), "tests/truth/wander.toml").unwrap();
    let count = u64::from(effort::of([1, 6, 40]));
    let all: Vec<(usize, [Points; 2])> = (0..DECKS.len() as u64 * count)
        .into_par_iter()
        .map(|k| {
            let (which, seed) = ((k / count) as usize, FRESH + k);
            let deck = deck(which, seed);
            let case = Case { name: DECKS[which].0, deck, seed, rate_hz: 44_100, store: Store::TwentyFour };
            let played = play(&recipe, &case);
            (which, [0, 1].map(|way| errors(&played, way)))
        })
        .collect();
    // The points of one return share what is known of its wander, and its reference: of few decks of each kind all are counted
    // together.
    let groups: Vec<(&str, Vec<usize>)> = if count < 20 {
        vec![("all", (0..DECKS.len()).collect())]
    } else {
        (0..DECKS.len()).map(|which| (DECKS[which].0, vec![which])).collect()
    };
    let mut stated_db = Vec::new();
    for ((name, group), way) in groups.iter().flat_map(|group| [(group, 0), (group, 1)]) {
        let points: Points = all
            .iter()
            .filter(|(which, _)| group.contains(which))
            .flat_map(|(_, points)| points[way].clone())
            .collect();
        let number = points.len() as f64;
        let inside = points.iter().filter(|(off, stated)| off.abs() <= *stated).count() as f64 / number;
        // Decks of one kind alike; of several kinds each has its own need.
        let wide = group.iter().map(|kind| {
            let of = || all.iter().filter(|(which, _)| which == kind).flat_map(|(_, points)| &points[way]);
            let needed = 2.0 * (of().map(|(off, _)| off * off).sum::<f64>() / of().count() as f64).sqrt();
            of().map(|(_, stated)| stated).sum::<f64>() / of().count() as f64 / needed
        });
        let wide = wide.sum::<f64>() / group.len() as f64;
        let mean_db = points.iter().map(|(_, stated)| stated).sum::<f64>() / number;
        stated_db.push(mean_db);
        let way = WAYS[way];
        println!(
            "{name}, {way}: {number} points, {:.1} % inside, {wide:.2} times as wide as needed, +-{mean_db:.3} dB",
            100.0 * inside
        );
        assert!(
            inside >= 0.93 && wide <= 1.5,
            "{name}, {way}: {inside} inside, {wide} times as wide as needed"
        );
    }
    // What three say is surer than what one says.
    for pair in stated_db.chunks_exact(2) {
        assert!(pair[1] < 0.95 * pair[0], "{stated_db:?}");
    }
}
