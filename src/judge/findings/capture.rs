//! Finding `capture`: whether the recording itself can be trusted.

use crate::judge::case::Bench;
use crate::judge::spoilt::SPOILING;
use crate::judge::work::turns::{said, step};
use crate::reading::figures::UnitKind;
use crate::reading::{Adjustment, Finding, Remedy, Unit, Verdict, WarningId};

/// Warnings that cost accuracy only.
const COSTLY: [WarningId; 15] = [
    WarningId::PolarityFlips,
    WarningId::Clicks,
    WarningId::LowRate,
    WarningId::Offset,
    WarningId::LevelMoved,
    WarningId::TooQuiet,
    WarningId::CutStart,
    WarningId::CutEnd,
    WarningId::RateMismatch,
    WarningId::Dropouts,
    WarningId::BrokenSamples,
    WarningId::TimeJump,
    WarningId::TapeNotRunning,
    WarningId::CoarseSamples,
    WarningId::TurnedInTone,
];

pub(crate) fn finding(bench: &Bench) -> Finding {
    let reading = bench.reading;
    let capture = &reading.capture;
    let warned = |id: &WarningId| reading.warnings.iter().any(|warning| warning.id == *id);
    let clipped: u64 = capture.clipped_samples.iter().fold(0, |sum, &count| sum.saturating_add(count));
    let peak_dbfs = capture.peak_dbfs.iter().flatten().copied().reduce(f64::max);
    let peak = match peak_dbfs {
        Some(peak) => format!("peak {}", UnitKind::Dbfs.of(peak, None)),
        None => "no sample differs from zero".to_owned(),
    };
    let slates = match capture.slates_found {
        0 => "no slate".to_owned(),
        1 => "1 slate".to_owned(),
        n => format!("{n} slates"),
    };
    let spoilt: Vec<_> =
        SPOILING.iter().filter(|(id, _)| warned(id) || (*id == WarningId::Clipped && clipped > 0)).collect();
    let costly: Vec<_> = COSTLY.iter().filter(|id| warned(id)).map(WarningId::as_str).collect();
    let measured = !reading.level.is_empty()
        || reading.response.is_some()
        || reading.azimuth.is_some()
        || reading.speed.is_some()
        || reading.flutter.is_some()
        || reading.noise.is_some()
        || reading.distortion.is_some()
        || reading.saturation.is_some()
        || !reading.separation.is_empty()
        || reading.erasing.is_some()
        || !reading.rounds.is_empty()
        || reading.noise_reduction.is_some();

    let (verdict, why, turn) = if !spoilt.is_empty() {
        let names: Vec<&str> = spoilt.iter().map(|(id, _)| id.as_str()).collect();
        let count = if clipped > 0 { format!("; {clipped} samples are clipped") } else { String::new() };
        (
            Verdict::Outside,
            format!("{}: {peak}, {slates}{count}", names.join(", ")),
            Some(spoilt.iter().map(|(_, remedy)| *remedy).collect::<Vec<_>>().join("; ")),
        )
    } else if peak_dbfs.is_none() {
        (
            Verdict::Outside,
            "the return is silent".to_owned(),
            Some(
                "check that the deck's line output goes to the input that was recorded, then record again"
                    .to_owned(),
            ),
        )
    } else if !measured {
        (
            Verdict::Outside,
            format!("nothing could be measured: {peak}, {slates}"),
            Some(
                "check that the whole programme was recorded, slates included; a tape without slates cannot be read"
                    .to_owned(),
            ),
        )
    } else if !costly.is_empty() {
        (Verdict::Marginal, format!("{peak}, {slates}; less accurate: {}", costly.join(", ")), None)
    } else {
        (Verdict::Within, format!("{peak}, no clipping, {slates}"), None)
    };
    let steps: Vec<_> = turn.into_iter().map(|text: String| step(Adjustment::Capture, text)).collect();
    Finding {
        id: "capture".to_owned(),
        kind: None,
        channel: None,
        value: None,
        uncertainty: None,
        uncertainty_parts: vec![],
        unit: Unit::Dbfs,
        reads: Some(why.clone()),
        place: None,
        at_hz: None,
        allowed: None,
        limit: Some("no clipping, whole programme, no processing on the way".to_owned()),
        verdict,
        basis: "absolute: the file itself".to_owned(),
        why,
        untold: None,
        in_programme: Some(true),
        turn: said(&steps, false),
        steps,
        rests_on: vec![],
        remedies: if warned(&WarningId::WrongRecipe) { vec![Remedy::NameRecipe] } else { vec![] },
    }
}

#[cfg(test)]
mod tests {
    use crate::judge::sample;
    use crate::reading::{Verdict, Warning, WarningId};

    #[test]
    fn clipping_and_processing_are_outside_and_name_the_remedy() {
        let mut reading = sample::healthy();
        assert_eq!(reading.finding("capture").verdict, Verdict::Within);
        reading.warnings.push(Warning::new(WarningId::GainRiding, "the gain moved"));
        assert!(reading.finding("capture").turn.unwrap().contains("automatic gain"));
        reading.capture.clipped_samples = [3, 4];
        let got = reading.finding("capture");
        assert_eq!(got.verdict, Verdict::Outside);
        assert!(got.why.contains("7 samples"), "{got:?}");
        assert!(got.turn.unwrap().contains("lower"));
    }

    #[test]
    fn a_cut_start_costs_accuracy_only() {
        let mut reading = sample::healthy();
        reading.warnings.push(Warning::new(WarningId::CutStart, "the first slate is missing"));
        let got = reading.finding("capture");
        assert_eq!((got.verdict, got.turn.clone()), (Verdict::Marginal, None), "{got:?}");
    }

    #[test]
    fn silence_and_an_unreadable_return_are_told_apart() {
        let mut reading = sample::empty();
        assert!(reading.finding("capture").turn.unwrap().contains("slates included"));
        reading.capture.peak_dbfs = [None, None];
        assert!(reading.finding("capture").turn.unwrap().contains("line output"));
    }
}
