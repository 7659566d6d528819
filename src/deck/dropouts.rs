//! Gain against time: dropouts, amplitude modulation, slow wander of the level.

use super::random_curve::{Of, RandomCurve};
use super::{DeckFile, On, Purpose, RandomDropouts, generator, ratio_of_db};
use rand::RngExt;
use rand_distr::{Distribution, Poisson};
use std::f64::consts::{PI, TAU};

/// The wander of the level is slow: it is worked out once in so many frames.
const WANDER_STEP: usize = 32;

/// One dropout that really happens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dropout {
    /// Its middle, s of the return.
    pub at_s: f64,
    /// Width at half of its depth (in amplitude), s.
    pub length_s: f64,
    /// Depth in its middle, dB, positive.
    pub depth_db: f64,
    /// Channels.
    pub channel: On,
}

impl Dropout {
    /// Gain at `t_s`: a flat bottom with raised-cosine edges, each a quarter of the length.
    fn gain(&self, t_s: f64) -> f64 {
        let from_edge = (t_s - self.at_s).abs() - self.length_s / 2.0;
        let edge = self.length_s / 4.0;
        let share = (0.5 - from_edge / edge).clamp(0.0, 1.0);
        let depth = 1.0 - ratio_of_db(-self.depth_db);
        1.0 - depth * (0.5 - 0.5 * (PI * share).cos())
    }

    fn touches(&self, from_s: f64, to_s: f64) -> bool {
        let half = self.length_s * 0.625;
        self.at_s + half >= from_s && self.at_s - half <= to_s
    }
}

/// All that changes the gain with time. Times are of the capture's clock, from the start before cutting.
#[derive(Debug, Clone)]
pub(crate) struct GainAgainstTime {
    fixed: Vec<Dropout>,
    random: Option<RandomDropouts>,
    seed: u64,
    modulation: Option<(f64, f64)>,
    wander: Option<[RandomCurve; 2]>,
}

impl GainAgainstTime {
    /// The gain of `file`; `seed` fixes what is random.
    pub(crate) fn new(file: &DeckFile, seed: u64) -> Self {
        let tape = &file.tape;
        let fixed = tape.dropouts.iter().map(|d| Dropout {
            at_s: d.at_s,
            length_s: d.length_ms / 1000.0,
            depth_db: d.depth_db,
            channel: d.channel,
        });
        let wander = tape.level_wander.map(|wander| {
            [0, 1].map(|channel| {
                let mut rng = generator(seed, Purpose::Level, channel);
                RandomCurve::new(
                    &mut rng,
                    Of::Value,
                    wander.db_rms,
                    wander.low_hz,
                    wander.high_hz,
                    wander.shape,
                )
            })
        });
        Self {
            fixed: fixed.collect(),
            random: tape.random_dropouts,
            seed,
            modulation: tape.amplitude_modulation.map(|m| (TAU * m.hz, m.percent / 100.0)),
            wander,
        }
    }

    /// Whether there is anything to do.
    pub(crate) fn is_idle(&self) -> bool {
        self.fixed.is_empty() && self.random.is_none() && self.modulation.is_none() && self.wander.is_none()
    }

    /// Dropouts that touch a stretch of time, in order of their middles.
    pub(crate) fn dropouts(&self, from_s: f64, to_s: f64) -> Vec<Dropout> {
        let mut all = self.fixed.clone();
        if let Some(random) = self.random {
            // Each minute has its own generator, so that any stretch can be asked alone.
            let minute = |t_s: f64| (t_s.max(0.0) / 60.0) as u64;
            for minute in minute(from_s - 3.0)..=minute(to_s + 3.0) {
                all.extend(random_minute(&random, self.seed, minute));
            }
        }
        all.retain(|dropout| dropout.touches(from_s, to_s));
        all.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        all
    }

    /// Gain of the level wander of `channel` at `t_s`, dB.
    pub(crate) fn wander_db(&self, channel: usize, t_s: f64) -> f64 {
        self.wander.as_ref().map_or(0.0, |curves| curves[channel].at(t_s).0)
    }

    /// Applies the gain to one channel's block; `times_s` are the times of its frames.
    pub(crate) fn run(&self, channel: usize, block: &mut [f64], times_s: &[f64]) {
        let (Some(&from_s), Some(&to_s)) = (times_s.first(), times_s.last()) else { return };
        for dropout in self.dropouts(from_s, to_s).iter().filter(|d| d.channel.holds(channel)) {
            block.iter_mut().zip(times_s).for_each(|(x, t)| *x *= dropout.gain(*t));
        }
        if let Some((omega, depth)) = self.modulation {
            block.iter_mut().zip(times_s).for_each(|(x, t)| *x *= 1.0 + depth * (omega * t).sin());
        }
        if self.wander.is_some() {
            let step_s = if times_s.len() > 1 { times_s[1] - times_s[0] } else { 0.0 };
            let gain = |t_s: f64| ratio_of_db(self.wander_db(channel, t_s));
            let mut here = gain(from_s);
            for (part, times) in block.chunks_mut(WANDER_STEP).zip(times_s.chunks(WANDER_STEP)) {
                let next = gain(times[0] + WANDER_STEP as f64 * step_s);
                for (k, x) in part.iter_mut().enumerate() {
                    *x *= here + (next - here) * k as f64 / WANDER_STEP as f64;
                }
                here = next;
            }
        }
    }
}

fn random_minute(random: &RandomDropouts, seed: u64, minute: u64) -> Vec<Dropout> {
    let Ok(count) = Poisson::new(random.per_min) else { return Vec::new() };
    let mut rng = generator(seed, Purpose::Dropouts, minute as usize & 0xFFFF_FFFF);
    let count = count.sample(&mut rng) as usize;
    let one = |_| Dropout {
        at_s: 60.0 * (minute as f64 + rng.random::<f64>()),
        length_s: random.length_ms / 1000.0 * 0.2f64.powf(rng.random::<f64>()),
        depth_db: random.depth_db * (1.0 + 2.0 * rng.random::<f64>()) / 3.0,
        channel: match rng.random_range(0..5) {
            0 => On::Both,
            1 | 2 => On::Right,
            // The outer track, the left one, has more of them (common practice, no source).
            _ => On::Left,
        },
    };
    (0..count).map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dropout_is_as_deep_and_as_long_as_it_says() {
        let dropout = Dropout { at_s: 2.0, length_s: 0.04, depth_db: 20.0, channel: On::Both };
        assert_within!(dropout.gain(2.0), 0.1, 1e-12, "");
        assert_within!(dropout.gain(2.02), 0.55, 1e-9, "");
        assert_within!(dropout.gain(1.98), 0.55, 1e-9, "");
        assert_eq!(dropout.gain(2.026), 1.0);
    }

    #[test]
    fn random_dropouts_do_not_depend_on_the_stretch_asked() {
        let mut file = DeckFile::default();
        file.tape.random_dropouts = Some(RandomDropouts { per_min: 30.0, length_ms: 40.0, depth_db: 15.0 });
        let gain = GainAgainstTime::new(&file, 8);
        let whole = gain.dropouts(0.0, 600.0);
        // Poisson with mean 300: four standard deviations are 69.
        assert_within!(whole.len() as f64, 300.0, 70.0, "dropouts");
        let pieces: Vec<Dropout> = (0..60)
            .flat_map(|k| gain.dropouts(f64::from(k) * 10.0, f64::from(k + 1) * 10.0))
            .filter(|d| whole.contains(d))
            .collect();
        assert!(whole.iter().all(|d| pieces.contains(d)));
    }
}
