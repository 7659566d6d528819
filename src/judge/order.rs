//! The findings, in the order of work.
//!
//! A finding is there even when nothing was measured: "cannot tell" with the way to find out is what the technician needs next, and
//! other programs rely on the list.

use crate::judge::Limits;
use crate::judge::case::Bench;
use crate::judge::findings::azimuth;
use crate::judge::findings::capture;
use crate::judge::findings::equalisation;
use crate::judge::findings::erasing;
use crate::judge::findings::level;
use crate::judge::findings::noise;
use crate::judge::findings::noise_reduction;
use crate::judge::findings::nonlinear;
use crate::judge::findings::recording;
use crate::judge::findings::response;
use crate::judge::findings::separation;
use crate::judge::findings::transport;
use crate::judge::findings::wiring;
use crate::judge::quantities::{Id, QUANTITIES};
use crate::judge::work::turns::rest;
use crate::reading::{Cause, Facts, Finding, Verdict};

/// Judges a reading; the findings stand in the order of work.
///
/// Every finding is there even when nothing was measured: then its verdict is `cannot tell`, with the way to find out.
/// A quantity may have several findings (one a channel, one a kind of flutter). `turn` is set only where a value is
/// outside its limit by more than its uncertainty.
pub(crate) fn judge(reading: &Facts, causes: &[Cause], limits: &Limits) -> Vec<Finding> {
    let mut bench = Bench::new(reading, causes, limits);
    for row in &QUANTITIES {
        let findings = findings(row.id, &bench);
        match row.id {
            Id::Azimuth => bench.azimuth_is_unknown = findings.iter().all(|finding| finding.value.is_none()),
            Id::Capture => {
                bench.capture_is_bad = findings.iter().any(|finding| finding.verdict == Verdict::Outside);
            }
            _ => {}
        }
        bench.put(findings);
    }
    let mut findings = bench.findings;
    rest(&mut findings);
    findings
}

/// Who judges what.
fn findings(id: Id, bench: &Bench<'_>) -> Vec<Finding> {
    match id {
        Id::Capture => vec![capture::finding(bench)],
        Id::Wiring => vec![wiring::finding(bench)],
        // Speed stands before flutter in the list, and rests on it.
        Id::Speed => vec![transport::speed(bench, &transport::flutter(bench))],
        Id::Flutter => transport::flutter(bench),
        Id::Azimuth => vec![azimuth::finding(bench)],
        Id::PlaybackResponse => response::playback_response(bench),
        Id::PlaybackEqualisation => equalisation::findings(bench),
        Id::ChannelMatch => {
            let mut both = level::channel_match(bench);
            both.push(response::channel_match(bench));
            both
        }
        Id::PlaybackLevel => level::playback_level(bench),
        Id::RecordLevel => recording::record_level(bench),
        Id::Bias => recording::bias(bench),
        Id::RecordEqualisation => recording::record_equalisation(bench),
        Id::Noise => noise::noise(bench),
        Id::Hum => noise::hum(bench),
        Id::Distortion => nonlinear::distortion(bench),
        Id::Saturation => nonlinear::saturation(bench),
        Id::Separation => separation::findings(bench),
        Id::NoiseReduction => noise_reduction::findings(bench),
        Id::Erasing => erasing::findings(bench),
    }
}

#[cfg(test)]
mod tests {
    use crate::judge::Limits;
    use crate::judge::sample;
    use crate::reading::{Heads, RecordedOn, Verdict};

    const ORDER: [&str; 18] = [
        "capture",
        "wiring",
        "speed",
        "flutter",
        "azimuth",
        "playback-response",
        "channel-match",
        "playback-level",
        "record-level",
        "bias",
        "record-equalisation",
        "noise",
        "hum",
        "distortion",
        "saturation",
        "separation",
        "noise-reduction",
        "erasing",
    ];

    fn every_origin() -> Vec<(Option<RecordedOn>, Option<Heads>)> {
        let mut all = vec![(None, None)];
        for on in [
            RecordedOn::Calibrated,
            RecordedOn::House,
            RecordedOn::OtherDeck,
            RecordedOn::ThisDeck,
            RecordedOn::Injected,
            RecordedOn::Loopback,
        ] {
            all.extend([None, Some(Heads::Two), Some(Heads::Three)].map(|heads| (Some(on), heads)));
        }
        all
    }

    #[test]
    fn findings_stand_in_the_order_of_work_and_none_is_missing() {
        for reading in [sample::healthy(), sample::faulty(), sample::empty()] {
            let findings = reading.judged();
            let mut ids: Vec<&str> = findings.iter().map(|finding| finding.id.as_str()).collect();
            ids.dedup();
            assert_eq!(ids, ORDER);
        }
    }

    #[test]
    fn no_two_findings_go_by_the_same_name() {
        for reading in [sample::healthy(), sample::faulty(), sample::empty()] {
            let mut names: Vec<_> = reading
                .judged()
                .into_iter()
                .map(|finding| (finding.id, finding.kind, finding.channel))
                .collect();
            let count = names.len();
            names.sort();
            names.dedup();
            assert_eq!(names.len(), count, "{names:?}");
        }
    }

    #[test]
    fn no_healthy_deck_gets_a_turn() {
        for limits in [Limits::full_size(), Limits::portable()] {
            for (recorded_on, heads) in every_origin() {
                let mut reading = sample::healthy();
                reading.circumstances.recorded_on = recorded_on;
                reading.circumstances.heads = heads;
                for finding in reading.judged_by(&limits) {
                    assert_eq!(finding.turn, None, "{recorded_on:?} {heads:?} {finding:?}");
                    assert_ne!(finding.verdict, Verdict::Outside, "{recorded_on:?} {heads:?} {finding:?}");
                }
            }
        }
    }

    #[test]
    fn only_what_is_outside_gets_a_turn_and_nothing_to_turn_in_a_loopback_capture() {
        for (recorded_on, heads) in every_origin() {
            let mut reading = sample::faulty();
            reading.circumstances.recorded_on = recorded_on;
            reading.circumstances.heads = heads;
            for finding in reading.judged() {
                if finding.turn.is_some() {
                    assert_eq!(finding.verdict, Verdict::Outside, "{finding:?}");
                    assert!(
                        recorded_on != Some(RecordedOn::Loopback)
                            || finding.id == "capture"
                            || finding.id == "wiring",
                        "{finding:?}"
                    );
                }
                assert!(!finding.why.is_empty() && !finding.basis.is_empty(), "{finding:?}");
            }
        }
    }

    #[test]
    fn what_cannot_be_told_says_why_and_how_to_find_out() {
        for finding in sample::empty().judged() {
            if finding.verdict == Verdict::CannotTell {
                assert!(finding.why.to_lowercase().contains("cannot tell, because "), "{finding:?}");
                assert!(finding.why.contains("to find out: "), "{finding:?}");
            }
        }
    }

    #[test]
    fn a_bad_capture_comes_before_every_turn() {
        let mut reading = sample::faulty();
        reading.capture.clipped_samples = [120, 0];
        let findings = reading.judged();
        let turned: Vec<_> = findings.iter().skip(1).filter_map(|finding| finding.turn.as_ref()).collect();
        assert!(turned.len() > 3, "{findings:?}");
        for turn in turned {
            assert!(turn.starts_with("put the capture right"), "{turn}");
        }
    }
}
