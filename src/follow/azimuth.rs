//! Azimuth view: phase between the channels, the delay that it stands for, and the best place passed.
//!
//! One tone shows its delay up to whole periods only. Which period it is, the other tones heard of late say: each delay that the
//! tone allows is held against their phases, the older a phase the less.

use super::options::FollowOptions;
use super::ring::Ring;
use super::tones::{HeardTone, Tones};
use crate::judge::Key;
use crate::measure::{Meter, SkewMeter, recorded_delay, skew};
use crate::reading::figures::frequency;
use crate::reading::{AzimuthNow, BestPassed, Figure, PhaseTurn, Shown};
use crate::signal::statistics::median_of_few;
use std::collections::VecDeque;
use std::f64::consts::{PI, TAU};

/// The frequency at which the trade states phase, Hz.
const STATED_HZ: f64 = 10_000.0;
/// Widest delay that is looked for, us.
const WIDEST_US: f64 = 250.0;
/// A tone that sounds in turn with others is shown for so long, s.
const SHOWN_S: f64 = 2.5;
/// Phases of other tones count for so long, s.
const WITNESS_S: f64 = 20.0;
/// How far the delay may lie from that of another tone, us: the tones' own differences, and per second that passed in between,
/// while a screw is turned.
const APART_US: f64 = 3.0;
const TURNS_US_PER_S: f64 = 8.0;
/// Least standard uncertainty of a phase, rad: responses differ between the channels.
const LEAST_SIGMA_RAD: f64 = 0.1;
/// Least advantage in log likelihood over the next best period: odds of 150 to 1.
const RESOLVED_BY: f64 = 5.0;
/// Points of the X against Y picture.
const POINTS: usize = 160;
/// Music is listened to over this, s, and read so often, s.
const MUSIC_S: f64 = 12.0;
const MUSIC_EVERY_S: f64 = 1.0;
/// A figure further from the best passed than this share of the limit has passed it.
const BEST_KEPT_S: f64 = 600.0;

/// What the view remembers.
#[derive(Default)]
pub(crate) struct AzimuthView {
    /// Figures of the last pictures: one odd value is no best.
    last: VecDeque<f64>,
    best: Option<(f64, f64)>,
    /// The best belongs to this frequency, Hz.
    of_hz: f64,
    music: Option<(f64, AzimuthNow)>,
    music_at_s: f64,
}

/// A delay told by a tone and others.
struct Told {
    delay_us: f64,
    uncertainty_us: f64,
    by_hz: Vec<f64>,
}

impl AzimuthView {
    /// Forgets the best place.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// The figures now: of the highest tone that was heard of late, else of music or noise.
    pub fn shown(
        &mut self,
        tones: &Tones,
        moving: bool,
        ring: &mut Ring,
        options: &FollowOptions,
    ) -> (Shown, Option<Figure>) {
        let now_s = ring.at_s(ring.count());
        let fresh = |tone: &&HeardTone| now_s - tone.newest.at_s < SHOWN_S && tone.phase_rad().is_some();
        let main = tones.all.iter().filter(fresh).max_by(|a, b| a.hz.total_cmp(&b.hz));
        let Some(main) = main else {
            if moving && let Some(now) = self.music(ring, options) {
                let figure = figure(&now);
                return (Shown::Azimuth(now), figure);
            }
            let why = "Play a tone of 10 kHz, several tones at once (recipe turn-azimuth), or music: no tone is heard in both \
                       channels.";
            return (Shown::Nothing { why: why.to_owned() }, None);
        };
        let (phase_rad, u_rad) = main.phase_rad().unwrap_or_default();
        let told = told(main, &tones.all, now_s);
        let limit_deg = limit_deg(options);
        let mut now = AzimuthNow {
            hz: Some(main.newest.hz),
            phase_deg: Some(phase_rad.to_degrees()),
            phase_uncertainty_deg: Some(u_rad.to_degrees()),
            delay_us: Some(told.as_ref().map_or_else(|| delay_us(phase_rad, main.hz), |told| told.delay_us)),
            delay_uncertainty_us: Some(
                told.as_ref().map_or(u_rad / (TAU * main.hz) * 1e6, |told| told.uncertainty_us),
            ),
            angle_arcmin: None,
            turn: match &told {
                Some(told) => PhaseTurn::Known { hz: told.by_hz.clone() },
                None => PhaseTurn::Unknown { period_us: 1e6 / main.hz },
            },
            at_10k_deg: told.as_ref().map(|told| stated_deg(told.delay_us)),
            limit_deg,
            limit_us: limit_deg.map(|deg| deg / 360.0 / STATED_HZ * 1e6),
            best: None,
            level_dbfs: main.newest.dbfs,
            below_highest_db: [0, 1]
                .map(|channel| Some((main.newest.dbfs[channel]? - main.highest_dbfs[channel]?).min(0.0))),
            xy: xy(ring, main.newest.at_s, main.hz),
        };
        now.angle_arcmin = now.delay_us.map(|us| options.medium.arcmin_from_delay_us(us));
        let figure = figure(&now);
        if let Some(figure) = &figure {
            now.best = self.passed(figure.value, main.hz, now_s);
        }
        (Shown::Azimuth(now), figure)
    }

    /// Notes the figure, and gives the best that was passed.
    fn passed(&mut self, value: f64, hz: f64, now_s: f64) -> Option<BestPassed> {
        if !super::tones::is_same(hz, self.of_hz) {
            (self.of_hz, self.best) = (hz, None);
            self.last.clear();
        }
        if self.last.len() == 3 {
            self.last.pop_front();
        }
        self.last.push_back(value);
        if self.last.len() == 3 {
            let settled = median_of_few(self.last.make_contiguous());
            if self.best.is_none_or(|best| settled.abs() <= best.0.abs() || now_s - best.1 > BEST_KEPT_S) {
                self.best = Some((settled, now_s));
            }
        }
        self.best.map(|(value, at_s)| BestPassed { value, ago_s: now_s - at_s })
    }

    /// The delay of music or noise over the last seconds.
    fn music(&mut self, ring: &mut Ring, options: &FollowOptions) -> Option<AzimuthNow> {
        let now_s = ring.at_s(ring.count());
        if now_s - self.music_at_s >= MUSIC_EVERY_S {
            self.music_at_s = now_s;
            let rate_hz = ring.rate_hz();
            let from = ring.sample(now_s - MUSIC_S);
            let mut meter = SkewMeter::new(rate_hz, 0.0)?;
            let to = ring.count();
            ring.read(from, to, &mut |block| meter.feed(block));
            let found = skew(&meter.finish(), rate_hz);
            // A house tape is tilted by what its card says.
            let (tape_us, tape_u_us) = options.card.as_ref().and_then(recorded_delay).unwrap_or_default();
            self.music = found.delay.map(|delay| {
                let delay_us = delay.delay_us - tape_us;
                let limit_deg = limit_deg(options);
                let now = AzimuthNow {
                    hz: None,
                    phase_deg: None,
                    phase_uncertainty_deg: None,
                    delay_us: Some(delay_us),
                    delay_uncertainty_us: Some(delay.uncertainty_us.hypot(tape_u_us)),
                    angle_arcmin: Some(options.medium.arcmin_from_delay_us(delay_us)),
                    turn: PhaseTurn::Known { hz: Vec::new() },
                    at_10k_deg: Some(stated_deg(delay_us)),
                    limit_deg,
                    limit_us: limit_deg.map(|deg| deg / 360.0 / STATED_HZ * 1e6),
                    best: None,
                    level_dbfs: [None; 2],
                    below_highest_db: [None; 2],
                    xy: Vec::new(),
                };
                (now_s, now)
            });
        }
        let (at_s, now) = self.music.as_ref()?;
        (now_s - at_s < 3.0 * MUSIC_EVERY_S).then(|| now.clone())
    }
}

fn limit_deg(options: &FollowOptions) -> Option<f64> {
    options.limits.get(Key::AzimuthPhase).map(|limit| limit.value)
}

/// Delay of a phase, in the period about 0, us.
fn delay_us(phase_rad: f64, hz: f64) -> f64 {
    -phase_rad / (TAU * hz) * 1e6
}

/// Phase at 10 kHz of a delay, degrees, any turn.
fn stated_deg(delay_us: f64) -> f64 {
    -360.0 * STATED_HZ * delay_us * 1e-6
}

fn wrapped(rad: f64) -> f64 {
    (rad + PI).rem_euclid(TAU) - PI
}

/// The delay by the tone `main` and those others whose phases were read of late; `None` where its period cannot be told.
fn told(main: &HeardTone, all: &[HeardTone], now_s: f64) -> Option<Told> {
    let (phase_rad, _) = main.phase_rad()?;
    // Frequency, phase, weight, age against the main tone's.
    let witnesses: Vec<(f64, f64, f64, f64)> = all
        .iter()
        .filter(|tone| tone.hz != main.hz && now_s - tone.newest.at_s < WITNESS_S)
        .filter_map(|tone| {
            let (phase, u_rad) = tone.phase_rad()?;
            let age_s = (tone.newest.at_s - main.newest.at_s).abs();
            let moved_rad = TAU * tone.hz * (APART_US + TURNS_US_PER_S * age_s) * 1e-6;
            let variance = (u_rad / 2.0).max(LEAST_SIGMA_RAD).powi(2) + moved_rad * moved_rad;
            Some((tone.hz, phase, 1.0 / variance, age_s))
        })
        .collect();
    let periods = (WIDEST_US * 1e-6 * main.hz).ceil() as i32 + 1;
    // Channels of opposite polarity are tried as well: they must not pass for half a period.
    let mut scored: Vec<(f64, f64, bool)> = Vec::new();
    for opposed in [false, true] {
        let turned = |phase: f64| if opposed { phase + PI } else { phase };
        for k in -periods..=periods {
            let us = delay_us(wrapped(turned(phase_rad)), main.hz) + f64::from(k) * 1e6 / main.hz;
            if us.abs() > WIDEST_US {
                continue;
            }
            let agreement: f64 = witnesses
                .iter()
                .map(|(hz, phase, weight, _)| weight * (turned(*phase) + TAU * hz * us * 1e-6).cos())
                .sum();
            // What is usual goes first by a little.
            let price = if opposed { 2.0 } else { 0.0 } + 0.001 * us.abs();
            scored.push((agreement - price, us, opposed));
        }
    }
    scored.sort_by(|a, b| b.0.total_cmp(&a.0));
    let total: f64 = witnesses.iter().map(|witness| witness.2).sum();
    let (best, next) = (scored.first()?, scored.get(1)?);
    let resolved = best.0 > 0.6 * total && best.0 - next.0 > RESOLVED_BY;
    if !resolved || witnesses.is_empty() {
        return None;
    }
    // The delay comes from all of them, each by how sure it is; the unwrapped phase of each follows from the best.
    let (_, about_us, opposed) = *best;
    let mut by_hz = vec![main.newest.hz];
    let (mut sum, mut weights) = (0.0, 0.0);
    for tone in all.iter().filter(|tone| now_s - tone.newest.at_s < WITNESS_S) {
        let Some((phase, u_rad)) = tone.phase_rad() else { continue };
        let phase = if opposed { phase + PI } else { phase };
        let us = about_us - wrapped(phase + TAU * tone.hz * about_us * 1e-6) / (TAU * tone.hz) * 1e6;
        let age_s = (tone.newest.at_s - main.newest.at_s).abs();
        // 0.3 us: what the target allows beside the tone's own scatter.
        let sigma = (u_rad / 2.0 / (TAU * tone.hz) * 1e6).hypot(0.15) + TURNS_US_PER_S * age_s;
        let weight = sigma.powi(-2) * (tone.hz / main.hz).powi(2);
        sum += weight * us;
        weights += weight;
        if tone.hz != main.hz {
            by_hz.push(tone.newest.hz);
        }
    }
    by_hz.sort_by(f64::total_cmp);
    let scatter_us = main.phase_rad().map_or(0.0, |(_, u_rad)| u_rad / (TAU * main.hz) * 1e6);
    Some(Told { delay_us: sum / weights, uncertainty_us: scatter_us.hypot(0.1), by_hz })
}

/// The figure that is turned by: phase at 10 kHz, or that at the tone where the period is not known.
fn figure(now: &AzimuthNow) -> Option<Figure> {
    let per_us = 360.0 * STATED_HZ * 1e-6;
    let (name, value, uncertainty, limit) = match (now.at_10k_deg, now.phase_deg, now.hz) {
        (Some(deg), ..) => {
            let uncertainty = now.delay_uncertainty_us.map(|us| us * per_us);
            ("phase at 10 kHz".to_owned(), deg, uncertainty, now.limit_deg)
        }
        (None, Some(deg), Some(hz)) => {
            let limit = now.limit_deg.map(|limit| limit * hz / STATED_HZ);
            let name = format!("phase at {}", frequency(hz));
            (name, deg, now.phase_uncertainty_deg, limit)
        }
        _ => return None,
    };
    let target = Some(0.0);
    Some(Figure {
        name,
        value,
        uncertainty,
        unit: "degrees".to_owned(),
        target,
        limit,
        // A whole period off looks the same.
        verdict: super::options::verdict(value, uncertainty, target, limit)
            .map(|told| if now.at_10k_deg.is_some() { told } else { crate::reading::Verdict::CannotTell }),
    })
}

/// The newest samples of a tone, left against right, both by the larger one.
fn xy(ring: &mut Ring, to_s: f64, hz: f64) -> Vec<[f32; 2]> {
    let rate_hz = ring.rate_hz();
    // Three periods and more, so that the figure closes.
    let stride = ((3.0 * rate_hz / hz / POINTS as f64).ceil() as usize).max(1);
    let to = ring.sample(to_s);
    let from = to.saturating_sub((stride * POINTS) as u64);
    let mut points = Vec::with_capacity(POINTS);
    let mut n = 0;
    ring.read(from, to, &mut |block| {
        for (l, r) in block[0].iter().zip(block[1]) {
            if n % stride == 0 {
                points.push([*l as f32, *r as f32]);
            }
            n += 1;
        }
    });
    let largest = points.iter().flatten().fold(1e-9f32, |most, x| most.max(x.abs()));
    points.iter_mut().flatten().for_each(|x| *x /= largest);
    points
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::follow::tones::Moment;

    fn tone(hz: f64, delay_us: f64, at_s: f64) -> HeardTone {
        let newest = Moment {
            at_s,
            over_s: 0.3,
            hz,
            dbfs: [Some(-32.0); 2],
            uncertainty_db: [Some(0.05); 2],
            phase_rad: Some((wrapped(-TAU * hz * delay_us * 1e-6), 0.02)),
        };
        HeardTone::new(newest, 0)
    }

    #[test]
    fn a_neighbouring_turn_is_not_taken_for_zero() {
        for delay_us in [-180.0, -101.0, -99.0, -49.0, 0.0, 3.0, 52.0, 100.0, 149.0] {
            let all = [tone(1000.0, delay_us, 10.0), tone(10_000.0, delay_us, 10.0)];
            let told = told(&all[1], &all, 10.0).unwrap();
            assert_within!(told.delay_us, delay_us, 0.01, "us");
        }
    }

    #[test]
    fn one_tone_or_one_that_is_too_low_or_too_old_does_not_tell_the_turn() {
        let alone = [tone(10_000.0, 3.0, 10.0)];
        assert!(told(&alone[0], &alone, 10.0).is_none());
        let low = [tone(100.0, 3.0, 10.0), tone(10_000.0, 3.0, 10.0)];
        assert!(told(&low[1], &low, 10.0).is_none());
        let old = [tone(1000.0, 3.0, 0.0), tone(10_000.0, 3.0, 15.0)];
        assert!(told(&old[1], &old, 15.0).is_none());
    }

    #[test]
    fn opposite_polarity_is_no_half_period() {
        let mut all = [tone(1000.0, 7.0, 10.0), tone(3150.0, 7.0, 10.0), tone(10_000.0, 7.0, 10.0)];
        for tone in &mut all {
            let (phase, u) = tone.newest.phase_rad.unwrap();
            tone.newest.phase_rad = Some((wrapped(phase + PI), u));
        }
        assert_within!(told(&all[2], &all, 10.0).unwrap().delay_us, 7.0, 0.01, "us");
    }
}
