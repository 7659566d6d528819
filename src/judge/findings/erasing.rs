//! Finding `erasing`.

use crate::judge::case::{Bench, Bounds, SIDES, plain};
use crate::judge::quantities::{Id, Key};
use crate::judge::work::turns::step;
use crate::reading::figures::{UnitKind, frequency};
use crate::reading::{Adjustment, Finding, Untold};

const AGAIN: &str =
    "record the recipe erasing on this deck, and erase the stretch that its running sheet names";

/// What is left of the tone, one finding a channel.
pub(crate) fn findings(bench: &Bench) -> Vec<Finding> {
    (0..2).map(|side| one(bench, side)).collect()
}

fn one(bench: &Bench, side: usize) -> Finding {
    let name = SIDES[side];
    let limit = bench.limits.of(Key::Erasing);
    let mut case = bench.case(Id::Erasing);
    case.channel = Some(name);
    case.bounds = Bounds::below(limit.value);
    case.limit = Some(format!("residual at most {} dB ({})", plain(limit.value), limit.basis));
    case.missing = Untold::new("no tone that was erased was found", AGAIN);
    let Some(erasing) = &bench.reading.erasing else { return case.finish() };
    if let Some(why) = &erasing.why {
        case.missing.because.clone_from(why);
    }
    let words = |side: usize| match (erasing.residual_db[side], erasing.noise_limit_db[side]) {
        (Some(db), _) => Some(UnitKind::Db.of(db, erasing.uncertainty_db[side]).to_string()),
        (None, Some(below)) => Some(format!("better than {} (lost in noise)", UnitKind::Db.of(below, None))),
        _ => None,
    };
    let (Some(own), other) = (words(side), words(1 - side)) else { return case.finish() };
    case.figures = format!("residual of {}, erased on this deck: {own}", frequency(erasing.hz));
    if let Some(other) = other {
        case.figures += &format!(", {} {other}", SIDES[1 - side]);
    }
    let text = format!(
        "clean the erase head; look at its contact and height on the {name} channel, then its leads and the erase current \
         (both channels bad: the oscillator)"
    );
    case.turn = vec![step(Adjustment::Heads, text).on(name)];
    // Below its own noise limit it is as good as known, if the limit is.
    let below = erasing.noise_limit_db[side].filter(|_| erasing.residual_db[side].is_none());
    if below.is_some_and(|below| below > limit.value) {
        case.missing = Untold::new(
            format!("the noise is louder than the limit: {}", case.figures),
            "erase a louder tone",
        );
        return case.finish();
    }
    (case.value, case.uncertainty) = match below {
        Some(below) => (Some(below), Some(0.0)),
        None => (erasing.residual_db[side], erasing.uncertainty_db[side]),
    };
    let mut finding = case.finish();
    if below.is_some() {
        (finding.value, finding.uncertainty) = (None, None);
    }
    finding
}

#[cfg(test)]
mod tests {
    use crate::judge::sample;
    use crate::reading::{RecordedOn, Verdict};

    #[test]
    fn the_channel_that_erases_badly_is_outside() {
        let mut reading = sample::faulty();
        reading.circumstances.recorded_on = Some(RecordedOn::ThisDeck);
        let of = reading.both("", "erasing");
        // -74.3 dB of noise on the left; -46.2 +- 0.3 dB against -60 dB on the right.
        assert_eq!([of[0].verdict, of[1].verdict], [Verdict::Within, Verdict::Outside], "{of:?}");
        assert!(of[1].turn.as_ref().unwrap().contains("on the right channel"), "{of:?}");
        reading.erasing.as_mut().unwrap().noise_limit_db[0] = Some(-40.0);
        let [left, _] = reading.both("", "erasing");
        assert_eq!(left.verdict, Verdict::CannotTell, "{left:?}");
    }
}
