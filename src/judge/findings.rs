//! The findings, in the order of work, and how a value stands to its limit.

use super::limits::Tolerance;
use super::meaning::{Meaning, Quantity, meaning};
use super::turns::{careful, rest, said};
use super::{
    Limits, azimuth, capture, equalisation, level, noise, nonlinear, recording, response, separation,
    transport, wiring,
};
use crate::reading::{Circumstances, Finding, Reading, RecordedOn, TurnStep, Verdict};

/// Judges a reading; the findings stand in the order of work.
///
/// Every finding is there even when nothing was measured: then its verdict is `cannot tell`, with the way to find out.
/// A quantity may have several findings (one a channel, one a kind of flutter). `turn` is set only where a value is
/// outside its limit by more than its uncertainty.
pub fn judge(reading: &Reading, limits: &Limits) -> Vec<Finding> {
    let mut bench = Bench::new(reading, limits);
    bench.put(vec![capture::finding(&bench)]);
    bench.capture_is_bad = bench.is_outside("capture");
    bench.put(vec![wiring::finding(&bench)]);
    // Speed stands before flutter in the list, and rests on it.
    let flutter = transport::flutter(&bench);
    bench.put(vec![transport::speed(&bench, &flutter)]);
    bench.put(flutter);
    let azimuth = azimuth::finding(&bench);
    bench.azimuth_is_unknown = azimuth.value.is_none();
    bench.put(vec![azimuth]);
    bench.put(response::replay_response(&bench));
    bench.put(equalisation::findings(&bench));
    bench.put(level::channel_match(&bench));
    bench.put(vec![response::channel_match(&bench)]);
    bench.put(level::replay_level(&bench));
    bench.put(recording::record_level(&bench));
    bench.put(recording::bias(&bench));
    bench.put(recording::record_equalisation(&bench));
    bench.put(noise::noise(&bench));
    bench.put(noise::hum(&bench));
    bench.put(nonlinear::distortion(&bench));
    bench.put(nonlinear::saturation(&bench));
    bench.put(separation::findings(&bench));
    let mut findings = bench.findings;
    rest(&mut findings);
    findings
}

/// What all judges look at.
pub(super) struct Bench<'a> {
    pub(super) reading: &'a Reading,
    pub(super) limits: &'a Limits,
    /// Set once the capture is judged: all that follows rests on it.
    pub(super) capture_is_bad: bool,
    /// Set once azimuth is judged: no delay was measured.
    pub(super) azimuth_is_unknown: bool,
    /// `[left, right]`: no signal on this channel while the other has one.
    pub(super) dead: [bool; 2],
    /// What was judged before.
    findings: Vec<Finding>,
}

impl<'a> Bench<'a> {
    fn new(reading: &'a Reading, limits: &'a Limits) -> Self {
        let dead = wiring::dead_channels(reading);
        Self { reading, limits, capture_is_bad: false, azimuth_is_unknown: true, dead, findings: vec![] }
    }

    fn put(&mut self, findings: Vec<Finding>) {
        self.findings.extend(findings);
    }

    /// Whether any finding of this name was judged to be outside before.
    pub(super) fn is_outside(&self, id: &str) -> bool {
        self.findings.iter().any(|finding| finding.id == id && finding.verdict == Verdict::Outside)
    }

    pub(super) fn circumstances(&self) -> &Circumstances {
        &self.reading.circumstances
    }

    pub(super) fn recorded_on(&self) -> Option<RecordedOn> {
        self.reading.circumstances.recorded_on
    }

    /// Starts a finding on `quantity`.
    pub(super) fn case(&self, id: &'static str, quantity: Quantity, unit: &'static str) -> Case {
        Case {
            id,
            kind: None,
            channel: None,
            unit,
            value: None,
            uncertainty: None,
            bounds: Bounds::within(f64::INFINITY),
            limit: None,
            meaning: meaning(quantity, self.circumstances()),
            figures: String::new(),
            missing: String::new(),
            turn: vec![],
            origin: self.recorded_on(),
            capture_is_bad: self.capture_is_bad,
        }
    }
}

/// Range in which a value may lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bounds {
    low: f64,
    high: f64,
}

impl Bounds {
    /// Deviation either way, at most `limit`.
    pub(super) fn within(limit: f64) -> Self {
        Self { low: -limit, high: limit }
    }

    /// From `low` to `high`.
    pub(super) fn between(low: f64, high: f64) -> Self {
        Self { low, high }
    }

    /// At most `high`, however far below.
    pub(super) fn below(high: f64) -> Self {
        Self { low: f64::NEG_INFINITY, high }
    }

    /// At least `low`, however far above.
    pub(super) fn above(low: f64) -> Self {
        Self { low, high: f64::INFINITY }
    }

    /// How `value` with expanded uncertainty `uncertainty` stands to the range.
    ///
    /// A value that is outside by more than its uncertainty is outside, however wide that is; otherwise an uncertainty
    /// wider than half the range allows no verdict.
    pub(super) fn stand(self, value: f64, uncertainty: f64) -> Verdict {
        if !value.is_finite() || !uncertainty.is_finite() {
            return Verdict::CannotTell;
        }
        let beyond = (self.low - value).max(value - self.high);
        if beyond > uncertainty {
            Verdict::Outside
        } else if uncertainty > 0.5 * (self.high - self.low) {
            Verdict::CannotTell
        } else if beyond >= -uncertainty {
            Verdict::Near
        } else {
            Verdict::Within
        }
    }
}

/// Rank of a verdict where the worst of several counts.
pub(super) fn rank(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Outside => 3,
        Verdict::Near => 2,
        Verdict::CannotTell => 1,
        Verdict::Within => 0,
    }
}

/// A finding in the making.
pub(super) struct Case {
    pub(super) id: &'static str,
    /// Which of several findings of this name.
    pub(super) kind: Option<&'static str>,
    pub(super) channel: Option<&'static str>,
    pub(super) unit: &'static str,
    pub(super) value: Option<f64>,
    pub(super) uncertainty: Option<f64>,
    pub(super) bounds: Bounds,
    pub(super) limit: Option<String>,
    pub(super) meaning: Meaning,
    /// The figures in plain words; a whole sentence without its full stop.
    pub(super) figures: String,
    /// Why there is no value and how to find out: `because; to find out: ...`.
    pub(super) missing: String,
    /// What to turn if the value is outside, step by step.
    pub(super) turn: Vec<TurnStep>,
    pub(super) origin: Option<RecordedOn>,
    pub(super) capture_is_bad: bool,
}

impl Case {
    /// The judged finding.
    pub(super) fn finish(self) -> Finding {
        let verdict = self.verdict();
        let why = self.why(verdict);
        let steps = if verdict == Verdict::Outside { careful(self.turn, self.origin) } else { vec![] };
        let turn = said(&steps, self.capture_is_bad);
        Finding {
            id: self.id.to_owned(),
            kind: self.kind.map(str::to_owned),
            channel: self.channel.map(str::to_owned),
            value: self.value,
            uncertainty: self.uncertainty,
            unit: self.unit.to_owned(),
            limit: self.limit,
            verdict,
            basis: self.meaning.basis(),
            why,
            turn,
            // Nothing is to be turned on a capture that shows it wrongly.
            steps: if self.capture_is_bad { vec![] } else { steps },
            rests_on: vec![],
        }
    }

    /// The finding, or `cannot tell` with the figures where no limit is known; `key` is that of a limits file.
    pub(super) fn finish_by(mut self, limit: Option<&Tolerance>, key: &str) -> Finding {
        let told = self.value.is_some() && !matches!(self.meaning, Meaning::CannotTell { .. });
        if limit.is_some() || !told {
            return self.finish();
        }
        let figures = std::mem::take(&mut self.figures);
        let mut finding = self.finish();
        finding.verdict = Verdict::CannotTell;
        finding.turn = None;
        finding.steps.clear();
        finding.why = format!(
            "{figures}. Cannot tell, because no limit is known; to find out: give the service manual's with --limits \
             ({key})"
        );
        finding
    }

    fn verdict(&self) -> Verdict {
        match (&self.meaning, self.value, self.uncertainty) {
            (Meaning::CannotTell { .. }, _, _) => Verdict::CannotTell,
            (_, Some(value), Some(uncertainty)) => self.bounds.stand(value, uncertainty),
            _ => Verdict::CannotTell,
        }
    }

    fn why(&self, verdict: Verdict) -> String {
        if let Meaning::CannotTell { because, find_out } = &self.meaning {
            return format!("cannot tell, because {because}; to find out: {find_out}");
        }
        if self.value.is_none() {
            return format!("cannot tell, because {}", self.missing);
        }
        if self.uncertainty.is_none() {
            return format!(
                "cannot tell, because the uncertainty is not known; to find out: record a longer return. {}",
                self.figures
            );
        }
        match verdict {
            Verdict::CannotTell => format!(
                "cannot tell, because the uncertainty is wider than the limit; to find out: record again with more \
                 level, or a longer return. {}",
                self.figures
            ),
            Verdict::Near => format!("{}; closer to the limit than the uncertainty", self.figures),
            Verdict::Outside if self.origin == Some(RecordedOn::Direct) => {
                format!("{}; this is the sound card's own, not a deck's", self.figures)
            }
            _ => self.figures.clone(),
        }
    }
}

/// Names of the channels, in the order of every pair.
pub(super) const SIDES: [&str; 2] = ["left", "right"];

/// `3.2 dB` for a limit, with as many decimals as the number has, at most 4.
pub(super) fn plain(value: f64) -> String {
    let text = format!("{value:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample;
    use crate::reading::Heads;

    const ORDER: [&str; 16] = [
        "capture",
        "wiring",
        "speed",
        "flutter",
        "azimuth",
        "replay-response",
        "channel-match",
        "replay-level",
        "record-level",
        "bias",
        "record-equalisation",
        "noise",
        "hum",
        "distortion",
        "saturation",
        "separation",
    ];

    #[test]
    fn verdicts_respect_the_uncertainty() {
        let bounds = Bounds::within(1.0);
        for (value, uncertainty, want) in [
            (0.5, 0.1, Verdict::Within),
            (-0.95, 0.1, Verdict::Near),
            (1.05, 0.1, Verdict::Near),
            (-1.2, 0.1, Verdict::Outside),
            (0.5, 1.5, Verdict::CannotTell),
            (30.0, 1.5, Verdict::Outside),
            (f64::NAN, 0.1, Verdict::CannotTell),
            (0.0, f64::NAN, Verdict::CannotTell),
        ] {
            assert_eq!(bounds.stand(value, uncertainty), want, "{value} +- {uncertainty}");
        }
        assert_eq!(Bounds::below(-48.0).stand(-60.0, 1.0), Verdict::Within);
        assert_eq!(Bounds::below(-48.0).stand(-40.0, 1.0), Verdict::Outside);
    }

    fn every_origin() -> Vec<(Option<RecordedOn>, Option<Heads>)> {
        let mut all = vec![(None, None)];
        for on in [
            RecordedOn::Calibrated,
            RecordedOn::House,
            RecordedOn::OtherDeck,
            RecordedOn::ThisDeck,
            RecordedOn::Injected,
            RecordedOn::Direct,
        ] {
            all.extend([None, Some(Heads::Two), Some(Heads::Three)].map(|heads| (Some(on), heads)));
        }
        all
    }

    #[test]
    fn findings_stand_in_the_order_of_work_and_none_is_missing() {
        for reading in [sample::healthy(), sample::faulty(), sample::empty()] {
            let findings = judge(&reading, &Limits::good_deck());
            let mut ids: Vec<&str> = findings.iter().map(|finding| finding.id.as_str()).collect();
            ids.dedup();
            assert_eq!(ids, ORDER);
        }
    }

    #[test]
    fn no_two_findings_go_by_the_same_name() {
        for reading in [sample::healthy(), sample::faulty(), sample::empty()] {
            let mut names: Vec<_> = judge(&reading, &Limits::good_deck())
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
        for limits in [Limits::good_deck(), Limits::modest_deck()] {
            for (recorded_on, heads) in every_origin() {
                let mut reading = sample::healthy();
                reading.circumstances.recorded_on = recorded_on;
                reading.circumstances.heads = heads;
                for finding in judge(&reading, &limits) {
                    assert_eq!(finding.turn, None, "{recorded_on:?} {heads:?} {finding:?}");
                    assert_ne!(finding.verdict, Verdict::Outside, "{recorded_on:?} {heads:?} {finding:?}");
                }
            }
        }
    }

    #[test]
    fn only_what_is_outside_gets_a_turn_and_nothing_to_turn_in_a_direct_capture() {
        for (recorded_on, heads) in every_origin() {
            let mut reading = sample::faulty();
            reading.circumstances.recorded_on = recorded_on;
            reading.circumstances.heads = heads;
            for finding in judge(&reading, &Limits::good_deck()) {
                if finding.turn.is_some() {
                    assert_eq!(finding.verdict, Verdict::Outside, "{finding:?}");
                    assert!(
                        recorded_on != Some(RecordedOn::Direct)
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
        for finding in judge(&sample::empty(), &Limits::good_deck()) {
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
        let findings = judge(&reading, &Limits::good_deck());
        let turned: Vec<_> = findings.iter().skip(1).filter_map(|finding| finding.turn.as_ref()).collect();
        assert!(turned.len() > 3, "{findings:?}");
        for turn in turned {
            assert!(turn.starts_with("put the capture right"), "{turn}");
        }
    }
}
