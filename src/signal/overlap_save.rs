//! Fast convolution in blocks (overlap-save), with frequency shift and decimation in one go.
//!
//! Each block of the real input is transformed once; every filter picks its band of bins, multiplies them by its
//! response and transforms them back at a lower rate. The result is the analytic signal of the band, shifted to 0 Hz.

use inner_loops::Precision;
use num_complex::{Complex, Complex64};
use realfft::RealToComplex;
use rustfft::Fft;
use std::f64::consts::TAU;
use std::sync::Arc;

/// Several decimating band filters over one stream of real samples.
#[derive(Clone)]
pub struct OverlapSave<T: Precision = f64> {
    forward: Arc<dyn RealToComplex<T>>,
    backward: Arc<dyn Fft<T>>,
    /// Responses in the order in which the backward transform takes its bins.
    filters: Arc<Vec<Vec<Complex<T>>>>,
    outputs: Vec<Vec<Complex<T>>>,
    input: Vec<T>,
    filled: usize,
    hop: usize,
    first_bin: usize,
    decimation: usize,
    blocks: u64,
    time: Vec<T>,
    bins: Vec<Complex<T>>,
    scratch: Vec<Complex<T>>,
    band: Vec<Complex<T>>,
    fft: usize,
    skip: usize,
}

/// Sizes of an [`OverlapSave`]: powers of two chosen for a band and the longest impulse response.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plan {
    /// Length of the forward transform, samples.
    pub fft: usize,
    /// Length of the backward transform, samples.
    pub band: usize,
    /// First bin of the band.
    pub first_bin: usize,
    /// Samples that overlap from block to block.
    pub overlap: usize,
    /// Sample rate of the input, Hz.
    pub rate_hz: f64,
}

impl Plan {
    /// A plan for impulse responses of `taps` samples and a band of at least `width_hz` about `centre_hz`.
    pub fn new(rate_hz: f64, centre_hz: f64, width_hz: f64, taps: usize) -> Self {
        let fft = (taps * 4).next_power_of_two().max(1024);
        let band = ((width_hz / rate_hz * fft as f64).ceil() as usize).next_power_of_two().clamp(2, fft / 2);
        let decimation = fft / band;
        let overlap = (taps - 1).div_ceil(decimation) * decimation;
        let centre = (centre_hz / rate_hz * fft as f64).round() as i64;
        let first_bin = (centre - band as i64 / 2).clamp(0, (fft / 2 - band) as i64) as usize;
        Self { fft, band, first_bin, overlap, rate_hz }
    }

    /// Input samples for each output sample.
    pub fn decimation(&self) -> usize {
        self.fft / self.band
    }

    /// Frequency that comes out as 0 Hz.
    pub fn centre_hz(&self) -> f64 {
        (self.first_bin + self.band / 2) as f64 * self.rate_hz / self.fft as f64
    }

    /// Sample rate of the outputs, Hz.
    pub fn output_rate_hz(&self) -> f64 {
        self.rate_hz / self.decimation() as f64
    }

    /// Bins of the band of `taps`, an impulse response no longer than the plan allows.
    pub fn response(&self, taps: &[f64]) -> Vec<Complex64> {
        let forward = f64::real_forward(self.fft);
        let mut time = vec![0.0; self.fft];
        time[..taps.len()].copy_from_slice(taps);
        let mut bins = forward.make_output_vec();
        // The lengths come from the plan itself, so the transform cannot refuse them.
        let _ = forward.process(&mut time, &mut bins);
        bins[self.first_bin..self.first_bin + self.band].to_vec()
    }
}

impl<T: Precision> OverlapSave<T> {
    /// Filters given by their bins within the band (see [`Plan::response`]), all over the same stream.
    pub fn new(plan: &Plan, filters: Vec<Vec<Complex64>>) -> Self {
        let forward = T::real_forward(plan.fft);
        let backward = T::complex_inverse(plan.band);
        let scratch_len = forward.get_scratch_len().max(backward.get_inplace_scratch_len());
        let scale = 2.0 / plan.fft as f64;
        let nothing = Complex::new(T::zero(), T::zero());
        Self {
            outputs: vec![Vec::new(); filters.len()],
            filters: Arc::new(filters.iter().map(|bins| arranged(bins, scale)).collect()),
            // The stream is preceded by silence, so that the first output belongs to the first input.
            input: vec![T::zero(); plan.fft],
            filled: plan.overlap,
            hop: plan.fft - plan.overlap,
            first_bin: plan.first_bin,
            decimation: plan.decimation(),
            blocks: 0,
            time: vec![T::zero(); plan.fft],
            bins: vec![nothing; plan.fft / 2 + 1],
            scratch: vec![nothing; scratch_len],
            band: vec![nothing; plan.band],
            fft: plan.fft,
            skip: plan.overlap / plan.decimation(),
            forward,
            backward,
        }
    }

    /// Feeds samples; blocks of any size give the same result.
    pub fn feed(&mut self, samples: &[T]) {
        let mut rest = samples;
        while !rest.is_empty() {
            let take = rest.len().min(self.fft - self.filled);
            self.input[self.filled..self.filled + take].copy_from_slice(&rest[..take]);
            self.filled += take;
            rest = &rest[take..];
            if self.filled == self.fft {
                self.transform();
            }
        }
    }

    /// Feeds silence until everything fed so far has come out.
    pub fn flush(&mut self) {
        let overlap = self.fft - self.hop;
        let silence = vec![T::zero(); overlap + self.hop];
        self.feed(&silence[..]);
    }

    /// Output of filter `index` so far; sample `i` is the convolution at input sample `i * decimation`.
    pub fn output(&self, index: usize) -> &[Complex<T>] {
        &self.outputs[index]
    }

    /// Forgets all outputs so far.
    pub fn forget(&mut self) {
        self.outputs.iter_mut().for_each(Vec::clear);
    }

    fn transform(&mut self) {
        self.time.copy_from_slice(&self.input);
        // The buffers are made for this plan, so the transform cannot refuse them.
        let _ = self.forward.process_with_scratch(&mut self.time, &mut self.bins, &mut self.scratch);
        let size = self.band.len();
        // The band is shifted to 0 Hz against the block's start; undo it against the stream's start.
        let centre = (self.first_bin + size / 2) as u64;
        let start = (self.blocks * self.hop as u64) % self.fft as u64;
        // Block 0 starts `overlap` samples before the stream.
        let overlap = (self.fft - self.hop) as u64;
        let turns = (centre * start % self.fft as u64) as f64 / self.fft as f64
            - (centre * overlap % self.fft as u64) as f64 / self.fft as f64;
        let turn = narrowed(Complex64::from_polar(1.0, -TAU * turns));
        let picked = &self.bins[self.first_bin..self.first_bin + size];
        for (filter, output) in self.filters.iter().zip(&mut self.outputs) {
            // Bin `size / 2` goes to 0 Hz.
            let (below, above) = picked.split_at(size / 2);
            let (low, high) = self.band.split_at_mut(size - size / 2);
            multiply(low, above, &filter[..low.len()]);
            multiply(high, below, &filter[low.len()..]);
            self.backward.process_with_scratch(&mut self.band, &mut self.scratch);
            output.extend(self.band[self.skip..].iter().map(|z| z * turn));
        }
        self.blocks += 1;
        self.input.copy_within(self.hop.., 0);
        self.filled = self.fft - self.hop;
        debug_assert_eq!(self.skip * self.decimation, self.fft - self.hop);
    }
}

/// `bins` times `scale`, upper half first.
fn arranged<T: Precision>(bins: &[Complex64], scale: f64) -> Vec<Complex<T>> {
    let (below, above) = bins.split_at(bins.len() / 2);
    above.iter().chain(below).map(|bin| narrowed(bin * scale)).collect()
}

fn multiply<T: Precision>(products: &mut [Complex<T>], bins: &[Complex<T>], gains: &[Complex<T>]) {
    for ((product, bin), gain) in products.iter_mut().zip(bins).zip(gains) {
        *product = bin * gain;
    }
}

/// The number in the precision of the filters.
fn narrowed<T: Precision>(z: Complex64) -> Complex<T> {
    // Both floating-point types take any number.
    let real = |x: f64| T::from_f64(x).unwrap_or_else(T::zero);
    Complex::new(real(z.re), real(z.im))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::fir::low_pass;

    fn extractor(rate_hz: f64, hz: f64) -> (Plan, OverlapSave, f64) {
        let mut taps = low_pass(rate_hz, 300.0, 100.0, 100.0);
        let half = (taps.len() / 2) as f64;
        let plan = Plan::new(rate_hz, hz, 900.0, taps.len());
        // Shift the low-pass to the centre; the real part suffices, the mirror image lies outside the band.
        for (n, tap) in taps.iter_mut().enumerate() {
            *tap *= 2.0 * (TAU * plan.centre_hz() / rate_hz * (n as f64 - half)).cos();
        }
        let response = plan.response(&taps);
        let save = OverlapSave::new(&plan, vec![response]);
        (plan, save, half)
    }

    #[test]
    fn a_tone_comes_out_with_its_amplitude_and_phase() {
        for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
            let (plan, mut save, half) = extractor(rate_hz, 3150.0);
            let hz = 3201.7;
            let samples: Vec<f64> =
                (0..60_000).map(|n| 0.3 * (TAU * hz * n as f64 / rate_hz + 0.4).cos()).collect();
            save.feed(&samples);
            save.flush();
            let out = save.output(0);
            for i in [200, 300, 301, 400] {
                let at_s = ((i * plan.decimation()) as f64 - half) / rate_hz;
                let in_s = (i * plan.decimation()) as f64 / rate_hz;
                let z = out[i] * Complex64::from_polar(1.0, TAU * plan.centre_hz() * in_s);
                let want = Complex64::from_polar(0.3, TAU * hz * at_s + 0.4);
                crate::assert_within!((z - want).norm(), 0.0, 1e-5, "", "rate {rate_hz}, output {i}");
            }
        }
    }

    #[test]
    fn any_cut_into_blocks_gives_the_same_samples() {
        let samples: Vec<f64> = (0..30_000).map(|n| ((n * n) % 1013) as f64 / 1013.0 - 0.5).collect();
        let (_, mut whole, _) = extractor(48_000.0, 1000.0);
        whole.feed(&samples);
        whole.flush();
        let (_, mut cut, _) = extractor(48_000.0, 1000.0);
        let mut at = 0;
        for size in [1usize, 7, 1000, 4096, 5, 20_000, 30_000] {
            let end = (at + size).min(samples.len());
            cut.feed(&samples[at..end]);
            at = end;
        }
        cut.flush();
        assert_eq!(whole.output(0), cut.output(0));
    }
}
