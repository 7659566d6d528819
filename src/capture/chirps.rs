//! Finds the chirps of slates in one channel by matched filters.
//!
//! The search runs at a low rate and in single precision: chirps lie below 3.2 kHz, and rounding errors 140 dB down
//! move none by a microsecond.

use crate::programme::slate::{self, CHIRP_S, HIGH_HZ, LOW_HZ};
use crate::signal::fir::low_pass;
use crate::signal::fit::top_of_row;
use crate::signal::halving::Halvers;
use crate::signal::overlap_save::{OverlapSave, Plan};
use num_complex::{Complex32, Complex64};
use std::f64::consts::TAU;

/// Correlation below which a peak is not kept: noise alone passes it once or twice a second.
const KEEP_CORRELATION: f64 = 0.22;
/// Amplitude of the band below which there is nothing to be found: -100 dBFS, under the dither of any converter.
const LEAST_AMPLITUDE: f64 = 1e-5;
/// Two chirps of one kind are never closer than this, s.
const APART_S: f64 = 0.004;

/// What lies above this is not needed for the search, Hz: the band against which correlation is measured ends below.
const PASS_HZ: f64 = HIGH_HZ + 500.0;
/// Lowest sample rate for the search, Hz.
const LEAST_RATE_HZ: f64 = 11_000.0;
/// Attenuation of what would fold into the search, dB.
const HALVING_DB: f64 = 90.0;
/// Samples turned to single precision at a time.
const PIECE: usize = 4096;

/// Outputs after which the running sum of energies is added up anew.
const RENEW_SUM: u64 = 4096;

/// One chirp, or something like it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chirp {
    /// Where it seems to start, s; a wrong speed shifts it (see [`slate::shift_s`]).
    pub at_s: f64,
    /// Rising or falling.
    pub rising: bool,
    /// Normalised correlation with a chirp: the share of the amplitude in its band that is this chirp, 0 to 1.
    pub correlation: f64,
    /// Amplitude, full scale 1.
    pub amplitude: f64,
    /// Phase against the chirp as written, rad; pi if inverted.
    pub phase: f64,
}

/// Matched filters for both kinds of chirp over one channel.
pub struct ChirpFinder {
    plan: Plan,
    halvers: Halvers<f32>,
    single: Vec<f32>,
    halved: Vec<f32>,
    save: OverlapSave<f32>,
    template_energy: f64,
    lead_s: f64,
    /// Energies over the length of a chirp, the oldest at `oldest`.
    energies: Vec<f64>,
    oldest: usize,
    energy_sum: f64,
    least_energy: f64,
    seen: u64,
    /// The last two outputs of each kind.
    last: [[Complex32; 2]; 2],
    powers: [Vec<f32>; 2],
    band: Vec<f32>,
    found: Vec<Chirp>,
}

impl ChirpFinder {
    /// A finder for samples at `rate_hz`.
    pub fn new(rate_hz: f64) -> Self {
        let halvers = Halvers::new(rate_hz, PASS_HZ, LEAST_RATE_HZ, HALVING_DB);
        let rate_hz = halvers.output_rate_hz();
        let template = |rising| -> Vec<f64> {
            let frames = (CHIRP_S * rate_hz).round() as usize;
            (0..=frames).map(|n| slate::chirp(n as f64 / rate_hz, rising)).collect()
        };
        let mut rising = template(true);
        let mut falling = template(false);
        let template_energy = rising.iter().map(|x| x * x).sum();
        rising.reverse();
        falling.reverse();
        let centre = (LOW_HZ + HIGH_HZ) / 2.0;
        let plan = Plan::new(rate_hz, centre, 5200.0, rising.len());
        // The band against whose level correlation is measured, a little wider than the chirp at 6 % too fast.
        let mut band = low_pass(rate_hz, (HIGH_HZ - LOW_HZ) / 2.0 + 100.0, 300.0, 100.0);
        let half = band.len() / 2;
        for (n, tap) in band.iter_mut().enumerate() {
            *tap *= 2.0 * (TAU * centre / rate_hz * (n as f64 - half as f64)).cos();
        }
        let filters = vec![plan.response(&rising), plan.response(&falling), plan.response(&band)];
        let decimation = plan.decimation();
        Self {
            save: OverlapSave::new(&plan, filters),
            template_energy,
            lead_s: (rising.len() - 1) as f64 / rate_hz,
            // The band filter lags. The lag means that the window ends a little early; a chirp's own fade makes up for it.
            energies: vec![0.0; (CHIRP_S * plan.output_rate_hz()).round() as usize + half / decimation],
            oldest: 0,
            energy_sum: 0.0,
            least_energy: LEAST_AMPLITUDE * LEAST_AMPLITUDE * template_energy,
            seen: 0,
            last: [[Complex32::default(); 2]; 2],
            powers: [Vec::new(), Vec::new()],
            band: Vec::new(),
            found: Vec::new(),
            single: Vec::with_capacity(PIECE),
            halved: Vec::new(),
            halvers,
            plan,
        }
    }

    /// Feeds samples; blocks of any size give the same result.
    pub fn feed(&mut self, samples: &[f64]) {
        for piece in samples.chunks(PIECE) {
            self.single.clear();
            self.single.extend(piece.iter().map(|&x| x as f32));
            self.halved.clear();
            self.halvers.feed(&self.single, &mut self.halved);
            self.save.feed(&self.halved);
            self.harvest();
        }
    }

    /// Takes the chirps found so far that start before `before_s`, by time: what is later may still change.
    pub fn take_before(&mut self, before_s: f64, taken: &mut Vec<Chirp>) {
        self.found.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        let count = self.found.partition_point(|chirp| chirp.at_s < before_s);
        taken.extend(self.found.drain(..count));
    }

    /// All chirps found, by time.
    pub fn finish(mut self) -> Vec<Chirp> {
        self.halved.clear();
        self.halvers.flush(&mut self.halved);
        self.save.feed(&self.halved);
        self.save.flush();
        self.harvest();
        self.found.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        self.found
    }

    fn harvest(&mut self) {
        let decimation = self.plan.decimation() as f64;
        let count = self.save.output(2).len();
        // Powers of the kinds, those of the last two outputs before them.
        let mut powers = std::mem::take(&mut self.powers);
        for (kind, powers) in powers.iter_mut().enumerate() {
            powers.clear();
            powers.extend(self.last[kind].iter().chain(self.save.output(kind)).map(Complex32::norm_sqr));
        }
        let mut band = std::mem::take(&mut self.band);
        band.clear();
        band.extend(self.save.output(2).iter().map(Complex32::norm_sqr));
        for i in 0..count {
            for (kind, powers) in powers.iter().enumerate() {
                let [before, peak, after] = [powers[i], powers[i + 1], powers[i + 2]];
                // Each is as likely as not: one branch for both.
                if (peak >= before) & (peak > after) && self.correlates(peak) && self.seen > 1 {
                    self.keep(kind == 0, i, peak);
                }
            }
            // Energy of the band over the chirp that ends here.
            let energy = f64::from(band[i]) / 2.0 * decimation;
            let energy = if energy.is_finite() { energy } else { 0.0 };
            self.energy_sum += energy - std::mem::replace(&mut self.energies[self.oldest], energy);
            self.oldest += 1;
            if self.oldest == self.energies.len() {
                self.oldest = 0;
            }
            self.seen += 1;
            // The running sum must not gather rounding errors over hours. When it is renewed depends on the place in
            // the stream only: the cut into blocks must change no bit.
            if self.seen.is_multiple_of(RENEW_SUM) {
                self.energy_sum = self.energies.iter().sum();
            }
        }
        if count > 0 {
            for kind in 0..2 {
                self.last[kind] = [count, count + 1].map(|i| self.correlation(kind, i));
            }
        }
        (self.powers, self.band) = (powers, band);
        self.save.forget();
    }

    /// Correlation `i` of those at hand: the last two and the new ones.
    fn correlation(&self, kind: usize, i: usize) -> Complex32 {
        if i < 2 { self.last[kind][i] } else { self.save.output(kind)[i - 2] }
    }

    /// Power of a correlation if the band's energy over the last chirp's length were all that chirp's.
    fn whole_power(&self) -> f64 {
        self.template_energy * self.energy_sum.max(self.least_energy)
    }

    /// Whether the output before this one, of this power, correlates with a chirp; what is no number is not.
    fn correlates(&self, power: f32) -> bool {
        power.is_finite() && f64::from(power) > KEEP_CORRELATION * KEEP_CORRELATION * self.whole_power()
    }

    /// Keeps the peak at hand number `i + 1`.
    fn keep(&mut self, rising: bool, i: usize, power: f32) {
        let [before, middle, after] = [i, i + 1, i + 2].map(|i| {
            let z = self.correlation(usize::from(!rising), i);
            Complex64::new(f64::from(z.re), f64::from(z.im))
        });
        let correlation = (f64::from(power) / self.whole_power()).sqrt().min(1.0);
        let (b, m, a) = (before.norm(), middle.norm(), after.norm());
        let (offset, height) = top_of_row([b, m, a]);
        let rate_hz = self.plan.output_rate_hz();
        let index = (self.seen - 1) as f64;
        let sampled_s = index / rate_hz;
        let at_s = sampled_s + offset / rate_hz - self.lead_s;
        // Mean frequency of a hyperbolic chirp; the correlation turns with it about its peak.
        let mean_hz = (HIGH_HZ / LOW_HZ).ln() * LOW_HZ * HIGH_HZ / (HIGH_HZ - LOW_HZ);
        let phase = middle.arg()
            + TAU * (self.plan.centre_hz() * sampled_s).rem_euclid(1.0)
            + TAU * mean_hz * offset / rate_hz;
        let amplitude = height / self.template_energy;
        let chirp = Chirp {
            at_s,
            rising,
            correlation,
            amplitude,
            phase: (phase + std::f64::consts::PI).rem_euclid(TAU) - std::f64::consts::PI,
        };
        for earlier in self.found.iter_mut().rev() {
            if at_s - earlier.at_s > APART_S {
                break;
            }
            if earlier.rising == rising {
                if earlier.correlation < chirp.correlation {
                    *earlier = chirp;
                }
                return;
            }
        }
        self.found.push(chirp);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::programme::slate::{Side, Slate, shift_s};

    fn find(samples: &[f64], rate_hz: f64) -> Vec<Chirp> {
        let mut finder = ChirpFinder::new(rate_hz);
        for block in samples.chunks(5000) {
            finder.feed(block);
        }
        finder.finish()
    }

    #[test]
    fn every_chirp_is_found_in_its_place_with_its_amplitude_and_sign() {
        for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
            let slate = Slate { code: 0x51C3, index: 2 };
            let lead = (0.5 * rate_hz) as usize;
            let mut samples = vec![0.0; lead];
            samples.extend(slate.samples(rate_hz, Side::Both).iter().map(|x| -0.2 * x));
            samples.extend(vec![0.0; lead]);
            let found = find(&samples, rate_hz);
            for (k, slot) in slate.slots().iter().enumerate() {
                let want_s = lead as f64 / rate_hz + k as f64 * slate::SLOT_S;
                let best = found
                    .iter()
                    .filter(|c| c.rising == slot.rising && (c.at_s - want_s).abs() < 0.003)
                    .max_by(|a, b| a.correlation.total_cmp(&b.correlation))
                    .unwrap_or_else(|| panic!("slot {k} at {want_s} s not found"));
                assert!(best.correlation > 0.95, "slot {k}: {best:?}");
                crate::assert_within!(best.at_s, want_s, 10e-6, "s", "slot {k} at {rate_hz}");
                crate::assert_within!(best.amplitude, 0.2, 0.004, "", "slot {k} at {rate_hz}");
                crate::assert_within!(best.phase.abs(), std::f64::consts::PI, 0.2, "rad", "slot {k}");
            }
        }
    }

    #[test]
    fn a_fast_slate_is_found_shifted_as_the_chirp_says() {
        let rate_hz = 48_000.0;
        for ratio in [0.94, 1.06] {
            let samples: Vec<f64> =
                (0..24_000).map(|n| slate::chirp((n as f64 / rate_hz - 0.2) * ratio, false) * 0.1).collect();
            let found = find(&samples, rate_hz);
            let best = found.iter().max_by(|a, b| a.correlation.total_cmp(&b.correlation)).unwrap();
            assert!(!best.rising && best.correlation > 0.8, "{best:?}");
            crate::assert_within!(best.at_s, 0.2 + shift_s(ratio, false), 0.2e-3, "s", "ratio {ratio}");
        }
    }
}
