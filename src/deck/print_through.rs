//! Print-through: echoes before and behind the signal, one turn of the reel apart.

use super::{DeckFile, ratio_of_db};
use std::collections::VecDeque;

/// Print-through of one channel; holds two turns of the reel.
pub(crate) struct PrintThrough {
    turn: usize,
    pre: f64,
    post: f64,
    held: VecDeque<f64>,
}

impl PrintThrough {
    /// Print-through of `file` at `rate_hz`; `None` if there is none.
    pub(crate) fn new(file: &DeckFile, rate_hz: f64) -> Option<Self> {
        let print = file.tape.print_through?;
        let turn = (print.turn_s * rate_hz).round() as usize;
        let held = std::iter::repeat_n(0.0, 2 * turn).collect();
        Some(Self { turn, pre: ratio_of_db(print.pre_db), post: ratio_of_db(print.post_db), held })
    }

    /// Frames by which the output is late.
    pub(crate) fn late(&self) -> usize {
        self.turn
    }

    /// Adds the echoes in place; what comes out is one turn late.
    pub(crate) fn run(&mut self, samples: &mut [f64]) {
        for sample in samples {
            let newest = *sample;
            let oldest = self.held.pop_front().unwrap_or(0.0);
            // One has just gone: the sample of one turn ago stands at `turn - 1`.
            *sample = self.held[self.turn - 1] + self.pre * newest + self.post * oldest;
            self.held.push_back(newest);
        }
    }

    /// Response at `hz`: a comb.
    #[cfg(feature = "internals")]
    pub(crate) fn response(&self, hz: f64, rate_hz: f64) -> rustfft::num_complex::Complex64 {
        use rustfft::num_complex::Complex64;
        let phase = std::f64::consts::TAU * hz * self.turn as f64 / rate_hz;
        1.0 + Complex64::from_polar(self.pre, phase) + Complex64::from_polar(self.post, -phase)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_impulse_is_heard_three_times() {
        let mut file = DeckFile::default();
        file.tape.print_through =
            Some(crate::deck::PrintThrough { pre_db: -40.0, post_db: -60.0, turn_s: 0.1 });
        let mut print = PrintThrough::new(&file, 1000.0).unwrap();
        let mut samples = vec![0.0; 300];
        samples[0] = 1.0;
        print.run(&mut samples);
        assert_eq!((samples[0], samples[100], samples[200]), (0.01, 1.0, 0.001));
        assert_eq!(samples.iter().filter(|x| **x != 0.0).count(), 3);
    }
}
