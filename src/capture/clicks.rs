//! Clicks: pulses of a few samples, as lost samples, a bad contact or an overrun buffer make them.

use crate::signal::statistics::median;

/// Samples looked at together.
const PIECE: usize = 64;
/// A click bends the course of the samples by so many times what is usual beside it, ...
const STANDS_OUT: f64 = 15.0;
/// ... by at least so much of full scale, ...
const LEAST_BEND: f64 = 0.05;
/// ... and over at most so many samples: what begins or ends goes on.
const MOST_SAMPLES: usize = 8;

/// Counts clicks in one channel.
#[derive(Debug, Clone, Default)]
pub(super) struct Clicks {
    /// The last two samples of the block before.
    last: [f64; 2],
    /// How far the samples bend: second differences, until there are enough.
    bends: Vec<f64>,
    /// What is usual in the piece before.
    usual: Option<f64>,
    count: u64,
}

impl Clicks {
    /// Feeds samples; blocks of any size give the same result.
    pub(super) fn feed(&mut self, samples: &[f64]) {
        for &x in samples {
            let [a, b] = self.last;
            self.bends.push((x - 2.0 * b + a).abs());
            self.last = [b, x];
            if self.bends.len() == PIECE {
                self.judge();
            }
        }
    }

    fn judge(&mut self) {
        let most = self.bends.iter().copied().fold(0.0, f64::max);
        if most < LEAST_BEND {
            // Quiet: what is usual is found only where it is asked for.
            self.usual = None;
            self.bends.clear();
            return;
        }
        let usual = median(&self.bends);
        let wide = self.bends.iter().filter(|bend| **bend > 0.25 * most).count();
        let beside = self.usual.unwrap_or(usual).max(usual);
        if most > STANDS_OUT * beside && wide <= MOST_SAMPLES {
            self.count += 1;
        } else {
            self.usual = Some(usual);
        }
        self.bends.clear();
    }

    pub(super) fn count(&self) -> u64 {
        self.count
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::white;
    use std::f64::consts::TAU;

    fn count(samples: &[f64]) -> u64 {
        let mut clicks = Clicks::default();
        samples.chunks(1000).for_each(|block| clicks.feed(block));
        clicks.count()
    }

    #[test]
    fn clicks_are_counted_on_tones_and_in_silence() {
        for hz in [40.0, 1000.0, 3150.0, 10_000.0] {
            let mut samples: Vec<f64> =
                (0..96_000).map(|n| 0.25 * (TAU * hz * f64::from(n) / 48_000.0).sin()).collect();
            assert_eq!(count(&samples), 0, "{hz} Hz");
            for at in (5000..96_000).step_by(10_000) {
                samples[at] = 0.95;
                samples[at + 1] = 0.95;
            }
            // A loud tone of 10 kHz bends as much itself.
            if hz < 2000.0 {
                assert_eq!(count(&samples), 10, "{hz} Hz");
            }
        }
        let mut hiss = white(0.002, 96_000, 5);
        assert_eq!(count(&hiss), 0);
        hiss[40_000] = 0.5;
        assert_eq!(count(&hiss), 1);
    }

    #[test]
    fn a_tone_that_begins_is_no_click() {
        let samples: Vec<f64> = (0..96_000)
            .map(|n| {
                let t = f64::from(n) / 48_000.0 - 1.0;
                0.5 * (t / 0.005).clamp(0.0, 1.0) * (TAU * 3150.0 * t).sin()
            })
            .collect();
        assert_eq!(count(&samples), 0);
    }
}
