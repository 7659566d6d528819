//! One band of a stream as a slow complex signal about 0 Hz.

use super::fir::low_pass;
use super::halving::Halvers;
use super::overlap_save::{OverlapSave, Plan};
use crate::signal::statistics::mean;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Extracts a band of real samples as complex samples at a low rate.
///
/// A sine of amplitude `a` inside the flat part gives |z| = `a`. A low band is halved in rate first, as often as there
/// is room, so that the sharp filter works at a low rate.
#[derive(Clone)]
pub struct Baseband {
    rate_hz: f64,
    halvers: Halvers<f64>,
    /// What came out of the halvers.
    halved: Vec<f64>,
    /// How many of those are still to be left out: they hear the silence before the stream.
    unsettled: usize,
    plan: Plan,
    save: OverlapSave,
    half_taps: usize,
    /// Samples fed to the sharp filter.
    fed: usize,
}

/// Attenuation of what would fold onto the band when the rate is halved, dB: below what the sharp filter leaves.
const HALVING_DB: f64 = 120.0;
/// Lowest rate for the sharp filter, as a multiple of the band's width: lower ones save nothing.
const LEAST_RATE: f64 = 4.0;

/// The extracted band.
#[derive(Debug, Clone)]
pub struct Band {
    /// Complex samples; the phase is that against a tone of `centre_hz` that has phase 0 at time 0.
    pub samples: Vec<Complex64>,
    /// Sample rate of `samples`, Hz.
    pub rate_hz: f64,
    /// Frequency that stands at 0 Hz.
    pub centre_hz: f64,
    /// Time of the first of `samples`, s after the first input sample.
    pub first_s: f64,
}

impl Band {
    /// Time of sample `index`, s after the first input sample.
    pub fn time_s(&self, index: usize) -> f64 {
        self.first_s + index as f64 / self.rate_hz
    }
}

impl Baseband {
    /// Band of `flat_hz` on either side of (about) `centre_hz`, gone `transition_hz` further out.
    ///
    /// The band has to lie between 0 Hz and half the sample rate; what reaches beyond is cut off.
    pub fn new(rate_hz: f64, centre_hz: f64, flat_hz: f64, transition_hz: f64) -> Self {
        Self::below(rate_hz, centre_hz, centre_hz, flat_hz, transition_hz)
    }

    /// Bands about each of `centres_hz` whose samples stand at the same times: what belongs together (a tone and its
    /// harmonics) can be multiplied sample by sample.
    pub fn together(rate_hz: f64, centres_hz: &[f64], flat_hz: f64, transition_hz: f64) -> Vec<Self> {
        let highest_hz = centres_hz.iter().copied().fold(0.0, f64::max);
        let band = |&hz: &f64| Self::below(rate_hz, hz, highest_hz, flat_hz, transition_hz);
        centres_hz.iter().map(band).collect()
    }

    /// The band about `centre_hz`, halved in rate only as far as one about `highest_hz` allows.
    fn below(rate_hz: f64, centre_hz: f64, highest_hz: f64, flat_hz: f64, transition_hz: f64) -> Self {
        let reach_hz = flat_hz + transition_hz;
        let halvers = Halvers::new(rate_hz, highest_hz + reach_hz, LEAST_RATE * 2.0 * reach_hz, HALVING_DB);
        let low_rate_hz = halvers.output_rate_hz();
        let mut taps = low_pass(low_rate_hz, flat_hz, transition_hz, 100.0);
        let half_taps = taps.len() / 2;
        let plan = Plan::new(low_rate_hz, centre_hz, 2.0 * reach_hz, taps.len());
        let shift = TAU * centre_hz / low_rate_hz;
        // The real band-pass; its mirror image at negative frequencies is not picked by the plan.
        for (n, tap) in taps.iter_mut().enumerate() {
            *tap *= 2.0 * (shift * (n as f64 - half_taps as f64)).cos();
        }
        // `OverlapSave` makes the analytic signal, which doubles the positive frequencies; so does the shift above.
        let save = OverlapSave::new(&plan, vec![plan.response(&taps)]);
        let unsettled = halvers.unsettled();
        Self { rate_hz, halvers, halved: Vec::new(), unsettled, plan, save, half_taps, fed: 0 }
    }

    /// The same band of two channels.
    pub fn pair(rate_hz: f64, centre_hz: f64, flat_hz: f64, transition_hz: f64) -> [Self; 2] {
        let band = Self::new(rate_hz, centre_hz, flat_hz, transition_hz);
        [band.clone(), band]
    }

    /// Feeds samples; blocks of any size give the same result.
    pub fn feed(&mut self, samples: &[f64]) {
        self.halved.clear();
        self.halvers.feed(samples, &mut self.halved);
        let out = self.unsettled.min(self.halved.len());
        self.unsettled -= out;
        self.fed += self.halved.len() - out;
        self.save.feed(&self.halved[out..]);
    }

    /// The band of all that was fed, without the filter's rise and fall at the ends.
    ///
    /// Empty if less than the filter's own length was fed.
    pub fn finish(mut self) -> Band {
        self.save.flush();
        let decimation = self.plan.decimation();
        let low_rate_hz = self.plan.rate_hz;
        let rate_hz = self.plan.output_rate_hz();
        let centre_hz = self.plan.centre_hz();
        let taps = 2 * self.half_taps + 1;
        let from = (taps - 1).div_ceil(decimation);
        let to = self.fed.div_ceil(decimation);
        let out = self.save.output(0);
        let samples = if from < to && to <= out.len() { &out[from..to] } else { &[] };
        // The filter delays by half its taps; the shift to 0 Hz does not know of that delay, nor of what was left out
        // before.
        let delay_s = self.half_taps as f64 / low_rate_hz - self.start_s();
        let first_s = (from * decimation) as f64 / low_rate_hz - delay_s;
        let undo = Complex64::from_polar(1.0, TAU * (centre_hz * delay_s).rem_euclid(1.0));
        let samples = samples.iter().map(|z| z * undo).collect();
        Band { samples, rate_hz, centre_hz, first_s }
    }

    /// Time of the first sample that the sharp filter is fed, s after the first input sample.
    fn start_s(&self) -> f64 {
        (self.halvers.unsettled() * self.halvers.factor()) as f64 / self.rate_hz
    }

    /// Sample rate of the band, Hz.
    pub fn output_rate_hz(&self) -> f64 {
        self.plan.output_rate_hz()
    }

    /// Time that the filter needs before its first and after its last sample, s.
    pub fn margin_s(&self) -> f64 {
        self.half_taps as f64 / self.plan.rate_hz + self.start_s()
    }
}

/// Mean powers of the whole blocks of `size` samples.
pub(crate) fn block_powers(samples: &[Complex64], size: usize) -> Vec<f64> {
    samples.chunks_exact(size).map(|block| mean(block.iter().map(Complex64::norm_sqr))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amplitude_phase_and_time_are_right() {
        for (rate_hz, hz) in [(44_100.0, 400.0), (48_000.0, 16_000.0), (96_000.0, 60.0), (44_100.0, 20_000.0)]
        {
            let mut band = Baseband::new(rate_hz, hz * 1.01, 0.04 * hz + 100.0, 0.02 * hz + 50.0);
            let samples: Vec<f64> =
                (0..rate_hz as usize).map(|n| 0.25 * (TAU * hz * n as f64 / rate_hz - 1.0).cos()).collect();
            for block in samples.chunks(777) {
                band.feed(block);
            }
            let band = band.finish();
            assert!(band.samples.len() > 100);
            for i in [60, band.samples.len() / 2, band.samples.len() - 60] {
                let t_s = band.time_s(i);
                let want = Complex64::from_polar(0.25, TAU * (hz - band.centre_hz) * t_s - 1.0);
                // A low tone's mirror image passes the wide band too, 120 Hz away; look at the others only.
                if hz > 200.0 {
                    crate::assert_within!(
                        (band.samples[i] - want).norm(),
                        0.0,
                        2e-5,
                        "",
                        "{rate_hz} {hz} {i}"
                    );
                }
            }
        }
    }
}
