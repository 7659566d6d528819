//! Noise view: A-weighted and unweighted noise of the last seconds of silence, with the components of hum.

use super::options::FollowOptions;
use super::ring::Ring;
use super::tones::{HeardTone, Tones};
use crate::judge::Key;
use crate::measure::{Meter, NoiseMeter, Reference};
use crate::reading::{Figure, NoiseNow, Pair, PointNow, Shown, minus};

/// Read over the last seconds of silence, at most and at least, s.
const LONGEST_S: f64 = 6.0;
const SHORTEST_S: f64 = 1.6;
/// Read so often, s.
const EVERY_S: f64 = 0.75;
/// What still sounds where silence was noticed, s.
const MARGIN_S: f64 = 0.25;

/// What the view remembers.
#[derive(Default)]
pub(crate) struct NoiseView {
    newest: Option<(f64, NoiseNow)>,
    read_at_s: f64,
    lowest_dbfs: Pair,
}

/// What noise is stated against: the loudest tone of a known programme, the deck's 0, or full scale.
fn reference(tones: &Tones, options: &FollowOptions) -> Reference {
    let known = |tone: &&HeardTone| tone.programme_db.is_some_and(|db| db > -10.0);
    let loudest = tones
        .all
        .iter()
        .filter(known)
        .max_by(|a, b| a.programme_db.unwrap_or(-200.0).total_cmp(&b.programme_db.unwrap_or(-200.0)));
    if let Some(tone) = loudest {
        let dbfs = minus(tone.newest.dbfs, tone.on_tape_db());
        let words = format!("0 dB of the programme, by its tone of {} Hz", tone.newest.hz.round());
        return Reference { words, dbfs, uncertainty_db: 0.0 };
    }
    if options.zero_dbfs != [None; 2] {
        let words = "the deck's 0".to_owned();
        return Reference { words, dbfs: options.zero_dbfs, uncertainty_db: 0.0 };
    }
    Reference { words: NoiseNow::FULL_SCALE.to_owned(), dbfs: [Some(0.0); 2], uncertainty_db: 0.0 }
}

impl NoiseView {
    /// Forgets the lowest level.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// The figures now; `silent_from` is the first sample of the silence that lasts, `None` if something sounds.
    pub fn shown(
        &mut self,
        ring: &mut Ring,
        silent_from: Option<u64>,
        tones: &Tones,
        options: &FollowOptions,
    ) -> (Shown, Option<Figure>) {
        let now_s = ring.at_s(ring.count());
        let from_s = silent_from.map_or(now_s, |from| ring.at_s(from) + MARGIN_S).max(now_s - LONGEST_S);
        if now_s - from_s >= SHORTEST_S && now_s - self.read_at_s >= EVERY_S {
            self.read_at_s = now_s;
            if let Some(now) = self.read(ring, from_s, tones, options) {
                self.newest = Some((now_s, now));
            }
        }
        let fresh =
            self.newest.as_ref().filter(|(at_s, _)| silent_from.is_some() && now_s - at_s < 3.0 * EVERY_S);
        let Some((_, now)) = fresh else {
            let why = "Play silence: stop the tape, or let it run without a signal. Something sounds, or it is not silent for \
                       two seconds yet.";
            return (Shown::Nothing { why: why.to_owned() }, None);
        };
        (Shown::Noise(now.clone()), figure(now))
    }

    fn read(
        &mut self,
        ring: &mut Ring,
        from_s: f64,
        tones: &Tones,
        options: &FollowOptions,
    ) -> Option<NoiseNow> {
        let mut meter = NoiseMeter::new(ring.rate_hz(), 1.0)?;
        let (from, to) = (ring.sample(from_s), ring.count());
        ring.read(from, to, &mut |block| meter.feed(block));
        let silence = meter.finish()?;
        let reference = reference(tones, options);
        let noise = silence.noise(&reference);
        for channel in 0..2 {
            if let Some(db) =
                noise.a_weighted_db[channel].zip(reference.dbfs[channel]).map(|(db, zero)| db + zero)
            {
                let lowest = self.lowest_dbfs[channel];
                self.lowest_dbfs[channel] = Some(lowest.map_or(db, |lowest| lowest.min(db)));
            }
        }
        let known = options.zero_dbfs != [None; 2] || reference.words.contains("programme");
        let limit = |key: Key| options.limits.get(key).map(|limit| limit.value).filter(|_| known);
        Some(NoiseNow {
            a_weighted_db: noise.a_weighted_db,
            unweighted_db: noise.unweighted_db,
            uncertainty_db: noise.uncertainty_db,
            mains_hz: noise.mains.as_ref().map(|mains| mains.hz),
            hum_db: noise.mains.as_ref().map_or([None; 2], |mains| mains.hum_db),
            lines: noise.mains.as_ref().map_or_else(Vec::new, |mains| {
                mains
                    .lines
                    .iter()
                    .map(|&(hz, left, right)| PointNow { hz, db: [left, right], uncertainty_db: [None; 2] })
                    .collect()
            }),
            limit_db: limit(Key::Noise),
            hum_limit_db: limit(Key::Hum),
            lowest_db: minus(self.lowest_dbfs, reference.dbfs),
            reference: reference.words,
        })
    }
}

/// What is listened for: the noisier channel.
fn figure(now: &NoiseNow) -> Option<Figure> {
    let of = |channel: usize| now.a_weighted_db[channel].map(|value| (value, channel));
    let (value, channel) = [of(0), of(1)].into_iter().flatten().max_by(|a, b| a.0.total_cmp(&b.0))?;
    let uncertainty = now.uncertainty_db[channel];
    let verdict =
        now.limit_db.map(|limit| crate::judge::Bounds::below(limit).stand(value, uncertainty.unwrap_or(0.0)));
    Some(Figure {
        name: format!("A-weighted noise, {}", ["left", "right"][channel]),
        value,
        uncertainty,
        unit: now.unit().word().to_owned(),
        target: None,
        limit: now.limit_db,
        verdict,
    })
}
