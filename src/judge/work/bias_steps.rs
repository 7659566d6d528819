//! What to turn where the high tone does not stand level with the low one: bias, record equalisation, or azimuth first.
//!
//! More bias lowers the high tone; it lowers the third harmonic as well, down to its least and no further. Record equalisation
//! moves the high tone and leaves the harmonic of the low one alone. So what the harmonic did while the bias was turned tells
//! the two apart (common practice, no source).

use crate::judge::case::{Bench, SIDES};
use crate::judge::work::response_steps::{Off, azimuth_share_db, spacing_share_db};
use crate::judge::work::turns::{CAUTION, PLAYBACK_FIRST, step};
use crate::reading::figures::UnitKind;
use crate::reading::{Adjustment, Heads, RecordedOn, TurnStep, Unit, Way};

/// By how much the pair of tones must have moved for the harmonic to tell anything, dB.
const TURNED_DB: f64 = 0.8;

/// What the third harmonic did while the bias was turned.
#[derive(Debug, Clone, PartialEq)]
enum Harmonic {
    /// It has risen again since this round, at more bias.
    PastLeast { round: u32, least_percent: f64, now_percent: f64 },
    /// It still falls with more bias.
    Falling { from_percent: f64, now_percent: f64 },
    /// Not measured, or the bias was not turned far enough.
    Unknown,
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

/// The steps for one channel, and what is to be added to the figures.
pub(crate) fn steps(bench: &Bench, side: usize, off: &Off) -> (Vec<TurnStep>, String) {
    let name = SIDES[side];
    let mut steps = Vec::new();
    let mut rest_db = off.db;
    let three = bench.recorded_on() == Some(RecordedOn::ThisDeck)
        && bench.circumstances().heads == Some(Heads::Three);
    if let Some(share_db) = azimuth_share_db(bench, off).filter(|_| three) {
        rest_db += share_db;
        let rest = if rest_db.abs() <= off.allowed_db { ". Nothing else needs turning for this" } else { "" };
        steps.push(step(
            Adjustment::AzimuthScrew,
            format!(
                "set azimuth first: {} {} come from it{rest}",
                UnitKind::Db.of(share_db, None).number(),
                off.of_all()
            ),
        ));
        if rest_db.abs() <= off.allowed_db {
            return (steps, String::new());
        }
    }
    if let Some(share_db) = spacing_share_db(bench, side, off) {
        rest_db += share_db;
        if rest_db.abs() <= off.allowed_db {
            let text = format!(
                "clean the {name} head (power off, tape away) and read again: {} {} fall as spacing does",
                UnitKind::Db.of(share_db, None).number(),
                off.of_all()
            );
            steps.push(step(Adjustment::Heads, text).on(name));
            return (steps, String::new());
        }
    }
    let bright = rest_db > 0.0;
    let told = harmonic(bench, side, off.hz);
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
        Harmonic::Unknown => (false, String::new()),
    };
    if equalisation {
        let (word, way) = if bright { ("down", Way::Down) } else { ("up", Way::Up) };
        let because = if bright {
            "the third harmonic has passed its least, so there is bias enough, and the high tone still stands above the low one"
        } else {
            "the third harmonic still falls with more bias, so there is not too much of it, and the high tone stands below the \
             low one all the same"
        };
        let text = format!(
            "{PLAYBACK_FIRST}: record equalisation {name} (treble) {word} by about {}, because {because}; then set the bias \
             again. The recipe bias-sweep shows where. {CAUTION}",
            UnitKind::Db.of(rest_db.abs(), None)
        );
        steps.push(step(Adjustment::RecordEqualisation, text).on(name).by(way, rest_db.abs(), Unit::Db));
        return (steps, words);
    }
    let (state, word, way) =
        if bright { ("too little bias", "up", Way::Up) } else { ("too much bias", "down", Way::Down) };
    let or_else = match told {
        Harmonic::Unknown => {
            ". If distortion is lowest here already, the record equalisation is off and not the bias: the recipe bias-sweep \
             tells them apart"
        }
        _ => "",
    };
    let text = format!(
        "{PLAYBACK_FIRST}: as there is {state}, bias trimmer {name} {word} in small steps until the high tone stands level with \
         the low one; check record level again after it{or_else}. {CAUTION}"
    );
    steps.push(step(Adjustment::Bias, text).on(name).towards(way));
    (steps, words)
}
