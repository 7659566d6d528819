//! Room `signal`: oscillators, noise, filters, spectra and demodulation. Nothing here knows what a tape is.

pub mod baseband;
pub mod cross_spectra;
pub mod dither;
pub mod ear;
pub mod fade;
pub mod fir;
pub(crate) mod fit;
pub mod fm;
pub mod halving;
pub mod noise;
pub mod oscillator;
pub mod overlap_save;
pub mod quasi_peak_468;
pub mod spectrum;
pub(crate) mod statistics;
#[cfg(test)]
pub(crate) mod test_signals;
pub mod weighting_468;

/// 20 lg e: a neper in dB.
pub(crate) const DB_PER_NEPER: f64 = 20.0 * std::f64::consts::LOG10_E;

/// The largest multiple of `multiple` (a power of 2) of at most `most` whose only prime factors are 2, 3 and 5; 0 if there is none.
pub(crate) fn last_fast_length(most: usize, multiple: usize) -> usize {
    (1..=most / multiple).rev().find(|&n| next_fast_length(n) == n).map_or(0, |n| n * multiple)
}

/// The smallest length of at least `least` whose only prime factors are 2, 3 and 5.
pub(crate) fn next_fast_length(least: usize) -> usize {
    (least.max(1)..)
        .find(|&n| {
            let mut rest = n;
            for factor in [2, 3, 5] {
                while rest.is_multiple_of(factor) {
                    rest /= factor;
                }
            }
            rest == 1
        })
        .unwrap_or(least)
}
