//! What to do about a response that is off, step by step, by the causes that were told.
//!
//! Causes first, then the trimmer. A cause becomes a step only if mending it brings the response inside its limit or takes off a
//! third of what is off. In a loop of recording and playback, treble is a matter of bias and record equalisation unless spacing is
//! told. A time constant of both channels is the network's, of one channel its trimmer's. What is left (`Rest`) becomes a step only
//! if it is outside by more than its uncertainty. One cause in both channels is likelier than two alike (`twin`).

use crate::judge::case::{Bench, SIDES};
use crate::judge::causes::{cause_name, cause_size};
use crate::judge::work::turns::step;
use crate::reading::figures::{UnitKind, frequency};
use crate::reading::{Adjustment, Cause, CauseKind, Heads, RecordedOn, TurnStep, Unit, Way};
use crate::trade::playback_losses::azimuth_loss_elsewhere_db;

/// Above this the treble is judged, below [`BASS_HZ`] the bass.
pub(crate) const TREBLE_HZ: f64 = 2000.0;
/// Below this the bass is judged.
pub(crate) const BASS_HZ: f64 = 200.0;
/// Least share that is worth a word, dB.
const WORTH_DB: f64 = 0.3;

const READ_FIRST: &str = ". Read again before more is turned";
/// More than a trimmer of the playback equalisation gives, dB (common practice, no source).
const TRIMMER_DB: f64 = 6.0;

const CAPACITORS_CAUTION: &str = "Mains off, capacitors discharged; licensed people where the law says so";

/// The point that is furthest off.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Off {
    pub(crate) hz: f64,
    pub(crate) db: f64,
    /// Expanded uncertainty, dB.
    pub(crate) uncertainty_db: Option<f64>,
    /// What may be off, dB.
    pub(crate) allowed_db: f64,
}

impl Off {
    fn is_treble(&self) -> bool {
        self.hz >= TREBLE_HZ
    }

    /// `of the 6.1 dB missing at 15 kHz`, or `too many`.
    pub(crate) fn of_all(&self) -> String {
        let what = if self.db < 0.0 { "missing" } else { "too many" };
        format!(
            "of the {} {what} at {}",
            UnitKind::Db.of(self.db.abs(), self.uncertainty_db),
            frequency(self.hz)
        )
    }
}

/// What is off still, after causes were subtracted.
pub(crate) struct Rest {
    pub(crate) db: f64,
    /// Expanded uncertainty; `None` as long as nothing was subtracted, because then it is in the verdict.
    uncertainty_db: Option<f64>,
}

impl Rest {
    pub(crate) fn new(off: &Off) -> Self {
        Self { db: off.db, uncertainty_db: None }
    }

    /// Subtracts a cause's share with its uncertainty.
    pub(crate) fn less(&mut self, off: &Off, (db, uncertainty_db): (f64, f64)) {
        self.db -= db;
        let so_far = self.uncertainty_db.or(off.uncertainty_db).unwrap_or(0.0);
        self.uncertainty_db = Some(so_far.hypot(uncertainty_db));
    }

    /// Whether it needs no step of its own: not outside what may be off by more than its uncertainty. The next reading tells.
    pub(crate) fn is_small(&self, off: &Off) -> bool {
        self.db.abs() - self.uncertainty_db.unwrap_or(0.0) <= off.allowed_db
    }

    /// What to say of a small one.
    pub(crate) fn small_in_words(&self, off: &Off) -> &'static str {
        let inside = self.db.abs() <= off.allowed_db || self.db * off.db < 0.0;
        if inside { "" } else { READ_FIRST }
    }
}

/// What one cause does at one frequency.
struct Share<'a> {
    cause: &'a Cause,
    db: f64,
    uncertainty_db: f64,
    /// What could not be told apart here, but was told on the other channel with as much of it: one cause in both is likelier
    /// than two alike.
    twin: Option<&'a Cause>,
}

impl Share<'_> {
    fn is(&self, kind: CauseKind) -> bool {
        self.twin.is_some_and(|twin| twin.cause == kind)
            || (self.cause.instead.is_empty() && self.cause.cause == kind)
    }

    /// Whether it is among those that could not be told apart.
    fn may_be(&self, kind: CauseKind) -> bool {
        self.cause.instead.iter().any(|other| other.cause == kind)
    }

    /// The likeliest of those that could not be told apart.
    fn is_likeliest(&self, kind: CauseKind) -> bool {
        self.twin.is_none() && !self.cause.instead.is_empty() && self.cause.cause == kind
    }

    /// Whether it is more than uncertainty for the most part; more yet in a loop of record and playback, where treble is a matter of
    /// bias and record equalisation far more often than of anything else.
    fn is_sure(&self, bench: &Bench) -> bool {
        let own = bench.recorded_on() == Some(RecordedOn::ThisDeck);
        self.uncertainty_db <= if own { 0.35 } else { 0.6 } * self.db.abs()
    }

    fn size(&self) -> String {
        let told = self.twin.unwrap_or(self.cause);
        let size = cause_size(told.value, told.uncertainty, told.unit).unwrap_or_default();
        if self.twin.is_some() { format!("{size} (as told on the other channel)") } else { size }
    }

    /// `3.7 +- 0.2`.
    fn amount(&self) -> String {
        UnitKind::Db.of(self.db.abs(), self.uncertainty_db).bare()
    }

    /// `spacing (0.67 +- 0.08 um)`, or all that could not be told apart.
    fn names(&self) -> String {
        if self.cause.instead.is_empty() {
            let size = self.size();
            let size = if size.is_empty() { size } else { format!(" ({size})") };
            return format!("{}{size}", cause_name(self.cause.cause));
        }
        let all: Vec<&str> = self.cause.instead.iter().map(|other| cause_name(other.cause)).collect();
        all.join(" or ")
    }
}

/// What `cause` does at `hz`, from its shares: a straight line between the two nearest, a fifth beyond the last at most.
fn share_at(cause: &Cause, hz: f64) -> Option<(f64, f64)> {
    let rows = &cause.shares_db;
    let (first, last) = (rows.first()?, rows.last()?);
    if hz < first[0] / 1.3 || hz > last[0] * 1.35 || rows.len() < 2 {
        return None;
    }
    let pair = rows.windows(2).find(|pair| hz <= pair[1][0]).unwrap_or(&rows[rows.len() - 2..]);
    let at = (hz - pair[0][0]) / (pair[1][0] - pair[0][0]);
    let between = |k: usize| pair[0][k] + at * (pair[1][k] - pair[0][k]);
    Some((between(1), between(2).abs()))
}

/// Which of the causes that could not be told apart in `cause` the other channel has, with as much of it at `hz`.
fn twin<'a>(bench: &Bench<'a>, cause: &Cause, hz: f64) -> Option<&'a Cause> {
    let (db, uncertainty_db) = share_at(cause, hz)?;
    let others =
        bench.causes.iter().filter(|other| other.channel != cause.channel && other.instead.is_empty());
    others.filter(|other| cause.instead.iter().any(|one| one.cause == other.cause)).find(|other| {
        share_at(other, hz).is_some_and(|(other_db, other_uncertainty_db)| {
            (other_db - db).abs() <= uncertainty_db.hypot(other_uncertainty_db).max(db.abs() / 3.0)
        })
    })
}

/// Whether the time constant of both channels makes `share`: the other's does half as much at least. A switch moves both, a
/// trimmer one.
fn is_network(bench: &Bench, share: &Share, off: &Off) -> bool {
    let other_has = |other: &Cause| {
        let one = other.channel != share.cause.channel && other.cause == CauseKind::TimeConstant;
        one && share_at(other, off.hz).is_some_and(|(db, _)| db / share.db > 0.5)
    };
    share.is(CauseKind::TimeConstant) && bench.causes.iter().any(other_has)
}

/// Shares that have the sign of what is off, azimuth apart; the largest first.
fn shares<'a>(bench: &Bench<'a>, side: usize, off: &Off) -> Vec<Share<'a>> {
    let mut found: Vec<Share<'a>> = bench
        .causes
        .iter()
        .filter(|cause| cause.channel == SIDES[side])
        .filter(|cause| !matches!(cause.cause, CauseKind::Azimuth | CauseKind::None))
        // What takes bass from the reference tone itself lifts all that is held against it.
        .filter(|cause| {
            cause.cause.is_treble() == off.is_treble()
                || (off.is_treble() && cause.cause == CauseKind::Coupling)
        })
        .filter_map(|cause| {
            let (db, uncertainty_db) = share_at(cause, off.hz)?;
            Some(Share { cause, db, uncertainty_db, twin: twin(bench, cause, off.hz) })
        })
        .filter(|share| share.db * off.db > 0.0 && share.db.abs() >= WORTH_DB)
        .collect();
    found.sort_by(|a, b| b.db.abs().total_cmp(&a.db.abs()));
    found
}

/// What an azimuth that is off takes at `hz` from both channels, and its uncertainty, dB, negative; `None` where it is not off.
pub(crate) fn azimuth_loss_db(bench: &Bench, hz: f64) -> Option<(f64, f64)> {
    let azimuth = bench.reading.azimuth.as_ref().filter(|_| bench.is_outside("azimuth"))?;
    let loss_db = azimuth_loss_elsewhere_db(azimuth.loss_at_10k_db?, 10_000.0, hz);
    // The loss goes with the square of the delay.
    let sure = azimuth.uncertainty_us.zip(azimuth.delay_us).map_or(0.0, |(u, delay)| 2.0 * u / delay.abs());
    Some((loss_db, loss_db.abs() * sure.min(1.0)))
}

/// How much of missing treble an azimuth that is off explains, and its uncertainty, dB, negative; `None` where it explains
/// nothing worth saying.
pub(crate) fn azimuth_share_db(bench: &Bench, off: &Off) -> Option<(f64, f64)> {
    let (loss_db, uncertainty_db) = azimuth_loss_db(bench, off.hz).filter(|_| off.is_treble())?;
    let share_db = loss_db.max(off.db);
    (share_db <= -0.05).then_some((share_db, uncertainty_db))
}

/// `0.4 of the 6.1 dB missing at 15 kHz come from azimuth, 3.7 +- 0.2 from spacing`; `None` where nothing is known.
pub(crate) fn shares_in_words(bench: &Bench, side: usize, off: &Off) -> Option<String> {
    let azimuth = azimuth_share_db(bench, off)
        .map(|(share, _)| (UnitKind::Db.of(-share, None).number(), "azimuth".to_owned()));
    let others = shares(bench, side, off);
    let mut all = azimuth.into_iter().chain(others.iter().map(|share| (share.amount(), share.names())));
    let (amount, name) = all.next()?;
    let mut words = format!("{amount} {} come from {name}", off.of_all());
    for (amount, name) in all {
        words += &format!(", {amount} from {name}");
    }
    Some(words)
}

/// How much of missing treble is spacing, if that was told, and its uncertainty, dB, negative.
pub(crate) fn spacing_share_db(bench: &Bench, side: usize, off: &Off) -> Option<(f64, f64)> {
    let all = if off.is_treble() { shares(bench, side, off) } else { vec![] };
    let spacing = all.into_iter().find(|share| share.is(CauseKind::Spacing) && off.db < 0.0);
    let sure = spacing.filter(|share| share.is_sure(bench));
    sure.map(|share| (share.db.max(off.db), share.uncertainty_db))
}

/// What to do, in the order of work; empty where nothing is to be turned.
pub(crate) fn steps(bench: &Bench, side: usize, off: &Off) -> Vec<TurnStep> {
    if off.is_treble() {
        treble(bench, side, off)
    } else if off.hz <= BASS_HZ {
        bass(bench, side, off)
    } else {
        let (word, way) = word_and_way(off.db);
        vec![equaliser(bench, side, off, off.db, word, way, "")]
    }
}

fn word_and_way(db: f64) -> (&'static str, Way) {
    if db < 0.0 { ("up", Way::Up) } else { ("down", Way::Down) }
}

fn treble(bench: &Bench, side: usize, off: &Off) -> Vec<TurnStep> {
    let no_tape = bench.recorded_on() == Some(RecordedOn::Injected);
    let own = bench.recorded_on() == Some(RecordedOn::ThisDeck);
    let mut found = shares(bench, side, off);
    // Only what brings the response inside its limit, or takes off a third of what is off, is worth a step.
    found.retain(|share| {
        let enough = share.db.abs() >= off.db.abs() / 3.0 || (off.db - share.db).abs() <= off.allowed_db;
        let spacing = share.is(CauseKind::Spacing) && share.is_sure(bench);
        enough && (!own || spacing || share.is(CauseKind::Coupling))
    });
    let mut rest = Rest::new(off);
    let mut steps: Vec<TurnStep> = Vec::new();
    if off.db < 0.0 && !no_tape {
        steps.extend(azimuth(bench, off, &mut rest));
        if let Some(first) = steps.first_mut()
            && rest.is_small(off)
        {
            first.text += rest.small_in_words(off);
            return steps;
        }
    }
    let name = SIDES[side];
    let all = off.of_all();
    for share in &found {
        if share.is(CauseKind::Coupling) {
            rest.less(off, (share.db, share.uncertainty_db));
            steps.push(capacitors(bench, side));
        }
        if is_network(bench, share, off) {
            rest.less(off, (share.db, share.uncertainty_db));
            steps.push(
                step(
                    Adjustment::EqualisationNetwork,
                    format!(
                        "make sure that noise reduction is off; check the tape-type selector and the tape-type sensing \
                         switch, then resistor and capacitor of the {name} channel's equalisation (time constant, no trimmer)"
                    ),
                )
                .on(name),
            );
        }
    }
    if off.db < 0.0 && !no_tape {
        steps.extend(heads(bench, &found, side, off, &mut rest));
    }
    // A resonance that lifts is what a trimmer of the equalisation moves.
    for share in found.iter().filter(|share| share.is(CauseKind::LowPass) && share.db < 0.0) {
        rest.less(off, (share.db, share.uncertainty_db));
        steps.push(
            step(
                Adjustment::Amplifier,
                format!(
                    "look at the capacitor across the {name} head and at the {name} amplifier: {} {all} are a low-pass at {}",
                    share.amount(),
                    share.size()
                ),
            )
            .on(name),
        );
    }
    let network = [CauseKind::TimeConstant, CauseKind::LowPass];
    let of_network = |share: &&Share| network.into_iter().any(|kind| share.is_likeliest(kind));
    // A trimmer is nearer at hand than a part.
    for share in found.iter().filter(of_network).filter(|share| !share.may_be(CauseKind::Equaliser)) {
        rest.less(off, (share.db, share.uncertainty_db));
        steps.push(
            step(
                Adjustment::Amplifier,
                format!(
                    "look at the tape-type selector and its network, then at the {name} head's circuit and amplifier: {} \
                     {all} may be {}",
                    share.amount(),
                    share.names()
                ),
            )
            .on(name),
        );
    }
    if rest.db * off.db < 0.0 || rest.is_small(off) {
        if let Some(last) = steps.last_mut() {
            last.text += rest.small_in_words(off);
            if bench.recorded_on() == Some(RecordedOn::ThisDeck) {
                last.text += ". Only a calibrated tape tells playback from recording";
            }
        }
        return steps;
    }
    let gap = found
        .iter()
        .find(|share| {
            share.is(CauseKind::Gap)
                || (share.is(CauseKind::TimeConstant) && !is_network(bench, share, off))
                || (share.is(CauseKind::LowPass) && share.db > 0.0)
        })
        .map(|share| {
            if share.is(CauseKind::TimeConstant) {
                return " (a time constant of this channel alone: if no trimmer reaches it, check resistor and capacitor there)"
                    .to_owned();
            }
            if share.is(CauseKind::LowPass) {
                return format!(
                    " (a resonance at {}: the head's winding with the capacitor across it)",
                    share.size()
                );
            }
            format!(
                " ({} dB of it are the head's own, a gap of {}: no cleaning brings it back)",
                share.amount(),
                share.size()
            )
        })
        .unwrap_or_default();
    let (word, way) = word_and_way(rest.db);
    if bench.recorded_on() == Some(RecordedOn::ThisDeck) {
        steps.extend(recording_half(side, off, rest.db));
    } else if rest.db < -TRIMMER_DB && !no_tape {
        steps.push(
            step(
                Adjustment::HeadItself,
                format!("look for a worn head and renew it before you touch the equalisation: about {} at {} are more than \
                a trimmer gives{gap}", UnitKind::Db.of(-rest.db, None), frequency(off.hz)),
            )
            .on(name),
        );
    } else {
        steps.push(equaliser(bench, side, off, rest.db, word, way, &gap));
    }
    steps
}

/// Azimuth first: what it explains is subtracted from `rest`.
fn azimuth(bench: &Bench, off: &Off, rest: &mut Rest) -> Option<TurnStep> {
    let own_two =
        bench.recorded_on() == Some(RecordedOn::ThisDeck) && bench.circumstances().heads == Some(Heads::Two);
    let text = if let Some((share, uncertainty)) = azimuth_share_db(bench, off) {
        rest.less(off, (share, uncertainty));
        format!("set azimuth first: {} {} come from it", UnitKind::Db.of(-share, None).number(), off.of_all())
    } else if bench.is_outside("azimuth") {
        "set azimuth first".to_owned()
    } else if bench.azimuth_is_unknown && !own_two {
        "measure azimuth first: it is not known and may be the cause".to_owned()
    } else {
        return None;
    };
    Some(step(Adjustment::AzimuthScrew, text))
}

/// Cleaning: what it may bring back is subtracted from `rest`.
fn heads(bench: &Bench, found: &[Share], side: usize, off: &Off, rest: &mut Rest) -> Option<TurnStep> {
    let name = SIDES[side];
    let read_again = "check pressure pad and head wear, and read again";
    let spacing = found.iter().find(|share| share.is(CauseKind::Spacing));
    let open = found.iter().find(|share| share.is_likeliest(CauseKind::Spacing) && share.is_sure(bench));
    let text = match (spacing, open) {
        (Some(share), _) => {
            rest.less(off, (share.db, share.uncertainty_db));
            let fall = if share.twin.is_some() {
                format!(
                    "{} {} may be {}; on the other channel it is spacing",
                    share.amount(),
                    off.of_all(),
                    share.names()
                )
            } else if !share.is_sure(bench) {
                let most = (share.db.abs() + share.uncertainty_db).min(off.db.abs());
                format!("up to {} {} may be spacing", UnitKind::Db.of(most, None).number(), off.of_all())
            } else {
                format!("{} {} are spacing, {}", share.amount(), off.of_all(), share.size())
            };
            format!("clean the {name} head, {read_again}: {fall}")
        }
        (None, Some(share)) => {
            rest.less(off, (share.db, share.uncertainty_db));
            format!(
                "clean the {name} head, {read_again}: {} {} may be {}",
                share.amount(),
                off.of_all(),
                share.names()
            )
        }
        (None, None) => return None,
    };
    Some(step(Adjustment::Heads, text).on(name))
}

/// What the recording half may have to do with it, once playback is known to be right.
fn recording_half(side: usize, off: &Off, rest_db: f64) -> Vec<TurnStep> {
    let name = SIDES[side];
    let way = if rest_db < 0.0 { Way::Down } else { Way::Up };
    vec![
        step(
            Adjustment::Bias,
            format!("check playback alone with a calibrated tape first; if it is right, bias or record equalisation of the \
            {name} channel makes the {} at {} (recipes record-trim, bias-sweep)", UnitKind::Db.of(rest_db, None).signed(),
                 frequency(off.hz)),
        )
        .on(name)
        .towards(way),
    ]
}

fn equaliser(
    bench: &Bench,
    side: usize,
    off: &Off,
    rest_db: f64,
    word: &str,
    way: Way,
    note: &str,
) -> TurnStep {
    let name = SIDES[side];
    let at = frequency(off.hz);
    if bench.recorded_on() == Some(RecordedOn::ThisDeck) {
        return step(
            Adjustment::PlaybackFirst,
            format!(
                "check playback alone with a calibrated tape before you turn anything for the {} at {at}",
                UnitKind::Db.of(rest_db, None).signed()
            ),
        );
    }
    step(
        Adjustment::PlaybackEqualisation,
        format!(
            "turn the playback equalisation {name} {word} by about {} at {at}{note}",
            UnitKind::Db.of(rest_db.abs(), None)
        ),
    )
    .on(name)
    .by(way, rest_db.abs(), Unit::Db)
}

fn capacitors(bench: &Bench, side: usize) -> TurnStep {
    let name = SIDES[side];
    let either = match bench.recorded_on() {
        Some(RecordedOn::ThisDeck) => ", in the record or the playback amplifier",
        _ => "",
    };
    step(
        Adjustment::Capacitors,
        format!(
            "renew the coupling capacitors of the {name} channel that have dried out{either}; see first what the circuit \
             was built for. {CAPACITORS_CAUTION}"
        ),
    )
    .on(name)
}

fn bass(bench: &Bench, side: usize, off: &Off) -> Vec<TurnStep> {
    let name = SIDES[side];
    let at = frequency(off.hz);
    let found = shares(bench, side, off);
    if found.iter().any(|share| share.is(CauseKind::Coupling)) {
        return vec![capacitors(bench, side)];
    }
    let bump: f64 = found.iter().filter(|share| share.is(CauseKind::HeadBump)).map(|share| share.db).sum();
    // The head's own shape: nothing turns it away.
    if (off.db - bump).abs() <= off.allowed_db && bump != 0.0 {
        return vec![];
    }
    let (word, _) = word_and_way(off.db);
    vec![
        step(
            Adjustment::Amplifier,
            format!("playback equalisation {name}, low end, {word} by about {} at {at} if the deck has it; most have no \
                 trimmer there: check the coupling capacitors, and allow for the head's own bass ripple. {}",
                 UnitKind::Db.of(off.db.abs(), None), CAPACITORS_CAUTION),
        )
        .on(name),
    ]
}

/// What brings both channels together: `db` is left minus right, `own_db` what each has against the reference frequency.
pub(crate) fn match_steps(bench: &Bench, db: f64, own_db: [f64; 2], off: &Off) -> Vec<TurnStep> {
    let weak = usize::from(db > 0.0);
    // What azimuth takes, it takes from both.
    let lost_db = azimuth_loss_db(bench, off.hz).map_or(0.0, |(loss_db, _)| loss_db);
    let own_db = own_db.map(|own| own - lost_db);
    // The one that is further off is the one that is off.
    if own_db[1 - weak] > own_db[weak].abs() && bench.recorded_on() != Some(RecordedOn::ThisDeck) {
        let name = SIDES[1 - weak];
        let text = format!(
            "playback equalisation of the {name} channel down until both agree at {} (now {} apart)",
            frequency(off.hz),
            UnitKind::Db.of(db.abs(), off.uncertainty_db)
        );
        return vec![step(Adjustment::PlaybackEqualisation, text).on(name).by(Way::Down, db.abs(), Unit::Db)];
    }
    let name = SIDES[weak];
    let at = frequency(off.hz);
    let by = UnitKind::Db.of(db.abs(), off.uncertainty_db);
    let missing = Off { db: -db.abs(), ..*off };
    let both = [0, 1].map(|side| shares(bench, side, &missing));
    let of = |side: usize, kind: CauseKind| {
        let is = |share: &&Share| share.is(kind) && (kind != CauseKind::Spacing || share.is_sure(bench));
        both[side].iter().find(is).map_or(0.0, |share| share.db)
    };
    let explains = |kind: CauseKind| of(weak, kind) - of(1 - weak, kind) <= -0.5 * db.abs();
    let mut steps = Vec::new();
    if explains(CauseKind::Spacing) {
        steps.push(
            step(
                Adjustment::Heads,
                format!(
                    "clean the {name} head and read again: the {by} at {at} are mostly spacing, which the {} channel has \
                     not; what stays after cleaning is the playback equalisation's",
                    SIDES[1 - weak]
                ),
            )
            .on(name),
        );
        return steps;
    }
    if explains(CauseKind::Coupling) {
        steps.push(
            step(
                Adjustment::Capacitors,
                format!(
                    "the {by} at {at} are mostly a coupling capacitor of the {name} channel: see its response"
                ),
            )
            .on(name),
        );
        return steps;
    }
    if bench.recorded_on() == Some(RecordedOn::ThisDeck) {
        // The one that is further off is the one to be turned.
        let far = if own_db[weak].abs() >= own_db[1 - weak].abs() { weak } else { 1 - weak };
        let (name, way) = (SIDES[far], if far == weak { Way::Down } else { Way::Up });
        steps.push(
            step(
                Adjustment::Bias,
                format!(
                    "check playback alone with a calibrated tape, then bias or record equalisation of the {name} channel until \
                     both agree at {at} (now {by} apart)"
                ),
            )
            .on(name)
            .towards(way),
        );
    } else {
        steps.push(
            step(
                Adjustment::PlaybackEqualisation,
                format!(
                    "playback equalisation of the {name} channel until both agree at {at} (now {by} apart)"
                ),
            )
            .on(name)
            .by(Way::Up, db.abs(), Unit::Db),
        );
    }
    steps
}
