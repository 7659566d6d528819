//! How much is tried where more is better: cases of properties, returns by which uncertainties are counted.
//!
//! A sample within three minutes by default; more with `DECKPROOF_TEST=more`, as in `.ci/run`; all with `DECKPROOF_TEST=full`.

use proptest::test_runner::Config;

/// The one of `[usual, more, full]` that was asked for.
pub fn of(counts: [u32; 3]) -> u32 {
    let asked = std::env::var("DECKPROOF_TEST").unwrap_or_default();
    let names = ["", "more", "full"];
    let place = names.iter().position(|name| *name == asked);
    counts[place.unwrap_or_else(|| panic!("DECKPROOF_TEST={asked}: `more` or `full`"))]
}

/// A quarter of `cases` random cases by default, `cases` with `more`, ten times as many with `full`; nothing is
/// written to disk: what fails becomes a test with a name.
pub fn cases(cases: u32) -> Config {
    Config {
        cases: of([cases.div_ceil(4), cases, 10 * cases]),
        failure_persistence: None,
        ..Config::default()
    }
}

/// Whether a test that repeats on more decks what a quicker one holds is left out: by default, not with `more`.
pub fn left_to_ci() -> bool {
    of([1, 0, 0]) == 1
}

/// One of `one_in` of these by default, all with `more`.
pub fn some<T>(all: impl IntoIterator<Item = T>, one_in: u32) -> Vec<T> {
    all.into_iter().step_by(of([one_in, 1, 1]) as usize).collect()
}
