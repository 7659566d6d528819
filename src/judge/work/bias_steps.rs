//! What to turn where the high tone does not stand level with the low one: bias, record equalisation, or azimuth first.
//!
//! More bias lowers the high tone; it lowers the third harmonic as well, down to its least and no further. Record equalisation
//! moves the high tone and leaves the harmonic of the low one alone. So what the harmonic did while the bias was turned tells
//! the two apart, and so does the other channel's harmonic where that channel is right (common practice, no source).

use crate::judge::case::{Bench, SIDES};
use crate::judge::work::response_steps::{Off, Rest, azimuth_share_db, spacing_share_db};
use crate::judge::work::turns::{PLAYBACK_FIRST, step};
use crate::reading::figures::UnitKind;
use crate::reading::{Adjustment, Heads, Pair, RecordedOn, TurnStep, Unit, Way};

/// By how much the pair of tones must have moved for the harmonic to tell anything, dB.
const TURNED_DB: f64 = 0.8;

/// What the third harmonic did while the bias was turned.
#[derive(Debug, Clone, PartialEq)]
enum Harmonic {
    /// It has risen again since this round, at more bias.
    PastLeast { round: u32, least_percent: f64, now_percent: f64 },
    /// It still falls with more bias.
    Falling { from_percent: f64, now_percent: f64 },
    /// Held against the other channel's, whose bias is right, at the same level.
    Beside { own_percent: f64, other_percent: f64, equalisation: bool },
    /// Not measured, or the bias was not turned far enough.
    Unknown,
}

/// How far a channel must stand above the other for their harmonics to tell anything, dB.
const ABOVE_DB: f64 = 1.5;
/// Natural logarithm of what the third harmonic gains where less bias lifts the high tone by 1 dB. From memory.
const GAIN_PER_DB: f64 = 0.18;
/// Standard deviation of that logarithm between two sound channels: half a decibel of playback gain, and their heads. From memory.
const SPREAD: f64 = 0.12;
/// By how much one explanation must be likelier than the other.
const ODDS: f64 = 3.0;

/// Third harmonic of both channels at the level tone, with its expanded uncertainties, and how far this channel's tone stands
/// above the other's, dB.
fn at_level(bench: &Bench, side: usize) -> Option<([f64; 2], [f64; 2], f64)> {
    let both = |pair: Pair| pair[0].zip(pair[1]).map(|(left, right)| [left, right]);
    let round = bench.reading.rounds.last();
    let of_round = round.map(|round| (round.k3_percent, round.k3_uncertainty_percent, round.reference_dbfs));
    let steps = bench.reading.distortion.iter().flat_map(|distortion| &distortion.steps);
    let step = steps.min_by(|a, b| a.programme_db.abs().total_cmp(&b.programme_db.abs()));
    let of_step = step.map(|step| (step.k3_percent, step.k3_uncertainty_percent, step.level_dbfs));
    let (k3, uncertainty, dbfs) = of_round.or(of_step)?;
    let dbfs = both(dbfs)?;
    Some((both(k3)?, both(uncertainty)?, dbfs[side] - dbfs[1 - side]))
}

/// What the other channel's harmonic says, where the high tone of this one stands `above_db` above the other's.
fn beside(bench: &Bench, side: usize, above_db: f64) -> Harmonic {
    let Some((k3, uncertainty, level_db)) = at_level(bench, side) else { return Harmonic::Unknown };
    let (own_percent, other_percent) = (k3[side], k3[1 - side]);
    if above_db < ABOVE_DB || !(own_percent > 0.0 && other_percent > 0.0) {
        return Harmonic::Unknown;
    }
    // The third harmonic, in percent, rises by 2 dB with each decibel of level.
    let gained = (own_percent / other_percent).ln() - level_db * 10f64.ln() / 10.0;
    let measured = (uncertainty[0] / k3[0]).hypot(uncertainty[1] / k3[1]) / 2.0;
    let misfit = |expected: f64| (gained - expected).powi(2) / (2.0 * (SPREAD.powi(2) + measured.powi(2)));
    // Beyond what either expects is no misfit of it.
    let by_bias = GAIN_PER_DB * above_db;
    match misfit(by_bias.max(gained)) - misfit(gained.min(0.0)) {
        by if by > ODDS.ln() => Harmonic::Beside { own_percent, other_percent, equalisation: true },
        by if by < -ODDS.ln() => Harmonic::Beside { own_percent, other_percent, equalisation: false },
        _ => Harmonic::Unknown,
    }
}

/// One round: number, high minus low tone, third harmonic and its expanded uncertainty.
type Row = (u32, f64, f64, f64);

fn harmonic(bench: &Bench, side: usize, high_hz: f64) -> Harmonic {
    let rows: Vec<Row> = bench
        .reading
        .rounds
        .iter()
        .filter_map(|round| {
            let pair = bench
                .reading
                .bias
                .iter()
                .find(|pair| pair.round == round.round && pair.high_hz == high_hz)?;
            let (k3, uncertainty) = (round.k3_percent[side]?, round.k3_uncertainty_percent[side]?);
            Some((round.round, pair.difference_db[side]?, k3, uncertainty))
        })
        .collect();
    let (Some(&last), Some(&least)) = (rows.last(), rows.iter().min_by(|a, b| a.2.total_cmp(&b.2))) else {
        return Harmonic::Unknown;
    };
    // Differences of less than what both uncertainties allow are none.
    let above = |a: Row, b: Row| a.2 - b.2 > a.3.hypot(b.3);
    // A high tone that stands higher: less bias.
    let less_bias = |row: Row| row.1 - last.1 >= TURNED_DB;
    if less_bias(least) && above(last, least) {
        return Harmonic::PastLeast { round: least.0, least_percent: least.2, now_percent: last.2 };
    }
    // The nearest round with clearly less bias: what the harmonic did last, not what it did from afar.
    let before = rows.iter().copied().filter(|&row| less_bias(row)).min_by(|a, b| a.1.total_cmp(&b.1));
    match before {
        Some(before) if above(before, last) => {
            Harmonic::Falling { from_percent: before.2, now_percent: last.2 }
        }
        _ => Harmonic::Unknown,
    }
}

/// The steps for one channel, and what is to be added to the figures. `other_db` is the other channel's high tone minus its low one.
pub(crate) fn steps(bench: &Bench, side: usize, off: &Off, other_db: Option<f64>) -> (Vec<TurnStep>, String) {
    let name = SIDES[side];
    let mut steps = Vec::new();
    let mut rest = Rest::new(off);
    let three = bench.recorded_on() == Some(RecordedOn::ThisDeck)
        && bench.circumstances().heads == Some(Heads::Three);
    if let Some(share) = azimuth_share_db(bench, off).filter(|_| three) {
        rest.less(off, share);
        let enough = if rest.is_small(off) { rest.small_in_words(off) } else { "" };
        steps.push(step(
            Adjustment::AzimuthScrew,
            format!(
                "set azimuth first: {} {} come from it{enough}",
                UnitKind::Db.of(-share.0, None).number(),
                off.of_all()
            ),
        ));
        if rest.is_small(off) {
            return (steps, String::new());
        }
    }
    if let Some(share) = spacing_share_db(bench, side, off) {
        rest.less(off, share);
        if rest.is_small(off) {
            let text = format!(
                "clean the {name} head and read again: {} {} are spacing",
                UnitKind::Db.of(-share.0, None).number(),
                off.of_all()
            );
            steps.push(step(Adjustment::Heads, text).on(name));
            return (steps, String::new());
        }
    }
    let bright = rest.db > 0.0;
    let told = match (harmonic(bench, side, off.hz), other_db) {
        (Harmonic::Unknown, Some(other_db)) if bright && other_db.abs() <= off.allowed_db => {
            beside(bench, side, rest.db - other_db)
        }
        (told, _) => told,
    };
    let (equalisation, words) = match &told {
        Harmonic::PastLeast { round, least_percent, now_percent } => (
            bright,
            format!(
                "; third harmonic {}, past its least of {} in round {round}",
                UnitKind::Percent.of(*now_percent, None),
                UnitKind::Percent.of(*least_percent, None)
            ),
        ),
        Harmonic::Falling { from_percent, now_percent } => (
            !bright,
            format!(
                "; third harmonic {}, fallen from {} as the bias rose",
                UnitKind::Percent.of(*now_percent, None),
                UnitKind::Percent.of(*from_percent, None)
            ),
        ),
        Harmonic::Beside { own_percent, other_percent, equalisation } => (
            *equalisation,
            format!(
                "; third harmonic {}, {} {}",
                UnitKind::Percent.of(*own_percent, None),
                SIDES[1 - side],
                UnitKind::Percent.of(*other_percent, None)
            ),
        ),
        Harmonic::Unknown => {
            (false, "; the recipe bias-sweep tells bias from record equalisation".to_owned())
        }
    };
    if equalisation {
        let (word, way) = if bright { ("down", Way::Down) } else { ("up", Way::Up) };
        let text = format!(
            "{PLAYBACK_FIRST}; then turn the record equalisation {name} {word} by about {}, and set the bias again (recipe \
             bias-sweep)",
            UnitKind::Db.of(rest.db.abs(), None)
        );
        steps.push(step(Adjustment::RecordEqualisation, text).on(name).by(way, rest.db.abs(), Unit::Db));
        let so = match told {
            Harmonic::Beside { .. } => "; too little bias would raise it more",
            _ if bright => "; there is bias enough",
            _ => "; there is not too much bias",
        };
        return (steps, words + so);
    }
    let (state, word, way) =
        if bright { ("too little bias", "up", Way::Up) } else { ("too much bias", "down", Way::Down) };
    let or_else = if told == Harmonic::Unknown { ", or record equalisation" } else { "" };
    let text = format!(
        "{PLAYBACK_FIRST}; then turn the bias trimmer {name} {word} ({state}{or_else}) until high and low tone stand level; \
         then set the record level"
    );
    steps.push(step(Adjustment::Bias, text).on(name).towards(way));
    (steps, words)
}
