//! Findings `record-level`, `bias` and `record-equalisation`: the recording half of the deck, seen through its playback.

use crate::judge::case::{Bench, Bounds, Case, SIDES, plain};
use crate::judge::output::{ZeroBy, mark_words, standard, wider_mv, zero};
use crate::judge::quantities::{Id, Key};
use crate::judge::work::bias_steps;
use crate::judge::work::response_steps::{Off, azimuth_loss_db};
use crate::judge::work::turns::{PLAYBACK_FIRST, step};
use crate::reading::figures::{UnitKind, frequency};
use crate::reading::{
    Adjustment, BiasPair, BiasSweep, Channel, FileClock, Finding, MonitorSwitch, Pair, RecordedOn, Remedy,
    TapeType, TurnStep, Unit, Untold, Verdict, Way, level_tone, minus,
};

/// The latest level of what the deck recorded: the last round, or else the level tone.
struct Latest {
    what: String,
    reference_dbfs: Pair,
    /// Tape minus source, where the source was heard.
    against_source_db: Pair,
    difference_db: Option<f64>,
    uncertainty_db: f64,
}

fn latest(bench: &Bench) -> Option<Latest> {
    let rounds = &bench.reading.rounds;
    // In a sweep the last round is no setting that anybody wants; level moves little with bias, but it does.
    let settled = bench.reading.bias_sweep.is_none();
    let last = rounds.iter().rev().find(|round| round.reference_dbfs.iter().any(Option::is_some));
    if let (Some(round), true) = (last, settled) {
        return Some(Latest {
            what: format!("round {}, level tone {}", round.round, frequency(round.level_hz?)),
            reference_dbfs: round.reference_dbfs,
            against_source_db: if against_source(bench) { round.level_db } else { [None; 2] },
            difference_db: round.level_difference_db,
            uncertainty_db: round.level_uncertainty_db.into_iter().flatten().fold(0.0, f64::max),
        });
    }
    let tone = level_tone(&bench.reading.level)?;
    Some(Latest {
        what: format!("level tone {}", frequency(tone.hz)),
        reference_dbfs: tone.return_dbfs.map(|dbfs| dbfs.map(|dbfs| dbfs - tone.programme_db)),
        against_source_db: [None; 2],
        difference_db: tone.difference_db,
        uncertainty_db: tone.uncertainty_db,
    })
}

/// Whether the figures of the rounds are tape minus source.
fn against_source(bench: &Bench) -> bool {
    bench.reading.source.as_ref().is_some_and(|source| source.monitor == MonitorSwitch::Switched)
}

/// Why rounds behind a stretch at SOURCE are not judged; `None` if they are off the tape, or nothing was heard at SOURCE.
fn not_off_the_tape(bench: &Bench) -> Option<Untold> {
    let source = bench.reading.source.as_ref()?;
    let why = match source.monitor {
        MonitorSwitch::Switched => return None,
        MonitorSwitch::NotSwitched => "source and tape read alike: the monitor was not switched",
        MonitorSwitch::OtherWayRound => "the monitor was switched from tape to source",
        MonitorSwitch::CannotTell => "the slates and the noise do not show whether the monitor was switched",
    };
    Some(Untold::new(
        why,
        "begin with the monitor switch at source, switch to tape at the pause, and record the recipe monitor-trim again; \
         with two heads record the recipe record-trim",
    ))
}

/// What the sound card may hide of a pair of tones, dB: nothing where the source went through it too.
fn sound_card_db(bench: &Bench, hz: f64) -> f64 {
    if against_source(bench) { 0.0 } else { bench.sound_card_db(hz) }
}

/// Level of each channel against its target, and left against right.
pub(crate) fn record_level(bench: &Bench) -> Vec<Finding> {
    let latest = latest(bench);
    let mut findings: Vec<Finding> =
        (0..2).map(|side| level_of_channel(bench, side, latest.as_ref())).collect();
    findings.push(left_against_right(bench, latest.as_ref()));
    findings
}

fn no_level() -> Untold {
    Untold::new("no level tone that this deck recorded was found", "record the recipe record-trim")
}

fn level_of_channel(bench: &Bench, side: usize, latest: Option<&Latest>) -> Finding {
    let limit = bench.limits.of(Key::RecordLevel);
    let zero = zero(bench.reading, bench.limits, side);
    let mark = mark_words(standard(bench.reading, bench.limits));
    let mut case = bench.case(Id::RecordLevel);
    case.channel = Some(SIDES[side]);
    case.bounds = Bounds::within(limit.value);
    if let Some(untold) = not_off_the_tape(bench) {
        case.missing = untold;
        return case.finish();
    }
    if let Some((latest, off_db)) = latest.and_then(|latest| Some((latest, latest.against_source_db[side]?)))
    {
        case.limit = Some(format!("tape within +-{} dB of the source ({})", plain(limit.value), limit.basis));
        case.place = Some("tape against source".to_owned());
        case.figures = format!(
            "{}: tape minus source {}",
            latest.what,
            UnitKind::Db.of(off_db, latest.uncertainty_db).signed()
        );
        return off_by(case, side, off_db, latest.uncertainty_db);
    }
    case.limit = Some(match zero.as_ref().map(|zero| &zero.by) {
        Some(ZeroBy::Millivolts { nominal_mv, basis }) => format!(
            "+-{} dB ({}) against {} mV at {mark} ({basis})",
            plain(limit.value),
            limit.basis,
            plain(*nominal_mv)
        ),
        _ => format!("+-{} dB against the target ({})", plain(limit.value), limit.basis),
    });
    case.missing = no_level();
    let found = latest.and_then(|latest| Some((latest, latest.reference_dbfs[side]?)));
    let Some((latest, dbfs)) = found else { return case.finish() };
    let Some(zero) = zero else {
        case.missing = Untold::new(
            "not told which level in the return is the deck's standard",
            "with three heads record the recipe monitor-trim; with two give what a calibrated level tape reads \
             (playback_level_target_dbfs), or the mV at the output (level_tone_mv) and at the deck's mark (output_nominal_mv)",
        );
        return case.finish();
    };
    let off_db = dbfs - zero.dbfs;
    let uncertainty = latest.uncertainty_db.hypot(zero.uncertainty_db);
    let off = UnitKind::Db.of(off_db, uncertainty);
    case.place = Some(match zero.by {
        ZeroBy::Target { .. } => "against the target".to_owned(),
        ZeroBy::Millivolts { .. } => "against the deck's 0".to_owned(),
    });
    case.figures = match &zero.by {
        ZeroBy::Target { basis } => {
            format!("{}: {} against the target ({basis})", latest.what, off.signed())
        }
        ZeroBy::Millivolts { nominal_mv, basis } => {
            let mv = nominal_mv * 10f64.powf(off_db / 20.0);
            format!(
                "{}: {} against the deck's 0, {}, {}; recorded at the deck's 0 it asks for {} mV at {mark} ({basis})",
                latest.what,
                off.signed(),
                UnitKind::Millivolts.of(mv, wider_mv(mv, uncertainty)),
                UnitKind::Dbfs.of(dbfs, latest.uncertainty_db),
                plain(*nominal_mv)
            )
        }
    };
    off_by(case, side, off_db, uncertainty)
}

/// A channel whose record level is off by so much, and its trimmer.
fn off_by(mut case: Case, side: usize, off_db: f64, uncertainty: f64) -> Finding {
    case.value = Some(off_db);
    case.uncertainty = Some(uncertainty);
    let (word, way) = if off_db < 0.0 { ("up", Way::Up) } else { ("down", Way::Down) };
    let text = format!(
        "{PLAYBACK_FIRST}; then turn the record level trimmer {} {word} {}",
        SIDES[side],
        UnitKind::Db.of(off_db.abs(), uncertainty)
    );
    case.turn = vec![step(Adjustment::RecordLevel, text).on(SIDES[side]).by(way, off_db.abs(), Unit::Db)];
    case.finish()
}

fn left_against_right(bench: &Bench, latest: Option<&Latest>) -> Finding {
    let limit = bench.limits.of(Key::ChannelMatch);
    let mut case = bench.case(Id::RecordLevel);
    case.channel = Some(Channel::Both);
    case.bounds = Bounds::within(limit.value);
    case.limit = Some(format!("at most {} dB apart ({})", plain(limit.value), limit.basis));
    case.missing = not_off_the_tape(bench).unwrap_or_else(no_level);
    let tape = not_off_the_tape(bench).is_none();
    let found = latest.filter(|_| tape).and_then(|latest| Some((latest, latest.difference_db?)));
    let Some((latest, db)) = found else { return case.finish() };
    case.value = Some(db);
    case.place = Some("left minus right".to_owned());
    let own = latest.uncertainty_db * std::f64::consts::SQRT_2;
    let card = if against_source(bench) { 0.0 } else { bench.sound_card_match_db() };
    let uncertainty = case.uncertain(own, card);
    case.figures = format!("{}: left minus right {}", latest.what, UnitKind::Db.of(db, uncertainty).signed());
    if let Some(words) = weak_by_bias(bench, usize::from(db > 0.0), db.abs()) {
        case.figures += &words;
        return case.finish();
    }
    case.turn = vec![together(db, uncertainty)];
    case.finish()
}

/// Both channels' record level brought together where left minus right is `db`.
pub(crate) fn together(db: f64, uncertainty: f64) -> TurnStep {
    let (weak, strong) = (SIDES[usize::from(db > 0.0)], SIDES[usize::from(db <= 0.0)]);
    let by = UnitKind::Db.of(db.abs(), uncertainty);
    let text = format!(
        "{PLAYBACK_FIRST}; then turn the record level trimmer {weak} up {by}, or {strong} down {by}: whichever brings both to \
         the target"
    );
    step(Adjustment::RecordLevel, text).on(weak).by(Way::Up, db.abs(), Unit::Db)
}

/// A deck may run so fast, and lift the tone so far.
const FASTEST: f64 = 1.06;

/// The high tone that shows the bias on this type of tape, Hz (common practice, no source).
fn high_hz(bench: &Bench) -> f64 {
    match bench.circumstances().tape_type {
        Some(TapeType::II | TapeType::III | TapeType::IV) => 15_000.0,
        Some(TapeType::I) | None => 10_000.0,
    }
}

/// Pairs whose high tone is the one for this type of tape, or the nearest to it.
fn pairs<'a>(bench: &Bench<'a>) -> Vec<&'a BiasPair> {
    let wanted = high_hz(bench);
    let off = |pair: &BiasPair| (pair.high_hz / wanted).ln().abs();
    let nearest = bench.reading.bias.iter().min_by(|a, b| off(a).total_cmp(&off(b)));
    let Some(nearest) = nearest else { return Vec::new() };
    bench.reading.bias.iter().filter(|pair| pair.high_hz == nearest.high_hz).collect()
}

/// Frequency of the low tone, Hz (common practice, no source).
const LOW_HZ: f64 = 1000.0;
/// Steps louder than this saturate, dB.
const QUIET_DB: f64 = -15.0;

/// The pair from the stepped tones of a whole programme, which are at the same level; as of round 0.
fn pair_of_steps(bench: &Bench) -> Option<BiasPair> {
    let response = bench.reading.response.as_ref().filter(|response| response.programme_db <= QUIET_DB)?;
    let row = |hz: f64| response.steps.iter().find(|row| (row.hz / hz - 1.0).abs() < 0.06);
    let (low, high) = (row(LOW_HZ)?, row(high_hz(bench))?);
    let difference_db = minus(high.db, low.db);
    Some(BiasPair {
        round: 0,
        at_s: FileClock::default().at(0.0),
        low_hz: low.hz,
        high_hz: high.hz,
        programme_db: response.programme_db,
        low_db: low.db,
        high_db: high.db,
        difference_db,
        uncertainty_db: [0, 1].map(|side| Some(low.uncertainty_db[side]?.hypot(high.uncertainty_db[side]?))),
        change_db: [None; 2],
    })
}

fn tape_type_not_told(bench: &Bench) -> Option<Remedy> {
    bench.circumstances().tape_type.is_none().then_some(Remedy::SayTapeType)
}

fn not_told(bench: &Bench) -> &'static str {
    if bench.circumstances().tape_type.is_none() { "; tape type not told: judged as type I" } else { "" }
}

/// High against low tone of the last round, one finding a channel.
pub(crate) fn bias(bench: &Bench) -> Vec<Finding> {
    let of_steps = pair_of_steps(bench);
    let pairs = if bench.reading.bias.is_empty() { of_steps.iter().collect() } else { pairs(bench) };
    (0..2)
        .map(|side| {
            let case = pair_case(bench, Id::Bias, side);
            match &bench.reading.bias_sweep {
                Some(sweep) => stepped(bench, case, sweep, &pairs, side),
                None => last_pair(bench, case, &pairs, side),
            }
        })
        .collect()
}

fn pair_case(bench: &Bench, id: Id, side: usize) -> Case {
    let limit = bench.limits.of(Key::BiasPair);
    let mut case = bench.case(id);
    case.channel = Some(SIDES[side]);
    case.bounds = Bounds::within(limit.value);
    case.limit = Some(format!(
        "high tone within +-{} dB of the low one at -20 dB ({})",
        plain(limit.value),
        limit.basis
    ));
    case
}

/// `10 kHz against 1 kHz`.
fn against(pair: &BiasPair) -> String {
    format!("{} against {}", frequency(pair.high_hz), frequency(pair.low_hz))
}

/// `, overbias +4.0 / +5.2 dB`, left and right: how far past its peak the high tone of `pair` is; empty where the sweep does not
/// show both peaks.
fn overbias(sweep: &BiasSweep, pair: &BiasPair) -> String {
    let step = sweep.steps.iter().find(|step| step.round == pair.round);
    let high = step.and_then(|step| step.high.iter().find(|high| high.hz == pair.high_hz));
    match high.map(|high| high.past_peak_db) {
        Some([Some(left), Some(right)]) => {
            let [left, right] = [left, right].map(|db| UnitKind::Db.of(db, 0.1).signed().number());
            format!(", overbias {left} / {right} dB")
        }
        _ => String::new(),
    }
}

fn last_pair(bench: &Bench, mut case: Case, pairs: &[&BiasPair], side: usize) -> Finding {
    case.missing =
        Untold::new("no pair of a low and a high tone at -20 dB was found", "record the recipe record-trim");
    case.missing = bench.too_slow(high_hz(bench) * FASTEST).unwrap_or(case.missing);
    if let Some(untold) = not_off_the_tape(bench) {
        case.missing = untold;
        return case.finish();
    }
    let last = pairs
        .iter()
        .rev()
        .find_map(|pair| Some((pair, pair.difference_db[side]?, pair.uncertainty_db[side]?)));
    let Some((pair, db, own)) = last else { return case.finish() };
    case.value = Some(db);
    let uncertainty = case.uncertain(own, sound_card_db(bench, pair.high_hz));
    let other = pair.difference_db[1 - side].map_or(String::new(), |other| {
        format!(", {} {}", SIDES[1 - side], UnitKind::Db.of(other, uncertainty).signed())
    });
    let place = match pair.round {
        0 => "stepped tones".to_owned(),
        round if against_source(bench) => format!("round {round}, tape against source"),
        round => format!("round {round}"),
    };
    case.place = Some(against(pair));
    case.at_hz = Some(pair.high_hz);
    case.figures = format!(
        "{place}: {} minus {} {}{other}{}",
        frequency(pair.high_hz),
        frequency(pair.low_hz),
        UnitKind::Db.of(db, uncertainty).signed(),
        not_told(bench)
    );
    let off = Off {
        hz: pair.high_hz,
        db,
        uncertainty_db: Some(uncertainty),
        allowed_db: bench.limits.of(Key::BiasPair).value,
    };
    let before = pairs.iter().rev().filter(|other| other.round < pair.round);
    let right = before.into_iter().find(|other| {
        figures_of(other, side).is_some_and(|(db, uncertainty)| db.abs() + uncertainty <= off.allowed_db)
    });
    if let Some(right) = right {
        let text =
            format!("turn the {} bias trimmer back to its place of round {}", SIDES[side], right.round);
        let way = if db < 0.0 { Way::Down } else { Way::Up };
        case.turn = vec![step(Adjustment::Bias, text).on(SIDES[side]).towards(way)];
    } else {
        let (steps, more) = bias_steps::steps(bench, side, &off, pair.difference_db[1 - side]);
        case.figures += &more;
        case.turn = steps;
    }
    case.remedies.extend(tape_type_not_told(bench));
    case.finish()
}

/// Too little bias takes from the level of a channel up to so much of what it adds to the high tone (from memory).
const LEVEL_PER_TREBLE: f64 = 0.5;

/// What is to be said where too little bias alone may make a channel of the deck's own recording weaker by `lacks_db` than the
/// other: the bias is set before its level. It must be bright by itself, and brighter than the other: what both have alike weakens
/// neither against the other.
pub(crate) fn weak_by_bias(bench: &Bench, side: usize, lacks_db: f64) -> Option<String> {
    let own = bench.recorded_on() == Some(RecordedOn::ThisDeck) && bench.reading.bias_sweep.is_none();
    let of_steps = pair_of_steps(bench).filter(|_| own);
    let pairs = if bench.reading.bias.is_empty() { of_steps.iter().collect() } else { pairs(bench) };
    let brighter = |pair: &&BiasPair| {
        let (db, own) = figures_of(pair, side)?;
        let (other_db, other) = figures_of(pair, 1 - side).unwrap_or((0.0, 0.0));
        // Azimuth takes from both.
        let lost_db = azimuth_loss_db(bench, pair.high_hz).map_or(0.0, |(loss_db, _)| loss_db);
        Some(((db - lost_db).min(db - other_db), own.hypot(other)))
    };
    let (db, uncertainty) = pairs.iter().rev().find_map(brighter).filter(|_| own)?;
    let bright = db - uncertainty > bench.limits.of(Key::BiasPair).value;
    (bright && lacks_db <= LEVEL_PER_TREBLE * db).then(|| {
        format!(
            "; the {} channel has too little bias, which lowers its level, too: set the bias, then read again",
            SIDES[side]
        )
    })
}

/// High minus low tone of a pair, and its expanded uncertainty.
fn figures_of(pair: &BiasPair, side: usize) -> Option<(f64, f64)> {
    Some((pair.difference_db[side]?, pair.uncertainty_db[side]?))
}

/// A sweep leaves the trimmer at its last round: that is how the deck stands, and the best round says where to go.
fn stepped(bench: &Bench, mut case: Case, sweep: &BiasSweep, pairs: &[&BiasPair], side: usize) -> Finding {
    let name = SIDES[side];
    case.missing = Untold::new(
        "no round of the sweep shows both tones",
        "record the recipe bias-sweep again with the trimmer turned a little from round to round",
    );
    let last = pairs.iter().rev().find_map(|pair| Some((pair, figures_of(pair, side)?)));
    let Some((last, (db, own))) = last else { return case.finish() };
    case.value = Some(db);
    let uncertainty = case.uncertain(own, bench.sound_card_db(last.high_hz));
    case.place = Some(format!("{}{}", against(last), overbias(sweep, last)));
    case.at_hz = Some(last.high_hz);
    case.figures = format!(
        "the sweep ends at round {}, where {} minus {} is {}{}",
        last.round,
        frequency(last.high_hz),
        frequency(last.low_hz),
        UnitKind::Db.of(db, uncertainty).signed(),
        not_told(bench)
    );
    case.remedies.extend(tape_type_not_told(bench));
    let balance = sweep.balance.iter().find(|balance| balance.high_hz == last.high_hz);
    let best = balance.and_then(|balance| balance.best_round[side]).and_then(|best| {
        let pair = pairs.iter().find(|pair| pair.round == best)?;
        Some((best, figures_of(pair, side)?))
    });
    let Some((best, (at_best_db, at_best_uncertainty))) = best else {
        case.figures += "; the sweep shows no round at which the two stand level";
        case.turn = vec![
            step(
                Adjustment::Bias,
                format!("record the recipe bias-sweep again over a wider range of the {name} bias trimmer"),
            )
            .on(name),
        ];
        return case.finish();
    };
    case.figures += &format!(
        "; the best compromise is round {best}, where it is {}{}",
        UnitKind::Db.of(at_best_db, at_best_uncertainty).signed(),
        pairs.iter().find(|pair| pair.round == best).map_or(String::new(), |pair| overbias(sweep, pair))
    );
    if equalisation_of(bench, pairs, side).verdict == Verdict::Outside {
        // Bias that makes up for it would be wrong; its own step says where the bias belongs.
        case.figures += "; the record equalisation is off, too: see there";
    } else if best != last.round {
        // More bias lowers the high tone.
        let way = if db < at_best_db { Way::Down } else { Way::Up };
        let text = format!(
            "turn the {name} bias trimmer back to its place of round {best}; then record the recipe record-trim"
        );
        case.turn = vec![step(Adjustment::Bias, text).on(name).towards(way)];
    }
    case.finish()
}

/// High against low tone where bias can be right at all: between the low tone's peak of sensitivity and the least third
/// harmonic (common practice, no source), one finding a channel. What is off there is no longer the bias's.
pub(crate) fn record_equalisation(bench: &Bench) -> Vec<Finding> {
    let pairs = pairs(bench);
    (0..2).map(|side| equalisation_of(bench, &pairs, side)).collect()
}

/// High minus low tone at a place between two rounds, and its expanded uncertainty.
fn between_rounds(pairs: &[&BiasPair], side: usize, round: f64, uncertainty: f64) -> Option<(f64, f64)> {
    pairs.windows(2).find_map(|two| {
        let [a, b] = [two[0], two[1]];
        let holds = f64::from(a.round) <= round && round <= f64::from(b.round);
        holds.then_some(())?;
        let (before, after) = (a.difference_db[side]?, b.difference_db[side]?);
        let slope = (after - before) / f64::from(b.round - a.round);
        let db = before + slope * (round - f64::from(a.round));
        Some((db, a.uncertainty_db[side]?.hypot(slope * uncertainty)))
    })
}

fn equalisation_of(bench: &Bench, pairs: &[&BiasPair], side: usize) -> Finding {
    let mut case = pair_case(bench, Id::RecordEqualisation, side);
    case.missing = Untold::new(
        "bias and record equalisation cannot be told apart at one setting of the bias",
        "record the recipe bias-sweep",
    );
    let Some(sweep) = &bench.reading.bias_sweep else { return case.finish() };
    let peak = sweep.peaks.iter().find(|peak| peak.hz == sweep.low_hz);
    let place = peak.and_then(|peak| peak.round[side].zip(peak.uncertainty_rounds[side]));
    let Some((peak_round, peak_uncertainty)) = place else {
        case.missing = Untold::new(
            "the sweep shows no peak of the low tone's sensitivity",
            "record the recipe bias-sweep again over a wider range of the trimmer",
        );
        return case.finish();
    };
    let Some((at_peak_db, at_peak_uncertainty)) = between_rounds(pairs, side, peak_round, peak_uncertainty)
    else {
        case.missing = Untold::new(
            "the pairs of tones beside the low tone's peak of sensitivity were not measured",
            "record the recipe bias-sweep again",
        );
        return case.finish();
    };
    let least = sweep.lowest_k3_round[side].zip(sweep.lowest_k3_uncertainty_rounds[side]);
    let at_least = least.and_then(|(round, u)| Some((round, between_rounds(pairs, side, round, u)?)));
    // More bias lowers the high tone: above the low one at the peak, it meets it somewhere on the way to the least harmonic,
    // or not at all.
    let (round, place, db, uncertainty) = match at_least {
        Some((round, (db, uncertainty))) if at_peak_db > 0.0 && db > 0.0 => {
            (round, "the least third harmonic", db, uncertainty)
        }
        Some((round, (db, _))) if at_peak_db > 0.0 => {
            let share = at_peak_db / (at_peak_db - db);
            (peak_round + share * (round - peak_round), "the balance of both tones", 0.0, at_peak_uncertainty)
        }
        None if at_peak_db > 0.0 => {
            case.missing = Untold::new(
                format!(
                    "at the low tone's peak of sensitivity {} minus {} is {}. More bias may remove that, but the sweep shows \
                     no least third harmonic, so how much bias is allowed is not known",
                    frequency(pairs.first().map_or(0.0, |pair| pair.high_hz)),
                    frequency(sweep.low_hz),
                    UnitKind::Db.of(at_peak_db, at_peak_uncertainty).signed()
                ),
                "record the recipe bias-sweep again over a wider range of the trimmer",
            );
            return case.finish();
        }
        _ => (peak_round, "the low tone's peak of sensitivity", at_peak_db, at_peak_uncertainty),
    };
    case.value = Some(db);
    let uncertainty = case.uncertain(uncertainty, bench.sound_card_db(high_hz(bench)));
    let k3 = sweep.lowest_k3_round[side].map_or(String::new(), |round| {
        format!(", third harmonic lowest at round {}", UnitKind::Rounds.of(round, None).number())
    });
    case.figures = format!(
        "at {place} (round {}): {} minus {} {}; low tone's peak at round {}{k3}; bias belongs between these two (common \
         practice, no source){}",
        UnitKind::Rounds.of(round, None).number(),
        frequency(pairs.first().map_or(0.0, |pair| pair.high_hz)),
        frequency(sweep.low_hz),
        UnitKind::Db.of(db, uncertainty).signed(),
        UnitKind::Rounds.of(peak_round, None).number(),
        not_told(bench)
    );
    case.remedies.extend(tape_type_not_told(bench));
    let (word, way) = if db > 0.0 { ("down", Way::Down) } else { ("up", Way::Up) };
    let text = format!(
        "{PLAYBACK_FIRST}; then set the bias to its place of round {} and turn the record equalisation {} {word} by about {}; \
         without such a trimmer keep the bias of the best compromise",
        UnitKind::Rounds.of(round, None).number(),
        SIDES[side],
        UnitKind::Db.of(db.abs(), uncertainty)
    );
    case.turn = vec![step(Adjustment::RecordEqualisation, text).on(SIDES[side]).by(way, db.abs(), Unit::Db)];
    case.finish()
}

#[cfg(test)]
mod tests {
    use crate::judge::{
        Key, Limits, Tolerance,
        sample::{self, Sample},
    };
    use crate::reading::{
        Adjustment, FileClock, Finding, Heads, MonitorSwitch, RecordedOn, SourceStretch, TapeType, Verdict,
    };

    /// An invented trimming of this deck, in three rounds.
    fn trimmed() -> Sample {
        let mut reading = sample::rounds();
        reading.circumstances.recorded_on = Some(RecordedOn::ThisDeck);
        reading.circumstances.heads = Some(Heads::Three);
        reading.bias_sweep = None;
        reading
    }

    fn find(reading: &Sample, id: &str, side: usize) -> Finding {
        find_with(reading, &Limits::full_size(), id, side)
    }

    fn find_with(reading: &Sample, limits: &Limits, id: &str, side: usize) -> Finding {
        reading.judged_by(limits).into_iter().filter(|finding| finding.id == id).nth(side).unwrap()
    }

    #[test]
    fn the_last_round_counts_and_the_high_tone_says_which_way() {
        let mut reading = trimmed();
        let last = reading.bias.iter().map(|pair| pair.round).max().unwrap();
        for pair in reading.bias.iter_mut().filter(|pair| pair.round == last) {
            pair.difference_db = [Some(-1.4), Some(0.1)];
        }
        // A round before it was right.
        let turn = find(&reading, "bias", 0).turn.unwrap();
        assert!(turn.starts_with("turn the left bias trimmer back to its place of round "), "{turn}");
        for (db, words, way) in [(1.4, "too little bias", "left up"), (-1.4, "too much bias", "left down")] {
            for pair in &mut reading.bias {
                pair.difference_db = [Some(db), Some(0.1)];
            }
            let got = find(&reading, "bias", 0);
            assert_eq!(got.verdict, Verdict::Outside, "{got:?}");
            let turn = got.turn.unwrap();
            assert!(turn.contains(words) && turn.contains(way), "{turn}");
            assert!(turn.contains("calibrated tape") && turn.contains("record equalisation"), "{turn}");
            let other = find(&reading, "bias", 1);
            assert_eq!((other.verdict, other.turn), (Verdict::Within, None));
        }
    }

    #[test]
    fn a_bright_channel_is_told_by_its_harmonic_beside_the_other_s() {
        let mut reading = trimmed();
        for pair in &mut reading.bias {
            pair.difference_db = [Some(3.0), Some(0.1)];
        }
        // 3 dB of treble by too little bias: about exp(0.18 * 3) = 1.7 times the harmonic.
        let cases = [
            ([0.82, 0.80], [-10.0, -10.0], Adjustment::RecordEqualisation),
            ([1.40, 0.80], [-10.0, -10.0], Adjustment::Bias),
            // 2.4 dB more of level make 1.74 times the harmonic by themselves.
            ([1.40, 0.80], [-7.6, -10.0], Adjustment::RecordEqualisation),
            // In between: nobody can tell, and the bias is named with what else it may be.
            ([1.05, 0.80], [-10.0, -10.0], Adjustment::Bias),
        ];
        for (k3, dbfs, want) in cases {
            let last = reading.rounds.last_mut().unwrap();
            last.k3_percent = k3.map(Some);
            last.k3_uncertainty_percent = [Some(0.02); 2];
            last.reference_dbfs = dbfs.map(Some);
            let got = find(&reading, "bias", 0);
            assert_eq!(got.steps[0].adjust, want, "{k3:?}: {got:?}");
            let told = got.why.contains("third harmonic");
            assert_eq!(told, k3[0] != 1.05, "{k3:?}: {}", got.why);
            assert_eq!(got.why.contains("bias-sweep tells"), !told);
            assert_eq!(got.turn.unwrap().contains("too little bias, or record equalisation"), !told);
        }
    }

    #[test]
    fn the_type_of_tape_chooses_the_high_tone() {
        let mut reading = trimmed();
        for (tape_type, hz) in
            [(None, "10 kHz"), (Some(TapeType::I), "10 kHz"), (Some(TapeType::IV), "15 kHz")]
        {
            reading.circumstances.tape_type = tape_type;
            let why = find(&reading, "bias", 0).why;
            assert!(why.contains(hz) && why.contains("not told") == tape_type.is_none(), "{why}");
        }
    }

    #[test]
    fn only_what_this_deck_recorded_is_judged() {
        let mut reading = trimmed();
        for on in [RecordedOn::Calibrated, RecordedOn::OtherDeck, RecordedOn::Loopback] {
            reading.circumstances.recorded_on = Some(on);
            for id in ["record-level", "bias", "record-equalisation"] {
                assert_eq!(find(&reading, id, 0).verdict, Verdict::CannotTell, "{on:?} {id}");
            }
        }
    }

    #[test]
    fn record_level_needs_a_target_but_left_against_right_does_not() {
        let mut reading = trimmed();
        let last = reading.rounds.len() - 1;
        reading.rounds[last].reference_dbfs = [Some(-13.0), Some(-11.4)];
        reading.rounds[last].level_difference_db = Some(-1.6);
        let got = find(&reading, "record-level", 0);
        assert!(got.verdict == Verdict::CannotTell && got.why.contains("monitor-trim"), "{got:?}");
        let both = find(&reading, "record-level", 2);
        assert_eq!(both.verdict, Verdict::Outside);
        assert!(both.turn.unwrap().contains("record level trimmer left up 1.60 dB"));
        let mut limits = Limits::full_size();
        limits.set(Key::PlaybackLevelTarget, Tolerance { value: -12.0, basis: "manual".into() });
        let got = find_with(&reading, &limits, "record-level", 0);
        assert!(got.turn.unwrap().contains("record level trimmer left up 1.00 dB"));
    }

    #[test]
    fn a_channel_that_too_little_bias_weakens_gets_its_bias_before_its_level() {
        let mut reading = trimmed();
        let last = reading.rounds.len() - 1;
        for pair in &mut reading.bias {
            pair.difference_db = [Some(4.0), Some(0.1)];
        }
        // Half of 4 dB at most; the other channel's lack is none of it.
        for (apart_db, by_bias) in [(-1.8, true), (-2.4, false), (1.8, false)] {
            reading.rounds[last].level_difference_db = Some(apart_db);
            let got = find(&reading, "record-level", 2);
            assert_eq!(got.verdict, Verdict::Outside);
            assert_eq!((got.turn.is_none(), got.why.contains("set the bias")), (by_bias, by_bias), "{got:?}");
        }
        // Both bright alike, or the other one dull: neither is the weaker for it.
        for both in [[4.0, 3.9], [0.1, -4.0]] {
            for pair in &mut reading.bias {
                pair.difference_db = both.map(Some);
            }
            reading.rounds[last].level_difference_db = Some(-1.8);
            assert!(find(&reading, "record-level", 2).turn.is_some(), "{both:?}");
        }
    }

    #[test]
    fn tape_against_source_needs_no_target() {
        let mut reading = trimmed();
        let last = reading.rounds.len() - 1;
        reading.rounds[last].level_db = [Some(-0.9), Some(0.1)];
        reading.rounds[last].level_uncertainty_db = [Some(0.04); 2];
        reading.source = Some(SourceStretch {
            at_s: FileClock::default().at(5.0),
            monitor: MonitorSwitch::Switched,
            behind_ms: Some(168.0),
            noise_dbfs: [Some(-90.0); 2],
            behind_noise_dbfs: [Some(-64.0); 2],
            tones: Vec::new(),
        });
        let got = find(&reading, "record-level", 0);
        assert_eq!((got.value, got.verdict), (Some(-0.9), Verdict::Outside), "{got:?}");
        assert!(got.why.contains("tape minus source -0.90 dB"), "{got:?}");
        assert!(got.turn.unwrap().contains("record level trimmer left up 0.90 dB"));
        assert_eq!(find(&reading, "record-level", 1).verdict, Verdict::Within);
        // The card is in both: it hides nothing.
        let got = find(&reading, "bias", 0);
        assert!(got.why.contains("tape against source") && got.uncertainty_parts.is_empty(), "{got:?}");
        let untold = [
            (MonitorSwitch::NotSwitched, "the monitor was not switched"),
            (MonitorSwitch::OtherWayRound, "from tape to source"),
            (MonitorSwitch::CannotTell, "do not show whether"),
        ];
        for (monitor, words) in untold {
            reading.source.as_mut().unwrap().monitor = monitor;
            for (id, side) in [("record-level", 0), ("record-level", 2), ("bias", 1)] {
                let got = find(&reading, id, side);
                assert_eq!((got.verdict, got.value), (Verdict::CannotTell, None), "{monitor:?} {id}");
                assert!(got.why.contains(words), "{got:?}");
            }
        }
    }

    /// By hand: 650 mV at -12.1 dBFS are 650 x 10^(-0.9/20) = 586 mV at -13.0 dBFS, 20 lg(586/650) = -0.9 dB.
    #[test]
    fn record_level_is_judged_by_the_manuals_millivolts() {
        let mut reading = trimmed();
        let last = reading.rounds.len() - 1;
        reading.rounds[last].reference_dbfs = [Some(-13.0), Some(-12.1)];
        reading.rounds[last].level_uncertainty_db = [Some(0.02); 2];
        let text = "source = \"invented manual\"\noutput_nominal_mv = 650\nlevel_tone_mv = 650\nlevel_tone_dbfs = -12.1\n\
                    level_tone_within_mv = 5\n";
        let limits = Limits::from_toml(text, "manual.toml").unwrap();
        let got = find_with(&reading, &limits, "record-level", 0);
        assert_within!(got.value.unwrap(), -0.9, 1e-9, "dB");
        // 20 lg(655/650) = 0.067 dB, and the tone's own.
        assert_within!(got.uncertainty.unwrap(), 0.067f64.hypot(0.02), 0.001, "dB");
        assert_eq!(got.verdict, Verdict::Outside, "{got:?}");
        assert!(
            got.why.contains(
                "-0.90 dB against the deck's 0, 586 mV, -13.00 dBFS; recorded at the deck's 0 it asks for 650 mV at the \
                 deck's mark (invented manual)"
            ),
            "{}",
            got.why
        );
        assert!(got.turn.unwrap().contains("record level trimmer left up 0.90 dB"));
        assert_eq!(find_with(&reading, &limits, "record-level", 1).verdict, Verdict::Within);
    }

    #[test]
    fn a_sweep_tells_equalisation_from_bias_and_where_to_set_it() {
        let mut reading = trimmed();
        let sweep = sample::rounds().bias_sweep.clone().unwrap();
        reading.bias_sweep = Some(sweep);
        let got = find(&reading, "bias", 0);
        // The sweep ends 1.9 dB low: the trimmer stands at its last round.
        assert_eq!(got.verdict, Verdict::Outside, "{got:?}");
        assert!(got.why.contains("best compromise is round 6"), "{got:?}");
        assert!(got.turn.unwrap().starts_with("turn the left bias trimmer back to its place of round 6"));
        let got = find(&reading, "record-equalisation", 0);
        // At round 7.0 on the left: 3.1 - 0.5 x 7.
        assert_within!(got.value.unwrap(), -0.4, 1e-9, "dB");
        assert!(got.why.contains("third harmonic lowest at round 7.3"), "{got:?}");
        reading.bias_sweep.as_mut().unwrap().peaks[0].round = [None; 2];
        let got = find(&reading, "record-equalisation", 0);
        assert!(got.why.contains("wider range"), "{got:?}");
    }
}
