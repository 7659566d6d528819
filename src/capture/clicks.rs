//! Clicks: pulses of a few samples, as lost samples, a bad contact or an overrun buffer make them.

use crate::signal::statistics::median;

/// Samples looked at together.
const PIECE: usize = 64;
/// A click bends the course of the samples by so many times what is usual beside it, ...
const STANDS_OUT: f64 = 15.0;
/// ... by at least so much of full scale, ...
const LEAST_BEND: f64 = 0.05;
/// ... and over at most so many samples: what begins or ends goes on.
const MOST_SAMPLES: u32 = 8;

/// Counts clicks in one channel.
#[derive(Debug, Clone)]
pub(super) struct Clicks {
    /// The last two samples of the piece before, then those of this one, as far as they have come.
    samples: [f64; PIECE + 2],
    filled: usize,
    /// The last loud piece, if it was the one before.
    beside: Option<[f64; PIECE]>,
    count: u64,
}

impl Default for Clicks {
    fn default() -> Self {
        Self { samples: [0.0; PIECE + 2], filled: 2, beside: None, count: 0 }
    }
}

impl Clicks {
    /// Feeds samples; blocks of any size give the same result.
    pub(super) fn feed(&mut self, samples: &[f64]) {
        let mut rest = samples;
        while !rest.is_empty() {
            let room = &mut self.samples[self.filled..];
            let (now, later) = rest.split_at(room.len().min(rest.len()));
            room[..now.len()].copy_from_slice(now);
            self.filled += now.len();
            rest = later;
            if self.filled == PIECE + 2 {
                self.judge();
                self.samples.copy_within(PIECE.., 0);
                self.filled = 2;
            }
        }
    }

    fn judge(&mut self) {
        let bends = bends(&self.samples);
        let many = |least: f64| bends.iter().map(|bend| u32::from(*bend >= least)).sum::<u32>();
        if many(LEAST_BEND) == 0 {
            // Quiet: what is usual is found only where it is asked for.
            self.beside = None;
            return;
        }
        let most = bends.iter().copied().fold(0.0, f64::max);
        // What is usual is looked for only where something may stand out.
        let is_click = many(0.25 * most) <= MOST_SAMPLES && {
            let usual = median(bends);
            let beside = self.beside.map_or(usual, |beside| median(beside).max(usual));
            most > STANDS_OUT * beside
        };
        if is_click {
            self.count += 1;
        } else {
            self.beside = Some(bends);
        }
    }

    pub(super) fn count(&self) -> u64 {
        self.count
    }
}

/// How far each of `samples` but the first two bends from the line through those before: second differences.
fn bends(samples: &[f64; PIECE + 2]) -> [f64; PIECE] {
    std::array::from_fn(|n| (samples[n + 2] - 2.0 * samples[n + 1] + samples[n]).abs())
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
