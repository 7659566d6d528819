//! When the card of a house tape should be renewed.

use crate::reading::figures::{UnitKind, frequency};
use crate::reading::{Card, Pass};
use crate::trade::house_tape::{
    MOST_PASSES, OLDEST_DAYS, REPEAT_DELAY_US, REPEAT_LEVEL_DB, REPEAT_SPEED_PERCENT, repeat_response_db,
};

/// How often the tape of `card` has been played.
pub fn passes(card: &Card) -> u32 {
    card.passes_before.saturating_add(card.history.len() as u32)
}

/// How many of them came after the card was made.
pub fn passes_since(card: &Card) -> u32 {
    (card.history.len() as u32).saturating_sub(card.passes_of_making)
}

/// Why `card` should be renewed, a sentence each; empty while it need not be. `at` is now, as readings write it.
///
/// Reasons are passes, age, and a playing in `card.history` or `now` that disagrees with an earlier one on the same deck by
/// more than both uncertainties and the repeatability of a cassette.
pub fn renewal(card: &Card, at: &str, now: Option<&Pass>) -> Vec<String> {
    let mut reasons = Vec::new();
    let played = passes(card);
    if played >= MOST_PASSES {
        reasons.push(format!(
            "The tape has been played {played} times; the card should be renewed after {MOST_PASSES} (common practice, no \
             source)."
        ));
    }
    if let Some(age) = days_between(&card.made.at, at) {
        if age > OLDEST_DAYS {
            reasons.push(format!(
                "The card is {age} days old; it should be renewed after {OLDEST_DAYS} (common practice, no source)."
            ));
        } else if age < 0 {
            reasons.push(format!("The card's date, {}, lies in the future: check the clock.", card.made.at));
        }
    }
    let mut passes: Vec<&Pass> = card.history.iter().collect();
    passes.extend(now);
    reasons.extend(disagreement(&passes));
    reasons
}

/// The last playing on each deck against the first one there.
fn disagreement(passes: &[&Pass]) -> Vec<String> {
    let mut decks: Vec<&str> = passes.iter().filter_map(|pass| pass.deck.as_deref()).collect();
    decks.sort_unstable();
    decks.dedup();
    let mut reasons = Vec::new();
    for deck in decks {
        let mut here = passes.iter().filter(|pass| pass.deck.as_deref() == Some(deck));
        let (Some(first), Some(last)) = (here.next(), here.next_back()) else { continue };
        let apart = differences(first, last);
        if !apart.is_empty() {
            reasons.push(format!(
                "On {deck} the tape read differently on {} and on {}: {}. If nothing was adjusted on that deck between them, \
                 the tape has changed.",
                last.at.as_deref().unwrap_or("the last pass"),
                first.at.as_deref().unwrap_or("the first pass"),
                apart.join("; ")
            ));
        }
    }
    reasons
}

fn differences(first: &Pass, last: &Pass) -> Vec<String> {
    let mut apart = Vec::new();
    let mut compare = |name: &str,
                       unit: UnitKind,
                       values: [Option<f64>; 2],
                       uncertainties: [Option<f64>; 2],
                       repeat: f64| {
        let ([Some(a), Some(b)], [Some(uncertainty_a), Some(uncertainty_b)]) = (values, uncertainties) else {
            return;
        };
        // Each of the two playings has its own repeatability.
        let uncertainty = uncertainty_a.hypot(uncertainty_b).hypot(repeat * std::f64::consts::SQRT_2);
        if (b - a).abs() > uncertainty {
            let by = unit.of(b - a, uncertainty).signed();
            apart.push(format!("{name} by {by} (+- {})", by.spread().unwrap_or_default()));
        }
    };
    if let (Some(hz), Some(other)) = (first.treble_hz, last.treble_hz)
        && (hz / other).ln().abs() < 0.01
    {
        for (channel, side) in ["left", "right"].into_iter().enumerate() {
            compare(
                &format!("{} {side}", frequency(hz)),
                UnitKind::Db,
                [first, last].map(|pass| pass.treble_db[channel]),
                [first, last].map(|pass| pass.treble_uncertainty_db[channel]),
                repeat_response_db(hz),
            );
        }
    }
    compare(
        "left minus right",
        UnitKind::Db,
        [first.difference_db, last.difference_db],
        [first.difference_uncertainty_db, last.difference_uncertainty_db],
        REPEAT_LEVEL_DB,
    );
    compare(
        "delay",
        UnitKind::Microseconds,
        [first.delay_us, last.delay_us],
        [first.delay_uncertainty_us, last.delay_uncertainty_us],
        REPEAT_DELAY_US,
    );
    compare(
        "speed",
        UnitKind::SpeedPercent,
        [first.speed_percent, last.speed_percent],
        [first.speed_uncertainty_percent, last.speed_uncertainty_percent],
        REPEAT_SPEED_PERCENT,
    );
    apart
}

/// Days from `from` to `to`, which begin with `2026-11-26`; `None` where one does not.
pub fn days_between(from: &str, to: &str) -> Option<i64> {
    Some(day(to)? - day(from)?)
}

/// Number of a day of the Gregorian calendar, counted from some day long ago.
fn day(text: &str) -> Option<i64> {
    let mut parts = text.get(..10)?.split('-');
    let mut number = || parts.next()?.parse::<i64>().ok();
    let (year, month, day) = (number()?, number()?, number()?);
    if !(1..=9999).contains(&year) || !(1..=12).contains(&month) || !(1..=31).contains(&day) {
        return None;
    }
    // Years that begin in March have their leap day at the end.
    let (year, month) = if month > 2 { (year, month - 3) } else { (year - 1, month + 9) };
    Some(365 * year + year / 4 - year / 100 + year / 400 + (153 * month + 2) / 5 + day)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::{CalibratedBy, Made};

    fn pass(at: &str, deck: &str, delay_us: f64) -> Pass {
        Pass {
            at: Some(at.into()),
            deck: Some(deck.into()),
            delay_us: Some(delay_us),
            delay_uncertainty_us: Some(0.3),
            ..Pass::default()
        }
    }

    fn card(history: Vec<Pass>) -> Card {
        Card {
            format: crate::reading::CARD_FORMAT.into(),
            name: "invented".into(),
            made: Made { at: "2026-01-10 09:00 UTC".into(), version: "0".into(), deck: None, job: None },
            calibrated: CalibratedBy {
                tape: None,
                file: "c.wav".into(),
                at: None,
                fluxivity_nwb_per_m: None,
                fluxivity_stated: None,
            },
            recipe: None,
            tape_type: None,
            level: vec![],
            response: None,
            azimuth: None,
            speed: None,
            flutter_at_most_percent: None,
            passes_before: 0,
            passes_of_making: 1,
            history,
            notes: vec![],
            other: Default::default(),
        }
    }

    #[test]
    fn days_are_those_of_the_calendar() {
        // Python 3.11, datetime.date differences.
        for (from, to, want) in [
            ("2026-01-10", "2026-01-11", 1),
            ("2024-02-28", "2024-03-01 10:00 UTC", 2),
            ("2023-02-28", "2023-03-01", 1),
            ("1999-12-31", "2000-12-31", 366),
            ("2026-11-26", "2025-11-26", -365),
        ] {
            assert_eq!(days_between(from, to), Some(want), "{from} {to}");
        }
        for odd in [
            "",
            "2026",
            "no date at all",
            "2026-13-01",
            "2026-1-1 and more",
            "\u{e4}\u{e4}\u{e4}\u{e4}\u{e4}\u{e4}",
        ] {
            assert_eq!(days_between(odd, "2026-01-01"), None, "{odd}");
        }
    }

    #[test]
    fn passes_and_age_call_for_a_new_card() {
        let fresh = card(vec![pass("2026-01-10", "A", 0.0)]);
        assert!(renewal(&fresh, "2026-12-01 09:00 UTC", None).is_empty());
        let old = renewal(&fresh, "2027-01-11 09:00 UTC", None);
        assert!(old.len() == 1 && old[0].contains("366 days old"), "{old:?}");
        let mut worn = fresh.clone();
        worn.passes_before = 48;
        assert!(renewal(&worn, "2026-02-01", None).is_empty());
        worn.passes_before = 49;
        let worn = renewal(&worn, "2026-02-01", None);
        assert!(worn.len() == 1 && worn[0].contains("played 50 times"), "{worn:?}");
        assert!(renewal(&fresh, "2025-12-01", None)[0].contains("check the clock"));
    }

    #[test]
    fn a_playing_that_disagrees_on_the_same_deck_is_said_and_one_on_another_is_not() {
        let card = card(vec![pass("2026-01-10", "A", 0.0), pass("2026-01-12", "B", 9.0)]);
        assert!(renewal(&card, "2026-02-01", None).is_empty());
        // sqrt(0.3^2 + 0.3^2 + 2 * 1.5^2) = 2.16 us.
        for (delay_us, said) in [(2.1, false), (2.2, true), (-2.2, true)] {
            let now = pass("2026-02-01", "A", delay_us);
            let reasons = renewal(&card, "2026-02-01", Some(&now));
            assert_eq!(reasons.len() == 1, said, "{reasons:?}");
            assert!(
                reasons.iter().all(|reason| reason.contains("On A") && reason.contains("us (+- 2.2)")),
                "{reasons:?}"
            );
        }
        let mut nameless = pass("2026-02-01", "A", 50.0);
        nameless.deck = None;
        assert!(renewal(&card, "2026-02-01", Some(&nameless)).is_empty());
    }
}
