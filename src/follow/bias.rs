//! Bias view: high tones against the low one, as they alternate or sound together, with the third harmonic.
//!
//! More bias lowers the high tones; past the peak of a high tone lies overbias. The level that a tone passed at most since the last
//! reset is that peak, as long as somebody turned through it.

use super::hearing::SteadyTone;
use super::options::{FollowOptions, verdict};
use super::ring::Ring;
use super::tones::{HeardTone, Tones, is_same};
use crate::judge::Key;
use crate::measure::{DistortionMeter, Meter, PlayedStep, distortion};
use crate::reading::figures::frequency;
use crate::reading::{BiasNow, Figure, HighNow, Pair, Shown, minus};

/// Tones count for so long after they were heard, s.
const HEARD_S: f64 = 12.0;
/// The low tone lies below this, Hz; a high one at least so many times higher.
const LOW_HZ: f64 = 1600.0;
const HIGHER: f64 = 3.0;
/// What the change is against, s ago, and how exactly.
const CHANGE_S: f64 = 5.0;
const CHANGE_WITHIN_S: f64 = 2.5;
/// The third harmonic is read over this, s, and so often, s.
const HARMONIC_S: f64 = 0.45;
const HARMONIC_EVERY_S: f64 = 0.3;

/// What the view remembers.
#[derive(Default)]
pub(crate) struct BiasView {
    /// Frequency, when, third harmonic of both channels in percent.
    k3: Option<(f64, f64, Pair)>,
}

impl BiasView {
    /// Reads the third harmonic of a low tone that sounds alone.
    pub fn listen(&mut self, ring: &mut Ring, sounding: &[SteadyTone]) {
        let [tone] = sounding else { return };
        let rate_hz = ring.rate_hz();
        let now_s = ring.at_s(ring.count());
        let due = self.k3.is_none_or(|k3| now_s - k3.1 > HARMONIC_EVERY_S || !is_same(k3.0, tone.hz));
        if tone.hz > LOW_HZ || !due {
            return;
        }
        let (from, to) = super::tones::within(ring, *tone);
        let from = from.max(to.saturating_sub((HARMONIC_S * rate_hz) as u64));
        if ring.at_s(to - from) < 0.9 * HARMONIC_S {
            return;
        }
        let Some(mut meter) = DistortionMeter::new(rate_hz, tone.hz) else { return };
        ring.read(from, to, &mut |block| meter.feed(block));
        let Some(harmonics) = meter.finish() else { return };
        let step = PlayedStep { part: "", hz: tone.hz, programme_db: 0.0, harmonics: &harmonics };
        let row = distortion(&[step], [None; 2]).and_then(|found| found.steps.into_iter().next());
        if let Some(row) = row {
            self.k3 = Some((tone.hz, now_s, row.k3_percent));
        }
    }

    /// Forgets the harmonic.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// The figures now.
    pub fn shown(&self, tones: &Tones, now_s: f64, options: &FollowOptions) -> (Shown, Option<Figure>) {
        let heard = |tone: &&HeardTone| now_s - tone.newest.at_s < HEARD_S;
        let all: Vec<&HeardTone> = tones.all.iter().filter(heard).collect();
        // The quieter of two low ones: the loud one is there for the level and its harmonics.
        let quiet = |a: &&&HeardTone, b: &&&HeardTone| {
            let level = |tone: &HeardTone| tone.newest.dbfs.into_iter().flatten().fold(-200.0, f64::max);
            level(a).total_cmp(&level(b))
        };
        let low = all.iter().filter(|tone| tone.hz < LOW_HZ).min_by(quiet).copied();
        let mut high: Vec<&HeardTone> =
            all.iter().filter(|tone| low.is_some_and(|low| tone.hz > HIGHER * low.hz)).copied().collect();
        high.sort_by(|a, b| a.hz.total_cmp(&b.hz));
        let (Some(low), false) = (low, high.is_empty()) else {
            let why = "Record a low tone and a high one, in turn or at once, such as 1 kHz and 10 kHz at -20 dB (recipe \
                       turn-bias): only one of them is heard.";
            return (Shown::Nothing { why: why.to_owned() }, None);
        };
        let against_source = low.source_dbfs != [None; 2] && high.iter().any(|h| h.source_dbfs != [None; 2]);
        let limit = options.limits.get(Key::BiasPair).map(|limit| limit.value);
        let known = against_source || (low.programme_db.is_some() && high[0].programme_db.is_some());
        let rows: Vec<HighNow> = high.iter().map(|high| row(low, high, against_source, now_s)).collect();
        let k3 = self.k3.filter(|k3| now_s - k3.1 < HEARD_S);
        let now = BiasNow {
            low_hz: low.nominal_hz.unwrap_or(low.newest.hz),
            low_db: if against_source { low.against_source_db() } else { low.newest.dbfs },
            high: rows,
            k3_percent: k3.map_or([None; 2], |k3| k3.2),
            k3_hz: k3.map(|k3| k3.0),
            against_source,
            limit_db: limit.filter(|_| known),
        };
        let figure = figure(&now);
        (Shown::Bias(now), figure)
    }
}

fn row(low: &HeardTone, high: &HeardTone, against_source: bool, now_s: f64) -> HighNow {
    let programme = high.programme_db.zip(low.programme_db).map_or(0.0, |(high, low)| high - low);
    let plain = minus(high.newest.dbfs, low.newest.dbfs).map(|db| db.map(|db| db - programme));
    let difference_db =
        if against_source { minus(high.against_source_db(), low.against_source_db()) } else { plain };
    let before_s = now_s - CHANGE_S;
    let before = high.about(before_s, CHANGE_WITHIN_S).zip(low.about(before_s, CHANGE_WITHIN_S));
    let change_db = before.map_or([None; 2], |(high, low)| {
        minus(plain.map(|db| db.map(|db| db + programme)), minus(high.dbfs, low.dbfs))
    });
    HighNow {
        hz: high.nominal_hz.unwrap_or(high.newest.hz),
        high_db: if against_source { high.against_source_db() } else { high.newest.dbfs },
        difference_db,
        uncertainty_db: [0, 1].map(|channel| {
            Some(high.newest.uncertainty_db[channel]?.hypot(low.newest.uncertainty_db[channel]?))
        }),
        past_peak_db: minus(high.highest_dbfs, high.newest.dbfs).map(|db| db.map(|db| db.max(0.0))),
        change_db,
        ago_s: now_s - high.newest.at_s.min(low.newest.at_s),
    }
}

/// What is turned by: the worse channel of the first high tone against the low one.
fn figure(now: &BiasNow) -> Option<Figure> {
    let first = now.high.first()?;
    let of = |channel: usize| first.difference_db[channel].map(|value| (value, channel));
    let (value, channel) =
        [of(0), of(1)].into_iter().flatten().max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))?;
    let uncertainty = first.uncertainty_db[channel];
    let target = now.limit_db.map(|_| 0.0);
    let (high, low) = (frequency(first.hz), frequency(now.low_hz));
    let name = format!("{high} against {low}, {}", ["left", "right"][channel]);
    let verdict = verdict(value, uncertainty, target, now.limit_db);
    Some(Figure { name, value, uncertainty, unit: "dB".to_owned(), target, limit: now.limit_db, verdict })
}
