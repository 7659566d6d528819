//! Sample rates that are taken for each other: what a header names, and what the sound has.
//!
//! No deck is off by 8 %, and a 44.1 kHz file labelled 48 kHz is: so a wrong rate is not simply a speed error.

/// The usual ones as true rate over rate in the header: those that still let a slate be read, and those that do not.
const READABLE: [f64; 2] = [44.1 / 48.0, 48.0 / 44.1];
const UNREADABLE: [f64; 4] = [2.0, 0.5, 96.0 / 44.1, 44.1 / 96.0];

/// Speed error of a deck, at most; a wrong rate is off by 8 or 9 %.
const MOST_OFF: f64 = 0.065;

/// True rates over the header's that explain slates which run at `ratio` (above 1: fast), or that none is found; empty where a
/// deck's speed explains it.
pub fn true_rates(ratio: Option<f64>) -> Vec<f64> {
    let Some(ratio) = ratio else { return UNREADABLE.to_vec() };
    if (ratio - 1.0).abs() < MOST_OFF {
        return Vec::new();
    }
    READABLE.into_iter().filter(|rate| (ratio * rate - 1.0).abs() < MOST_OFF).collect()
}
