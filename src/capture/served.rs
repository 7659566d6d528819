//! What each tone of a recording without slates serves, and its place as if it had been a programme.
//!
//! The tones become a timeline with code 0 on an even time map, so that all meters run unchanged; one tone may stand in
//! it twice, for two purposes. Levels are those that came back (`Timeline::levels_are_known`), so what is concluded
//! from gains at two levels stays silent. The ladder is the largest set of frequencies whose levels lead smoothly from
//! one to the next.

use super::alignment::{Alignment, Stretch};
use super::heard::{BetweenKind, Heard, HeardTone};
use super::nominals::{Name, Names, of_one_tone};
use super::time_map::TimeMap;
use super::wiring::Wiring;
use crate::programme::{Channels, PlacedPart, Serves, Signal, TapeFile, TapeTone, Timeline};
use crate::reading::FileClock;
use crate::signal::statistics::{mean, median};
use crate::trade::test_tapes::shows_flutter;

/// Tones that levels and responses refer to lie here, Hz.
const LEVEL_HZ: (f64, f64) = (250.0, 1100.0);
/// From here on a tone shows all rates of flutter that are asked for, Hz.
const ALL_FLUTTER_HZ: f64 = 800.0;
/// Shorter tones show no flutter, s.
const FLUTTER_LEAST_S: f64 = 1.8;
/// Less of it in all makes no figure, s.
const FLUTTER_TOTAL_S: f64 = 3.2;
/// Azimuth is seen from here on, Hz.
const AZIMUTH_HZ: f64 = 6000.0;
/// A ladder of tones has at least so many frequencies; with told levels three do.
const LADDER: usize = 5;
/// See [`LADDER`].
const TOLD_LADDER: usize = 3;
/// Level tones are no weaker than the loudest of them by more than this, dB.
const LEVELS_DB: f64 = 3.0;
/// Silence that noise is read from, s: less does not let the needle settle.
const SILENCE_S: f64 = 2.2;

/// One tone with what it is for.
#[derive(Debug, Clone, PartialEq)]
pub struct ServedTone {
    /// As heard.
    pub tone: HeardTone,
    /// Its nominal frequency.
    pub name: Option<Name>,
    /// Frequency in the programme, Hz: nominal, or as heard with the speed undone.
    pub hz: f64,
    /// The tape's own value for it.
    pub told: Option<TapeTone>,
    /// The tone by which a level is stated.
    pub level: bool,
    /// One of the ladder.
    pub response: bool,
    /// Flutter is read from it.
    pub flutter: bool,
    /// Azimuth is seen in it.
    pub azimuth: bool,
    /// Identifier of its part.
    pub part: String,
}

impl ServedTone {
    /// Level on the channels that have it, dBFS.
    fn dbfs(&self) -> f64 {
        mean((0..2).filter(|&side| self.tone.on[side]).map(|side| self.tone.dbfs[side]))
    }

    /// The same with what is known to be on the tape subtracted, the told level only if `by_level`.
    fn flat_db(&self, by_level: bool) -> f64 {
        let level = |told: TapeTone| told.level_db.filter(|_| by_level).unwrap_or(0.0) + told.correction_db;
        self.dbfs() - self.told.map_or(0.0, level)
    }
}

/// A recording laid out as if it had been a programme.
#[derive(Debug, Clone, PartialEq)]
pub struct Served {
    /// Its parts; a stretch may stand in it twice, for two purposes. Its code is 0.
    pub timeline: Timeline,
    /// Their places in the return.
    pub alignment: Alignment,
    /// The tones.
    pub tones: Vec<ServedTone>,
    /// The levels of the ladder's tones are those of the tape's file, not assumed to be equal.
    pub levels_told: bool,
    /// Index in [`Heard::between`] of the silence that noise is read from.
    pub silence: Option<usize>,
    /// Index in [`Heard::sweeps`] of the sweep that the response is read from.
    pub sweep: Option<usize>,
}

/// Lays `heard` out; `one_signal`: both channels are known to carry the same.
pub fn serve(
    heard: &Heard,
    names: &Names,
    tape: Option<&TapeFile>,
    duration_s: f64,
    one_signal: bool,
) -> Served {
    let ratio = names.speed_ratio();
    let mut tones = named(heard, names, tape);
    let ladder = ladder(&tones);
    let told = |tone: &ServedTone| tone.told.is_some_and(|told| told.level_db.is_some());
    let all_told = !ladder.is_empty() && ladder.iter().all(|&k| told(&tones[k]));
    let ladder =
        if ladder.len() >= LADDER || all_told && ladder.len() >= TOLD_LADDER { ladder } else { vec![] };
    ladder.iter().for_each(|&k| tones[k].response = true);
    let sweep = heard
        .sweeps
        .iter()
        .enumerate()
        .filter(|(_, sweep)| sweep.even)
        .max_by(|a, b| (a.1.to_s - a.1.from_s).total_cmp(&(b.1.to_s - b.1.from_s)))
        .map(|found| found.0);
    let reference_hz = reference_hz(&tones, heard, sweep, ratio);
    levels(&mut tones, reference_hz);
    for k in flutter(&tones) {
        tones[k].flutter = true;
    }
    for tone in &mut tones {
        tone.azimuth = tone.hz > AZIMUTH_HZ && tone.tone.on == [true; 2] && !tone.tone.rich;
    }
    let dead = [0, 1].map(|side| !tones.is_empty() && tones.iter().all(|tone| !tone.tone.on[side]));
    let silence = silence(heard, &tones);
    let parts = parts(&tones, &dead, heard, (silence, sweep), (ratio, reference_hz));
    let timeline = Timeline {
        name: "unslated".into(),
        code: 0,
        reference_hz,
        looped: false,
        parts,
        length_s: duration_s * ratio,
    };
    let wiring = Wiring { mono: one_signal, dead, ..Wiring::default() };
    let map = TimeMap::even(ratio, duration_s);
    let clock = FileClock::default();
    let alignment =
        Alignment { slates: vec![], map, wiring, duration_s, clock, cut_start: false, cut_end: false };
    Served { timeline, alignment, tones, levels_told: all_told, silence, sweep }
}

/// The tones with names, identifiers and what the tape's file says of them.
fn named(heard: &Heard, names: &Names, tape: Option<&TapeFile>) -> Vec<ServedTone> {
    let mut tones: Vec<ServedTone> = Vec::new();
    for (tone, name) in heard.tones.iter().zip(&names.names) {
        let known = name.filter(|_| names.tells_speed);
        let hz = known.map_or(tone.hz / names.speed_ratio(), |name| name.nominal_hz);
        let stem = format!("tone-{}", (hz * 10.0).round() / 10.0);
        let same = tones
            .iter()
            .filter(|other| other.part == stem || other.part.starts_with(&format!("{stem}-")))
            .count();
        let part = if same == 0 { stem } else { format!("{stem}-{}", same + 1) };
        tones.push(ServedTone {
            tone: *tone,
            name: *name,
            hz,
            told: None,
            level: false,
            response: false,
            flutter: false,
            azimuth: false,
            part,
        });
    }
    let Some(tape) = tape else { return tones };
    // Where 0 dB of the tape came back: told by tones that the file has at one level only.
    let single = |hz: f64| {
        let mut of = tape.tones.iter().filter(|tone| (tone.hz / hz - 1.0).abs() < 0.004);
        let first = of.next()?.level_db?;
        of.next().is_none().then_some(first)
    };
    let mut zeros: Vec<f64> = tones
        .iter()
        .filter(|tone| (LEVEL_HZ.0..4000.0).contains(&tone.hz))
        .filter_map(|tone| Some(tone.dbfs() - single(tone.hz)?))
        .collect();
    if zeros.is_empty() {
        let loudest = tones.iter().map(ServedTone::dbfs).fold(f64::NEG_INFINITY, f64::max);
        let most = tape.tones.iter().filter_map(|tone| tone.level_db).fold(f64::NEG_INFINITY, f64::max);
        zeros.extend(Some(loudest - most).filter(|zero| zero.is_finite()));
    }
    let zero = (!zeros.is_empty()).then(|| median(zeros));
    for tone in &mut tones {
        tone.told = tape.tone(tone.hz, zero.map(|zero| tone.dbfs() - zero)).copied();
    }
    tones
}

/// The largest set of tones of different frequencies whose levels lead smoothly from one to the next: indices into `tones`,
/// by rising frequency.
fn ladder(tones: &[ServedTone]) -> Vec<usize> {
    // A few told levels among many tones would only tear the ladder apart.
    let told = tones.iter().filter(|tone| tone.told.is_some_and(|told| told.level_db.is_some())).count();
    let by_level = told * 5 >= tones.len() * 3;
    let mut order: Vec<usize> = (0..tones.len()).filter(|&k| !tones[k].tone.rich).collect();
    order.sort_by(|&a, &b| tones[a].hz.total_cmp(&tones[b].hz));
    let anchors = order.iter().copied().filter(|&k| (LEVEL_HZ.0..LEVEL_HZ.1).contains(&tones[k].hz));
    let grown = anchors.map(|anchor| {
        let mut set = vec![anchor];
        for rising in [true, false] {
            let mut last = anchor;
            let way: Vec<usize> = if rising { order.clone() } else { order.iter().rev().copied().collect() };
            let beyond = |k: usize, last: usize| {
                let octaves = (tones[k].hz / tones[last].hz).log2();
                if rising { octaves > 0.02 } else { octaves < -0.02 }
            };
            let mut at = 0;
            while at < way.len() {
                let hz = tones[way[at]].hz;
                let same: Vec<usize> = way[at..]
                    .iter()
                    .copied()
                    .take_while(|&k| (tones[k].hz / hz).log2().abs() < 0.02)
                    .collect();
                at += same.len().max(1);
                let next = same
                    .into_iter()
                    .filter(|&k| beyond(k, last) && follows(&tones[k], &tones[last], by_level))
                    .min_by(|&a, &b| {
                        let away =
                            |k: usize| (tones[k].flat_db(by_level) - tones[last].flat_db(by_level)).abs();
                        away(a).total_cmp(&away(b))
                    });
                if let Some(next) = next {
                    set.push(next);
                    last = next;
                }
            }
        }
        set
    });
    // Of two as large the quieter one: level tones are the loud ones.
    let level = |set: &[usize]| tones[set[0]].flat_db(by_level);
    let mut best =
        grown.max_by(|a, b| a.len().cmp(&b.len()).then(level(b).total_cmp(&level(a)))).unwrap_or_default();
    best.sort_by(|&a, &b| tones[a].hz.total_cmp(&tones[b].hz));
    best
}

/// Whether the level of `next` may be that of the same ladder as `last`, given how decks lose treble and bass.
fn follows(next: &ServedTone, last: &ServedTone, by_level: bool) -> bool {
    let octaves = (next.hz / last.hz).log2().abs();
    let up = next.flat_db(by_level) - last.flat_db(by_level);
    let (down, most) = if next.hz > 5500.0 {
        (3.0 + 12.0 * octaves, 3.0 + 4.0 * octaves)
    } else if next.hz < 120.0 {
        (3.0 + 6.0 * octaves, 3.0 + 3.0 * octaves)
    } else {
        (2.0 + 2.0 * octaves, 2.0 + 2.0 * octaves)
    };
    up > -down && up < most
}

/// What response refers to: of the ladder the usual one nearest to 400 Hz, else a frequency of the sweep, Hz.
fn reference_hz(tones: &[ServedTone], heard: &Heard, sweep: Option<usize>, ratio: f64) -> f64 {
    // The usual reference tones in the order of preference, then whatever is nearest.
    let away = |hz: f64| {
        let usual = [400.0, 315.0, 333.0, 1000.0, 500.0].iter().position(|usual| *usual == hz);
        usual.map_or(10.0 + (hz / 400.0_f64).log2().abs(), |place| place as f64)
    };
    let of_ladder = tones
        .iter()
        .filter(|tone| tone.response && (LEVEL_HZ.0..LEVEL_HZ.1).contains(&tone.hz))
        .map(|tone| tone.hz)
        .min_by(|a, b| away(*a).total_cmp(&away(*b)));
    let of_sweep = sweep.map(|k| {
        let glide = heard.sweeps[k];
        let (low, high) = (glide.from_hz.min(glide.to_hz) / ratio, glide.from_hz.max(glide.to_hz) / ratio);
        [400.0, 1000.0]
            .into_iter()
            .find(|hz| low < hz * 0.7 && high > hz * 1.4)
            .unwrap_or((low * high).sqrt())
    });
    of_ladder.or(of_sweep).unwrap_or(400.0)
}

/// Chooses the level tones: loud ones beside the ladder, else the ladder's reference.
fn levels(tones: &mut [ServedTone], reference_hz: f64) {
    let candidate = |tone: &ServedTone| !tone.tone.rich && (LEVEL_HZ.0..LEVEL_HZ.1).contains(&tone.hz);
    let loudest = |beside: bool| {
        let of = tones.iter().filter(|tone| candidate(tone) && (!beside || !tone.response));
        of.map(ServedTone::dbfs).reduce(f64::max)
    };
    let ladder = tones.iter().find(|tone| tone.response && tone.hz == reference_hz).map(ServedTone::dbfs);
    // What lies beside the ladder and is quieter is none.
    let beside = loudest(true).filter(|level| ladder.is_none_or(|ladder| *level > ladder - LEVELS_DB));
    match beside {
        Some(level) => {
            for tone in tones.iter_mut().filter(|tone| candidate(tone) && !tone.response) {
                tone.level = tone.dbfs() > level - LEVELS_DB;
            }
        }
        None => {
            let nearest = (0..tones.len()).filter(|&k| candidate(&tones[k])).min_by(|&a, &b| {
                let away = |k: usize| (tones[k].hz / reference_hz).log2().abs();
                away(a).total_cmp(&away(b))
            });
            if let Some(k) = nearest {
                tones[k].level = true;
            }
        }
    }
}

/// The tones that flutter is read from: of those of one frequency the longest in all, a low tone by what it shows.
fn flutter(tones: &[ServedTone]) -> Vec<usize> {
    let long = |tone: &ServedTone| tone.tone.steady.length_s();
    let bears = |tone: &&ServedTone| shows_flutter(tone.hz) && long(tone) > FLUTTER_LEAST_S;
    let groups = of_one_tone(tones.iter().filter(bears).map(|tone| tone.tone.hz));
    let of = |group: &[f64]| -> Vec<usize> {
        let inside = |k: &usize| bears(&&tones[*k]) && group.contains(&tones[*k].tone.hz);
        (0..tones.len()).filter(inside).collect()
    };
    let total_s = |group: &[usize]| group.iter().map(|&k| long(&tones[k])).sum::<f64>();
    let worth = |group: &[usize]| total_s(group) * (tones[group[0]].hz / ALL_FLUTTER_HZ).min(1.0);
    let best = groups.iter().map(|group| of(group)).max_by(|a, b| worth(a).total_cmp(&worth(b)));
    best.filter(|group| total_s(group) > FLUTTER_TOTAL_S).unwrap_or_default()
}

/// The longest silence between the first tone and the last: before and behind them may be a leader, or no tape.
fn silence(heard: &Heard, tones: &[ServedTone]) -> Option<usize> {
    let first_s = tones.iter().map(|tone| tone.tone.heard.from_s).reduce(f64::min)?;
    let last_s = tones.iter().map(|tone| tone.tone.heard.to_s).reduce(f64::max)?;
    let between = heard.between.iter().enumerate().filter(|(_, between)| {
        between.kind == BetweenKind::Silence
            && between.stretch.length_s() > SILENCE_S
            && between.stretch.from_s > first_s
            && between.stretch.to_s < last_s
    });
    between.max_by(|a, b| a.1.stretch.length_s().total_cmp(&b.1.stretch.length_s())).map(|found| found.0)
}

fn parts(
    tones: &[ServedTone],
    dead: &[bool; 2],
    heard: &Heard,
    (silence, sweep): (Option<usize>, Option<usize>),
    (ratio, reference_hz): (f64, f64),
) -> Vec<PlacedPart> {
    let zero = tones.iter().filter(|tone| tone.level).map(ServedTone::dbfs).reduce(f64::max).unwrap_or(-20.0);
    let ladder = tones
        .iter()
        .filter(|tone| tone.response)
        .min_by(|a, b| (a.hz - reference_hz).abs().total_cmp(&(b.hz - reference_hz).abs()))
        .map(|tone| tone.dbfs() - zero);
    let place = |stretch: Stretch| (stretch.from_s * ratio, stretch.length_s() * ratio);
    let part = |id: &str, stretch: Stretch, level_db: f64, signal: Signal, serves: Serves| PlacedPart {
        id: id.into(),
        start_s: place(stretch).0,
        length_s: place(stretch).1,
        level_db,
        channels: Channels::Both,
        signal,
        serves,
        purpose: String::new(),
    };
    let mut parts = Vec::new();
    let flutter_hz = median(tones.iter().filter(|tone| tone.flutter).map(|tone| tone.hz));
    for tone in tones {
        let own_db = tone.dbfs() - zero;
        let channels = match (tone.tone.on, dead) {
            ([true, false], [false, false]) => Channels::Left,
            ([false, true], [false, false]) => Channels::Right,
            _ => Channels::Both,
        };
        let mut add = |suffix: &str, level_db: f64, serves: Serves| {
            let id = format!("{}{suffix}", tone.part);
            // Stretches of one tone are read at one frequency.
            let hz = if serves == Serves::Flutter { flutter_hz } else { tone.hz };
            let made = part(&id, tone.tone.steady, level_db, Signal::Tone { hz }, serves);
            parts.push(PlacedPart { channels, ..made });
        };
        if tone.level {
            add("", own_db, Serves::Level);
        }
        if let Some(ladder) = ladder.filter(|_| tone.response) {
            add(if tone.level { "-response" } else { "" }, ladder, Serves::Response);
        }
        let named = tone.level || tone.response;
        if tone.azimuth {
            add(if named { "-azimuth" } else { "" }, own_db, Serves::Azimuth);
        }
        if tone.flutter {
            add("-flutter", own_db, Serves::Flutter);
        }
        if !named && !tone.azimuth {
            // For its frequency and its phase; its level is no other tone's, so that it is no step of the ladder.
            let apart = if ladder.is_some_and(|ladder| (own_db - ladder).abs() < 0.02) { 0.05 } else { 0.0 };
            add("", own_db + apart, Serves::Response);
        }
    }
    if let Some(k) = silence {
        let between = heard.between[k];
        parts.push(part("silence", between.stretch, 0.0, Signal::Silence, Serves::Noise));
    }
    if let Some(k) = sweep {
        let glide = heard.sweeps[k];
        let stretch = Stretch { from_s: glide.from_s, to_s: glide.to_s };
        let signal = Signal::Sweep { from_hz: glide.from_hz / ratio, to_hz: glide.to_hz / ratio };
        let level = ladder.unwrap_or(glide.dbfs - 3.0 - zero);
        parts.push(part("sweep", stretch, level, signal, Serves::Response));
    }
    parts.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    parts
}
