//! Finding `playback-level`, and the part of `channel-match` that one trimmer moves.

use crate::judge::case::{Bench, Bounds, SIDES, plain};
use crate::judge::quantities::{Id, Key};
use crate::judge::work::turns::step;
use crate::reading::figures::{UnitKind, frequency};
use crate::reading::{Adjustment, Channel, Finding, Level, RecordedOn, Unit, Way, level_tone};

const NO_TONE: &str = "no level tone was found; to find out: record a programme with a level tone";

/// What comes before any turn of a playback trimmer; empty where the tape is not the deck's own.
fn playback_alone_first(bench: &Bench) -> &'static str {
    match bench.recorded_on() {
        Some(RecordedOn::ThisDeck) => {
            "check playback alone with a calibrated tape: record level trimmers act here too. If playback is off: "
        }
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
    case.missing = NO_TONE.to_owned();
    if bench.reading.capture.mono || bench.dead.contains(&true) {
        case.missing =
            "there are not two channels to compare; to find out: put the wiring right and record again"
                .to_owned();
        return vec![case.finish()];
    }
    if !bench.reading.rounds.is_empty() {
        // What the level tone before the rounds said is no longer how the deck stands.
        case.missing =
            "levels were trimmed while this was recorded; to find out: see record-level, then record a \
                        programme during which nothing is turned"
                .to_owned();
        return vec![case.finish()];
    }
    if let Some((tone, db)) =
        level_tone(&bench.reading.level).and_then(|tone| Some((tone, tone.difference_db?)))
    {
        // Two levels, each with this uncertainty.
        let uncertainty = tone.uncertainty_db * std::f64::consts::SQRT_2;
        case.value = Some(db);
        case.uncertainty = Some(uncertainty);
        case.figures = format!(
            "level tone {}: left minus right {}",
            frequency(tone.hz),
            UnitKind::Db.of(db, uncertainty).signed()
        );
        let weak = SIDES[usize::from(db > 0.0)];
        let strong = SIDES[usize::from(db <= 0.0)];
        let by = UnitKind::Db.of(db.abs(), uncertainty);
        let first = playback_alone_first(bench);
        case.turn = vec![
            step(
                Adjustment::PlaybackLevel,
                format!(
                    "{first}playback level trimmer {weak} up {by}, or {strong} down {by}, whichever brings both to the \
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
    let limit = bench.limits.of(Key::PlaybackLevel);
    let name = SIDES[side];
    let mut case = bench.case(Id::PlaybackLevel);
    case.channel = Some(name);
    case.bounds = Bounds::within(limit.value);
    let target = bench.limits.get(Key::PlaybackLevelTarget);
    case.limit = Some(match target {
        None => format!("+-{} dB against the target ({})", plain(limit.value), limit.basis),
        Some(target) if target.basis == limit.basis => {
            format!("+-{} dB against {} dBFS ({})", plain(limit.value), plain(target.value), limit.basis)
        }
        Some(target) => format!(
            "+-{} dB ({}) against {} dBFS ({})",
            plain(limit.value),
            limit.basis,
            plain(target.value),
            target.basis
        ),
    });
    let tone = level_tone(&bench.reading.level);
    let level = tone.and_then(|tone| Some((tone, tone.return_dbfs[side]?)));
    case.missing = NO_TONE.to_owned();
    if bench.dead[side] {
        case.missing = "the channel is dead; to find out: put the wiring right and record again".to_owned();
        return case.finish();
    }
    let Some((tone, return_dbfs)) = level else { return case.finish() };
    let Some(target) = target.map(|target| target.value) else {
        case.missing = format!(
            "not told which level in the return is the deck's standard (level tone {} came back at {}); to find \
             out: note the service manual's line output voltage with this tone and give its level as \
             playback_level_target_dbfs in a limits file",
            frequency(tone.hz),
            UnitKind::Dbfs.of(return_dbfs, tone.uncertainty_db)
        );
        return case.finish();
    };
    let tape_db = of_house_tape(bench, tone, side);
    let off_db = return_dbfs - tone.programme_db - tape_db.unwrap_or(0.0) - target;
    case.value = Some(off_db);
    // What is not known of a tape that somebody else recorded adds.
    case.uncertainty = Some(tone.uncertainty_db.hypot(tone.programme_uncertainty_db.unwrap_or(0.0)));
    case.figures = format!(
        "level tone {}: {}, {} against the target",
        frequency(tone.hz),
        UnitKind::Dbfs.of(return_dbfs, tone.uncertainty_db),
        UnitKind::Db.of(off_db, case.uncertainty).signed()
    );
    if let Some(db) = tape_db {
        case.figures +=
            &format!(" once the {} of the house tape are subtracted", UnitKind::Db.of(db, None).signed());
    }
    let (word, way) = if off_db < 0.0 { ("up", Way::Up) } else { ("down", Way::Down) };
    let first = playback_alone_first(bench);
    let text = format!(
        "{first}playback level trimmer {name} {word} {}",
        UnitKind::Db.of(off_db.abs(), case.uncertainty)
    );
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
        assert!(got.turn.unwrap().starts_with("playback level trimmer left up 1.62 dB"));
        assert!(got.why.contains("left minus right -1.62 dB"));
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
        assert_eq!(got.turn.as_deref(), Some("playback level trimmer left up 2.10 dB"));
        assert_eq!(
            got.limit.as_deref(),
            Some("+-0.5 dB (full-size deck: common practice, no source) against -10 dBFS (invented manual)")
        );
    }
}
