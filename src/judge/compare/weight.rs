//! What a difference between readings is worth: chance among many rows, and how much of a tolerance it is.
//!
//! With k = 2 one of twenty unchanged rows "changes", and a comparison has three hundred. So `really` asks for more: the factor by
//! which all rows together show a change once in 22 comparisons (Bonferroni), and a tenth of the tolerance of common practice.

use crate::judge::compare::quantities::Compared;
use crate::judge::meaning::{Meaning, meaning};
use crate::judge::output::wider_mv;
use crate::judge::quantities::{Id, Key, judged};
use crate::reading::figures::UnitKind;
use crate::reading::{
    ChangeState, Circumstances, ComparedChannel, ComparedRow, Comparison, MeasuredBy, QuantityChange,
};
use crate::trade::common_practice::{AZIMUTH_PHASE_HZ, DeckClass};
use crate::trade::student::normal_exceeded;

/// Share of a tolerance below which a change is not worth naming (common practice, no source).
const WORTH_NAMING: f64 = 0.1;
/// Share of comparisons of an unchanged deck in which chance may show a change somewhere: what k = 2 leaves of one.
const CHANCE: f64 = 0.0455;
/// Frequencies beyond which a response may differ by three times as much (common practice, no source), Hz.
const BAND_HZ: (f64, f64) = (40.0, 16_000.0);
/// Most rows of one quantity that are named.
const MOST: usize = 6;

/// What is usually allowed to a full-size deck in this quantity, in the row's unit, from the limits of common practice where there is
/// one; `None` where a change cannot be weighed.
pub(crate) fn tolerance(key: &Compared) -> Option<f64> {
    let of = |key: Key| key.row().built_in.of(DeckClass::FullSize, "").map(|(number, _)| number);
    let delay_us = || Some(of(Key::AzimuthPhase)? / 360.0 / AZIMUTH_PHASE_HZ * 1e6);
    if let Some((limit, times)) = key.limit {
        return Some(times * of(limit)?);
    }
    match (key.quantity, key.unit) {
        ("speed", "percent") => of(Key::Speed),
        ("azimuth", "us") => delay_us(),
        // 1 us is 0.182 minutes of arc on a cassette: tan a = 47.625 mm/s * delay / 0.9 mm.
        ("azimuth", _) => Some(0.182 * delay_us()?),
        ("playback-response", "dB") => {
            let inside = key.point.is_none_or(|(hz, _)| (BAND_HZ.0..=BAND_HZ.1).contains(&hz));
            of(Key::Response).map(|db| if inside { db } else { 3.0 * db })
        }
        ("playback-level" | "record-level", "mV") => {
            let limit = if key.quantity == "record-level" { Key::RecordLevel } else { Key::PlaybackLevel };
            Some(wider_mv(key.value?.abs(), of(limit)?))
        }
        ("playback-level", _) if key.channel == Some(ComparedChannel::Difference) => of(Key::ChannelMatch),
        ("playback-level", _) => of(Key::PlaybackLevel),
        ("record-level", _) => of(Key::RecordLevel),
        ("bias", _) => of(Key::BiasPair),
        // Common practice, no source: what one would look into. Far above saturation percents come by the dozen.
        ("distortion", "percent") => Some(key.value.map_or(1.0, |percent| (0.5 * percent.abs()).max(1.0))),
        ("distortion" | "saturation", "dB") => Some(1.0),
        ("noise" | "hum" | "separation" | "erasing", "dB") => Some(3.0),
        _ => None,
    }
}

/// Says of every row whether it really changed.
///
/// Of so many rows some exceed their k = 2 by chance. A change is real only beyond what all of them together would show once in
/// 22 comparisons of a deck that nobody touched (k = 2 raised to that), and from a tenth of the tolerance on.
pub(crate) fn weigh(rows: &mut [ComparedRow]) {
    let told = rows.iter().filter(|row| row.changed.is_some()).count().max(1);
    let factor = normal_exceeded(CHANCE / told as f64) / 2.0;
    for row in rows {
        let (Some(change), Some(uncertainty)) = (row.change, row.change_uncertainty) else { continue };
        let large = row.tolerance.is_none_or(|most| change.abs() >= WORTH_NAMING * most);
        row.really = Some(change.abs() > factor.max(1.0) * uncertainty && large);
    }
}

/// Share of its tolerance that a row changed by.
fn weight(row: &ComparedRow) -> f64 {
    let uncertainty = row.change_uncertainty.unwrap_or(f64::INFINITY);
    row.change.unwrap_or(0.0).abs()
        / row.tolerance.unwrap_or(f64::INFINITY).min(100.0 * uncertainty).max(1e-12)
}

/// Quantity by quantity: what really changed, the most of its tolerance first; then what did not, in the order of work.
pub(crate) fn summary(rows: &[ComparedRow]) -> Vec<QuantityChange> {
    let mut names: Vec<&str> = Vec::new();
    for row in rows {
        if !names.contains(&row.quantity.as_str()) {
            names.push(&row.quantity);
        }
    }
    let mut all: Vec<(f64, QuantityChange)> = names.into_iter().map(|name| one(rows, name)).collect();
    // Stable: equals stay in the order of work.
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    all.into_iter().map(|(_, change)| change).collect()
}

fn one(rows: &[ComparedRow], name: &str) -> (f64, QuantityChange) {
    let of = |holds: &dyn Fn(&ComparedRow) -> bool| -> Vec<usize> {
        let mut places: Vec<usize> =
            (0..rows.len()).filter(|k| rows[*k].quantity == name && holds(&rows[*k])).collect();
        places.sort_by(|a, b| weight(&rows[*b]).total_cmp(&weight(&rows[*a])));
        places
    };
    let real = of(&|row| row.really == Some(true));
    let measurable = of(&|row| row.changed == Some(true));
    let told = of(&|row| row.changed.is_some());
    let (state, places) = match (real.is_empty(), measurable.is_empty(), told.is_empty()) {
        (false, ..) => (ChangeState::Changed, real),
        (true, false, _) => (ChangeState::TooLittle, measurable),
        (true, true, false) => (ChangeState::NoneShown, told),
        _ => (ChangeState::CannotTell, of(&|_| true)),
    };
    let rank =
        if state == ChangeState::Changed { places.first().map_or(0.0, |k| weight(&rows[*k])) } else { 0.0 };
    let chosen = match state {
        ChangeState::Changed => chosen(rows, &places),
        // The one that comes nearest to a change.
        _ => places.iter().take(1).copied().collect(),
    };
    let more = places.len() - chosen.len();
    let band = |k: &usize| rows[*k].hz;
    let low = places.iter().filter_map(band).reduce(f64::min);
    let high = places.iter().filter_map(band).reduce(f64::max);
    let change = QuantityChange {
        quantity: name.to_owned(),
        state,
        rows: chosen.iter().map(|k| *k as u32).collect(),
        more: more as u32,
        from_hz: low,
        to_hz: high,
        why: None,
    };
    (rank, change)
}

/// Speed and azimuth that the circumstances leave no meaning did not stay as they were: nothing is known of them.
pub(crate) fn without_meaning(summary: &mut [QuantityChange], circumstances: &[&Circumstances]) {
    for change in summary {
        let Some(row) = judged(&change.quantity).filter(|row| matches!(row.id, Id::Speed | Id::Azimuth))
        else {
            continue;
        };
        let Some(quantity) = row.meaning else { continue };
        for told in circumstances {
            if let Meaning::CannotTell { because, .. } = meaning(quantity, told) {
                change.state = ChangeState::CannotTell;
                change.why = Some(format!("whatever the figures show, because {because}"));
            }
        }
    }
}

/// The rows to be named: of a response the largest of each channel by its best way of measuring and 10 kHz, of the rest the
/// largest.
fn chosen(rows: &[ComparedRow], places: &[usize]) -> Vec<usize> {
    // The difference of the channels says nothing new where one of them changed.
    let is_difference = |k: &usize| rows[*k].channel == Some(ComparedChannel::Difference);
    let has_sides = places.iter().any(|k| !is_difference(k));
    let places: Vec<usize> = places.iter().filter(|k| !(has_sides && is_difference(k))).copied().collect();
    let points: Vec<usize> = places.iter().filter(|k| rows[**k].hz.is_some()).copied().collect();
    let by = |way: &MeasuredBy| points.iter().any(|k| rows[*k].by == Some(*way));
    let Some(way) = MeasuredBy::ALL.into_iter().find(by) else {
        return places.iter().take(MOST).copied().collect();
    };
    let mut chosen = Vec::new();
    for channel in [ComparedChannel::Left, ComparedChannel::Right, ComparedChannel::Difference] {
        let of = |k: &&usize| {
            let row = &rows[**k];
            row.channel == Some(channel)
                && row.by == Some(way)
                && row.hz.is_some_and(|hz| (BAND_HZ.0..=BAND_HZ.1).contains(&hz))
        };
        let most = points.iter().find(of);
        let ten =
            points.iter().filter(of).find(|k| rows[**k].hz.is_some_and(|hz| (hz / 1e4 - 1.0).abs() < 0.01));
        chosen.extend(most);
        chosen.extend(ten.filter(|ten| Some(*ten) != most));
    }
    // What changed beyond the band only, or by other ways only.
    if chosen.is_empty() {
        chosen.extend(places.iter().take(MOST));
    }
    chosen
}

/// What follows from the figures, in words: how much of the response's change the head's tilt accounts for.
pub(crate) fn remarks(comparison: &Comparison, losses_db: Option<(f64, f64)>) -> Vec<String> {
    let Some((first, last)) = losses_db else { return Vec::new() };
    let by = last - first;
    let ten = |channel: ComparedChannel| {
        comparison.rows.iter().find(|row| {
            row.quantity == "playback-response"
                && row.channel == Some(channel)
                && row.hz.is_some_and(|hz| (hz / 1e4 - 1.0).abs() < 0.01)
                && row.change.is_some()
        })
    };
    let told: Vec<String> = ComparedChannel::SIDES
        .into_iter()
        .filter_map(|channel| {
            let change = ten(channel)?.change?;
            let rest = UnitKind::Db.of(change - by, None).signed();
            Some(format!(
                "{channel} {}, of which {rest} have another cause",
                UnitKind::Db.of(change, None).signed()
            ))
        })
        .collect();
    if by.abs() < WORTH_NAMING || told.is_empty() {
        return Vec::new();
    }
    vec![format!(
        "The change of azimuth alone accounts for {} at 10 kHz in each channel (by formula, from the delays): {}.",
        UnitKind::Db.of(by, None).signed(),
        told.join("; ")
    )]
}
