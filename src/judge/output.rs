//! Levels of a return as millivolts at the deck's output, and against the deck's 0: the level mark of its meter.

use crate::judge::limits::Limits;
use crate::judge::quantities::Key;
use crate::judge::tone_at_output::{ToneAtOutput, ToneInReturn, of_pair};
use crate::reading::figures::{UnitKind, given};
use crate::reading::{Facts, Level, Output, OutputLevel, Pair, RecordedOn, level_tone};
use crate::trade::reference_levels::fluxivity_nwb_m;
use crate::trade::{FluxStatement, StatedFlux};

/// A value with its expanded uncertainty.
pub(crate) type Sure = (f64, f64);

/// dB of a ratio of voltages.
fn db(ratio: f64) -> f64 {
    20.0 * ratio.log10()
}

/// Output at which the return stands at 0 dBFS, mV, with its uncertainty in dB; `None` where nobody read the level tone, or
/// no deck was there.
pub(crate) fn full_scale_mv(facts: &Facts, limits: &Limits, side: usize) -> Option<Sure> {
    if facts.circumstances.recorded_on == Some(RecordedOn::Loopback) {
        return None;
    }
    let read = limits.level_tone()[side].as_ref()?;
    let (dbfs, uncertainty_db) = match read.at {
        ToneInReturn::Dbfs { dbfs, uncertainty_db } => (dbfs, uncertainty_db),
        ToneInReturn::This => {
            let tone = level_tone(&facts.level)?;
            (tone.return_dbfs[side]?, tone.uncertainty_db)
        }
    };
    Some((read.mv * 10f64.powf(-dbfs / 20.0), uncertainty_db.hypot(read.uncertainty_db())))
}

/// What the deck's 0 is known by.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum ZeroBy {
    /// A level in the return that somebody told.
    Target {
        /// Where it comes from.
        basis: String,
    },
    /// The output that the manual gives.
    Millivolts {
        /// mV rms.
        nominal_mv: f64,
        /// Where they come from.
        basis: String,
    },
}

/// The deck's 0 in the return.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Zero {
    pub(crate) dbfs: f64,
    /// Expanded uncertainty, dB.
    pub(crate) uncertainty_db: f64,
    pub(crate) by: ZeroBy,
}

/// Where the deck's 0 lies in the return; a level that was told goes before the manual's millivolts.
pub(crate) fn zero(facts: &Facts, limits: &Limits, side: usize) -> Option<Zero> {
    if let Some(target) = limits.get(Key::PlaybackLevelTarget) {
        let by = ZeroBy::Target { basis: target.basis.clone() };
        return Some(Zero { dbfs: target.value, uncertainty_db: 0.0, by });
    }
    let nominal = limits.get(Key::OutputNominal)?;
    let (full_scale_mv, uncertainty_db) = full_scale_mv(facts, limits, side)?;
    let by = ZeroBy::Millivolts { nominal_mv: nominal.value, basis: nominal.basis.clone() };
    Some(Zero { dbfs: db(nominal.value / full_scale_mv), uncertainty_db, by })
}

/// The deck's mark as it is called in sentences: with its fluxivity, where that is told.
pub(crate) fn mark_words(standard: Option<StatedFlux>) -> String {
    match standard {
        None => "the deck's mark".to_owned(),
        Some(StatedFlux { nwb_m, stated }) => {
            let stated = match stated {
                FluxStatement::Unknown => "not told how stated",
                known => known.word(),
            };
            format!("the deck's mark of {} nWb/m ({stated})", given(nwb_m, 1))
        }
    }
}

/// What of a tape's level is not told.
pub(crate) const NO_FLUX: &str = "what the tape carries at its 0 dB in nWb/m";
pub(crate) const NO_STANDARD: &str =
    "what the deck's mark stands for in nWb/m (deck_standard_nwb_m, from the service manual)";

/// What stands on the tape at `tone` against the deck's 0, dB.
///
/// # Errors
/// What would have to be told, in words.
pub(crate) fn on_tape_db(
    facts: &Facts,
    limits: &Limits,
    tone: &Level,
    side: usize,
) -> Result<Sure, &'static str> {
    let standard = limits.deck_standard();
    if let Some(tape) = &facts.tape {
        // The levels of such a tape count from the deck's standard already, where both are told.
        return match (tape.reference_nwb_m, tape.deck_standard_nwb_m, tone.programme_uncertainty_db) {
            (Some(_), Some(_), Some(uncertainty)) => Ok((tone.programme_db, uncertainty)),
            (Some(_), None, _) => Err(NO_STANDARD),
            _ => Err(NO_FLUX),
        };
    }
    match facts.circumstances.recorded_on {
        // As the running sheet has it: the level tone at the mark while it was recorded.
        Some(RecordedOn::ThisDeck) => Ok((tone.programme_db, 0.0)),
        Some(RecordedOn::House) => {
            let card = facts.circumstances.card.as_ref();
            let own = card.and_then(|card| {
                let taken = card.level.iter().find(|taken| taken.part == tone.part)?;
                Some((taken.db[side]?, card.calibrated.fluxivity_nwb_per_m?, card))
            });
            let (own_db, nwb_m, card) = own.ok_or(NO_FLUX)?;
            let stated = card.calibrated.fluxivity_stated.as_deref().and_then(FluxStatement::of_word);
            let flux = StatedFlux { nwb_m, stated: stated.unwrap_or(FluxStatement::Unknown) };
            let (against_db, uncertainty) = flux.against(&standard.ok_or(NO_STANDARD)?);
            Ok((tone.programme_db + own_db + against_db, uncertainty))
        }
        _ => Err(NO_FLUX),
    }
}

/// How the millivolts of `tone` were had, in words.
fn read_as(tone: &ToneAtOutput) -> String {
    let mv = UnitKind::Millivolts.of(tone.mv, tone.uncertainty_mv).full();
    match tone.at {
        ToneInReturn::This => format!("{mv} while its level tone played"),
        ToneInReturn::Dbfs { dbfs, .. } => format!("{mv} for {}", UnitKind::Dbfs.of(dbfs, 0.001)),
    }
}

/// The section of the reading; `None` where neither millivolts nor the deck's 0 are known.
pub(crate) fn output(facts: &Facts, limits: &Limits) -> Option<Output> {
    if facts.circumstances.recorded_on == Some(RecordedOn::Loopback) {
        return None;
    }
    let full_scale = [0, 1].map(|side| full_scale_mv(facts, limits, side));
    let zeros = [0, 1].map(|side| zero(facts, limits, side));
    if (full_scale == [None, None] && zeros == [None, None]) || facts.level.is_empty() {
        return None;
    }
    let standard = limits.deck_standard().or_else(|| {
        let tape = facts.tape.as_ref()?;
        let stated = tape.deck_standard_stated.as_deref().and_then(FluxStatement::of_word);
        Some(StatedFlux { nwb_m: tape.deck_standard_nwb_m?, stated: stated.unwrap_or(FluxStatement::Unknown) })
    });
    let row = |tone: &Level| {
        // What this deck recorded is what is looked for, not what is known.
        let is_own = facts.circumstances.recorded_on == Some(RecordedOn::ThisDeck);
        let tape = [0, 1].map(|side| on_tape_db(facts, limits, tone, side).ok().filter(|_| !is_own));
        let level = |side: usize| tone.return_dbfs[side];
        let each = |of: &dyn Fn(usize) -> Option<f64>| -> Pair { [0, 1].map(of) };
        let mv = each(&|side| Some(full_scale[side]?.0 * 10f64.powf(level(side)? / 20.0)));
        let wide = |side: usize| Some(full_scale[side]?.1.hypot(tone.uncertainty_db));
        OutputLevel {
            part: tone.part.clone(),
            hz: tone.hz,
            tape_nwb_m: each(&|side| Some(fluxivity_nwb_m(tape[side]?.0, standard?.nwb_m))),
            tape_db: each(&|side| Some(tape[side]?.0)),
            against_zero_db: each(&|side| Some(level(side)? - zeros[side].as_ref()?.dbfs)),
            against_zero_uncertainty_db: each(&|side| {
                level(side)?;
                Some(zeros[side].as_ref()?.uncertainty_db.hypot(tone.uncertainty_db))
            }),
            mv,
            uncertainty_mv: each(&|side| Some(mv[side]? * (10f64.powf(wide(side)? / 20.0) - 1.0))),
            return_dbfs: tone.return_dbfs,
            uncertainty_db: tone.uncertainty_db,
        }
    };
    let words = limits.level_tone().each_ref().map(|read| read.as_ref().map(read_as));
    let read_as = match (&words, &limits.level_tone()[0]) {
        ([Some(left), Some(right)], _) if left == right => left.clone(),
        ([Some(left), Some(right)], _) => format!("left {left}, right {right}"),
        ([Some(one), None], _) => format!("left {one}"),
        ([None, Some(one)], _) => format!("right {one}"),
        ([None, None], _) => String::new(),
    };
    let gauge = limits.level_tone().iter().flatten().next().map(|read| format!("; gauge: {}", read.gauge));
    let zero_by = zeros.iter().flatten().next().map(|zero| match &zero.by {
        ZeroBy::Target { basis } => format!("{} ({basis})", UnitKind::Dbfs.of(zero.dbfs, 0.001)),
        ZeroBy::Millivolts { nominal_mv, basis } => {
            format!("{} mV at {} ({basis})", given(*nominal_mv, 1), mark_words(standard))
        }
    });
    Some(Output {
        full_scale_mv: of_pair(full_scale, |sure| sure.0),
        full_scale_uncertainty_db: of_pair(full_scale, |sure| sure.1),
        read_as: read_as + &gauge.unwrap_or_default(),
        zero_dbfs: of_pair(zeros.clone(), |zero| zero.dbfs),
        zero_by: zero_by.unwrap_or_default(),
        deck_standard_nwb_m: standard.map(|standard| standard.nwb_m),
        deck_standard_stated: standard.map(|standard| standard.stated.word().to_owned()),
        levels: facts.level.iter().map(row).collect(),
    })
}
