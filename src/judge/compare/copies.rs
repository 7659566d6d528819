//! Whether two readings are of one and the same capture: a copy, or the same samples saved in another way.

use crate::judge::Reading;
use crate::judge::compare::quantities::quantities;

/// Fewer figures than this tell nothing.
const LEAST_FIGURES: usize = 10;
/// Figures of one capture agree this closely, as a share of their uncertainty. Those of two playings do so once in nine times where
/// the uncertainty is all chance, and once in four where it is three times as wide as needed.
const AS_CLOSE: f64 = 0.1;
/// Share of the figures that must agree.
const MOST: f64 = 0.9;

/// Whether the figures of `a` and `b` agree as those of two playings never do.
pub fn is_one_capture(a: &Reading, b: &Reading) -> bool {
    let others = quantities(b);
    let both: Vec<bool> = quantities(a)
        .iter()
        .filter_map(|one| {
            let other = others.iter().find(|other| other.is(one))?;
            let apart = (one.value? - other.value?).abs();
            Some(apart <= AS_CLOSE * one.uncertainty?.min(other.uncertainty?))
        })
        .collect();
    let agree = both.iter().filter(|agrees| **agrees).count();
    both.len() >= LEAST_FIGURES && agree as f64 >= MOST * both.len() as f64
}
