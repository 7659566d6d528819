//! Response view: level against frequency as it builds up, from tones in turn, a sweep, or noise.
//!
//! Noise is followed band by band with a memory of some seconds, so that a trimmer shows; a noise or a sweep of a known programme
//! that played to its end is read by its meter, as from a recording.

use super::options::FollowOptions;
use super::place::Place;
use super::ring::Ring;
use super::tones::{HeardTone, Tones};
use crate::measure::{Meter, NoiseBandsMeter, NoisePlace, SweepMeter, SweepPlace, band_level};
use crate::programme::{Channels, Colour, PlacedPart, Signal};
use crate::reading::figures::frequency;
use crate::reading::{Figure, PointNow, ResponseNow, Shown, Sound, minus};
use crate::signal::spectrum::Welch;
use crate::signal::statistics::{mean, mean_and_error};
use crate::trade::octave_bands::{ThirdOctave, third_octaves};

/// Frequency that responses refer to, Hz, and the band of it where noise is followed.
const REFERENCE_HZ: f64 = 400.0;
const REFERENCE_BANDS_HZ: (f64, f64) = (300.0, 550.0);
/// Tones that may serve as reference where 400 Hz is not heard, Hz.
const OTHER_REFERENCES_HZ: [f64; 5] = [400.0, 315.0, 333.0, 500.0, 1000.0];
/// Tones count for so long after they were heard, s.
const HEARD_S: f64 = 240.0;
/// Segments of the noise's spectrum, s.
const SEGMENT_S: f64 = 0.3;
/// Segments that a band's mean remembers: below and above 500 Hz.
const REMEMBERED: [f64; 2] = [100.0, 24.0];
const REMEMBERS_MORE_BELOW_HZ: f64 = 500.0;
/// Least uncertainty of a band by the lines of a sweep, dB: a line is read between bins.
const LEAST_OF_LINES_DB: f64 = 0.3;
/// Hum lies below this, Hz, within so many bins of a multiple of the mains; a bin of it has so many times the power of others.
const HUM_BELOW_HZ: f64 = 450.0;
const HUM_BINS: f64 = 2.0;
const STANDS_OUT: f64 = 3.0;
/// What is usual is told by the bins up to so many times below and above a band.
const BESIDE: f64 = 1.3;
/// A segment that differs by more than this from the mean belongs to another noise, dB.
const ANOTHER_NOISE_DB: f64 = 5.0;
/// What the filters and the place of a part need at its ends, s.
const MARGIN_S: f64 = 0.05;
/// A sweep of a known programme is read so often while it plays, s.
const SWEEP_EVERY_S: f64 = 0.5;
/// What a meter said of a part is shown for so long where another noise follows, s.
const PART_SHOWN_S: f64 = 3.0;
/// White noise rises by 1 dB from third octave to third octave, pink noise not at all.
const WHITE_FROM_DB: f64 = 0.5;

/// Noise followed band by band.
struct Following {
    welch: [Welch; 2],
    bands: Vec<ThirdOctave>,
    /// Mean power of each band in both channels.
    powers: Vec<[f64; 2]>,
    /// Mean power of each bin where hum may lie.
    low_bins: Vec<[f64; 2]>,
    segments: [f64; 2],
    /// Mean of their whole power.
    totals: [f64; 2],
    /// The next sample to be fed.
    next: u64,
    from: u64,
}

impl Following {
    fn new(rate_hz: f64, from: u64) -> Self {
        let length = ((rate_hz * SEGMENT_S) as usize).next_power_of_two();
        let bands: Vec<ThirdOctave> =
            third_octaves(31.5, 20_000.0).filter(|band| band.upper_hz < 0.48 * rate_hz).collect();
        let low_bins = (1.3 * HUM_BELOW_HZ / rate_hz * length as f64) as usize;
        Self {
            welch: [Welch::new(rate_hz, length), Welch::new(rate_hz, length)],
            low_bins: vec![[0.0; 2]; low_bins],
            powers: vec![[0.0; 2]; bands.len()],
            bands,
            segments: [0.0; 2],
            totals: [0.0; 2],
            next: from,
            from,
        }
    }

    fn feed(&mut self, ring: &mut Ring, to: u64) {
        let next = self.next.max(ring.oldest());
        let Self { welch, bands, powers, low_bins, segments, totals, .. } = self;
        ring.read(next, to, &mut |block| {
            for channel in 0..2 {
                let step_hz = welch[channel].step_hz();
                let scale = welch[channel].scale();
                let seen = &mut segments[channel];
                let (powers, low_bins) = (&mut *powers, &mut *low_bins);
                let bands = &*bands;
                let total = &mut totals[channel];
                welch[channel].feed_each(block[channel], |bins| {
                    *seen += 1.0;
                    let all: f64 = bins.iter().map(|bin| bin.norm_sqr()).sum();
                    if *seen > 1.0 && (all / *total).log10().abs() > ANOTHER_NOISE_DB / 10.0 {
                        // Another noise, or what came before it: only this counts.
                        *seen = 1.0;
                    }
                    *total += (all - *total) / seen.min(REMEMBERED[1]);
                    let share = 1.0 / seen.min(REMEMBERED[0]);
                    for (bin, mean) in bins.iter().zip(low_bins.iter_mut()) {
                        mean[channel] += share * (bin.norm_sqr() * scale - mean[channel]);
                    }
                    for (band, power) in bands.iter().zip(powers.iter_mut()) {
                        let (from, to) = bins_of(band, step_hz, bins.len());
                        let sum: f64 = bins[from..to].iter().map(|bin| bin.norm_sqr()).sum();
                        let width = (to - from) as f64 * step_hz / (band.upper_hz - band.lower_hz);
                        let most = REMEMBERED[usize::from(band.mid_hz >= REMEMBERS_MORE_BELOW_HZ)];
                        let share = 1.0 / seen.min(most);
                        power[channel] += share * (sum * scale / width - power[channel]);
                    }
                });
            }
        });
        self.next = to;
    }

    /// Power of each band; of the low ones without bins that stand out where hum lies.
    fn without_hum(&self) -> Vec<[f64; 2]> {
        let step_hz = self.welch[0].step_hz();
        let is_at_mains = |hz: f64| {
            [50.0, 60.0].iter().any(|mains| (hz - (hz / mains).round() * mains).abs() < HUM_BINS * step_hz)
        };
        let mut powers = self.powers.clone();
        for (band, power) in self.bands.iter().zip(&mut powers).filter(|(band, _)| band.mid_hz < HUM_BELOW_HZ)
        {
            let (from, to) = bins_of(band, step_hz, self.low_bins.len());
            for channel in 0..2 {
                let about = ((from as f64 / BESIDE) as usize, (to as f64 * BESIDE) as usize);
                let about = about.0..about.1.min(self.low_bins.len());
                let elsewhere = about.filter(|bin| !is_at_mains(*bin as f64 * step_hz));
                let elsewhere: Vec<f64> = elsewhere.map(|bin| self.low_bins[bin][channel]).collect();
                if elsewhere.is_empty() {
                    continue;
                }
                let usual = mean(&elsewhere);
                let bins = self.low_bins[from..to].iter().map(|bin| bin[channel]);
                let kept: Vec<f64> = bins.filter(|bin| *bin < STANDS_OUT * usual).collect();
                let usual = if kept.is_empty() { usual } else { mean(&kept) };
                let width = (to - from) as f64 * step_hz / (band.upper_hz - band.lower_hz);
                power[channel] = usual * (to - from) as f64 / width;
            }
        }
        powers
    }

    /// Levels against the reference bands, dB; `colour` where it is known, else the one that fits better.
    fn points(&self, colour: Option<Colour>) -> Vec<PointNow> {
        if self.segments[0] < 3.0 {
            return Vec::new();
        }
        let db = |power: f64| 10.0 * power.max(1e-20).log10();
        let powers = self.without_hum();
        let level = |band: &[f64; 2]| db(band[0] + band[1]);
        let near = |hz: f64| self.bands.iter().position(|band| band.mid_hz > hz).unwrap_or(0);
        let (low, high) = (near(390.0), near(3900.0));
        let slope = (level(&powers[high]) - level(&powers[low])) / (high - low).max(1) as f64;
        let white = colour.map_or(slope > WHITE_FROM_DB, |colour| colour == Colour::White);
        let flat = |k: usize, channel: usize| {
            db(powers[k][channel]) - if white { 10.0 * self.bands[k].mid_hz.log10() } else { 0.0 }
        };
        let reference: Vec<usize> = (0..self.bands.len())
            .filter(|&k| {
                self.bands[k].lower_hz > 0.9 * REFERENCE_BANDS_HZ.0
                    && self.bands[k].upper_hz < 1.1 * REFERENCE_BANDS_HZ.1
            })
            .collect();
        let zero = [0, 1].map(|channel| {
            reference.iter().map(|&k| flat(k, channel)).sum::<f64>() / reference.len().max(1) as f64
        });
        let width_hz = |k: usize| self.bands[k].upper_hz - self.bands[k].lower_hz;
        let zero_u_db = self.uncertainty_db(reference.iter().map(|&k| width_hz(k)).sum(), REFERENCE_HZ);
        let at = |k: usize| {
            let own_u_db = self.uncertainty_db(width_hz(k), self.bands[k].mid_hz);
            let level = |channel: usize| {
                let is_heard = powers[k][channel] > 1e-16;
                is_heard.then(|| (flat(k, channel) - zero[channel], own_u_db.hypot(zero_u_db)))
            };
            point(self.bands[k].nominal_hz, [level(0), level(1)])
        };
        (0..self.bands.len()).map(at).collect()
    }

    /// What the chance of noise leaves of a level over `width_hz` about `hz`, expanded, dB: segments under a Hann window that
    /// overlap by half, each with one value for every 1.5 bins (Welch, 1967).
    fn uncertainty_db(&self, width_hz: f64, hz: f64) -> f64 {
        let most = REMEMBERED[usize::from(hz >= REMEMBERS_MORE_BELOW_HZ)];
        // Weights that fade reach twice as far as a mean over as many.
        let segments = self.segments[0].min(2.0 * most - 1.0);
        let bins = (width_hz / (1.5 * self.welch[0].step_hz())).max(1.0);
        2.0 * 10.0 / std::f64::consts::LN_10 / (0.95 * segments * bins).sqrt()
    }
}

/// The bins of a band, first and end.
fn bins_of(band: &ThirdOctave, step_hz: f64, count: usize) -> (usize, usize) {
    let from = (band.lower_hz / step_hz + 0.5) as usize;
    (from, ((band.upper_hz / step_hz + 0.5) as usize).clamp(from + 1, count))
}

/// What the view remembers.
#[derive(Default)]
pub(crate) struct ResponseView {
    noise: Option<Following>,
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
                let noise = self.noise.get_or_insert_with(|| Following::new(rate_hz, sound.1));
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
    fn points(&self, tones: &Tones, place: &Place, now_s: f64) -> (Vec<PointNow>, f64) {
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
    pub fn hold(&mut self, tones: &Tones, place: &Place, now_s: f64) -> usize {
        self.held = self.points(tones, place, now_s).0;
        self.held.len()
    }

    /// Takes the curve as that of the source; how many points.
    pub fn take_source(&mut self, tones: &Tones, place: &Place, now_s: f64) -> usize {
        self.source = self.points(tones, place, now_s).0;
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
        let (mut points, reference_hz) = self.points(tones, place, now_s);
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
            (Some(noise), By::Noise) => (noise.next.saturating_sub(noise.from)) as f64 / noise_rate(noise),
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

fn noise_rate(noise: &Following) -> f64 {
    noise.welch[0].step_hz() * noise.welch[0].length() as f64
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
fn point(hz: f64, levels: [Option<(f64, f64)>; 2]) -> PointNow {
    PointNow {
        hz,
        db: levels.map(|level| level.map(|level| level.0)),
        uncertainty_db: levels.map(|level| level.map(|level| level.1)),
    }
}

/// The point against the one that stands for 0 dB.
fn against(of: PointNow, zero: &PointNow) -> PointNow {
    let uncertainty_db = [0, 1].map(|channel| {
        let (own, other) = (of.uncertainty_db[channel]?, zero.uncertainty_db[channel]?);
        Some(if of.hz == zero.hz { own } else { own.hypot(other) })
    });
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

/// The tones of late against the one nearest to the reference frequency, and that frequency.
fn of_tones(tones: &Tones, now_s: f64) -> (Vec<PointNow>, f64) {
    let heard: Vec<&HeardTone> = tones.all.iter().filter(|tone| now_s - tone.newest.at_s < HEARD_S).collect();
    let reference = OTHER_REFERENCES_HZ
        .iter()
        .find_map(|hz| heard.iter().find(|tone| super::tones::is_same(tone.hz, *hz)));
    let Some(reference) = reference else { return (Vec::new(), REFERENCE_HZ) };
    let level = |tone: &HeardTone| {
        let programme_db = tone.programme_db.unwrap_or(0.0);
        let db = tone.newest.dbfs.map(|dbfs| dbfs.map(|dbfs| dbfs - programme_db));
        let hz = tone.nominal_hz.unwrap_or(tone.newest.hz);
        PointNow { hz, db, uncertainty_db: tone.newest.uncertainty_db }
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
