//! Levels of a return as millivolts at the deck's output, and against the deck's 0: the level mark of its meter.
//!
//! The deck's 0 is where the manual's millivolts lie; a tape stands there by 20 lg of its flux against the mark's. Millivolts and
//! marks stand with the limits, because they are told and not measured.

use crate::judge::limits::Limits;
use crate::judge::quantities::Key;
use crate::judge::tone_at_output::{ToneAtOutput, ToneInReturn, of_pair};
use crate::reading::figures::{UnitKind, frequency, given};
use crate::reading::{Facts, Level, Output, OutputLevel, Pair, RecordedOn, level_tone};
use crate::trade::reference_levels::fluxivity_nwb_m;
use crate::trade::{FluxStatement, StatedFlux};

/// A value with its expanded uncertainty.
pub(crate) type Sure = (f64, f64);

/// dB of a ratio of voltages.
fn db(ratio: f64) -> f64 {
    20.0 * ratio.log10()
}

/// What `mv` are uncertain by, mV, if that is `uncertainty_db`.
pub(crate) fn wider_mv(mv: f64, uncertainty_db: f64) -> f64 {
    mv * (10f64.powf(uncertainty_db / 20.0) - 1.0)
}

/// Output at which the return stands at 0 dBFS, mV, with its uncertainty in dB; `None` where nobody read the level tone, or
/// no deck was there.
pub(crate) fn full_scale_mv(facts: &Facts, limits: &Limits, side: usize) -> Option<Sure> {
    if facts.circumstances.recorded_on == Some(RecordedOn::Loopback) {
        return None;
    }
    full_scale_by(limits, side, || {
        let tone = level_tone(&facts.level)?;
        Some((tone.return_dbfs[side]?, tone.uncertainty_db))
    })
}

/// The same, where the return's own level tone stands at `this`, dBFS with its uncertainty.
fn full_scale_by(limits: &Limits, side: usize, this: impl FnOnce() -> Option<Sure>) -> Option<Sure> {
    let read = limits.level_tone()[side].as_ref()?;
    let (dbfs, uncertainty_db) = match read.at {
        ToneInReturn::Dbfs { dbfs, uncertainty_db } => (dbfs, uncertainty_db),
        ToneInReturn::This => this()?,
    };
    Some((read.mv * 10f64.powf(-dbfs / 20.0), uncertainty_db.hypot(read.uncertainty_db())))
}

/// Output at which the signal stands at 0 dBFS, mV, and where the deck's 0 lies in it, dBFS, while it is followed live: by what
/// was told, since nothing was measured yet.
pub fn live_output(limits: &Limits) -> (Pair, Pair) {
    let full_scale = [0, 1].map(|side| full_scale_by(limits, side, || None));
    let zero = [0, 1].map(|side| Some(zero_by(limits, full_scale[side])?.dbfs));
    (full_scale.map(|sure| sure.map(|sure| sure.0)), zero)
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
    zero_by(limits, full_scale_mv(facts, limits, side))
}

/// The same by the output at which the return stands at 0 dBFS.
fn zero_by(limits: &Limits, full_scale_mv: Option<Sure>) -> Option<Zero> {
    if let Some(target) = limits.get(Key::PlaybackLevelTarget) {
        let by = ZeroBy::Target { basis: target.basis.clone() };
        return Some(Zero { dbfs: target.value, uncertainty_db: 0.0, by });
    }
    let nominal = limits.get(Key::OutputNominal)?;
    let (full_scale_mv, uncertainty_db) = full_scale_mv?;
    let by = ZeroBy::Millivolts { nominal_mv: nominal.value, basis: nominal.basis.clone() };
    Some(Zero { dbfs: db(nominal.value / full_scale_mv), uncertainty_db, by })
}

/// What the deck's 0 stands for: as the tape's levels count from it, else as it stands with the limits.
pub(crate) fn standard(facts: &Facts, limits: &Limits) -> Option<StatedFlux> {
    let of_tape = facts.tape.as_ref().and_then(|tape| {
        let stated = tape.deck_standard_stated.as_deref().and_then(FluxStatement::of_word);
        Some(StatedFlux {
            nwb_m: tape.deck_standard_nwb_m?,
            stated: stated.unwrap_or(FluxStatement::Unknown),
        })
    });
    of_tape.or(limits.deck_standard())
}

/// The deck's mark as it is called in sentences: with its fluxivity, where that is told.
pub(crate) fn mark_words(standard: Option<StatedFlux>) -> String {
    match standard {
        None => "the deck's mark".to_owned(),
        Some(StatedFlux { nwb_m, stated }) => {
            format!("the deck's mark of {} nWb/m{}", given(nwb_m, 1), stated_words(stated))
        }
    }
}

/// How a flux is stated, to be put behind it; empty where nobody knows.
pub(crate) fn stated_words(stated: FluxStatement) -> String {
    match stated {
        FluxStatement::Unknown => String::new(),
        known => format!(" {}", known.word()),
    }
}

/// What to do where a tape's level is not told.
pub(crate) const NO_FLUX: &str = "say what the tape carries at its 0 dB in nWb/m";
pub(crate) const NO_STANDARD: &str =
    "say what the deck's mark stands for in nWb/m (deck_standard_nwb_m, from the service manual)";
pub(crate) const NO_TAPE: &str = "play a tape of known level";

/// What stands on the tape at `tone` against the deck's 0, dB.
///
/// # Errors
/// What to do about it, in words.
pub(crate) fn on_tape_db(
    facts: &Facts,
    limits: &Limits,
    tone: &Level,
    side: usize,
) -> Result<Sure, &'static str> {
    if let Some(tape) = &facts.tape {
        // The levels of such a tape count from the deck's standard already, where both are told.
        return match (tape.reference_nwb_m, tape.deck_standard_nwb_m, tone.programme_uncertainty_db) {
            (Some(_), Some(_), Some(uncertainty)) => Ok((tone.programme_db, uncertainty)),
            (Some(_), None, _) => Err(NO_STANDARD),
            _ => Err(NO_FLUX),
        };
    }
    match facts.circumstances.recorded_on {
        Some(RecordedOn::Injected | RecordedOn::Loopback) => Err(NO_TAPE),
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
            let (against_db, uncertainty) = flux.against(&limits.deck_standard().ok_or(NO_STANDARD)?);
            Ok((tone.programme_db + own_db + against_db, uncertainty))
        }
        _ => Err(NO_FLUX),
    }
}

/// How the millivolts of `tone` were had, in words.
fn read_as(facts: &Facts, tone: &ToneAtOutput) -> String {
    let mv = UnitKind::Millivolts.of(tone.mv, tone.uncertainty_mv).full();
    match tone.at {
        ToneInReturn::This => {
            let hz =
                level_tone(&facts.level).map_or(String::new(), |tone| format!(", {},", frequency(tone.hz)));
            format!("{mv} while the level tone of this return{hz} played")
        }
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
    let standard = standard(facts, limits);
    let row = |part: &str, hz: f64, return_dbfs: Pair, uncertainty_db: f64, tape: [Option<Sure>; 2]| {
        let level = |side: usize| return_dbfs[side];
        let each = |of: &dyn Fn(usize) -> Option<f64>| -> Pair { [0, 1].map(of) };
        let mv = each(&|side| Some(full_scale[side]?.0 * 10f64.powf(level(side)? / 20.0)));
        let wide = |side: usize| Some(full_scale[side]?.1.hypot(uncertainty_db));
        OutputLevel {
            part: part.to_owned(),
            round: None,
            hz,
            tape_nwb_m: each(&|side| Some(fluxivity_nwb_m(tape[side]?.0, standard?.nwb_m))),
            tape_db: each(&|side| Some(tape[side]?.0)),
            against_zero_db: each(&|side| Some(level(side)? - zeros[side].as_ref()?.dbfs)),
            against_zero_uncertainty_db: each(&|side| {
                level(side)?;
                Some(zeros[side].as_ref()?.uncertainty_db.hypot(uncertainty_db))
            }),
            mv,
            uncertainty_mv: each(&|side| Some(wider_mv(mv[side]?, wide(side)?))),
            return_dbfs,
            uncertainty_db,
        }
    };
    let tones = facts.level.iter().map(|tone| {
        // What this deck recorded is what is looked for, not what is known.
        let is_own = facts.circumstances.recorded_on == Some(RecordedOn::ThisDeck);
        let tape = [0, 1].map(|side| on_tape_db(facts, limits, tone, side).ok().filter(|_| !is_own));
        row(&tone.part, tone.hz, tone.return_dbfs, tone.uncertainty_db, tape)
    });
    let rounds = facts.rounds.iter().filter_map(|round| {
        let uncertainty_db = round.level_uncertainty_db.into_iter().flatten().reduce(f64::max)?;
        let part = format!("round {}", round.round);
        let row = row(&part, round.level_hz?, round.reference_dbfs, uncertainty_db, [None; 2]);
        Some(OutputLevel { round: Some(round.round), ..row })
    });
    let levels = tones.chain(rounds).collect();
    let words = limits.level_tone().each_ref().map(|read| read.as_ref().map(|read| read_as(facts, read)));
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
        full_scale_uncertainty_mv: of_pair(full_scale, |sure| wider_mv(sure.0, sure.1)),
        read_as: read_as + &gauge.unwrap_or_default(),
        zero_dbfs: of_pair(zeros.clone(), |zero| zero.dbfs),
        zero_uncertainty_db: of_pair(zeros.clone(), |zero| zero.uncertainty_db),
        zero_by: zero_by.unwrap_or_default(),
        deck_standard_nwb_m: standard.map(|standard| standard.nwb_m),
        deck_standard_stated: standard.map(|standard| standard.stated.word().to_owned()),
        levels,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample::{self, Sample};
    use crate::reading::{CalibratedBy, CardUsed, Subtracted, TapeSection};

    /// A tape of 250 nWb/m at its level tone, read with a mark of 200, both stated short-circuit.
    fn reference() -> Sample {
        let mut reading = sample::healthy();
        reading.circumstances.recorded_on = Some(RecordedOn::Calibrated);
        let tape: TapeSection = serde_json::from_str(
            r#"{"name": "invented", "certificate": true, "certificate_date": null, "track": "stereo", "reference_nwb_m": 250.0,
                "reference_stated": "short-circuit", "deck_standard_nwb_m": 200.0, "deck_standard_stated": "short-circuit",
                "level_tone_hz": 400.0, "level_tone_nwb_m": 250.0, "level_tone_against_standard_db": 1.9382,
                "level_tone_uncertainty_db": 0.2, "standard_dbfs": [null, null], "recorded_for_us": 120.0, "played_at_us": 120.0}"#,
        )
        .unwrap();
        reading.facts.tape = Some(tape);
        reading.level.truncate(1);
        let tone = &mut reading.level[0];
        (tone.programme_db, tone.programme_uncertainty_db) = (1.9382, Some(0.2));
        (tone.return_dbfs, tone.uncertainty_db) = ([Some(-12.1), Some(-12.3)], 0.02);
        reading
    }

    const MANUAL: &str = "source = \"invented manual\"\noutput_nominal_mv = 580\ndeck_standard_nwb_m = 200\n\
                          deck_standard_stated = \"short-circuit\"\nlevel_tone_mv = [650, 725]\nlevel_tone_dbfs = [-12.1, -12.3]\n";

    /// By hand, 20 lg of ratios: 650 mV against 580 is 20 lg 1.12069 = +0.990 dB, 725 against 580 is 20 lg 1.25 = +1.938 dB, and so is
    /// 250 nWb/m against 200. Full scale: 650 mV x 10^(12.1/20) = 650 x 4.0272 = 2617.7 mV, 725 x 10^(12.3/20) = 725 x 4.1210 = 2987.7 mV.
    /// The gauge's 3 % are 20 lg 1.03 = 0.257 dB.
    #[test]
    fn a_level_is_stated_in_three_ways() {
        let limits = Limits::from_toml(MANUAL, "manual.toml").unwrap();
        let output = output(&reference(), &limits).unwrap();
        let row = &output.levels[0];
        for (got, want, within, unit) in [
            (output.full_scale_mv[0], 2617.7, 0.1, "mV"),
            (output.full_scale_mv[1], 2987.7, 0.1, "mV"),
            (output.zero_dbfs[0], -12.1 - 0.990, 0.001, "dBFS"),
            (row.against_zero_db[0], 0.990, 0.001, "dB"),
            (row.against_zero_db[1], 1.938, 0.001, "dB"),
            (row.against_zero_uncertainty_db[0], 0.257, 0.001, "dB"),
            (row.mv[0], 650.0, 1e-9, "mV"),
            (row.mv[1], 725.0, 1e-9, "mV"),
            (row.uncertainty_mv[0], 19.6, 0.1, "mV"),
            (row.tape_db[0], 1.938, 0.001, "dB"),
            (row.tape_nwb_m[1], 250.0, 0.01, "nWb/m"),
        ] {
            assert_within!(got.unwrap(), want, within, unit);
        }
        assert_eq!(output.zero_by, "580 mV at the deck's mark of 200 nWb/m short-circuit (invented manual)");
        let gauge = "gauge: usual for such a gauge, common practice, no source";
        assert!(
            output.read_as.starts_with("left 650 +- 20 mV for -12.10 dBFS, right 725 +- "),
            "{}",
            output.read_as
        );
        assert!(output.read_as.ends_with(gauge), "{}", output.read_as);
    }

    /// 650 mV for -12.1 dBFS: 1 dB more are 650 x 1.1220 = 729.3 mV, 2.0 dB above 580 mV (20 lg 1.2574).
    #[test]
    fn the_level_tone_of_a_round_is_stated_as_well() {
        let mut reading = sample::rounds();
        let round = reading.facts.rounds.last_mut().unwrap();
        let number = round.round;
        (round.level_hz, round.reference_dbfs) = (Some(400.0), [Some(-11.1), None]);
        round.level_uncertainty_db = [Some(0.05), None];
        let output = output(&reading, &Limits::from_toml(MANUAL, "manual.toml").unwrap()).unwrap();
        let row = output.levels.last().unwrap();
        assert_eq!((row.part.clone(), row.round, row.mv[1]), (format!("round {number}"), Some(number), None));
        assert_within!(row.mv[0].unwrap(), 729.3, 0.1, "mV");
        assert_within!(row.against_zero_db[0].unwrap(), 1.99, 0.005, "dB");
    }

    #[test]
    fn each_is_stated_only_where_it_is_known() {
        let section =
            |text: &str, reading: &Sample| output(reading, &Limits::from_toml(text, "x.toml").unwrap());
        assert_eq!(section("", &reference()), None);
        // Millivolts without the manual's: no 0 of the deck.
        let tone = "level_tone_mv = 650\nlevel_tone_dbfs = -12.1\n";
        let only_mv = section(tone, &reference()).unwrap();
        assert_eq!((only_mv.zero_dbfs, only_mv.zero_by.as_str()), ([None; 2], ""));
        assert_eq!(only_mv.levels[0].against_zero_db, [None; 2]);
        assert_within!(only_mv.levels[0].mv[1].unwrap(), 650.0 * 10f64.powf(-0.2 / 20.0), 1e-9, "mV");
        // The manual's without millivolts tie nothing.
        assert_eq!(section("output_nominal_mv = 580", &reference()), None);
        // A level that was told does without both.
        let told = section("playback_level_target_dbfs = -13", &reference()).unwrap();
        assert_within!(told.levels[0].against_zero_db[0].unwrap(), 0.9, 1e-9, "dB");
        assert_eq!(told.levels[0].mv, [None; 2]);
        // Without a deck there is no output of one.
        let mut card = reference();
        card.circumstances.recorded_on = Some(RecordedOn::Loopback);
        assert_eq!(section(MANUAL, &card), None);
        // What this deck recorded is not known beforehand.
        let mut own = reference();
        own.facts.tape = None;
        own.circumstances.recorded_on = Some(RecordedOn::ThisDeck);
        let own = section(MANUAL, &own).unwrap();
        assert_eq!((own.levels[0].tape_db, own.levels[0].tape_nwb_m), ([None; 2], [None; 2]));
        assert!(own.levels[0].against_zero_db[0].is_some());
    }

    #[test]
    fn the_flux_of_a_house_tape_is_that_of_its_card() {
        let mut reading = reference();
        reading.facts.tape = None;
        reading.circumstances.recorded_on = Some(RecordedOn::House);
        let limits = Limits::from_toml(MANUAL, "manual.toml").unwrap();
        let on_tape = |reading: &Sample| on_tape_db(reading, &limits, &reading.level[0], 1);
        reading.level[0].programme_db = 0.0;
        assert_eq!(on_tape(&reading), Err(NO_FLUX));
        let calibrated = |stated: Option<&str>| CalibratedBy {
            tape: None,
            file: "c.wav".into(),
            at: None,
            fluxivity_nwb_per_m: Some(250.0),
            fluxivity_stated: stated.map(str::to_owned),
        };
        let part = reading.level[0].part.clone();
        let card = |stated| CardUsed {
            file: "card.json".into(),
            name: "invented".into(),
            made_at: "2026-01-01".into(),
            calibrated: calibrated(stated),
            passes: 1,
            level: vec![Subtracted { part: part.clone(), db: [Some(-0.5), Some(-0.3)] }],
            response: false,
            delay_us: None,
            speed_percent: None,
            flutter_at_most_percent: None,
        };
        // By hand: 0.3 dB below 250 nWb/m, and 250 against 200 nWb/m is 1.938 dB.
        reading.circumstances.card = Some(card(Some("short-circuit")));
        let (db, uncertainty) = on_tape(&reading).unwrap();
        assert_within!(db, 1.638, 0.001, "dB");
        assert_eq!(uncertainty, 0.0);
        // Stated open-circuit it is 20 lg 1.1 = 0.828 dB less; not told how, the same is uncertain.
        reading.circumstances.card = Some(card(Some("open-circuit")));
        assert_within!(on_tape(&reading).unwrap().0, 0.810, 0.001, "dB");
        reading.circumstances.card = Some(card(None));
        assert_within!(on_tape(&reading).unwrap().1, 0.828, 0.001, "dB");
        // Another deck's tape, and one of slates of which nobody said it, carry what nobody knows.
        for on in [Some(RecordedOn::OtherDeck), Some(RecordedOn::Calibrated), None] {
            reading.circumstances.recorded_on = on;
            assert_eq!(on_tape(&reading), Err(NO_FLUX), "{on:?}");
        }
    }
}
