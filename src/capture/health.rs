//! Whether the recording itself is sound: peaks, clipping, offset and clicks.

use super::clicks::Clicks;

/// Watches the samples of one channel.
#[derive(Debug, Clone, Default)]
pub struct HealthMeter {
    peak: f64,
    /// Largest sample below and above zero.
    extremes: [f64; 2],
    /// In steps, so that the order of adding changes nothing.
    sum: i64,
    count: u64,
    clicks: Clicks,
    last: f64,
    before_run: f64,
    run: u64,
    full_scale_run: u64,
    full_scale_samples: u64,
    /// Clipping below full scale by level (per mille of full scale) : (runs, samples).
    tops: std::collections::BTreeMap<i32, (u64, u64)>,
}

/// What [`HealthMeter`] found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Health {
    /// Largest absolute sample, full scale 1.
    pub peak: f64,
    /// Samples in clipping at the channel's extremes.
    pub clipped_samples: u64,
    /// The lowest of the tops at which it is clipped, full scale 1; `None` where it is not.
    pub top: Option<f64>,
    /// Pulses of a few samples that no tape carries.
    pub clicks: u64,
    /// Mean of all samples, full scale 1.
    pub offset: f64,
}

/// A full-scale sample of a 16 bit file.
const FULL_SCALE: f64 = 32_767.0 / 32_768.0;
/// Two samples of a clipped peak differ by no more than this share of their value (a top sags a little behind an
/// alternating-current coupling).
const FLAT: f64 = 2e-4;
/// Below this a step of 16 bit is too coarse to tell a corner from a round top.
const LEAST_TOP: f64 = 0.12;
/// A clipped peak begins and ends with a corner: a step of at least this share.
const CORNER: f64 = 1e-3;

/// Steps of full scale in which samples are summed, and the largest sample that counts: the sum of all that a file holds stays below
/// 2^63.
const SUM_STEPS: f64 = (1 << 26) as f64;
const LOUDEST: f64 = 8.0;

/// Samples looked at together, and how many of them side by side.
const QUICK: usize = 64;
const LANES: usize = 4;

/// Samples whose steps are summed at once: the sum is exact in double precision.
const SUMMED: usize = 1 << 16;

/// Sum in steps of [`SUM_STEPS`]; what is absurd counts as 0. At most [`SUMMED`] samples.
fn sum_of_steps(samples: &[f64]) -> i64 {
    /// What is added to it loses what lies behind the point: 1.5 * 2^52.
    const WHOLE: f64 = 6_755_399_441_055_744.0;
    let steps = |x: f64| {
        let x = if x.abs() <= LOUDEST { x } else { 0.0 };
        (x * SUM_STEPS + WHOLE) - WHOLE
    };
    let (groups, rest) = samples.as_chunks::<LANES>();
    let mut sums = [0.0; LANES];
    for group in groups {
        sums.iter_mut().zip(group).for_each(|(sum, &x)| *sum += steps(x));
    }
    (sums.iter().sum::<f64>() + rest.iter().map(|&x| steps(x)).sum::<f64>()) as i64
}

/// How far `samples` go below and above zero.
fn extremes(samples: &[f64; QUICK]) -> [f64; 2] {
    let [mut below, mut above] = [[0.0; LANES]; 2];
    for group in samples.as_chunks::<LANES>().0 {
        for (lane, x) in group.iter().enumerate() {
            below[lane] = larger(below[lane], -x);
            above[lane] = larger(above[lane], *x);
        }
    }
    [below, above].map(|lanes| lanes.into_iter().fold(0.0, larger))
}

/// A sample that continues a clipped peak.
fn is_flat(last: f64, x: f64) -> bool {
    let size = x.abs();
    ((x - last).abs() <= FLAT * size) & (size > LEAST_TOP)
}

/// No sample but the first is at full scale or continues a clipped peak. Without branches, so that it runs side by side.
fn is_plain(samples: &[f64; QUICK]) -> bool {
    let mut marked = 0u64;
    for (last, x) in samples.iter().zip(&samples[1..]) {
        marked |= u64::from(is_flat(*last, *x) | (x.abs() >= FULL_SCALE));
    }
    marked == 0
}

/// The larger one; `a` if `b` is no number.
fn larger(a: f64, b: f64) -> f64 {
    if b > a { b } else { a }
}

impl HealthMeter {
    /// Feeds samples; blocks of any size give the same result.
    pub fn feed(&mut self, samples: &[f64]) {
        self.sum += samples.chunks(SUMMED).map(sum_of_steps).sum::<i64>();
        self.count += samples.len() as u64;
        self.clicks.feed(samples);
        let (pieces, rest) = samples.as_chunks::<QUICK>();
        // Most samples belong to no top and are short of full scale: for those, little is to be noted.
        for before in pieces {
            self.feed_slowly(&before[..1]);
            let [least, greatest] = extremes(before);
            let most = larger(least, greatest);
            let idle = self.run == 0 && self.full_scale_run == 0;
            if idle && (most <= LEAST_TOP || is_plain(before)) {
                self.peak = larger(self.peak, most);
                self.extremes = [larger(self.extremes[0], least), larger(self.extremes[1], greatest)];
                [self.before_run, self.last] = [before[QUICK - 2], before[QUICK - 1]];
            } else {
                self.feed_slowly(&before[1..]);
            }
        }
        self.feed_slowly(rest);
    }

    /// Sample by sample.
    fn feed_slowly(&mut self, samples: &[f64]) {
        for &x in samples {
            let size = x.abs();
            self.peak = self.peak.max(size);
            self.extremes = [self.extremes[0].max(-x), self.extremes[1].max(x)];
            if size >= FULL_SCALE {
                self.full_scale_run += 1;
            } else {
                self.end_full_scale();
            }
            if is_flat(self.last, x) {
                if self.run == 0 {
                    self.run = 1;
                }
                self.run += 1;
            } else {
                let step_in = (self.last - self.before_run).abs();
                let step_out = (x - self.last).abs();
                let corner = CORNER * self.last.abs();
                if self.run >= 4 && step_in > corner && step_out > corner && self.last.abs() < FULL_SCALE {
                    let top = self.tops.entry((self.last * 1000.0).round() as i32).or_default();
                    top.0 += 1;
                    top.1 += self.run;
                }
                self.run = 0;
                self.before_run = self.last;
            }
            self.last = x;
        }
    }

    fn end_full_scale(&mut self) {
        // One or two samples at full scale are a peak, three are a clipped peak.
        if self.full_scale_run >= 3 {
            self.full_scale_samples += self.full_scale_run;
        }
        self.full_scale_run = 0;
    }

    /// Peak and clipped samples. Silence gives 0 and 0.
    pub fn finish(mut self) -> Health {
        self.end_full_scale();
        // One side may be clipped and the other not.
        let limits = self.extremes.map(|extreme| (extreme * 1000.0 * 0.97) as i32);
        let at_the_end = |level: i32| level.abs() >= limits[usize::from(level > 0)];
        let tops = || self.tops.iter().filter(|(level, _)| at_the_end(**level));
        let (runs, samples) = tops().fold((0, 0), |sum, (_, top)| (sum.0 + top.0, sum.1 + top.1));
        // Chance runs in hiss on a slow crest, the more the higher the rate, are no clipping: they are as short as they
        // may be. A clipped tone makes hundreds of longer ones, or thousands.
        let longer = samples >= 5 * runs || runs >= 1000;
        let below = if runs >= 10 && longer { samples } else { 0 };
        let lowest = tops().map(|(level, _)| f64::from(level.abs()) / 1000.0).fold(1.0, f64::min);
        let clipped_samples = self.full_scale_samples + below;
        let top = (clipped_samples > 0).then_some(if below > 0 { lowest } else { 1.0 });
        let offset = if self.count == 0 { 0.0 } else { self.sum as f64 / SUM_STEPS / self.count as f64 };
        Health { peak: self.peak, clipped_samples, top, clicks: self.clicks.count(), offset }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::Random;
    use std::f64::consts::TAU;

    fn health(samples: impl Iterator<Item = f64>) -> Health {
        let mut meter = HealthMeter::default();
        meter.feed(&samples.collect::<Vec<_>>());
        meter.finish()
    }

    fn tone(hz: f64, amplitude: f64) -> impl Iterator<Item = f64> {
        (0..96_000).map(move |n| amplitude * (TAU * hz * f64::from(n) / 48_000.0).sin())
    }

    fn sixteen(x: f64) -> f64 {
        (x * 32_768.0).round().clamp(-32_768.0, 32_767.0) / 32_768.0
    }

    #[test]
    fn the_quick_way_finds_what_the_slow_one_finds() {
        // Clipping at full scale and below, hum below the least top, noise, a click, silence, what is no number.
        let noise = |n: i32| f64::from((n % 1013).pow(2) % 1013) / 1013.0 - 0.5;
        let samples: Vec<f64> = (0..60_000)
            .map(|n| {
                let sine = (TAU * 40.0 * f64::from(n) / 48_000.0).sin();
                match n / 10_000 {
                    0 => sixteen((1.3 * sine).clamp(-1.0, 1.0)),
                    1 => sixteen((0.8 * sine).clamp(-0.6, 0.6)),
                    2 => 0.1 * sine + if n == 25_000 { 1.0 } else { 0.0 },
                    3 => noise(n),
                    4 => (1.2 * noise(n) + 0.5).clamp(-0.4, 0.7),
                    _ => {
                        if n % 777 == 0 {
                            f64::NAN
                        } else {
                            0.0
                        }
                    }
                }
            })
            .collect();
        for cut in [1, 5, 63, 64, 65, 1000, 60_000] {
            let (mut quick, mut slow) = (HealthMeter::default(), HealthMeter::default());
            for block in samples.chunks(cut) {
                quick.feed(block);
                slow.feed_slowly(block);
            }
            assert!(slow.tops.len() > 2 && slow.full_scale_samples > 1000);
            // Counted before the two ways part.
            (slow.sum, slow.count, slow.clicks) = (quick.sum, quick.count, quick.clicks.clone());
            // NaN equals itself in print.
            assert_eq!(format!("{quick:?}"), format!("{slow:?}"), "blocks of {cut}");
        }
    }

    #[test]
    fn absurd_samples_make_no_absurd_offset() {
        for odd in [f64::MAX, f64::INFINITY, f64::NEG_INFINITY, f64::NAN] {
            let offset = health(tone(1000.0, 0.5).chain([odd; 9])).offset;
            assert!(offset.abs() < 0.001, "{odd}: {offset}");
        }
    }

    #[test]
    fn clean_tones_at_any_frequency_are_not_clipped() {
        for hz in [20.0, 40.0, 100.0, 315.0, 400.0, 3150.0, 10_000.0, 12_000.0] {
            for amplitude in [0.02, 0.5, 0.99] {
                let found = health(tone(hz, amplitude).map(sixteen));
                assert_eq!(found.clipped_samples, 0, "{hz} Hz at {amplitude}");
            }
        }
    }

    #[test]
    fn hiss_on_a_slow_crest_at_a_high_rate_is_not_clipped() {
        let mut random = Random(3);
        let hissing = (0..3_840_000).map(|n| {
            let hiss = 0.0006 * (random.share() - 0.5);
            0.2 * (TAU * 40.0 * f64::from(n) / 96_000.0).sin() + hiss
        });
        assert_eq!(health(hissing).clipped_samples, 0);
    }

    #[test]
    fn clipping_at_full_scale_and_below_is_counted() {
        for hz in [40.0, 315.0, 1000.0] {
            let full = health(tone(hz, 1.3).map(|x| sixteen(x.clamp(-1.0, 1.0))));
            assert!(full.clipped_samples > 20_000, "{hz} Hz: {full:?}");
            let below = health(tone(hz, 0.8).map(|x| sixteen(x.clamp(-0.6, 0.6))));
            assert!(below.clipped_samples > 10_000, "{hz} Hz: {below:?}");
            let one_side = health(tone(hz, 0.8).map(|x| sixteen(x.min(0.3))));
            assert!(one_side.clipped_samples > 5_000, "{hz} Hz: {one_side:?}");
            crate::assert_within!(one_side.top.unwrap(), 0.3, 0.001, "");
        }
    }
}
