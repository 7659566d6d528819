//! Frozen noise: the same samples on every machine and in every version, because it ends up on tapes.
//!
//! Only whole-number arithmetic and single IEEE 754 operations are used here, no library function that may round
//! differently elsewhere.
//!
//! A library's generator may change with its version; this one is pinned by a test. The virtual deck uses a library's
//! by name and seed, because nothing it makes is kept.

/// Random 64-bit numbers: xoshiro256++ 1.0 seeded by SplitMix64 (D. Blackman and S. Vigna, ACM Trans. Math. Softw.
/// 47, 2021; constants from memory, held against the published first outputs).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Generator {
    state: [u64; 4],
}

impl Generator {
    /// Generator number `seed`.
    pub fn new(seed: u64) -> Self {
        let mut s = seed;
        Self { state: std::array::from_fn(|_| split_mix(&mut s)) }
    }

    /// The next 64 random bits.
    pub fn bits(&mut self) -> u64 {
        let s = &mut self.state;
        let result = s[0].wrapping_add(s[3]).rotate_left(23).wrapping_add(s[0]);
        let t = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = s[3].rotate_left(45);
        result
    }

    /// The next sample of nearly Gaussian white noise: mean 0, variance 1, never beyond +-6.
    ///
    /// It is the sum of 12 numbers spread evenly over one unit.
    pub fn gaussian(&mut self) -> f64 {
        let mut sum = 0u64;
        for _ in 0..6 {
            let bits = self.bits();
            sum += (bits >> 32) + (bits & 0xFFFF_FFFF);
        }
        // The mean of 12 numbers of 0..=2^32 - 1 is 6 (2^32 - 1); below 2^36 every step is exact.
        (sum as f64 - 6.0 * 4_294_967_295.0) / 4_294_967_296.0
    }
}

fn split_mix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// Sections of the pink filter.
const SECTIONS: usize = 8;

/// Zero and pole of each first-order section, z plane. The first section blocks DC (pole at 8 Hz); the others were
/// fitted to 10 lg(1/f) from 19.5 Hz to 20.5 kHz by least squares in dB (`tests/reference/pink_fit.py`).
type PinkTable = [(f64, f64); SECTIONS];

const PINK_44100: PinkTable = [
    (1.0, 0.998860842),
    (0.995897069, 0.998847096),
    (0.984693313, 0.991802178),
    (0.949385026, 0.972017173),
    (0.840592628, 0.909433907),
    (0.552273184, 0.726936572),
    (0.055070264, 0.313532046),
    (-0.472577558, -0.419334765),
];
const PINK_48000: PinkTable = [
    (1.0, 0.998953351),
    (0.996362459, 0.998997576),
    (0.98674943, 0.992812301),
    (0.957305744, 0.976094269),
    (0.868073008, 0.924450215),
    (0.627751336, 0.774531875),
    (0.153879912, 0.416910679),
    (-0.318299875, -0.227162578),
];
const PINK_96000: PinkTable = [
    (1.0, 0.999476538),
    (0.998323046, 0.999563606),
    (0.99420625, 0.996767487),
    (0.982359106, 0.989846406),
    (0.947568376, 0.969505806),
    (0.849238472, 0.91054855),
    (0.598091049, 0.750579895),
    (0.083941477, 0.374299024),
];

/// Filter that makes white noise pink: -3.01 dB an octave from 20 Hz to 20 kHz.
///
/// Below 20 Hz it falls away towards DC; above 20 kHz (at 96 kHz) it goes on falling.
#[derive(Debug, Clone)]
pub struct PinkFilter {
    table: &'static PinkTable,
    held: [(f64, f64); SECTIONS],
}

impl PinkFilter {
    /// Filter for 44 100, 48 000 or 96 000 Hz; `None` for any other rate.
    pub fn new(rate_hz: u32) -> Option<Self> {
        let table = match rate_hz {
            44_100 => &PINK_44100,
            48_000 => &PINK_48000,
            96_000 => &PINK_96000,
            _ => return None,
        };
        Some(Self { table, held: [(0.0, 0.0); SECTIONS] })
    }

    /// Filters one sample.
    pub fn filter(&mut self, sample: f64) -> f64 {
        let mut x = sample;
        for (&(zero, pole), (held_x, held_y)) in self.table.iter().zip(&mut self.held) {
            let y = x - zero * *held_x + pole * *held_y;
            (*held_x, *held_y) = (x, y);
            x = y;
        }
        x
    }

    /// Gain at `hz`, dB. The absolute value means nothing; the shape does.
    #[cfg(test)]
    pub(crate) fn response_db(&self, hz: f64, rate_hz: u32) -> f64 {
        let angle = -std::f64::consts::TAU * hz / f64::from(rate_hz);
        let delay = num_complex::Complex64::cis(angle);
        self.table
            .iter()
            .map(|&(zero, pole)| 20.0 * ((1.0 - zero * delay) / (1.0 - pole * delay)).norm().log10())
            .sum()
    }
}

/// Endless frozen noise, white or pink. Its level is arbitrary but always the same: see [`Noise::extent`].
#[derive(Debug, Clone)]
pub struct Noise {
    generator: Generator,
    pink: Option<PinkFilter>,
}

/// What a stretch of noise amounts to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extent {
    /// Its rms.
    pub rms: f64,
    /// Its largest absolute sample.
    pub peak: f64,
}

impl Noise {
    /// White noise number `seed`: the same power in every hertz up to half the rate.
    pub fn white(seed: u64) -> Self {
        Self { generator: Generator::new(seed), pink: None }
    }

    /// Pink noise number `seed` for 44 100, 48 000 or 96 000 Hz; `None` for any other rate.
    pub fn pink(seed: u64, rate_hz: u32) -> Option<Self> {
        let mut noise = Self { generator: Generator::new(seed), pink: Some(PinkFilter::new(rate_hz)?) };
        // Half a second lets the slowest section (8 Hz) settle.
        for _ in 0..rate_hz / 2 {
            noise.sample();
        }
        Some(noise)
    }

    /// The next sample.
    pub fn sample(&mut self) -> f64 {
        let white = self.generator.gaussian();
        self.pink.as_mut().map_or(white, |filter| filter.filter(white))
    }

    /// Rms and peak of the next `frames` samples, which are not used up. 0 frames give 0 and 0.
    pub fn extent(&self, frames: u64) -> Extent {
        let mut ahead = self.clone();
        let (mut squares, mut peak) = (0.0, 0.0f64);
        for _ in 0..frames {
            let sample = ahead.sample();
            squares += sample * sample;
            peak = peak.max(sample.abs());
        }
        Extent { rms: (squares / frames.max(1) as f64).sqrt(), peak }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::statistics::rms;

    /// FNV-1a over the bits of every sample.
    fn hash(samples: impl Iterator<Item = f64>) -> u64 {
        samples.flat_map(|x| x.to_bits().to_le_bytes()).fold(0xCBF2_9CE4_8422_2325, |hash: u64, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x100_0000_01B3)
        })
    }

    #[test]
    fn generator_gives_the_published_numbers() {
        // First outputs from state 1, 2, 3, 4, as the published reference code gives them (from memory).
        let mut generator = Generator { state: [1, 2, 3, 4] };
        for want in [41_943_041, 58_720_359, 3_588_806_011_781_223, 3_591_011_842_654_386] {
            assert_eq!(generator.bits(), want);
        }
        // SplitMix64 from 1234567 (from memory).
        let mut state = 1_234_567;
        assert_eq!(split_mix(&mut state), 6_457_827_717_110_365_317);
        assert_eq!(split_mix(&mut state), 3_203_168_211_198_807_973);
    }

    #[test]
    fn noise_is_frozen() {
        // The same numbers come from a second implementation, `tests/reference/frozen_noise.py`.
        let first = |mut noise: Noise| hash((0..100_000).map(move |_| noise.sample()));
        assert_eq!(first(Noise::white(1)), 5_241_377_244_882_001_491, "white");
        assert_eq!(first(Noise::pink(1, 44_100).unwrap()), 15_713_778_943_789_983_680, "pink, 44.1 kHz");
        assert_eq!(first(Noise::pink(1, 48_000).unwrap()), 17_905_614_758_842_713_918, "pink, 48 kHz");
        assert_eq!(first(Noise::pink(1, 96_000).unwrap()), 5_192_026_740_935_403_503, "pink, 96 kHz");
    }

    #[test]
    fn white_noise_is_bounded_and_nearly_gaussian() {
        let frames = 1_000_000;
        let mut noise = Noise::white(7);
        let samples: Vec<f64> = (0..frames).map(|_| noise.sample()).collect();
        assert!(samples.iter().all(|x| x.abs() <= 6.0));
        let moment = |k: i32| samples.iter().map(|x| x.powi(k)).sum::<f64>() / f64::from(frames);
        // Tolerances: 4 standard errors of a million samples.
        assert_within!(moment(1), 0.0, 0.004, "", "mean");
        assert_within!(moment(2), 1.0, 0.006, "", "variance");
        // Fourth moment of the sum of 12: 3 - 1.2 / 12.
        assert_within!(moment(4), 2.9, 0.04, "", "fourth moment");
    }

    #[test]
    fn pink_filter_falls_by_3_db_an_octave_at_every_rate() {
        for rate_hz in [44_100, 48_000, 96_000] {
            let filter = PinkFilter::new(rate_hz).unwrap();
            let error_db = |hz: f64| filter.response_db(hz, rate_hz) + 10.0 * hz.log10();
            let middle_db = error_db(632.0);
            for step in 0..=300 {
                let hz = 20.0 * 1_000.0f64.powf(f64::from(step) / 300.0);
                // Asked for: 0.25 dB.
                assert_within!(error_db(hz), middle_db, 0.25, "dB", "{hz:.1} Hz at {rate_hz} Hz");
            }
        }
    }

    #[test]
    fn the_filter_does_what_it_says() {
        for rate_hz in [44_100u32, 48_000, 96_000] {
            let mut filter = PinkFilter::new(rate_hz).unwrap();
            let frames = rate_hz as usize;
            let mut pulse: Vec<f64> =
                (0..frames).map(|n| filter.filter(if n == 0 { 1.0 } else { 0.0 })).collect();
            let fft = <f64 as inner_loops::Precision>::real_forward(frames);
            let mut spectrum = fft.make_output_vec();
            fft.process(&mut pulse, &mut spectrum).unwrap();
            for hz in [20, 100, 1_000, 10_000, 20_000] {
                let got_db = 20.0 * spectrum[hz].norm().log10();
                // 1e-6 dB: what the cut-off tail of the pulse leaves.
                assert_within!(
                    got_db,
                    filter.response_db(hz as f64, rate_hz),
                    1e-6,
                    "dB",
                    "{hz} Hz at {rate_hz} Hz"
                );
            }
        }
    }

    /// Power in each octave from 22.1 Hz, dB, averaged over blocks of 2^16 samples.
    fn octave_powers_db(mut noise: Noise, rate_hz: f64, blocks: usize) -> Vec<f64> {
        let size = 1 << 16;
        let fft = <f64 as inner_loops::Precision>::real_forward(size);
        let mut powers = vec![0.0; size / 2 + 1];
        let (mut block, mut spectrum) = (vec![0.0; size], fft.make_output_vec());
        for _ in 0..blocks {
            for (n, x) in block.iter_mut().enumerate() {
                let hann = 0.5 - 0.5 * (std::f64::consts::TAU * n as f64 / size as f64).cos();
                *x = hann * noise.sample();
            }
            fft.process(&mut block, &mut spectrum).unwrap();
            powers.iter_mut().zip(&spectrum).for_each(|(power, bin)| *power += bin.norm_sqr());
        }
        (0..9)
            .map(|octave| {
                let low = 22.1 * f64::from(1 << octave) * size as f64 / rate_hz;
                let bins = low.round() as usize..(2.0 * low).round() as usize;
                let width = bins.len() as f64;
                let power = powers[bins].iter().sum::<f64>() / width;
                10.0 * (power * width).log10()
            })
            .collect()
    }

    #[test]
    fn measured_pink_noise_has_the_same_power_in_every_octave() {
        for rate_hz in [44_100, 48_000, 96_000] {
            let powers = octave_powers_db(Noise::pink(3, rate_hz).unwrap(), f64::from(rate_hz), 60);
            let mean = powers[3..].iter().sum::<f64>() / 6.0;
            for (octave, &power) in powers.iter().enumerate() {
                // 0.25 dB, plus two standard errors of the estimate (Hann: about 0.67 independent bins of 60 blocks).
                let low_hz = 22.1 * f64::from(1 << octave);
                let cells = low_hz * 65_536.0 / f64::from(rate_hz) * 60.0 * 0.67;
                let tolerance_db = 0.25 + 2.0 * 4.34 / cells.sqrt();
                assert_within!(power, mean, tolerance_db, "dB", "octave from {low_hz} Hz at {rate_hz} Hz");
            }
        }
    }

    #[test]
    fn measured_white_noise_doubles_with_every_octave() {
        let powers = octave_powers_db(Noise::white(3), 48_000.0, 60);
        for (octave, pair) in powers.windows(2).enumerate().skip(2) {
            // 0.2 dB: two standard errors in the narrowest octave that is looked at.
            assert_within!(pair[1] - pair[0], 3.0103, 0.2, "dB", "octave {octave}");
        }
    }

    #[test]
    fn extent_looks_ahead_without_using_up() {
        let mut noise = Noise::pink(5, 48_000).unwrap();
        let extent = noise.extent(10_000);
        let samples: Vec<f64> = (0..10_000).map(|_| noise.sample()).collect();
        assert_eq!(extent.peak, samples.iter().fold(0.0, |peak: f64, x| peak.max(x.abs())));
        assert_within!(extent.rms, rms(&samples), 1e-12, "");
        assert_eq!(Noise::white(1).extent(0), Extent { rms: 0.0, peak: 0.0 });
    }

    #[test]
    fn other_rates_have_no_pink_noise() {
        assert!(Noise::pink(1, 22_050).is_none());
    }
}
