//! Findings `speed` and `flutter`.

use super::figures::{decimals, frequency, signed, unsigned};
use super::findings::{Bench, Bounds, plain};
use super::limits::Tolerance;
use super::meaning::Quantity;
use super::parts::part_words;
use crate::reading::{Finding, Flutter, Heads, RecordedOn};

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
    // A reading made before peaks had an uncertainty of their own: as sure, in proportion, as the rms.
    let in_proportion = match (quasi_peak, rms, rms_uncertainty) {
        (Some(peak), Some(rms), Some(uncertainty)) if rms > 0.0 => Some(uncertainty * peak / rms),
        (_, _, uncertainty) => uncertainty,
    };
    let own = flutter.map(|flutter| flutter.uncertainties).unwrap_or_default();
    let quasi_peak_uncertainty = own.weighted_quasi_peak_percent.or(in_proportion);
    let rms_uncertainty = own.weighted_rms_percent.or(rms_uncertainty);
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
        case.figures += &cautions(bench, flutter);
        case.turn = Some(match flutter.lines.first().and_then(|line| Some((line.part.as_deref()?, line.could_be))) {
            Some((part, true)) => format!(
                "no trimmer: the rate of the strongest line could be that of the {part}: look there first (clean, check \
                 for play, wear and flat spots), then at capstan, pinch roller and belts, deck off and parts at rest"
            ),
            Some((part, false)) => format!(
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

/// Shortest tone that a flutter reading should rest on, s (common practice, no source).
const LEAST_S: f64 = 30.0;

/// What limits the figures: a short tone, or heads that work at the same time.
fn cautions(bench: &Bench, flutter: &Flutter) -> String {
    let mut words = String::new();
    let length_s = flutter.measured_to_s - flutter.measured_from_s;
    if length_s < LEAST_S {
        words += &format!(
            "; measured over only {} s, a reading should rest on {LEAST_S} s (recipe flutter)",
            unsigned(length_s, 0)
        );
    }
    let told = &bench.reading.circumstances;
    if let (Some(RecordedOn::ThisDeck), Some(Heads::Three), Some(null_hz)) =
        (told.recorded_on, told.heads, flutter.simultaneous_null_hz)
    {
        words += &format!(
            "; taken while recording, flutter at about {0} Hz and its multiples cancels and half-way between doubles: \
             rewind and replay for a figure that counts",
            unsigned(null_hz, 1)
        );
    }
    words
}

fn strongest_line(flutter: &Flutter) -> Option<String> {
    let line = flutter.lines.first()?;
    let part = match line.part {
        Some(_) if line.could_be => format!(", {}", part_words(line)),
        Some(_) => format!(", the rate of the {}", part_words(line)),
        None => String::new(),
    };
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
    fn flutter_of_three_heads_at_once_asks_for_rewind_and_replay() {
        let mut reading = sample::faulty();
        reading.circumstances.recorded_on = Some(RecordedOn::ThisDeck);
        reading.flutter.as_mut().unwrap().simultaneous_null_hz = Some(3.175);
        for (heads, said) in [(Some(Heads::Three), true), (Some(Heads::Two), false)] {
            reading.circumstances.heads = heads;
            let why = find(&reading, "flutter").why;
            assert_eq!(why.contains("3.2 Hz") && why.contains("rewind and replay"), said, "{why}");
        }
    }

    #[test]
    fn a_short_flutter_tone_is_said_to_be_short() {
        let mut reading = sample::faulty();
        assert!(!find(&reading, "flutter").why.contains("only"));
        let flutter = reading.flutter.as_mut().unwrap();
        flutter.measured_to_s = flutter.measured_from_s + 12.0;
        assert!(find(&reading, "flutter").why.contains("only 12 s"));
    }

    #[test]
    fn flutter_names_its_kind_and_the_turning_part() {
        let got = find(&sample::faulty(), "flutter");
        assert!(got.limit.unwrap().contains("weighted quasi-peak"));
        assert!(got.why.starts_with("weighted quasi-peak 0.31"), "{}", got.why);
        assert!(got.turn.unwrap().contains("pinch roller"));
    }
}
