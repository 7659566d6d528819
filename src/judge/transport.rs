//! Findings `speed` and `flutter`.

use super::figures::{decimals, frequency, signed, unsigned};
use super::findings::{Bench, Bounds, plain};
use super::limits::Tolerance;
use super::meaning::Quantity;
use crate::reading::{Finding, Flutter};

pub(super) fn speed(bench: &Bench) -> Finding {
    let limit = &bench.limits.speed_percent;
    let mut case = bench.case("speed", Quantity::SpeedError, "percent");
    case.bounds = Bounds::within(limit.value);
    case.limit = Some(format!("+-{} % ({})", plain(limit.value), limit.basis));
    case.missing =
        "no steady tone of known frequency was found; to find out: record a programme with a speed tone"
            .to_owned();
    if let Some(speed) = &bench.reading.speed {
        let error = speed.error_percent;
        let digits = decimals(Some(speed.uncertainty_percent), 3);
        let way = if error > 0.0 { "fast" } else { "slow" };
        case.value = Some(error);
        case.uncertainty = Some(speed.uncertainty_percent);
        case.figures = format!("tape runs {} % {way}", unsigned(error.abs(), digits));
        if let Some(drift) = speed.drift_percent_per_min {
            case.figures += &format!(", drifting {} % per minute", signed(drift, 3));
        }
        let (turn_way, by) = if error > 0.0 { ("slower", error) } else { ("faster", -error) };
        case.turn = Some(format!(
            "motor speed trimmer {turn_way} by {} %; warm the deck up first, and mind rotating parts",
            unsigned(by, 2)
        ));
    }
    case.finish()
}

/// One finding for each kind that has a limit.
pub(super) fn flutter(bench: &Bench) -> Vec<Finding> {
    let flutter = bench.reading.flutter.as_ref();
    let quasi_peak = flutter.and_then(|flutter| flutter.weighted_quasi_peak_percent);
    let rms = flutter.and_then(|flutter| flutter.weighted_rms_percent);
    let rms_uncertainty = flutter.and_then(|flutter| flutter.uncertainty_percent);
    // A peak is as sure, in proportion, as the rms it comes from.
    let quasi_peak_uncertainty = match (quasi_peak, rms, rms_uncertainty) {
        (Some(peak), Some(rms), Some(uncertainty)) if rms > 0.0 => Some(uncertainty * peak / rms),
        (_, _, uncertainty) => uncertainty,
    };
    let limits = bench.limits;
    vec![
        kind(
            bench,
            "weighted quasi-peak",
            quasi_peak,
            quasi_peak_uncertainty,
            &limits.flutter_weighted_quasi_peak_percent,
        ),
        kind(bench, "weighted rms", rms, rms_uncertainty, &limits.flutter_weighted_rms_percent),
    ]
}

fn kind(
    bench: &Bench,
    name: &'static str,
    value: Option<f64>,
    uncertainty: Option<f64>,
    limit: &Tolerance,
) -> Finding {
    let mut case = bench.case("flutter", Quantity::Flutter, "percent");
    case.kind = Some(name);
    case.value = value;
    case.uncertainty = uncertainty;
    case.bounds = Bounds::within(limit.value);
    case.limit = Some(format!("at most {} % {name} ({})", plain(limit.value), limit.basis));
    case.missing = format!(
        "{name} flutter was not measured; to find out: record a programme with a steady tone near 3 kHz of 60 s"
    );
    if let (Some(value), Some(flutter)) = (value, &bench.reading.flutter) {
        case.figures = format!("{name} {} %", unsigned(value, decimals(uncertainty, 4)));
        if let Some(line) = strongest_line(flutter) {
            case.figures += &format!("; {line}");
        }
        case.turn = Some(match flutter.lines.first().and_then(|line| line.part.as_deref()) {
            Some(part) => format!(
                "no trimmer: look at the {part} first (clean it, check it for play, wear and flat spots), deck off \
                 and parts at rest"
            ),
            None => "no trimmer: clean capstan and pinch roller, then check belts, idler and back tension, deck off \
                     and parts at rest"
                .to_owned(),
        });
    }
    case.finish()
}

fn strongest_line(flutter: &Flutter) -> Option<String> {
    let line = flutter.lines.first()?;
    let part = line.part.as_deref().map(|part| format!(", the rate of the {part}")).unwrap_or_default();
    Some(format!("strongest line {} % peak at {}{part}", unsigned(line.percent_peak, 3), frequency(line.hz)))
}

#[cfg(test)]
mod tests {
    use crate::judge::{Limits, judge, sample};
    use crate::reading::{Finding, Heads, Reading, RecordedOn, Verdict};

    fn find(reading: &Reading, id: &str) -> Finding {
        judge(reading, &Limits::good_deck()).into_iter().find(|finding| finding.id == id).unwrap()
    }

    #[test]
    fn a_fast_deck_is_turned_slower_and_a_slow_one_faster() {
        let mut reading = sample::faulty();
        reading.speed.as_mut().unwrap().error_percent = 1.23;
        let got = find(&reading, "speed");
        assert!(got.turn.unwrap().contains("slower by 1.23 %"));
        reading.speed.as_mut().unwrap().error_percent = -1.23;
        let got = find(&reading, "speed");
        assert!(got.why.contains("1.23") && got.why.contains("slow"), "{got:?}");
        assert!(got.turn.unwrap().contains("faster by 1.23 %"));
    }

    #[test]
    fn own_tape_cannot_tell_speed_however_far_it_is_off() {
        let mut reading = sample::faulty();
        for heads in [Some(Heads::Two), Some(Heads::Three), None] {
            reading.circumstances.recorded_on = Some(RecordedOn::ThisDeck);
            reading.circumstances.heads = heads;
            let got = find(&reading, "speed");
            assert_eq!((got.verdict, got.turn), (Verdict::CannotTell, None), "{heads:?}");
        }
    }

    #[test]
    fn flutter_names_its_kind_and_the_turning_part() {
        let got = find(&sample::faulty(), "flutter");
        assert!(got.limit.unwrap().contains("weighted quasi-peak"));
        assert!(got.why.starts_with("weighted quasi-peak 0.31"), "{}", got.why);
        assert!(got.turn.unwrap().contains("pinch roller"));
    }
}
