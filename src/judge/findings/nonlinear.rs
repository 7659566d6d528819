//! Findings `distortion` and `saturation`.

use crate::judge::case::{Bench, Bounds, SIDES, plain};
use crate::judge::quantities::{Id, Key};
use crate::judge::work::turns::step;
use crate::reading::figures::{UnitKind, frequency, programme_level};
use crate::reading::{Adjustment, Distortion, DistortionStep, Finding, Saturation, Untold};

/// A step this far from 0 dB does not stand for the reference level, dB.
const NEAR_0_DB: f64 = 1.5;

/// The step of the ladder nearest to the reference level.
fn at_reference(distortion: &Distortion) -> Option<&DistortionStep> {
    let ladder = distortion.steps.iter().filter(|step| step.hz == distortion.k3_3percent_hz);
    ladder
        .filter(|step| step.programme_db.abs() <= NEAR_0_DB)
        .min_by(|a, b| a.programme_db.abs().total_cmp(&b.programme_db.abs()))
}

/// Third harmonic at the reference level, and where it reaches 3 %, one finding a channel.
pub(crate) fn distortion(bench: &Bench) -> Vec<Finding> {
    let Some(distortion) = &bench.reading.distortion else {
        let mut case = bench.case(Id::Distortion);
        case.missing = Untold::new(
            "no tones in steps of level were found",
            "record the programme saturation on this deck",
        );
        return vec![case.finish()];
    };
    (0..2).map(|side| one_distortion(bench, distortion, side)).collect()
}

fn one_distortion(bench: &Bench, distortion: &Distortion, side: usize) -> Finding {
    let limit = bench.limits.get(Key::ThirdHarmonic);
    let mut case = bench.case(Id::Distortion);
    case.channel = Some(SIDES[side]);
    if let Some(limit) = limit {
        case.bounds = Bounds::below(limit.value);
        case.limit =
            Some(format!("third harmonic at 0 dB at most {} % ({})", plain(limit.value), limit.basis));
    }
    case.missing = Untold::new(
        "the third harmonic at the reference level cannot be told from noise or hum, or the tone was not found",
        "record with more level, or a longer tone",
    );
    let maximum = match (distortion.k3_3percent_at_db[side], &distortion.k3_3percent_why[side]) {
        (Some(db), _) => {
            let output = distortion.k3_3percent_output_db[side]
                .map(|output| {
                    format!(", where the output is {} (MOL)", UnitKind::Db.of(output, None).signed())
                })
                .unwrap_or_default();
            format!(
                "3 % at {}{output}",
                UnitKind::Db.of(db, distortion.k3_3percent_uncertainty_db[side]).signed()
            )
        }
        (None, Some(why)) => format!("3 %: {why}"),
        (None, None) => "3 % was not found".to_owned(),
    };
    let Some(at) = at_reference(distortion) else {
        case.missing =
            Untold::new("there is no step near 0 dB", format!("record the programme saturation. {maximum}"));
        return case.finish();
    };
    let tone = frequency(at.hz);
    let level = programme_level(at.programme_db);
    match (at.k3_percent[side], at.k3_limit_percent[side]) {
        (Some(k3), _) => {
            case.value = Some(k3);
            case.uncertainty = at.k3_uncertainty_percent[side];
            case.place = Some(format!("third harmonic at {level}"));
            case.figures = format!(
                "third harmonic of {tone} {} at {level}; {maximum}",
                UnitKind::Percent.of(k3, case.uncertainty)
            );
            let [second, all] = [
                (at.k2_percent[side], at.k2_uncertainty_percent[side]),
                (at.thd_percent[side], at.thd_uncertainty_percent[side]),
            ]
            .map(|(k, uncertainty)| {
                k.map_or("lost in noise".to_owned(), |k| UnitKind::Percent.of(k, uncertainty).to_string())
            });
            case.figures += &format!("; second {second}, all together {all}");
        }
        // Below a limit that is itself below what is allowed: no fault.
        (None, Some(below)) => {
            case.value = Some(0.0);
            case.uncertainty = Some(below);
            case.figures = format!(
                "third harmonic of {tone} below {} % at {level}, lost in noise; {maximum}",
                UnitKind::Percent.of(below, None).ceiling()
            );
            let mut finding = case.finish_by(limit, Key::ThirdHarmonic);
            (finding.value, finding.uncertainty) = (None, None);
            return finding;
        }
        (None, None) => {}
    }
    case.turn = vec![
        step(Adjustment::RecordLevel, "set the record level first: too much of it distorts").on(SIDES[side]),
        step(Adjustment::Bias, "then bias: too little of it raises the third harmonic").on(SIDES[side]),
        step(Adjustment::Tape, "then try a fresh tape of the type that the deck is set up for"),
    ];
    case.finish_by(limit, Key::ThirdHarmonic)
}

/// Highest output of the main treble tone, one finding a channel.
pub(crate) fn saturation(bench: &Bench) -> Vec<Finding> {
    let found = bench.reading.saturation.as_ref().and_then(|saturation| Some((saturation, saturation.hz?)));
    let Some((saturation, hz)) = found else {
        let mut case = bench.case(Id::Saturation);
        case.missing = Untold::new(
            "no high tones in steps of level were found",
            "record the programme saturation on this deck",
        );
        return vec![case.finish()];
    };
    (0..2).map(|side| one_saturation(bench, saturation, hz, side)).collect()
}

fn one_saturation(bench: &Bench, saturation: &Saturation, hz: f64, side: usize) -> Finding {
    let limit = bench.limits.get(Key::TrebleMaxOutput);
    let mut case = bench.case(Id::Saturation);
    case.channel = Some(SIDES[side]);
    if let Some(limit) = limit {
        case.bounds = Bounds::above(limit.value);
        case.limit = Some(format!(
            "maximum output at {} at least {} ({})",
            frequency(hz),
            programme_level(limit.value),
            limit.basis
        ));
    }
    let why = saturation.max_output_why[side].as_deref().unwrap_or("the tones were not found");
    case.missing = Untold::new(why, "record steps that go further up, or with less noise");
    case.value = saturation.max_output_db[side];
    case.uncertainty = saturation.max_output_uncertainty_db[side];
    if let (Some(db), Some(at_db)) = (case.value, saturation.max_output_at_db[side]) {
        case.figures = format!(
            "maximum output at {} {} (SOL) against {}, reached at {} of the programme",
            frequency(hz),
            UnitKind::Db.of(db, case.uncertainty).signed(),
            saturation.reference,
            UnitKind::Db.of(at_db, None).signed()
        );
        let others: Vec<String> = saturation
            .others
            .iter()
            .filter_map(|other| {
                let db = other.max_output_db[side]?;
                Some(format!("{} at {}", UnitKind::Db.of(db, None).signed(), frequency(other.hz)))
            })
            .collect();
        if !others.is_empty() {
            case.figures += &format!("; {}", others.join(", "));
        }
    }
    case.turn = vec![
        step(Adjustment::AzimuthScrew, "check azimuth first"),
        step(Adjustment::Heads, "clean the heads").on(SIDES[side]),
        step(Adjustment::Bias, "then bias: too much of it costs output in the treble").on(SIDES[side]),
        step(Adjustment::Tape, "then try a fresh tape of the type that the deck is set up for"),
    ];
    case.finish_by(limit, Key::TrebleMaxOutput)
}

#[cfg(test)]
mod tests {
    use crate::judge::sample::{self, Sample};
    use crate::reading::{RecordedOn, Verdict};

    fn own() -> Sample {
        let mut reading = sample::faulty();
        reading.circumstances.recorded_on = Some(RecordedOn::ThisDeck);
        reading
    }

    #[test]
    fn without_a_limit_the_figure_is_said_and_nothing_is_judged() {
        for id in ["distortion", "saturation"] {
            let [left, right] = own().both("", id);
            assert!(left.value.is_some() && left.why.contains("no limit is known"), "{}", left.why);
            for got in [left, right] {
                assert_eq!((got.verdict, got.turn), (Verdict::CannotTell, None));
            }
        }
    }

    #[test]
    fn a_manual_s_limit_judges_each_channel() {
        let [left, right] = own().both("third_harmonic_percent = 1.5", "distortion");
        assert_eq!([left.verdict, right.verdict], [Verdict::Outside, Verdict::Within], "{left:?} {right:?}");
        assert!(left.turn.unwrap().contains("bias") && left.why.contains("3 % at"), "{}", left.why);
        let [left, right] = own().both("treble_max_output_db = -5", "saturation");
        assert_eq!(
            [left.verdict, right.verdict],
            [Verdict::Outside, Verdict::CannotTell],
            "{left:?} {right:?}"
        );
        assert!(right.why.contains("still rises"), "{}", right.why);
    }

    #[test]
    fn a_harmonic_below_the_noise_is_within_a_limit_above_it() {
        let mut reading = own();
        let step =
            reading.distortion.as_mut().unwrap().steps.iter_mut().find(|step| step.programme_db == 0.0);
        let step = step.unwrap();
        (step.k3_percent, step.k3_limit_percent) = ([None; 2], [Some(0.2), Some(0.2)]);
        let [got, _] = reading.both("third_harmonic_percent = 1.5", "distortion");
        assert_eq!((got.verdict, got.value), (Verdict::Within, None), "{got:?}");
    }

    #[test]
    fn nobody_else_s_recording_is_judged() {
        let mut reading = own();
        for origin in
            [None, Some(RecordedOn::Calibrated), Some(RecordedOn::Loopback), Some(RecordedOn::Injected)]
        {
            reading.circumstances.recorded_on = origin;
            for id in ["distortion", "saturation"] {
                let [got, _] = reading.both("third_harmonic_percent = 0.1", id);
                assert_eq!((got.verdict, got.turn), (Verdict::CannotTell, None), "{origin:?}");
            }
        }
    }
}
