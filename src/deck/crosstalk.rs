//! Leakage between the channels' amplifiers and leads, which may rise with frequency as stray capacitance makes it.

use super::playback_filters::Biquad;
use super::{DeckFile, ratio_of_db};
use std::f64::consts::TAU;

/// Most by which leakage rises, as an amplitude ratio: 24 dB, where coupling stops being small.
const MOST_RISE: f64 = 16.0;

/// Leakage of left into right and of right into left.
#[derive(Debug, Clone)]
pub(crate) struct Crosstalk {
    gains: [f64; 2],
    rise: Option<[Biquad; 2]>,
    scratch: [Vec<f64>; 2],
}

impl Crosstalk {
    /// The leakage of `file` at `rate_hz`; `None` if there is none.
    pub(crate) fn new(file: &DeckFile, rate_hz: f64) -> Option<Self> {
        let electronics = &file.electronics;
        let leaks = [electronics.left_into_right_db, electronics.right_into_left_db];
        leaks.iter().any(Option::is_some).then(|| Self {
            gains: leaks.map(|db| db.map_or(0.0, ratio_of_db)),
            rise: electronics.leak_rises_from_hz.map(|hz| {
                let zero_us = 1e6 / (TAU * hz);
                [(); 2].map(|()| Biquad::shelf(zero_us, zero_us / MOST_RISE, rate_hz))
            }),
            scratch: [Vec::new(), Vec::new()],
        })
    }

    /// Adds what leaks, in place.
    pub(crate) fn run(&mut self, block: &mut [Vec<f64>; 2]) {
        for (from, (scratch, samples)) in self.scratch.iter_mut().zip(block.iter()).enumerate() {
            scratch.clear();
            scratch.extend(samples.iter().map(|x| self.gains[from] * x));
            if let Some(rise) = &mut self.rise {
                rise[from].run(scratch);
            }
        }
        for (to, samples) in block.iter_mut().enumerate() {
            samples.iter_mut().zip(&self.scratch[1 - to]).for_each(|(x, leak)| *x += leak);
        }
    }

    /// Complex gain of the leakage out of channel `from` at `hz`.
    #[cfg(feature = "internals")]
    pub(crate) fn response(&self, from: usize, hz: f64, rate_hz: f64) -> rustfft::num_complex::Complex64 {
        let rise = self.rise.as_ref().map_or(1.0.into(), |rise| rise[from].response(hz, rate_hz));
        rise * self.gains[from]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::statistics::rms;
    use crate::signal::test_signals::sine;
    use std::f64::consts::SQRT_2;

    #[test]
    fn leakage_rises_by_6_db_an_octave_and_is_what_it_says() {
        let text = "[electronics]\nleft_into_right_db = -40\nleak_rises_from_hz = 2000";
        let file = DeckFile::from_toml(text, "test").unwrap();
        let mut crosstalk = Crosstalk::new(&file, 96_000.0).unwrap();
        // First order: sqrt 2 at the corner, about the frequency over the corner two octaves above.
        assert_within!(crosstalk.response(0, 100.0, 96_000.0).norm(), 0.01, 3e-5, "");
        assert_within!(crosstalk.response(0, 2000.0, 96_000.0).norm(), 0.01 * SQRT_2, 1e-4, "");
        assert_within!(crosstalk.response(0, 8000.0, 96_000.0).norm(), 0.01 * 17f64.sqrt(), 2e-3, "");
        assert_eq!(crosstalk.response(1, 8000.0, 96_000.0).norm(), 0.0);
        let tone = sine(1.0, 8000.0, 96_000.0, 9600);
        let mut block = [tone.clone(), vec![0.0; 9600]];
        crosstalk.run(&mut block);
        assert_eq!(block[0], tone);
        let rms = rms(&block[1][4800..]);
        assert_within!(rms * SQRT_2, crosstalk.response(0, 8000.0, 96_000.0).norm(), 1e-6, "");
    }
}
