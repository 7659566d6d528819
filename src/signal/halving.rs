//! Lower sample rates for what lies at low frequencies: half-band filters in a row, each halving the rate.
//!
//! Every other tap of a half-band filter is 0, and the first ones in a row may be short because there is much room
//! between what is kept and what would fold onto it. So the costly filters behind work at a fraction of the rate.

use super::fir::low_pass;
use rustfft::FftNum;

/// Outputs computed side by side.
const LANES: usize = 8;

/// Kaiser's formulas promise up to this much too much of filters as short as these.
const SHORT_DB: f64 = 14.0;

/// One half-band filter that halves the rate. Output `k` stands for input `2 k`: there is no delay in it.
#[derive(Debug, Clone)]
struct Halver<T> {
    centre: T,
    /// Taps at the distances 1, 3, 5 ... on either side.
    pairs: Vec<T>,
    /// Even samples for which no output was given.
    even: Vec<T>,
    /// Odd samples; the first `pairs.len()` of them precede those samples.
    odd: Vec<T>,
}

impl<T: FftNum> Halver<T> {
    /// Keeps what lies below `pass_hz` of samples at `rate_hz`; what would fold onto it is `attenuation_db` down.
    fn new(rate_hz: f64, pass_hz: f64, attenuation_db: f64) -> Self {
        let taps = low_pass(rate_hz, pass_hz, rate_hz / 2.0 - 2.0 * pass_hz, attenuation_db + SHORT_DB);
        let half = taps.len() / 2;
        let pairs: Vec<T> = taps[half + 1..].iter().step_by(2).map(|&tap| real(tap)).collect();
        // Silence precedes the stream.
        let odd = vec![T::zero(); pairs.len()];
        Self { centre: real(taps[half]), pairs, even: Vec::new(), odd }
    }

    /// Outputs at the start of the stream that still hear the silence before it, if the first `unsettled` inputs do.
    fn unsettled(&self, unsettled: usize) -> usize {
        (unsettled + 2 * self.pairs.len() - 1).div_ceil(2)
    }

    fn feed(&mut self, samples: &[T], out: &mut Vec<T>) {
        let mut rest = samples;
        // In the middle of a pair its odd sample comes next.
        if self.even.len() + self.pairs.len() > self.odd.len()
            && let Some((first, behind)) = rest.split_first()
        {
            self.odd.push(*first);
            rest = behind;
        }
        let pairs = rest.chunks_exact(2);
        let single = pairs.remainder();
        self.even.extend(pairs.clone().map(|pair| pair[0]));
        self.even.extend(single);
        self.odd.extend(pairs.map(|pair| pair[1]));
        self.filter(out);
    }

    fn filter(&mut self, out: &mut Vec<T>) {
        let reach = self.pairs.len();
        let count = self.even.len().min((self.odd.len() + 1).saturating_sub(2 * reach));
        let whole = count / LANES * LANES;
        for k in (0..whole).step_by(LANES) {
            let mut sums: [T; LANES] = std::array::from_fn(|i| self.centre * self.even[k + i]);
            for (j, &tap) in self.pairs.iter().enumerate() {
                let before = &self.odd[k + reach - 1 - j..][..LANES];
                let after = &self.odd[k + reach + j..][..LANES];
                for i in 0..LANES {
                    sums[i] = sums[i] + tap * (before[i] + after[i]);
                }
            }
            out.extend_from_slice(&sums);
        }
        // The same sums in the same order one by one, so that the cut into blocks changes no bit.
        for k in whole..count {
            let sum = self.pairs.iter().enumerate().fold(self.centre * self.even[k], |sum, (j, &tap)| {
                sum + tap * (self.odd[k + reach - 1 - j] + self.odd[k + reach + j])
            });
            out.push(sum);
        }
        self.even.drain(..count);
        self.odd.drain(..count);
    }
}

/// Half-band filters in a row; none if there is no room for one.
#[derive(Debug, Clone)]
pub struct Halvers<T> {
    stages: Vec<Halver<T>>,
    between: [Vec<T>; 2],
    rate_hz: f64,
}

/// What is to be kept must leave a transition of this share of the rate to the filter.
const LEAST_TRANSITION: f64 = 0.15;

impl<T: FftNum> Halvers<T> {
    /// Keeps what lies below `pass_hz` of samples at `rate_hz`, at a rate of at least `least_rate_hz`; what would
    /// fold onto it is `attenuation_db` down.
    pub fn new(rate_hz: f64, pass_hz: f64, least_rate_hz: f64, attenuation_db: f64) -> Self {
        let mut this = Self { stages: Vec::new(), between: [Vec::new(), Vec::new()], rate_hz };
        while this.rate_hz / 2.0 >= least_rate_hz
            && this.rate_hz / 2.0 - 2.0 * pass_hz >= LEAST_TRANSITION * this.rate_hz
        {
            this.stages.push(Halver::new(this.rate_hz, pass_hz, attenuation_db));
            this.rate_hz /= 2.0;
        }
        this
    }

    /// Inputs for each output.
    pub fn factor(&self) -> usize {
        1 << self.stages.len()
    }

    /// Sample rate of the outputs, Hz.
    pub fn output_rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Outputs at the start of the stream that hear the silence before it. Output `k` stands for input `factor k`.
    pub fn unsettled(&self) -> usize {
        self.stages.iter().fold(0, |unsettled, stage| stage.unsettled(unsettled))
    }

    /// Feeds samples and appends the outputs that they complete to `out`; blocks of any size give the same outputs.
    pub fn feed(&mut self, samples: &[T], out: &mut Vec<T>) {
        let Some((last, stages)) = self.stages.split_last_mut() else {
            out.extend_from_slice(samples);
            return;
        };
        let [from, to] = &mut self.between;
        for (k, stage) in stages.iter_mut().enumerate() {
            to.clear();
            stage.feed(if k == 0 { samples } else { from }, to);
            std::mem::swap(from, to);
        }
        last.feed(if stages.is_empty() { samples } else { from }, out);
    }

    /// Feeds silence until all that was fed has come out.
    pub fn flush(&mut self, out: &mut Vec<T>) {
        let silence = vec![T::zero(); (self.unsettled() + 1) * self.factor()];
        self.feed(&silence, out);
    }
}

/// The number in the precision of the filter.
fn real<T: FftNum>(x: f64) -> T {
    // Both floating-point types take any number.
    T::from_f64(x).unwrap_or_else(T::zero)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::sampled;
    use std::f64::consts::TAU;

    fn halved(samples: &[f64], cuts: &[usize]) -> Vec<f64> {
        let mut halvers = Halvers::new(48_000.0, 1200.0, 6000.0, 120.0);
        assert_eq!((halvers.factor(), halvers.output_rate_hz()), (8, 6000.0));
        let mut out = Vec::new();
        let mut rest = samples;
        for &cut in cuts.iter().cycle() {
            let (head, tail) = rest.split_at(cut.min(rest.len()));
            halvers.feed(head, &mut out);
            rest = tail;
            if rest.is_empty() {
                return out;
            }
        }
        out
    }

    fn tone(hz: f64) -> Vec<f64> {
        sampled(48_000.0, 48_000, |t| (TAU * hz * t + 0.3).sin())
    }

    #[test]
    fn what_is_kept_keeps_amplitude_and_time() {
        for hz in [0.0, 50.0, 700.0, 1200.0] {
            let out = halved(&tone(hz), &[5000]);
            let from = Halvers::<f64>::new(48_000.0, 1200.0, 6000.0, 120.0).unsettled();
            assert!(from > 4 && out.len() > 5900);
            for (k, got) in out.iter().enumerate().skip(from) {
                let want = (TAU * hz * k as f64 / 6000.0 + 0.3).sin();
                // Ripple goes with the attenuation; three stages, and 3 dB more in each at worst.
                crate::assert_within!(*got, want, 6e-6, "", "{hz} Hz, output {k}");
            }
        }
    }

    #[test]
    fn what_would_fold_onto_it_is_gone() {
        // 4.8, 10.8, 22.8 kHz fold onto 1.2 kHz in the third, second and first stage.
        for hz in [4800.0, 5500.0, 10_800.0, 12_900.0, 22_800.0, 23_999.0] {
            let most = halved(&tone(hz), &[5000])[40..].iter().fold(0.0, |most: f64, x| most.max(x.abs()));
            assert!(most < 1e-6, "{hz} Hz: {most}");
        }
    }

    #[test]
    fn any_cut_into_blocks_gives_the_same_samples() {
        let samples: Vec<f64> = (0..30_000).map(|n| ((n * n) % 1013) as f64 / 1013.0 - 0.5).collect();
        let whole = halved(&samples, &[30_000]);
        for cuts in [&[1usize, 7, 1000, 4096, 5, 2][..], &[1], &[3], &[0, 2, 16_384], &[17, 0, 1]] {
            assert_eq!(whole, halved(&samples, cuts), "{cuts:?}");
        }
    }
}
