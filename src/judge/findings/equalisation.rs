//! Finding `playback-equalisation`: the time constants that the playback amplifier really has.

use crate::judge::Tolerance;
use crate::judge::case::{Bench, Bounds, SIDES, plain};
use crate::judge::quantities::{Id, Key};
use crate::judge::work::turns::step;
use crate::reading::figures::{UnitKind, frequency};
use crate::reading::{Adjustment, Amplifier, AmplifierPosition, FedInto, Finding, Untold, Verdict};

/// One finding a position and channel, and one a channel for the low end; none if nothing was injected.
pub(crate) fn findings(bench: &Bench) -> Vec<Finding> {
    let Some(amplifier) = &bench.reading.amplifier else { return vec![] };
    let mut found = Vec::new();
    for position in &amplifier.positions {
        found.extend((0..2).map(|side| high(bench, amplifier, position, side)));
    }
    found.extend((0..2).map(|side| low(bench, amplifier, side)));
    found
}

fn kind(equalisation_us: f64) -> &'static str {
    if equalisation_us > 100.0 { "120 us" } else { "70 us" }
}

fn limit_words(nominal_us: f64, tolerance: &Tolerance) -> String {
    format!("{} us +- {} % ({})", plain(nominal_us), plain(tolerance.value), tolerance.basis)
}

/// `118.4 +- 1.5 us`.
fn figure(us: f64, uncertainty_us: f64) -> String {
    UnitKind::Microseconds.of(us, uncertainty_us).full()
}

fn high(bench: &Bench, amplifier: &Amplifier, position: &AmplifierPosition, side: usize) -> Finding {
    let tolerance = bench.limits.of(Key::HighTimeConstant);
    let nominal_us = position.equalisation_us;
    let mut case = bench.case(Id::PlaybackEqualisation);
    case.kind = Some(kind(nominal_us));
    case.channel = Some(SIDES[side]);
    let share = tolerance.value / 100.0;
    case.bounds = Bounds::between(nominal_us * (1.0 - share), nominal_us * (1.0 + share));
    case.limit = Some(limit_words(nominal_us, tolerance));
    case.missing = match (&position.why[side], bench.dead[side]) {
        (_, true) => Untold::new("the channel is dead", "put the wiring right and inject again"),
        (Some(why), _) => Untold::new(why.clone(), "inject with more level, and look at the response first"),
        (None, _) => Untold::new("nothing was fitted", "inject into the deck itself"),
    };
    let (Some(us), Some(uncertainty_us)) = (position.high_us[side], position.high_uncertainty_us[side])
    else {
        return case.finish();
    };
    case.value = Some(us);
    case.uncertainty = Some(uncertainty_us);
    case.figures =
        format!("the amplifier has {}, and should have {} us", figure(us, uncertainty_us), plain(nominal_us));
    let other = amplifier.positions.iter().find(|other| other.equalisation_us != nominal_us);
    let other_us = other.and_then(|other| Some((other.equalisation_us, other.high_us[side]?)));
    let beyond = case.bounds.stand(us, uncertainty_us) == Verdict::Outside;
    let near = |us: f64, nominal_us: f64| (us / nominal_us - 1.0).abs() <= share.max(0.15);
    let text = match (amplifier.switched[side], other_us) {
        (Some(false), Some((other_nominal_us, _))) => {
            case.figures += &format!(
                ", and the same in the position for {} us: the selector does nothing",
                plain(other_nominal_us)
            );
            let stuck = if near(us, nominal_us) { nominal_us } else { other_nominal_us };
            format!(
                "check that you switched the deck at the pause. Then check type selector, contacts and electronic switch of \
                 the {} channel, which stays near {} us",
                SIDES[side],
                plain(stuck)
            )
        }
        (Some(true), Some((other_nominal_us, other_us)))
            if beyond && near(us, other_nominal_us) && near(other_us, nominal_us) =>
        {
            case.figures += "; the two positions are exchanged";
            format!(
                "check that the deck was set to type I first and to type II at the pause; if so, the switch of the {} channel \
                 works the wrong way round",
                SIDES[side]
            )
        }
        _ => {
            if beyond {
                case.figures += ": a part of the network has a wrong value or has drifted";
            }
            let way = if us > nominal_us {
                "too high: a resistor or a capacitor has risen"
            } else {
                "too low: a resistor or a capacitor has fallen"
            };
            format!(
                "turn the playback equalisation trimmer of the {} channel for {} us, if there is one; else measure resistor \
                 and capacitor of that network ({way})",
                SIDES[side],
                plain(nominal_us)
            )
        }
    };
    case.turn = vec![step(Adjustment::EqualisationNetwork, text).on(SIDES[side])];
    case.figures += &rest(amplifier, position, side);
    case.finish()
}

/// What limits the figure, as half sentences.
fn rest(amplifier: &Amplifier, position: &AmplifierPosition, side: usize) -> String {
    let mut text = String::new();
    if let Some([low_hz, high_hz]) = position.fitted_hz[side]
        && let Some(last) = position.steps.last()
        && high_hz < 0.99 * last.hz
    {
        text += &format!(
            "; fitted from {} to {} only: outside that, something else shapes the response",
            frequency(low_hz),
            frequency(high_hz)
        );
    }
    // A tenth of a decibel is what a careful adjustment leaves.
    if let Some(rest_db) = position.rest_db[side].filter(|rest_db| *rest_db > 0.1) {
        text += &format!("; {} rms are not explained", UnitKind::Db.of(rest_db, None));
    }
    if amplifier.fed_into == FedInto::FluxLoop {
        text += "; the head's winding is in it";
    }
    text
}

/// The low end, from the position that tells it best.
fn low(bench: &Bench, amplifier: &Amplifier, side: usize) -> Finding {
    let tolerance = bench.limits.of(Key::LowTimeConstant);
    let told =
        |position: &AmplifierPosition| Some((position.low_us[side]?, position.low_uncertainty_us[side]?));
    let nominal_us = amplifier.positions.first().map_or(0.0, |position| position.low_equalisation_us);
    let mut case = bench.case(Id::PlaybackEqualisation);
    case.kind = Some("3180 us");
    case.channel = Some(SIDES[side]);
    let share = tolerance.value / 100.0;
    case.bounds = Bounds::between(nominal_us * (1.0 - share), nominal_us * (1.0 + share));
    case.limit = Some(limit_words(nominal_us, tolerance));
    case.missing = Untold::new("the low tones do not tell it", "inject with more level and less hum");
    let best = amplifier.positions.iter().filter_map(told).min_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((us, uncertainty_us)) = best {
        case.value = Some(us);
        case.uncertainty = Some(uncertainty_us);
        case.figures = format!(
            "the low end has {}, and should have {} us",
            figure(us, uncertainty_us),
            plain(nominal_us)
        );
        if case.bounds.stand(us, uncertainty_us) == Verdict::Outside {
            case.figures += ": a part of the feedback network has drifted, or the deck was designed so";
        }
        let text = format!(
            "measure capacitor and resistor that set the bass of the {} playback amplifier; look at the circuit diagram \
             first: some decks are designed so (no trimmer)",
            SIDES[side]
        );
        case.turn = vec![step(Adjustment::Amplifier, text).on(SIDES[side])];
    }
    case.finish()
}

#[cfg(test)]
mod tests {
    use crate::judge::sample::{self, Sample};
    use crate::reading::{Finding, Verdict};

    fn find(reading: &Sample, kind: &str) -> [Finding; 2] {
        let found: Vec<Finding> = reading
            .judged()
            .into_iter()
            .filter(|finding| finding.id == "playback-equalisation" && finding.kind.as_deref() == Some(kind))
            .collect();
        found.try_into().unwrap()
    }

    #[test]
    fn nothing_injected_nothing_said() {
        let findings = sample::healthy().judged();
        assert!(findings.iter().all(|finding| finding.id != "playback-equalisation"));
    }

    #[test]
    fn a_drifted_part_and_a_stuck_switch_are_named() {
        let reading = sample::injected();
        // The sample's left channel has drifted in the 120 us position, its right one does not switch.
        let [left, right] = find(&reading, "120 us");
        assert_eq!((left.verdict, right.verdict), (Verdict::Outside, Verdict::Within), "{left:?} {right:?}");
        assert!(
            left.why.contains("96.0 +- 1.4 us, and should have 120 us") && left.why.contains("drifted"),
            "{left:?}"
        );
        assert!(left.turn.unwrap().contains("trimmer of the left channel for 120 us"));
        let [left, right] = find(&reading, "70 us");
        assert_eq!((left.verdict, right.verdict), (Verdict::Within, Verdict::Outside), "{left:?} {right:?}");
        assert!(right.why.contains("the selector does nothing"), "{right:?}");
        assert!(right.turn.unwrap().contains("right channel, which stays near 120 us"));
        let [left, right] = find(&reading, "3180 us");
        assert_eq!(
            (left.verdict, right.verdict),
            (Verdict::Within, Verdict::CannotTell),
            "{left:?} {right:?}"
        );
    }

    #[test]
    fn exchanged_positions_are_told_from_drift() {
        let mut reading = sample::injected();
        let positions = &mut reading.amplifier.as_mut().unwrap().positions;
        (positions[0].high_us[0], positions[1].high_us[0]) = (Some(71.0), Some(121.0));
        for kind in ["120 us", "70 us"] {
            let [left, _] = find(&reading, kind);
            assert!(left.why.contains("exchanged") && left.verdict == Verdict::Outside, "{left:?}");
        }
    }

    #[test]
    fn what_was_not_fitted_says_why() {
        let mut reading = sample::injected();
        let position = &mut reading.amplifier.as_mut().unwrap().positions[0];
        position.high_us[0] = None;
        position.why[0] = Some("too few tones".into());
        let [left, _] = find(&reading, "120 us");
        assert!(left.why.contains("because too few tones; to find out"), "{left:?}");
    }
}
