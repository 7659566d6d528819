//! Finding `playback-level`, and the part of `channel-match` that one trimmer moves.

use crate::judge::case::{Bench, Bounds, Case, SIDES, plain};
use crate::judge::findings::recording::{together, weak_by_bias};
use crate::judge::output::{
    NO_FLUX, Zero, ZeroBy, mark_words, on_tape_db, standard, stated_words, wider_mv, zero,
};
use crate::judge::quantities::{Id, Key};
use crate::judge::work::turns::step;
use crate::reading::figures::{UnitKind, frequency};
use crate::reading::{
    Adjustment, Channel, Finding, Level, RecordedOn, Remedy, Unit, Untold, Way, level_tone,
};
use crate::trade::reference_levels::fluxivity_nwb_m;

fn no_tone() -> Untold {
    Untold::new("no level tone was found", "record a programme with a level tone")
}

fn trimmed_meanwhile() -> Untold {
    Untold::new(
        "levels were trimmed while this was recorded",
        "see record-level, then record a programme during which nothing is turned",
    )
}

/// What comes before any turn of a playback trimmer; empty where the tape is not the deck's own.
fn playback_alone_first(bench: &Bench) -> &'static str {
    match bench.recorded_on() {
        Some(RecordedOn::ThisDeck) => "check playback alone with a calibrated tape first; if it is off, ",
        _ => "",
    }
}

/// By how much the tone of a house tape lies above that of the calibrated tape behind its card, dB.
fn of_house_tape(bench: &Bench, tone: &Level, side: usize) -> Option<f64> {
    let card = bench.circumstances().card.as_ref()?;
    card.level.iter().find(|taken| taken.part == tone.part)?.db[side]
}

/// Left against right at the level tone.
pub(crate) fn channel_match(bench: &Bench) -> Vec<Finding> {
    let limit = bench.limits.of(Key::ChannelMatch);
    let mut case = bench.case(Id::ChannelMatch);
    case.kind = Some("level tone");
    case.channel = Some(Channel::Both);
    case.bounds = Bounds::within(limit.value);
    case.limit = Some(format!("at most {} dB apart at the level tone ({})", plain(limit.value), limit.basis));
    case.missing = no_tone();
    if bench.reading.capture.mono || bench.dead.contains(&true) {
        case.missing =
            Untold::new("there are not two channels to compare", "put the wiring right and record again");
        return vec![case.finish()];
    }
    if !bench.reading.rounds.is_empty() {
        // What the level tone before the rounds said is no longer how the deck stands.
        case.missing = trimmed_meanwhile();
        return vec![case.finish()];
    }
    if let Some((tone, db)) =
        level_tone(&bench.reading.level).and_then(|tone| Some((tone, tone.difference_db?)))
    {
        // Two levels, each with this uncertainty.
        let own = tone.uncertainty_db * std::f64::consts::SQRT_2;
        case.value = Some(db);
        let uncertainty = case.uncertain(own, bench.sound_card_match_db());
        case.place = Some("left minus right".to_owned());
        case.figures = format!(
            "level tone {}: left minus right {}",
            frequency(tone.hz),
            UnitKind::Db.of(db, uncertainty).signed()
        );
        if let Some(words) = weak_by_bias(bench, usize::from(db > 0.0), db.abs()) {
            case.figures += &words;
            return vec![case.finish()];
        }
        if bench.recorded_on() == Some(RecordedOn::ThisDeck) {
            case.turn = vec![together(db, uncertainty)];
            return vec![case.finish()];
        }
        let weak = SIDES[usize::from(db > 0.0)];
        let strong = SIDES[usize::from(db <= 0.0)];
        let by = UnitKind::Db.of(db.abs(), uncertainty);
        case.turn = vec![
            step(
                Adjustment::PlaybackLevel,
                format!(
                    "turn the playback level trimmer {weak} up {by}, or {strong} down {by}: whichever brings both to the \
                     service manual's level"
                ),
            )
            .on(weak)
            .by(Way::Up, db.abs(), Unit::Db),
        ];
    }
    vec![case.finish()]
}

/// Level of each channel against its target.
pub(crate) fn playback_level(bench: &Bench) -> Vec<Finding> {
    (0..2).map(|side| one_channel(bench, side)).collect()
}

fn one_channel(bench: &Bench, side: usize) -> Finding {
    let mut case = bench.case(Id::PlaybackLevel);
    case.channel = Some(SIDES[side]);
    let zero = zero(bench.reading, bench.limits, side);
    (case.bounds, case.limit) = allowed(bench, zero.as_ref());
    let tone = level_tone(&bench.reading.level);
    let level = tone.and_then(|tone| Some((tone, tone.return_dbfs[side]?)));
    case.missing = no_tone();
    if bench.dead[side] {
        case.missing = Untold::new("the channel is dead", "put the wiring right and record again");
        return case.finish();
    }
    if !bench.reading.rounds.is_empty() {
        // The level tone before the rounds is no longer how the deck stands.
        case.in_programme = Some(false);
        case.missing = trimmed_meanwhile();
        return case.finish();
    }
    let Some((tone, return_dbfs)) = level else { return case.finish() };
    match zero {
        Some(Zero { dbfs, by: ZeroBy::Target { .. }, .. }) => {
            against_target(bench, case, side, tone, return_dbfs - dbfs)
        }
        Some(zero) => by_millivolts(bench, case, side, tone, return_dbfs, &zero),
        None => {
            case.missing = Untold::new(
                "not told which level in the return is the deck's standard",
                wanted(bench, &mut case, side, on_tape_db(bench.reading, bench.limits, tone, side).err()),
            );
            case.finish()
        }
    }
}

/// What must be told so that the level can be judged.
fn wanted(bench: &Bench, case: &mut Case, side: usize, of_tape: Option<&'static str>) -> String {
    const TARGET: &str = "the level that 0 dB shall have in the return (playback_level_target_dbfs)";
    if bench.recorded_on() == Some(RecordedOn::Loopback) {
        return format!("give {TARGET}");
    }
    let mut wanted = Vec::new();
    if bench.limits.level_tone()[side].is_none() {
        wanted.push("the mV at the output while this tone plays (level_tone_mv)".to_owned());
    }
    if bench.limits.get(Key::OutputNominal).is_none() {
        case.remedies.push(Remedy::GiveLimit { key: Key::OutputNominal.row().name.to_owned() });
        wanted.push("the manual's mV at the deck's mark (output_nominal_mv)".to_owned());
    }
    wanted.extend(of_tape.map(str::to_owned));
    case.remedies.extend(give_tape(of_tape));
    format!("give {}; or {TARGET}", wanted.join(", "))
}

/// The remedy where a tape's flux is not told.
fn give_tape(of_tape: Option<&str>) -> Option<Remedy> {
    (of_tape == Some(NO_FLUX)).then_some(Remedy::GiveTape)
}

/// The limit as bounds of the deviation, and in words.
fn allowed(bench: &Bench, zero: Option<&Zero>) -> (Bounds, Option<String>) {
    let limit = bench.limits.of(Key::PlaybackLevel);
    let within = Bounds::within(limit.value);
    let plus_minus = format!("+-{} dB", plain(limit.value));
    let (against, basis) = match zero.map(|zero| (zero, &zero.by)) {
        None => return (within, Some(format!("{plus_minus} against the target ({})", limit.basis))),
        Some((zero, ZeroBy::Target { basis })) => (format!("{} dBFS", plain(zero.dbfs)), basis),
        Some((_, ZeroBy::Millivolts { nominal_mv, basis })) => {
            let mark = mark_words(standard(bench.reading, bench.limits));
            if let Some(tolerance) = bench.limits.get(Key::OutputTolerance) {
                let (low, high) = (nominal_mv - tolerance.value, nominal_mv + tolerance.value);
                let db = |mv: f64| 20.0 * (mv / nominal_mv).log10();
                let words = format!("{} to {} mV at {mark} ({basis})", plain(low), plain(high));
                return (Bounds::between(db(low), db(high)), Some(words));
            }
            (format!("{} mV at {mark}", plain(*nominal_mv)), basis)
        }
    };
    let words = if *basis == limit.basis {
        format!("{plus_minus} against {against} ({basis})")
    } else {
        format!("{plus_minus} ({}) against {against} ({basis})", limit.basis)
    };
    (within, Some(words))
}

/// Against a level in the return that was told; `above_db` is how far the tone lies above it.
fn against_target(bench: &Bench, mut case: Case, side: usize, tone: &Level, above_db: f64) -> Finding {
    let tape_db = of_house_tape(bench, tone, side);
    let off_db = above_db - tone.programme_db - tape_db.unwrap_or(0.0);
    case.value = Some(off_db);
    // What is not known of a tape that somebody else recorded adds.
    case.uncertainty = Some(tone.uncertainty_db.hypot(tone.programme_uncertainty_db.unwrap_or(0.0)));
    case.place = Some("against the target".to_owned());
    case.figures = format!(
        "level tone {}: {}, {} against the target",
        frequency(tone.hz),
        UnitKind::Dbfs.of(tone.return_dbfs[side].unwrap_or(f64::NAN), tone.uncertainty_db),
        UnitKind::Db.of(off_db, case.uncertainty).signed()
    );
    if let Some(db) = tape_db {
        case.figures +=
            &format!(" after the {} of the house tape were subtracted", UnitKind::Db.of(db, None).signed());
    }
    turned(bench, case, side, off_db, "")
}

/// Against the output that the manual gives for the deck's mark.
fn by_millivolts(
    bench: &Bench,
    mut case: Case,
    side: usize,
    tone: &Level,
    return_dbfs: f64,
    zero: &Zero,
) -> Finding {
    let ZeroBy::Millivolts { nominal_mv, basis } = &zero.by else { return case.finish() };
    let above_db = return_dbfs - zero.dbfs;
    let sure_db = zero.uncertainty_db.hypot(tone.uncertainty_db);
    let mv_at = |db: f64| nominal_mv * 10f64.powf(db / 20.0);
    let mv = |db: f64, sure_db: f64| UnitKind::Millivolts.of(mv_at(db), wider_mv(mv_at(db), sure_db));
    let three = format!(
        "level tone {}: {} against the deck's 0, {}, {}",
        frequency(tone.hz),
        UnitKind::Db.of(above_db, sure_db).signed(),
        mv(above_db, sure_db),
        UnitKind::Dbfs.of(return_dbfs, tone.uncertainty_db)
    );
    let (tape_db, tape_sure_db) = match on_tape_db(bench.reading, bench.limits, tone, side) {
        Ok(sure) => sure,
        Err(what) => {
            case.missing = Untold::new(
                format!(
                    "not told how strong the level tone is on the tape against the deck's mark ({three})"
                ),
                what,
            );
            case.remedies.extend(give_tape(Some(what)));
            return case.finish();
        }
    };
    let off_db = above_db - tape_db;
    case.value = Some(off_db);
    case.uncertainty = Some(sure_db.hypot(tape_sure_db));
    let standard = standard(bench.reading, bench.limits);
    let on_tape = match (bench.recorded_on(), standard) {
        (Some(RecordedOn::ThisDeck), _) => "a recording at the deck's 0".to_owned(),
        (_, Some(standard)) => {
            let flux = UnitKind::Fluxivity.of(fluxivity_nwb_m(tape_db, standard.nwb_m), None);
            // As the mark is stated: the tape's label may count otherwise.
            format!("{flux}{} on the tape", stated_words(standard.stated))
        }
        (_, None) => format!("{} on the tape", UnitKind::Db.of(tape_db, None).signed()),
    };
    let right = mv(tape_db, 0.0);
    case.reads = Some(format!(
        "{} against the deck's 0, {} where {right} belong",
        UnitKind::Db.of(above_db, sure_db).signed(),
        mv(above_db, sure_db)
    ));
    case.figures = format!(
        "{three}; {on_tape} asks for {} and {right} ({} mV at {}, {basis}): {} off",
        UnitKind::Db.of(tape_db, tape_sure_db).signed(),
        plain(*nominal_mv),
        mark_words(standard),
        UnitKind::Db.of(off_db, case.uncertainty).signed()
    );
    turned(bench, case, side, off_db, &format!(", to {right} on the level tone"))
}

/// The finding with its turn; `goal` ends the sentence.
fn turned(bench: &Bench, mut case: Case, side: usize, off_db: f64, goal: &str) -> Finding {
    let name = SIDES[side];
    let (word, way) = if off_db < 0.0 { ("up", Way::Up) } else { ("down", Way::Down) };
    let first = playback_alone_first(bench);
    let by = UnitKind::Db.of(off_db.abs(), case.uncertainty);
    let text = format!("{first}turn the playback level trimmer {name} {word} {by}{goal}");
    case.turn = vec![step(Adjustment::PlaybackLevel, text).on(name).by(way, off_db.abs(), Unit::Db)];
    case.finish()
}

#[cfg(test)]
mod tests {
    use crate::judge::{
        Key, Limits, Tolerance,
        sample::{self, Sample},
    };
    use crate::reading::{Finding, Verdict, level_tone};

    fn find(reading: &Sample, limits: &Limits, id: &str) -> Finding {
        reading.judged_by(limits).into_iter().find(|finding| finding.id == id).unwrap()
    }

    #[test]
    fn the_tone_nearest_to_reference_level_and_frequency_counts() {
        let mut levels = sample::healthy().level.clone();
        let mut other = levels[0].clone();
        other.hz = 1000.0;
        other.programme_db = 0.0;
        levels[0].programme_db = -1.0;
        levels.insert(0, other);
        assert_eq!(level_tone(&levels).unwrap().hz, 400.0);
        assert!(level_tone(&[]).is_none());
    }

    #[test]
    fn the_weaker_channel_is_turned_up() {
        let got = find(&sample::faulty(), &Limits::full_size(), "channel-match");
        assert_eq!(got.verdict, Verdict::Outside, "{got:?}");
        assert!(got.turn.unwrap().starts_with("turn the playback level trimmer left up 1.62 dB"));
        assert!(got.why.contains("left minus right -1.62 dB"));
    }

    /// A tape of 250 nWb/m, the deck's mark at 200 nWb/m and 580 mV.
    const MILLIVOLTS: &str = "source = \"invented manual\"\noutput_nominal_mv = 580\ndeck_standard_nwb_m = 200\n\
                              deck_standard_stated = \"short-circuit\"\nlevel_tone_mv = 650\nlevel_tone_dbfs = -12.1\n";

    fn with_tape() -> Sample {
        let mut reading = sample::healthy();
        let tape = r#"{"reference_nwb_m": 250.0, "reference_stated": "short-circuit", "deck_standard_nwb_m": 200.0,
            "deck_standard_stated": "short-circuit", "standard_dbfs": [null, null]}"#;
        reading.facts.tape = Some(serde_json::from_str(tape).unwrap());
        let tone = &mut reading.level[0];
        (tone.programme_db, tone.programme_uncertainty_db) = (1.9382, Some(0.05));
        (tone.return_dbfs, tone.uncertainty_db) = ([Some(-12.1), Some(-12.1)], 0.02);
        reading
    }

    /// By hand: 650 mV are 20 lg(650/580) = +0.990 dB, 250 nWb/m ask for 20 lg(250/200) = +1.938 dB, which is 725 mV; so 0.948 dB
    /// are missing. With 50 mV of tolerance: 20 lg(530/580) = -0.783 dB to 20 lg(630/580) = +0.718 dB.
    #[test]
    fn playback_level_is_judged_by_the_manuals_millivolts() {
        let limits = |more: &str| Limits::from_toml(&format!("{MILLIVOLTS}{more}"), "manual.toml").unwrap();
        let got = find(&with_tape(), &limits(""), "playback-level");
        assert_eq!(got.verdict, Verdict::Outside, "{got:?}");
        assert_within!(got.value.unwrap(), -0.948, 0.001, "dB");
        assert_within!(got.uncertainty.unwrap(), 0.257f64.hypot(0.05).hypot(0.02), 0.001, "dB");
        assert_eq!(
            got.why,
            "level tone 400 Hz: +0.99 dB against the deck's 0, 650 mV, -12.10 dBFS; 250 nWb/m short-circuit on the tape \
             asks for +1.94 dB and 725 mV (580 mV at the deck's mark of 200 nWb/m short-circuit, invented manual): -0.95 dB \
             off"
        );
        assert_eq!(
            got.turn.as_deref(),
            Some("turn the playback level trimmer left up 0.95 dB, to 725 mV on the level tone")
        );
        let limit = got.limit.unwrap();
        assert!(
            limit.ends_with("against 580 mV at the deck's mark of 200 nWb/m short-circuit (invented manual)"),
            "{limit}"
        );
        // What the manual allows in millivolts is no longer half a decibel: only marginal.
        let got = find(&with_tape(), &limits("output_tolerance_mv = 50\n"), "playback-level");
        assert_eq!(got.verdict, Verdict::Marginal, "{got:?}");
        assert!(got.limit.unwrap().starts_with("530 to 630 mV at the deck's mark"));
        let got = find(&with_tape(), &limits("playback_level_db = 2\n"), "playback-level");
        assert_eq!(got.verdict, Verdict::Within, "{got:?}");
    }

    #[test]
    fn what_is_missing_for_the_millivolts_is_named() {
        let why = |reading: &Sample, text: &str| {
            let limits = Limits::from_toml(text, "manual.toml").unwrap();
            let found = find(reading, &limits, "playback-level");
            assert_eq!((found.verdict, found.value), (Verdict::CannotTell, None));
            found.why
        };
        let got = why(&with_tape(), "output_nominal_mv = 580");
        assert!(got.contains("(level_tone_mv)") && !got.contains("output_nominal_mv"), "{got}");
        let got = why(&with_tape(), "level_tone_mv = 650\nlevel_tone_dbfs = -12.1");
        assert!(got.contains("(output_nominal_mv)") && !got.contains("level_tone_mv"), "{got}");
        let mut unknown = with_tape();
        unknown.facts.tape = None;
        let got = why(&unknown, MILLIVOLTS);
        assert!(
            got.contains("650 mV") && got.contains("what the tape carries at its 0 dB in nWb/m"),
            "{got}"
        );
        let mut unmarked = with_tape();
        unmarked.facts.tape.as_mut().unwrap().deck_standard_nwb_m = None;
        let got = why(&unmarked, "output_nominal_mv = 580\nlevel_tone_mv = 650\nlevel_tone_dbfs = -12.1");
        assert!(got.contains("deck_standard_nwb_m"), "{got}");
    }

    #[test]
    fn playback_level_needs_a_target() {
        let mut limits = Limits::full_size();
        let got = find(&sample::healthy(), &limits, "playback-level");
        assert_eq!((got.verdict, got.value), (Verdict::CannotTell, None));
        assert!(got.why.contains("playback_level_target_dbfs"));
        limits.set(Key::PlaybackLevelTarget, Tolerance { value: -10.0, basis: "invented manual".into() });
        let got = find(&sample::healthy(), &limits, "playback-level");
        // -12.10 dBFS at 0 dB.
        assert_within!(got.value.unwrap(), -2.1, 1e-9, "dB");
        assert_eq!(got.turn.as_deref(), Some("turn the playback level trimmer left up 2.10 dB"));
        assert_eq!(
            got.limit.as_deref(),
            Some("+-0.5 dB (full-size deck: common practice, no source) against -10 dBFS (invented manual)")
        );
    }
}
