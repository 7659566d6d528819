//! A-weighted noise of the pause between two settings.

use crate::measure::meter::Meter;
use crate::measure::noise::missing;
use crate::measure::noise::reference::dbfs;
use crate::measure::noise::silence::{UNWEIGHTED_HZ, weight};
use crate::signal::spectrum::Welch;

/// A-weighted mean squares of a silence, `[left, right]`, and its length, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PauseNoise {
    pub a_weighted: [f64; 2],
    pub length_s: f64,
}

impl PauseNoise {
    /// A-weighted level, dBFS; `None` for digital silence.
    pub fn dbfs(&self, channel: usize) -> Option<f64> {
        dbfs(self.a_weighted[channel])
    }

    /// Expanded uncertainty of a level, dB: noise of some 3 kHz of bandwidth over this time, and 0.1 dB for the edges.
    pub fn uncertainty_db(&self) -> f64 {
        (2.0 * 4.343 / (3000.0 * self.length_s).sqrt()).hypot(0.1)
    }
}

/// Measures the noise of a short pause in both channels.
pub(crate) struct PauseMeter {
    rate_hz: f64,
    length_s: f64,
    channels: [Welch; 2],
}

impl Meter for PauseMeter {
    /// Length of the pause, s.
    type Plan = f64;
    type Output = Option<PauseNoise>;

    fn new(rate_hz: f64, length_s: f64) -> Option<Self> {
        // Bins of some 3 Hz: A-weighting has nothing finer.
        let length = ((rate_hz * 0.3) as usize).next_power_of_two();
        Some(Self { rate_hz, length_s, channels: [Welch::new(rate_hz, length), Welch::new(rate_hz, length)] })
    }

    fn feed(&mut self, block: [&[f64]; 2]) {
        self.channels.iter_mut().zip(block).for_each(|(welch, samples)| welch.feed(samples));
    }

    /// `None` if less than one segment was fed, a sample was no number, or the sample rate leaves out too much.
    fn finish(self) -> Option<PauseNoise> {
        let densities = self.channels.map(Welch::finish);
        if densities[0].segments == 0 || missing::a_weighted_db(self.rate_hz).is_none() {
            return None;
        }
        let high_hz = UNWEIGHTED_HZ.1.min(self.rate_hz / 2.0);
        let a_weighted = densities.map(|density| density.power(UNWEIGHTED_HZ.0, high_hz, weight));
        let sound = a_weighted.iter().all(|power| power.is_finite());
        sound.then_some(PauseNoise { a_weighted, length_s: self.length_s })
    }
}
