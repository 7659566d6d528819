//! The newest sound: the last half minute of both channels, so that a meter can be fed any stretch of it.

/// What is kept, s.
pub(crate) const KEPT_S: f64 = 32.0;
/// Samples handed on at a time.
const PIECE: usize = 4096;

/// The last [`KEPT_S`] seconds. Its memory is asked for once.
///
/// Kept in single precision, which holds 24 bits: no recorder that runs live gives more.
pub(crate) struct Ring {
    rate_hz: f64,
    channels: [Vec<f32>; 2],
    /// Samples of one channel that ever came.
    count: u64,
    piece: [Vec<f64>; 2],
}

impl Ring {
    /// For samples at `rate_hz`.
    pub fn new(rate_hz: f64) -> Self {
        let length = ((KEPT_S * rate_hz) as usize).max(1);
        let channel = || vec![0.0; length];
        let piece = || vec![0.0; PIECE];
        Self { rate_hz, channels: [channel(), channel()], count: 0, piece: [piece(), piece()] }
    }

    /// Sample rate, Hz.
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Samples of one channel that came so far.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// The oldest sample that is still there.
    pub fn oldest(&self) -> u64 {
        self.count.saturating_sub(self.channels[0].len() as u64)
    }

    /// Time of a sample, s since the first.
    pub fn at_s(&self, sample: u64) -> f64 {
        sample as f64 / self.rate_hz
    }

    /// The sample at a time, s since the first.
    pub fn sample(&self, at_s: f64) -> u64 {
        (at_s * self.rate_hz).max(0.0) as u64
    }

    /// Adds a block; both channels are as long as the shorter one.
    pub fn feed(&mut self, block: [&[f64]; 2]) {
        let length = self.channels[0].len();
        let frames = block[0].len().min(block[1].len());
        for (channel, samples) in self.channels.iter_mut().zip(block) {
            let mut at = (self.count % length as u64) as usize;
            for &x in &samples[..frames] {
                channel[at] = x as f32;
                at += 1;
                if at == length {
                    at = 0;
                }
            }
        }
        self.count += frames as u64;
    }

    /// Hands on the samples `from..to` that are there, in pieces.
    pub fn read(&mut self, from: u64, to: u64, sink: &mut dyn FnMut([&[f64]; 2])) {
        let length = self.channels[0].len() as u64;
        let (mut at, to) = (from.max(self.oldest()), to.min(self.count));
        while at < to {
            let place = (at % length) as usize;
            let frames = PIECE.min((to - at) as usize).min(length as usize - place);
            for (piece, channel) in self.piece.iter_mut().zip(&self.channels) {
                for (slot, &x) in piece.iter_mut().zip(&channel[place..place + frames]) {
                    *slot = f64::from(x);
                }
            }
            sink([&self.piece[0][..frames], &self.piece[1][..frames]]);
            at += frames as u64;
        }
    }

    /// Fills `into` with the samples from `from` on, as many as it is long; false if they are not all there.
    pub fn copy(&self, from: u64, into: [&mut [f64]; 2]) -> bool {
        let length = self.channels[0].len() as u64;
        let there = from >= self.oldest() && from + into[0].len() as u64 <= self.count;
        if there {
            for (into, channel) in into.into_iter().zip(&self.channels) {
                for (slot, at) in into.iter_mut().zip(from..) {
                    *slot = f64::from(channel[(at % length) as usize]);
                }
            }
        }
        there
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_newest_samples_are_there_whatever_the_blocks() {
        let mut ring = Ring::new(1000.0);
        let all: Vec<f64> = (0..50_000).map(|n| f64::from(n % 4001) / 4096.0).collect();
        for block in all.chunks(777) {
            ring.feed([block, block]);
        }
        assert_eq!((ring.count(), ring.oldest()), (50_000, 18_000));
        let mut got = Vec::new();
        ring.read(10_000, 60_000, &mut |block| got.extend_from_slice(block[1]));
        assert_eq!(got, all[18_000..]);
        let mut copy = [vec![0.0; 500], vec![0.0; 500]];
        let [left, right] = &mut copy;
        assert!(ring.copy(31_900, [left, right]));
        assert_eq!(copy[0], all[31_900..32_400]);
        let [left, right] = &mut copy;
        assert!(!ring.copy(49_600, [left, right]) && !ring.copy(17_999, [&mut [0.0], &mut [0.0]]));
    }
}
