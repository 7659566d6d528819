//! Findings `speed` and `flutter`.

use crate::judge::case::{Bench, Bounds, plain};
use crate::judge::findings::flutter_varies::{Kind, of_return, varies};
use crate::judge::limits::Tolerance;
use crate::judge::meaning::Meaning;
use crate::judge::quantities::{Id, Key};
use crate::judge::work::turns::step;
use crate::reading::figures::UnitKind;
use crate::reading::{
    Adjustment, Finding, Flutter, FlutterLine, FoundKind, Heads, RecordedOn, Remedy, SameTape, TurnStep,
    UncertainFrom, Unit, Untold, Verdict, Way,
};
use crate::trade::common_practice::SPEED_TONE_HZ;

/// What moves flutter where no part is known.
const TRANSPORT: &str = "clean capstan and pinch roller; check belts, idler and back tension (no trimmer)";

/// `flutter` are the findings on flutter of the same return.
pub(crate) fn speed(bench: &Bench, flutter: &[Finding]) -> Finding {
    let limit = bench.limits.of(Key::Speed);
    let mut case = bench.case(Id::Speed);
    case.bounds = Bounds::within(limit.value);
    case.limit = Some(format!("+-{} % ({})", plain(limit.value), limit.basis));
    case.missing =
        Untold::new("no steady tone of known frequency was found", "record a programme with a speed tone");
    case.wide = Untold::new(
        "the uncertainty is wider than the limit: the speed wanders, or the frequency of the tones is not known so exactly",
        "mend a transport whose speed wanders; then play a longer tone of a frequency that is known to 0.1 %",
    );
    if let Some(speed) = &bench.reading.speed {
        let length = speed.from_length.as_ref();
        let error = length.map_or(speed.error_percent, |length| length.error_percent);
        let uncertainty = length.map_or(speed.uncertainty_percent, |length| length.uncertainty_percent);
        let way = if error > 0.0 { "fast" } else { "slow" };
        case.value = Some(error);
        case.uncertainty = Some(uncertainty);
        let reads_hz = SPEED_TONE_HZ * (1.0 + error / 100.0);
        case.reads = Some(format!(
            "{} Hz reads {}",
            plain(SPEED_TONE_HZ),
            UnitKind::Hertz.of(reads_hz, SPEED_TONE_HZ * uncertainty / 100.0)
        ));
        case.figures = format!("tape runs {} {way}", UnitKind::SpeedPercent.of(error.abs(), uncertainty));
        if let Some(length) = length {
            case.meaning = Meaning::Absolute {
                note: "a measured length of tape between two marks, whoever recorded it; the clock of the sound card is in \
                       the uncertainty",
            };
            // Neither the other deck nor an unknown one has a share in it.
            case.origin = Some(RecordedOn::Calibrated);
            case.figures += &format!(
                " ({} mm of tape in {}: {})",
                plain(length.length_mm),
                UnitKind::Seconds.of(length.time_s(), length.time_uncertainty_s),
                UnitKind::TapeSpeed.of(length.speed_mm_s, None)
            );
        }
        if let Some(drift) = speed.drift_percent_per_min {
            case.figures += &format!(", drifting {}", UnitKind::PercentPerMinute.of(drift, None).signed());
        }
        let (word, way) = if error > 0.0 { ("slower", Way::Slower) } else { ("faster", Way::Faster) };
        let first = speed_does_not_hold(speed.drift_percent_per_min, limit.value, flutter);
        let then = if first.is_some() { "then, if it stays, " } else { "" };
        let text = format!(
            "{then}turn the motor speed trimmer {word} by {}, until {} Hz reads {} Hz; mind rotating parts",
            UnitKind::SpeedPercent.of(error.abs(), uncertainty),
            plain(SPEED_TONE_HZ),
            plain(SPEED_TONE_HZ)
        );
        case.turn = first.into_iter().collect();
        case.turn.push(step(Adjustment::MotorSpeed, text).by(way, error.abs(), Unit::Percent));
    } else if bench.reading.found.iter().any(|found| found.kind == FoundKind::Tone) {
        case.missing = Untold::new(
            "nobody knows what frequency the tones have at the right speed",
            "name the frequency of one of them, or the tape's own values",
        );
        case.remedies.extend([Remedy::GivePitch, Remedy::GiveTape]);
    }
    case.finish()
}

/// Minutes over which a speed that is worth setting stays within its limit (common practice, no source).
const HOLDS_MIN: f64 = 5.0;

/// What to mend before a speed is set: a transport that slips or drags has none.
fn speed_does_not_hold(
    drift_percent_per_min: Option<f64>,
    limit_percent: f64,
    flutter: &[Finding],
) -> Option<TurnStep> {
    let drift = drift_percent_per_min.filter(|drift| drift.abs() * HOLDS_MIN > limit_percent);
    let worst = flutter.iter().find(|finding| finding.verdict == Verdict::Outside);
    let why = match (drift, worst) {
        (Some(drift), _) => {
            format!("the speed drifts by {}", UnitKind::PercentPerMinute.of(drift, None).signed())
        }
        (None, Some(_)) => "flutter is outside its limit".to_owned(),
        (None, None) => return None,
    };
    let too = if drift.is_some() && worst.is_some() { " and flutter is outside its limit" } else { "" };
    Some(step(
        Adjustment::Transport,
        format!(
            "mend the transport first: {why}{too}. Clean capstan and pinch roller; check belts, idler and back tension"
        ),
    ))
}

/// One finding for each kind that has a limit.
pub(crate) fn flutter(bench: &Bench) -> Vec<Finding> {
    let flutter = bench.reading.flutter.as_ref();
    // Judged is the deck, not the one stretch.
    let told = |of: Kind| match flutter {
        Some(flutter) => {
            let stretches = varies(flutter, of, false).unwrap_or(0.0);
            (of(&flutter.figures()), of_return(flutter, of), stretches)
        }
        None => (None, None, 0.0),
    };
    let quasi_peak = told(|f| f.weighted_quasi_peak_percent);
    let rms = told(|f| f.weighted_rms_percent);
    let mut findings = vec![
        kind(bench, "weighted quasi-peak", quasi_peak, bench.limits.of(Key::FlutterQuasiPeak)),
        kind(bench, "weighted rms", rms, bench.limits.of(Key::FlutterRms)),
    ];
    findings.extend(bench.reading.same_tape.as_ref().map(|found| playback_alone(bench, found)));
    findings
}

/// What does not repeat with the tape: the deck on the bench, whoever recorded.
fn playback_alone(bench: &Bench, found: &SameTape) -> Finding {
    let limit = bench.limits.of(Key::FlutterRms);
    let mut case = bench.case(Id::Flutter);
    case.kind = Some("weighted rms, playback alone");
    case.bounds = Bounds::below(limit.value);
    case.limit = Some(format!("at most {} % weighted rms ({})", plain(limit.value), limit.basis));
    case.meaning = Meaning::Absolute { note: "what does not repeat over several playings of one recording" };
    // Neither the other deck nor an unknown one has a share in it.
    case.origin = Some(RecordedOn::Calibrated);
    let figure = found.playback.weighted_rms;
    let count = found.playings.len();
    match (figure.percent, figure.uncertainty_percent) {
        (Some(percent), Some(uncertainty)) => {
            case.value = Some(percent);
            case.uncertainty = Some(uncertainty);
            case.figures = format!(
                "weighted rms {}, mean of {count} playings",
                UnitKind::Percent.of(percent, uncertainty)
            );
        }
        // Below a limit that is itself below what is allowed: no fault.
        _ => {
            case.value = Some(0.0);
            case.uncertainty = Some(figure.below_percent);
            case.figures = format!(
                "weighted rms below {} % over {count} playings",
                UnitKind::Percent.of(figure.below_percent, None).ceiling()
            );
        }
    }
    case.turn = vec![step(Adjustment::Transport, TRANSPORT)];
    let mut finding = case.finish();
    if figure.percent.is_none() {
        (finding.value, finding.uncertainty) = (None, None);
    }
    finding
}

/// The finding on one kind, from its value, the return's own uncertainty of it, and what the stretches differ by.
fn kind(
    bench: &Bench,
    name: &'static str,
    (value, own, stretches): (Option<f64>, Option<f64>, f64),
    limit: &Tolerance,
) -> Finding {
    let mut case = bench.case(Id::Flutter);
    case.kind = Some(name);
    case.value = value;
    let uncertainty = own.map(|own| case.uncertain_by(own, UncertainFrom::Stretches, stretches));
    case.bounds = Bounds::within(limit.value);
    case.allowed = Some(format!("max {} %", plain(limit.value)));
    case.limit = Some(format!("at most {} % {name} ({})", plain(limit.value), limit.basis));
    case.missing = Untold::new(
        format!("{name} flutter was not measured"),
        "record a programme with a steady tone near 3 kHz of 60 s",
    );
    if let (Some(value), Some(flutter)) = (value, &bench.reading.flutter) {
        case.figures = format!("{name} {}", UnitKind::Percent.of(value, uncertainty));
        if let Some(line) = strongest_line(flutter) {
            case.figures += &format!("; {line}");
        }
        case.figures += &cautions(bench, flutter);
        case.remedies.extend(share_of_the_tape(bench, flutter).map(|_| Remedy::PlaySameTapeAgain));
        let text = match flutter.lines.first().and_then(|line| Some((line.part.as_deref()?, line.could_be))) {
            Some((part, true)) => format!(
                "look at the {part} first, which may turn at the rate of the strongest line: clean it, check play, wear and \
                 flat spots; then capstan, pinch roller and belts"
            ),
            Some((part, false)) => format!(
                "look at the {part} first, which turns at the rate of the strongest line: clean it, check play, wear and flat \
                 spots (no trimmer)"
            ),
            None => TRANSPORT.to_owned(),
        };
        case.turn = vec![step(Adjustment::Transport, text)];
    }
    case.finish()
}

/// Shortest tone that a flutter reading should rest on, s (common practice, no source).
const LEAST_S: f64 = 30.0;

/// What limits the figures: a short tone, or heads that work at the same time.
fn cautions(bench: &Bench, flutter: &Flutter) -> String {
    let mut words = String::new();
    let length_s = flutter.over_s();
    if length_s < LEAST_S {
        words += &format!(
            "; measured over {} only; {LEAST_S} s are needed for a good figure (recipe flutter)",
            UnitKind::Seconds.of(length_s, None)
        );
    }
    let told = &bench.reading.circumstances;
    if let (Some(RecordedOn::ThisDeck), Some(Heads::Three), Some(null_hz)) =
        (told.recorded_on, told.heads, flutter.simultaneous_null_hz)
    {
        words += &format!(
            "; it was taken while recording: flutter near {0} Hz and its multiples cancels, and doubles half-way between. For \
             a figure that counts, rewind and play",
            UnitKind::Hertz.of(null_hz, None).number()
        );
    }
    if let Some(tape) = share_of_the_tape(bench, flutter) {
        words += &format!(
            "; up to {} weighted rms of it may be on the house tape: play it several times to tell them apart",
            UnitKind::Percent.of(tape, None)
        );
    }
    words
}

/// Flutter that may be the house tape's own, percent, where it is no small part of the figure.
fn share_of_the_tape(bench: &Bench, flutter: &Flutter) -> Option<f64> {
    // Flutter adds as squares: below a third the tape's share is 5 % of the figure.
    const SMALL: f64 = 1.0 / 3.0;
    let tape = bench.circumstances().card.as_ref()?.flutter_at_most_percent?;
    (tape > SMALL * flutter.weighted_rms_percent?).then_some(tape)
}

fn strongest_line(flutter: &Flutter) -> Option<String> {
    let line = flutter.lines.first()?;
    let part = match line.part {
        Some(_) if line.could_be => format!(", {}", part_words(line)),
        Some(_) => format!(", the rate of the {}", part_words(line)),
        None => String::new(),
    };
    Some(format!(
        "strongest line {} peak at {}{part}",
        UnitKind::Percent.of(line.percent_peak, None),
        UnitKind::LineHertz.of(line.hz, None)
    ))
}

/// Part of a line in words: `pinch roller`, `pinch roller, 2nd harmonic`, `could be pinch roller or idler`, or `no part
/// known`.
pub fn part_words(line: &FlutterLine) -> String {
    let Some(part) = &line.part else { return "no part known".to_owned() };
    let could = if line.could_be { "could be " } else { "" };
    let harmonic = match line.harmonic {
        Some(order @ 2) => format!(", {order}nd harmonic"),
        Some(order @ 3) => format!(", {order}rd harmonic"),
        Some(order) if order > 3 => format!(", {order}th harmonic"),
        _ => String::new(),
    };
    format!("{could}{part}{harmonic}")
}

#[cfg(test)]
mod tests {
    use crate::judge::sample;
    use crate::reading::{FileClock, Heads, RecordedOn, Verdict};

    #[test]
    fn a_fast_deck_is_turned_slower_and_a_slow_one_faster() {
        let mut reading = sample::faulty();
        reading.speed.as_mut().unwrap().error_percent = 1.23;
        let got = reading.finding("speed");
        assert!(got.turn.unwrap().contains("slower by 1.23 %"));
        reading.speed.as_mut().unwrap().error_percent = -1.23;
        let got = reading.finding("speed");
        assert!(got.why.contains("1.23") && got.why.contains("slow"), "{got:?}");
        assert!(got.turn.unwrap().contains("faster by 1.23 %"));
    }

    #[test]
    fn own_tape_cannot_tell_speed_however_far_it_is_off() {
        let mut reading = sample::faulty();
        for heads in [Some(Heads::Two), Some(Heads::Three), None] {
            reading.circumstances.recorded_on = Some(RecordedOn::ThisDeck);
            reading.circumstances.heads = heads;
            let got = reading.finding("speed");
            assert_eq!((got.verdict, got.turn), (Verdict::CannotTell, None), "{heads:?}");
        }
    }

    #[test]
    fn flutter_of_three_heads_at_once_asks_for_rewind_and_playback() {
        let mut reading = sample::faulty();
        reading.circumstances.recorded_on = Some(RecordedOn::ThisDeck);
        reading.flutter.as_mut().unwrap().simultaneous_null_hz = Some(3.175);
        for (heads, said) in [(Some(Heads::Three), true), (Some(Heads::Two), false)] {
            reading.circumstances.heads = heads;
            let why = reading.finding("flutter").why;
            assert_eq!(why.contains("3.2 Hz") && why.contains("rewind and play"), said, "{why}");
        }
    }

    #[test]
    fn a_short_flutter_tone_is_said_to_be_short() {
        let mut reading = sample::faulty();
        assert!(!reading.finding("flutter").why.contains("only"));
        let flutter = reading.flutter.as_mut().unwrap();
        flutter.measured_to_s = FileClock::default().at(flutter.measured_from_s.seconds() + 12.0);
        assert!(reading.finding("flutter").why.contains("over 12.0 s only"));
    }

    #[test]
    fn flutter_names_its_kind_and_the_turning_part() {
        let got = sample::faulty().finding("flutter");
        assert!(got.limit.unwrap().contains("weighted quasi-peak"));
        assert!(got.why.starts_with("weighted quasi-peak 0.31"), "{}", got.why);
        assert!(got.turn.unwrap().contains("pinch roller"));
    }

    #[test]
    fn the_playback_alone_is_judged_absolutely_and_by_a_length_so_is_speed() {
        use crate::reading::{FlutterShare, SameTape, SharedFigure, SpeedFromLength};
        let mut reading = sample::healthy();
        reading.circumstances.recorded_on = Some(RecordedOn::OtherDeck);
        let share = |percent: Option<f64>, below_percent: f64| {
            let figure = SharedFigure { percent, uncertainty_percent: percent.map(|_| 0.01), below_percent };
            FlutterShare {
                unweighted_rms: figure,
                weighted_rms: figure,
                wow_rms: figure,
                flutter_rms: figure,
            }
        };
        let mut alone = |percent, below| {
            reading.same_tape = Some(SameTape {
                playings: vec![],
                from_s: 0.0,
                to_s: 60.0,
                recording: share(Some(0.1), 0.11),
                playback: share(percent, below),
                bands: vec![],
                lines: vec![],
                assumed: vec![],
            });
            let found = reading.judged();
            found
                .into_iter()
                .find(|finding| finding.kind.as_deref() == Some("weighted rms, playback alone"))
                .unwrap()
        };
        let bad = alone(Some(0.4), 0.41);
        assert_eq!(bad.verdict, Verdict::Outside, "{bad:?}");
        assert!(bad.basis.starts_with("absolute") && !bad.turn.unwrap().contains("other deck"));
        let none = alone(None, 0.01);
        assert_eq!((none.verdict, none.value), (Verdict::Within, None), "{none:?}");
        let speed = reading.speed.as_mut().unwrap();
        speed.from_length = Some(SpeedFromLength {
            marks: "invented".into(),
            length_mm: 2857.5,
            length_uncertainty_mm: 2.0,
            from_s: FileClock::default().at(12.3),
            to_s: FileClock::default().at(71.7),
            time_uncertainty_s: 0.03,
            speed_mm_s: 48.106,
            nominal_mm_s: 47.625,
            error_percent: 1.01,
            uncertainty_percent: 0.09,
        });
        let got = reading.finding("speed");
        assert_eq!((got.verdict, got.value), (Verdict::Outside, Some(1.01)), "{got:?}");
        assert!(got.basis.starts_with("absolute: a measured length"), "{}", got.basis);
        assert!(got.why.contains("2857.5 mm of tape in 59.40 s"), "{}", got.why);
    }
}
