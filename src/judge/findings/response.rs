//! Finding `playback-response`, and the part of `channel-match` that depends on frequency.

use crate::judge::case::{Bench, Bounds, SIDES, plain};
use crate::judge::limits::ResponseLimit;
use crate::judge::quantities::{Id, Key};
use crate::judge::work::response_steps::{Off, match_steps, shares_in_words, steps};
use crate::reading::figures::{UnitKind, frequency};
use crate::reading::{Channel, Finding, Response, ResponsePoint, Served, Untold, Verdict};

/// The points to judge: steps (with sweep and noise where these say the same), or the sweep, or noise, whichever comes first
/// and is not empty.
fn points(response: &Response) -> (&'static str, &[ResponsePoint]) {
    if !response.combined.is_empty() {
        let words = match (response.sweep.is_empty(), response.noise.is_empty()) {
            (false, false) => "steps with sweep and noise",
            (false, true) => "steps with sweep",
            (true, _) => "steps with noise",
        };
        (words, &response.combined)
    } else if !response.steps.is_empty() {
        ("steps", &response.steps)
    } else if !response.sweep.is_empty() {
        ("sweep", &response.sweep)
    } else {
        ("noise", &response.noise)
    }
}

/// The worst point of a band.
struct Worst {
    hz: f64,
    db: f64,
    /// The return's own.
    own_db: f64,
    /// What sound card and player may be off by there.
    sound_card_db: f64,
}

/// The worst of `(Hz, dB, uncertainty)`, each with what `sound_card_db` gives for its frequency.
fn worst(
    rows: impl Iterator<Item = (f64, Option<f64>, Option<f64>)>,
    bounds: Bounds,
    sound_card_db: impl Fn(f64) -> f64,
) -> Option<Worst> {
    rows.filter_map(|(hz, db, own)| {
        Some(Worst { hz, db: db?, own_db: own?, sound_card_db: sound_card_db(hz) })
    })
    .max_by(|a, b| {
        let key = |w: &Worst| bounds.stand(w.db, w.own_db.hypot(w.sound_card_db)).rank();
        key(a).cmp(&key(b)).then(a.db.abs().total_cmp(&b.db.abs()))
    })
}

/// Why a response that was measured up to `high_hz` is not within its limit: the sample rate cuts the band. What is outside below is
/// outside all the same.
fn cut_by_rate(bench: &Bench, limit: &ResponseLimit, high_hz: f64) -> Option<Untold> {
    bench.too_slow(limit.to_hz).filter(|_| high_hz < limit.to_hz / 1.3)
}

/// One finding a channel, and one for its bass where the limit does not reach down to it.
pub(crate) fn playback_response(bench: &Bench) -> Vec<Finding> {
    let main = bench.limits.response(bench.circumstances());
    let bass = bench.limits.bass_below(&main, bench.circumstances());
    let of_channel = |side| {
        let below = bass.as_ref().map(|bass| one_channel(bench, side, bass, Some("bass")));
        std::iter::once(one_channel(bench, side, &main, None)).chain(below)
    };
    (0..2).flat_map(of_channel).collect()
}

fn one_channel(bench: &Bench, side: usize, limit: &ResponseLimit, kind: Option<&'static str>) -> Finding {
    let mut case = bench.case(Id::PlaybackResponse);
    case.kind = kind;
    case.channel = Some(SIDES[side]);
    case.bounds = Bounds::within(limit.db);
    case.limit = Some(format!(
        "+-{} dB, {} to {} ({})",
        plain(limit.db),
        frequency(limit.from_hz),
        frequency(limit.to_hz),
        limit.basis
    ));
    case.missing = Untold::new(
        "no response was measured in this band",
        "record a programme with stepped tones or a sweep",
    );
    if bench.dead[side] {
        case.missing = Untold::new("the channel is dead", "put the wiring right and record again");
        return case.finish();
    }
    let Some(response) = &bench.reading.response else { return case.finish() };
    let (points_kind, rows) = points(response);
    // The edge belongs to the main band.
    let to_hz = limit.to_hz * if kind.is_some() { 0.99 } else { 1.001 };
    let in_band = || rows.iter().filter(|row| row.hz >= limit.from_hz * 0.999 && row.hz <= to_hz);
    let bounds = case.bounds;
    let rows_of_side = in_band().map(|row| (row.hz, row.db[side], row.uncertainty_db[side]));
    let Some(worst) = worst(rows_of_side, bounds, |hz| bench.sound_card_db(hz)) else {
        return case.finish();
    };
    case.value = Some(worst.db);
    let uncertainty_db = case.uncertain(worst.own_db, worst.sound_card_db);
    case.place = Some(format!("at {}", frequency(worst.hz)));
    case.at_hz = Some(worst.hz);
    case.figures = format!(
        "furthest off: {} at {} against {} ({points_kind})",
        UnitKind::Db.of(worst.db, uncertainty_db).signed(),
        frequency(worst.hz),
        frequency(response.reference_hz)
    );
    // A band that the rows do not fill is said, not passed over: a third octave is the widest usual step.
    let measured = |row: &&ResponsePoint| row.db[side].is_some() && row.uncertainty_db[side].is_some();
    let low = in_band().filter(measured).map(|row| row.hz).fold(f64::INFINITY, f64::min);
    let high = in_band().filter(measured).map(|row| row.hz).fold(0.0, f64::max);
    if low > limit.from_hz * 1.3 || high < limit.to_hz / 1.3 {
        case.figures += &format!("; measured from {} to {} only", frequency(low), frequency(high));
    }
    if let Some(untold) = cut_by_rate(bench, limit, high)
        && bounds.stand(worst.db, uncertainty_db) != Verdict::Outside
    {
        case.value = None;
        case.missing = untold;
        return case.finish();
    }
    let off = Off { hz: worst.hz, db: worst.db, uncertainty_db: Some(uncertainty_db), allowed_db: limit.db };
    case.turn = steps(bench, side, &off);
    if bounds.stand(worst.db, uncertainty_db) == Verdict::Outside
        && let Some(shares) = shares_in_words(bench, side, &off)
    {
        case.figures += &format!("; {shares}");
    }
    case.finish()
}

/// Channel match over frequency, the level difference subtracted.
pub(crate) fn channel_match(bench: &Bench) -> Finding {
    let limit = bench.limits.of(Key::ChannelMatch);
    let band = bench.limits.response(bench.circumstances());
    let mut case = bench.case(Id::ChannelMatch);
    case.kind = Some("response");
    case.in_programme = bench.in_programme(&[Served::Response]);
    case.channel = Some(Channel::Both);
    case.bounds = Bounds::within(limit.value);
    case.limit = Some(format!(
        "at most {} dB apart in response, {} to {} ({})",
        plain(limit.value),
        frequency(band.from_hz),
        frequency(band.to_hz),
        limit.basis
    ));
    case.missing = Untold::new(
        "the two responses were not both measured in this band",
        "record a programme with stepped tones or a sweep on both channels",
    );
    if bench.reading.capture.mono || bench.dead.contains(&true) {
        case.missing =
            Untold::new("there are not two channels to compare", "put the wiring right and record again");
        return case.finish();
    }
    let Some(response) = &bench.reading.response else { return case.finish() };
    let (_, rows) = points(response);
    let differences =
        rows.iter().filter(|row| row.hz >= band.from_hz * 0.999 && row.hz <= band.to_hz * 1.001).map(|row| {
            let db = row.db[0].zip(row.db[1]).map(|(left, right)| left - right);
            let both = row.uncertainty_db[0].zip(row.uncertainty_db[1]).map(|(l, r)| l.hypot(r));
            let uncertainty = row.difference_uncertainty_db.or(both);
            (row.hz, db, uncertainty)
        });
    let high = differences.clone().filter(|row| row.1.is_some()).map(|row| row.0).fold(0.0, f64::max);
    let sound_card_db = bench.sound_card_match_db();
    let Some(worst) = worst(differences, case.bounds, |_| sound_card_db) else { return case.finish() };
    let at = frequency(worst.hz);
    case.value = Some(worst.db);
    let uncertainty_db = case.uncertain(worst.own_db, worst.sound_card_db);
    case.place = Some(format!("at {at}"));
    case.at_hz = Some(worst.hz);
    case.figures = format!(
        "responses furthest apart: left minus right {} at {at}",
        UnitKind::Db.of(worst.db, uncertainty_db).signed()
    );
    if let Some(untold) = cut_by_rate(bench, &band, high)
        && case.bounds.stand(worst.db, uncertainty_db) != Verdict::Outside
    {
        case.value = None;
        case.missing = untold;
        return case.finish();
    }
    let off = Off {
        hz: worst.hz,
        db: -worst.db.abs(),
        uncertainty_db: Some(uncertainty_db),
        allowed_db: limit.value,
    };
    let own = rows.iter().find(|row| row.hz == worst.hz).map(|row| row.db);
    let own_db = own.map_or([0.0; 2], |db| db.map(|db| db.unwrap_or(0.0)));
    case.turn = match_steps(bench, worst.db, own_db, &off);
    case.finish()
}

#[cfg(test)]
mod tests {
    use crate::judge::sample;
    use crate::reading::{Adjustment, Cause, CauseKind, Channel, Heads, Instead, RecordedOn, Unit, Verdict};

    #[test]
    fn missing_treble_is_charged_to_azimuth_first() {
        let got = sample::faulty().finding("playback-response");
        assert_eq!(got.verdict, Verdict::Outside);
        let turn = got.turn.unwrap();
        assert!(turn.starts_with("set azimuth first: 0."), "{turn}");
        assert!(turn.contains("of the 3.2 dB missing at 14 kHz come from it"), "{turn}");
        assert!(turn.contains("Clean") && turn.contains("are spacing, 0.128 +- 0.008 um"), "{turn}");
        assert!(!turn.contains("equalisation left up"), "{turn}");
        // Where no cause was told, the equaliser is all that is left.
        let mut reading = sample::faulty();
        reading.causes.clear();
        let turn = reading.finding("playback-response").turn.unwrap();
        assert!(!turn.contains("Clean") && turn.contains("urn the playback equalisation left up"), "{turn}");
    }

    #[test]
    fn what_both_channels_may_have_is_taken_for_one_cause() {
        let mut reading = sample::faulty();
        reading.circumstances.recorded_on = Some(RecordedOn::ThisDeck);
        reading.circumstances.heads = Some(Heads::Three);
        let told = |reading: &sample::Sample| {
            let turn = reading.finding("playback-response").turn.unwrap();
            (turn.contains("Clean the left head"), turn.contains("on the other channel it is spacing"))
        };
        assert_eq!(told(&reading), (true, false));
        let instead = [CauseKind::LowPass, CauseKind::Spacing].map(|cause| Instead {
            cause,
            value: None,
            unit: Unit::Um,
            probability: 0.5,
        });
        let of_right = reading.causes.iter().find(|cause| is_spacing(cause, Channel::Right)).unwrap().clone();
        let left = reading.causes.iter_mut().find(|cause| is_spacing(cause, Channel::Left)).unwrap();
        (left.value, left.uncertainty, left.cause) = (None, None, CauseKind::LowPass);
        (left.instead, left.shares_db) = (instead.into(), of_right.shares_db);
        assert_eq!(told(&reading), (true, true));
        // Twice as much is not the same.
        for share in
            &mut reading.causes.iter_mut().find(|cause| is_spacing(cause, Channel::Right)).unwrap().shares_db
        {
            share[1] *= 2.0;
        }
        assert_eq!(told(&reading), (false, false));
    }

    fn is_spacing(cause: &Cause, channel: Channel) -> bool {
        cause.channel == channel && cause.cause == CauseKind::Spacing
    }

    #[test]
    fn treble_that_azimuth_explains_needs_nothing_else() {
        let mut reading = sample::faulty();
        // 2.0 dB at 10 kHz make more than 3.2 dB at 14 kHz.
        reading.azimuth.as_mut().unwrap().loss_at_10k_db = Some(-2.0);
        let steps = reading.finding("playback-response").steps;
        let adjust: Vec<Adjustment> = steps.iter().map(|step| step.adjust).collect();
        assert_eq!(adjust, [Adjustment::AzimuthScrew]);
    }

    #[test]
    fn azimuth_inside_its_limit_is_not_blamed() {
        let mut reading = sample::faulty();
        reading.azimuth.as_mut().unwrap().delay_us = Some(0.4);
        assert!(!reading.finding("playback-response").turn.unwrap().contains("azimuth"));
    }

    #[test]
    fn azimuth_that_was_not_measured_is_asked_for_before_equalisation() {
        let mut reading = sample::faulty();
        reading.azimuth = None;
        assert!(reading.finding("playback-response").turn.unwrap().starts_with("measure azimuth first"));
        reading.circumstances.recorded_on = Some(RecordedOn::Injected);
        assert!(
            reading
                .finding("playback-response")
                .turn
                .unwrap()
                .starts_with("turn the playback equalisation left up")
        );
    }

    #[test]
    fn own_tape_is_not_blamed_on_playback_alone() {
        let mut reading = sample::faulty();
        reading.circumstances.recorded_on = Some(RecordedOn::ThisDeck);
        for heads in [Heads::Two, Heads::Three] {
            reading.circumstances.heads = Some(heads);
            let turn = reading.finding("playback-response").turn.unwrap();
            assert!(turn.contains("calibrated tape"), "{turn}");
            reading.causes.clear();
            let got = reading.finding("playback-response");
            let turn = got.turn.unwrap();
            assert!(turn.contains("calibrated tape") && turn.contains("bias"), "{turn}");
            assert!(!turn.contains("Playback equalisation"), "{turn}");
            assert!(got.basis.contains("record and playback"), "{}", got.basis);
        }
    }

    #[test]
    fn a_point_lost_in_noise_does_not_make_a_verdict() {
        let mut reading = sample::healthy();
        let last =
            reading.response.as_mut().unwrap().combined.iter_mut().find(|row| row.hz == 12_500.0).unwrap();
        last.db[0] = Some(-1.8);
        last.uncertainty_db[0] = Some(1.4);
        assert_eq!(reading.finding("playback-response").verdict, Verdict::CannotTell);
    }

    #[test]
    fn too_much_treble_is_turned_down_without_cleaning() {
        let mut reading = sample::healthy();
        for row in &mut reading.response.as_mut().unwrap().combined {
            if row.hz == 10_000.0 {
                row.db[0] = Some(2.4);
            }
        }
        let turn = reading.finding("playback-response").turn.unwrap();
        assert_eq!(turn, "turn the playback equalisation left down by about 2.4 dB at 10 kHz");
    }
}
