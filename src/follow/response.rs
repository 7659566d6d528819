//! Response view: level against frequency as it builds up, from tones in turn, a sweep, or noise.
//!
//! A noise or a sweep of a known programme that played to its end is read by its meter, as from a recording; until then noise is
//! followed by `noise_response`, and a sweep by its lines.

use super::noise_response::NoiseResponse;
use super::options::FollowOptions;
use super::place::Place;
use super::ring::Ring;
use super::tones::{HeardTone, Tones};
use crate::measure::{
    Meter, NoiseBandsMeter, NoisePlace, SweepMeter, SweepPlace, band_level, recorded_level,
};
use crate::programme::{Channels, PlacedPart, Signal};
use crate::reading::figures::frequency;
use crate::reading::{Card, Figure, PointNow, ResponseNow, Shown, Sound, minus};
use crate::signal::statistics::mean_and_error;
use crate::trade::Medium;
use crate::trade::octave_bands::{ThirdOctave, third_octaves};
use crate::trade::sound_card::top_hz;

/// Frequency that responses refer to, Hz.
pub(super) const REFERENCE_HZ: f64 = 400.0;
/// Tones that may serve as reference where 400 Hz is not heard, Hz.
const OTHER_REFERENCES_HZ: [f64; 5] = [400.0, 315.0, 333.0, 500.0, 1000.0];
/// Tones count for so long after they were heard, s.
const HEARD_S: f64 = 240.0;
/// Least uncertainty of a band by the lines of a sweep, dB: a line is read between bins.
const LEAST_OF_LINES_DB: f64 = 0.3;
/// What the filters and the place of a part need at its ends, s.
const MARGIN_S: f64 = 0.05;
/// A sweep of a known programme is read so often while it plays, s.
const SWEEP_EVERY_S: f64 = 0.5;
/// What a meter said of a part is shown for so long where another noise follows, s.
const PART_SHOWN_S: f64 = 3.0;

/// What the view remembers.
#[derive(Default)]
pub(crate) struct ResponseView {
    noise: Option<NoiseResponse>,
    /// A sweep by the lines that were heard: Hz, and level of both channels, dB.
    swept: Vec<(f64, [f64; 2])>,
    swept_from_s: Option<f64>,
    /// What a meter said of a part of a known programme.
    read: Vec<PointNow>,
    /// The part that it is, or that plays.
    part: Option<String>,
    read_at_s: f64,
    /// Until then the part that was read is shown, s.
    part_until_s: f64,
    held: Vec<PointNow>,
    source: Vec<PointNow>,
    /// Which of them is shown.
    by: By,
}

#[derive(Default, Clone, Copy, PartialEq)]
enum By {
    #[default]
    Tones,
    Noise,
    Sweep,
    Part,
}

impl ResponseView {
    /// Begins anew; what is held, and the source, stay.
    pub fn reset(&mut self) {
        let (held, source) = (std::mem::take(&mut self.held), std::mem::take(&mut self.source));
        *self = Self { held, source, ..Self::default() };
    }

    /// Listens to what plays: noise and sweeps build up.
    pub fn listen(
        &mut self,
        ring: &mut Ring,
        sound: (Sound, u64),
        line: Option<(f64, [f64; 2])>,
        place: &Place,
        options: &FollowOptions,
    ) {
        let now_s = ring.at_s(ring.count());
        self.read_part(ring, place, options);
        match sound.0 {
            Sound::Noise => {
                let to = ring.count();
                let rate_hz = ring.rate_hz();
                let noise = self.noise.get_or_insert_with(|| NoiseResponse::new(rate_hz, sound.1));
                noise.feed(ring, to);
                if now_s > self.part_until_s {
                    self.by = By::Noise;
                }
            }
            Sound::Sweep => {
                self.noise = None;
                let from_s = *self.swept_from_s.get_or_insert(now_s);
                // A long pause: another sweep.
                if now_s - from_s > 120.0 {
                    self.swept.clear();
                    self.swept_from_s = Some(now_s);
                }
                if let Some(line) = line {
                    let back = self.swept.last().is_some_and(|last| line.0 < 0.5 * last.0);
                    if back {
                        self.swept.clear();
                    }
                    self.swept.push(line);
                }
                if self.by != By::Part {
                    self.by = By::Sweep;
                }
            }
            Sound::Tone | Sound::AtOnce => {
                self.noise = None;
                self.swept_from_s = None;
                if self.by == By::Noise {
                    self.by = By::Tones;
                }
            }
            _ => self.noise = None,
        }
    }

    /// Reads the part of a known programme that has just ended, or a sweep that plays, by its meter.
    fn read_part(&mut self, ring: &mut Ring, place: &Place, options: &FollowOptions) {
        let now_s = ring.at_s(ring.count());
        let Some((timeline, map)) = place.programme(now_s) else { return };
        let before = self.part.as_ref().and_then(|id| timeline.parts.iter().find(|part| part.id == *id));
        let plays = place.part(now_s).map(|(part, _)| part);
        let part_end_s = |part: &PlacedPart| map.to_return(part.start_s + part.length_s);
        if let Some(part) = before.filter(|part| now_s > part_end_s(part) + 0.3)
            && let Some(points) = read_whole(part, ring, map, options)
        {
            self.read = points;
            self.by = By::Part;
            self.part_until_s = now_s + PART_SHOWN_S;
            self.part = None;
        }
        let is_read = |part: &&PlacedPart| {
            matches!(part.signal, Signal::Noise { .. } | Signal::Sweep { .. })
                && part.channels == Channels::Both
        };
        if let Some(part) = plays.filter(is_read) {
            self.part = Some(part.id.clone());
            let is_sweep = matches!(part.signal, Signal::Sweep { .. });
            if is_sweep && now_s - self.read_at_s > SWEEP_EVERY_S {
                self.read_at_s = now_s;
                if let Some(points) = read_whole(part, ring, map, options) {
                    self.read = points;
                    self.by = By::Part;
                }
            }
        } else if before.is_some_and(|part| now_s > part_end_s(part) + 1.0) {
            self.part = None;
        }
    }

    /// The curve as it is now.
    fn points(
        &self,
        tones: &Tones,
        place: &Place,
        now_s: f64,
        options: &FollowOptions,
    ) -> (Vec<PointNow>, f64) {
        let (points, reference_hz) = self.heard(tones, place, now_s);
        match options.card.as_ref().filter(|_| self.by != By::Tones) {
            Some(card) => {
                let points = points.into_iter().map(|point| off_card(point, card, &options.medium));
                (points.collect(), reference_hz)
            }
            None => (points, reference_hz),
        }
    }

    /// The same with what is off on the tape, unless it comes from tones.
    fn heard(&self, tones: &Tones, place: &Place, now_s: f64) -> (Vec<PointNow>, f64) {
        match self.by {
            By::Part => (self.read.clone(), REFERENCE_HZ),
            By::Noise => {
                let colour = match place.part(now_s).map(|(part, _)| &part.signal) {
                    Some(Signal::Noise { colour, .. }) => Some(*colour),
                    _ => None,
                };
                (self.noise.as_ref().map_or_else(Vec::new, |noise| noise.points(colour)), REFERENCE_HZ)
            }
            By::Sweep => (of_lines(&self.swept), REFERENCE_HZ),
            By::Tones => of_tones(tones, now_s),
        }
    }

    /// Holds the curve; how many points.
    pub fn hold(&mut self, tones: &Tones, place: &Place, now_s: f64, options: &FollowOptions) -> usize {
        self.held = self.points(tones, place, now_s, options).0;
        self.held.len()
    }

    /// Takes the curve as that of the source; how many points.
    pub fn take_source(
        &mut self,
        tones: &Tones,
        place: &Place,
        now_s: f64,
        options: &FollowOptions,
    ) -> usize {
        self.source = self.points(tones, place, now_s, options).0;
        self.source.len()
    }

    /// The figures now.
    pub fn shown(
        &self,
        tones: &Tones,
        place: &Place,
        now_s: f64,
        options: &FollowOptions,
    ) -> (Shown, Option<Figure>) {
        let (mut points, reference_hz) = self.points(tones, place, now_s, options);
        if points.len() < 2 {
            let why =
                "Play noise, a sweep, or tones of several frequencies in turn: nothing shows a response yet.";
            return (Shown::Nothing { why: why.to_owned() }, None);
        }
        let against_source = !self.source.is_empty();
        if against_source {
            for point in &mut points {
                let source = self.source.iter().find(|source| (source.hz / point.hz).ln().abs() < 0.03);
                let unknown = PointNow { db: [None; 2], ..*point };
                *point = against(*point, source.unwrap_or(&unknown));
            }
        }
        let limit = options.limits.response(&options.circumstances);
        let judged = |point: &&PointNow| {
            let is_reference = (point.hz / reference_hz - 1.0).abs() < 0.03;
            point.hz >= limit.from_hz && point.hz <= limit.to_hz && (against_source || !is_reference)
        };
        let worst = points
            .iter()
            .filter(judged)
            .flat_map(|point| [0, 1].map(|channel| Some((*point, point.db[channel]?, channel))))
            .flatten()
            .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
        let limited = limit.db.is_finite();
        let limit_db = limited.then_some(limit.db);
        let figure = worst.map(|(point, value, channel)| {
            let uncertainty = point.uncertainty_db[channel];
            let (hz, zero) = (frequency(point.hz), frequency(reference_hz));
            Figure {
                name: format!("{hz} against {zero}, {}", ["left", "right"][channel]),
                value,
                uncertainty,
                unit: "dB".to_owned(),
                target: Some(0.0),
                limit: limit_db,
                verdict: super::options::verdict(value, uncertainty, Some(0.0), limit_db),
            }
        });
        let worst = worst.map(|(point, value, channel)| (point.hz, value, channel));
        let over_s = match (&self.noise, self.by) {
            (Some(noise), By::Noise) => noise.over_s(),
            _ => 0.0,
        };
        let now = ResponseNow {
            reference_hz,
            points,
            held: self.held.clone(),
            limit_db,
            limit_from_hz: limited.then_some(limit.from_hz),
            limit_to_hz: limited.then_some(limit.to_hz),
            worst,
            against_source,
            over_s,
        };
        (Shown::Response(now), figure)
    }
}

/// What a meter says of a noise or a sweep, as far as it played, against the reference band.
fn read_whole(
    part: &PlacedPart,
    ring: &mut Ring,
    map: &crate::capture::TimeMap,
    options: &FollowOptions,
) -> Option<Vec<PointNow>> {
    let rate_hz = ring.rate_hz();
    let [from_s, to_s] = [part.start_s, part.start_s + part.length_s].map(|at_s| map.to_return(at_s));
    let end_s = (to_s + 0.2).min(ring.at_s(ring.count()));
    if from_s < ring.at_s(ring.oldest()) {
        return None;
    }
    let points: Vec<PointNow> = match part.signal {
        Signal::Noise { .. } => {
            let from = ring.sample(from_s + MARGIN_S);
            let place = NoisePlace::new(part, map, ring.at_s(from), options.reference_dbfs)?;
            let mut meter = NoiseBandsMeter::new(rate_hz, place)?;
            let to = ring.sample(to_s - MARGIN_S);
            ring.read(from, to, &mut |block| meter.feed(block));
            let gains = meter.finish()?.gains(None);
            third_octaves(20.0, 20_000.0)
                .filter_map(|band| {
                    let gain = gains.iter().find(|gain| (gain.hz / band.mid_hz).ln().abs() < 0.01)?;
                    let (db, uncertainty_db) = (gain.gain_db, gain.uncertainty_db);
                    Some(PointNow { hz: band.nominal_hz, db, uncertainty_db })
                })
                .collect()
        }
        Signal::Sweep { from_hz, to_hz } => {
            let from = ring.sample((from_s - 0.2).max(0.0));
            let place = SweepPlace {
                from_hz,
                to_hz,
                ratio: map.ratio(part.start_s, part.length_s),
                start_s: from_s - ring.at_s(from),
                length_s: to_s - from_s,
            };
            let mut meter = SweepMeter::new(rate_hz, place)?;
            let to = ring.sample(end_s);
            ring.read(from, to, &mut |block| meter.feed(block));
            let found = meter.finish();
            third_octaves(20.0, 20_000.0)
                .filter(|band| band.upper_hz <= top_hz(rate_hz))
                .map(|band| {
                    let level = |channel| band_level(&found, channel, band.lower_hz, band.upper_hz);
                    point(band.nominal_hz, [level(0), level(1)])
                })
                .filter(|point| point.db != [None; 2])
                .collect()
        }
        _ => return None,
    };
    against_reference(points)
}

/// The points against the one nearest to the reference frequency; `None` where it is not there.
fn against_reference(mut points: Vec<PointNow>) -> Option<Vec<PointNow>> {
    let zero = *points
        .iter()
        .filter(|point| (point.hz / REFERENCE_HZ).ln().abs() < 0.13)
        .min_by(|a, b| (a.hz / REFERENCE_HZ).ln().abs().total_cmp(&(b.hz / REFERENCE_HZ).ln().abs()))?;
    for point in &mut points {
        *point = against(*point, &zero);
    }
    Some(points)
}

/// A point from the level of each channel and its uncertainty, dB.
pub(super) fn point(hz: f64, levels: [Option<(f64, f64)>; 2]) -> PointNow {
    PointNow {
        hz,
        db: levels.map(|level| level.map(|level| level.0)),
        uncertainty_db: levels.map(|level| level.map(|level| level.1)),
    }
}

/// The point against the one that stands for 0 dB.
fn against(of: PointNow, zero: &PointNow) -> PointNow {
    let uncertainty_db =
        [0, 1].map(|channel| Some(of.uncertainty_db[channel]?.hypot(zero.uncertainty_db[channel]?)));
    PointNow { db: minus(of.db, zero.db), uncertainty_db, ..of }
}

/// Third octaves of the lines of a sweep.
fn of_lines(lines: &[(f64, [f64; 2])]) -> Vec<PointNow> {
    let level = |band: &ThirdOctave, channel: usize| {
        let inside: Vec<f64> = lines
            .iter()
            .filter(|line| line.0 >= band.lower_hz && line.0 < band.upper_hz)
            .map(|line| line.1[channel])
            .collect();
        let (level, error) = mean_and_error(&inside);
        (inside.len() > 1).then_some((level, (2.0 * error).max(LEAST_OF_LINES_DB)))
    };
    let points: Vec<PointNow> = third_octaves(20.0, 20_000.0)
        .map(|band| point(band.nominal_hz, [0, 1].map(|channel| level(&band, channel))))
        .filter(|point| point.db != [None; 2])
        .collect();
    against_reference(points).unwrap_or_default()
}

/// The point without what the card says of the tape; unknown where it does not.
fn off_card(of: PointNow, card: &Card, medium: &Medium) -> PointNow {
    // At the level of the level tones: the rest is in the uncertainty.
    let programme_db = card.level.first().map_or(0.0, |level| level.programme_db);
    let on_tape = |hz: f64| {
        let level = recorded_level(card, hz, programme_db, medium);
        let (db, uncertainty_db) = level.unwrap_or(([None; 2], 0.0));
        PointNow { hz, db, uncertainty_db: [Some(uncertainty_db); 2] }
    };
    against(of, &against(on_tape(of.hz), &on_tape(REFERENCE_HZ)))
}

/// The tones of late against the one nearest to the reference frequency, and that frequency.
fn of_tones(tones: &Tones, now_s: f64) -> (Vec<PointNow>, f64) {
    let heard: Vec<&HeardTone> = tones.all.iter().filter(|tone| now_s - tone.newest.at_s < HEARD_S).collect();
    let reference = OTHER_REFERENCES_HZ
        .iter()
        .find_map(|hz| heard.iter().find(|tone| super::tones::is_same(tone.hz, *hz)));
    let Some(reference) = reference else { return (Vec::new(), REFERENCE_HZ) };
    let level = |tone: &HeardTone| {
        let db = minus(tone.newest.dbfs, tone.on_tape_db());
        PointNow { hz: tone.nominal_hz.unwrap_or(tone.newest.hz), db, uncertainty_db: tone.uncertainty_db() }
    };
    let zero = level(reference);
    let mut points: Vec<PointNow> = heard
        .iter()
        // Levels that nobody knows cannot be held against one that is known.
        .filter(|tone| tone.programme_db.is_some() == reference.programme_db.is_some())
        .map(|tone| against(level(tone), &zero))
        .collect();
    points.sort_by(|a, b| a.hz.total_cmp(&b.hz));
    (points, zero.hz)
}
