//! A finding in the making: how a value stands to its limit, and what is said of it.
//!
//! Without a loopback capture, player and sound card are in every figure, and nothing in the file shows them: `Case::uncertain` adds
//! what usual ones may be off by. Tables and `compare` keep the return's own, because with one sound card it cancels.

use crate::judge::Limits;
use crate::judge::limits::Tolerance;
use crate::judge::meaning::{Meaning, meaning, remedy};
use crate::judge::quantities::{Id, Key};
use crate::judge::spoilt::spoilt;
use crate::judge::work::turns::{careful, said};
use crate::reading::figures::{frequency, given};
use crate::reading::{
    Cause, Channel, Circumstances, Facts, Finding, RecordedOn, Remedy, Served, TurnStep, UncertainFrom,
    UncertaintyPart, Unit, Untold, Verdict, dead_channels,
};
use crate::trade::sound_card;

/// What all judges look at.
pub(crate) struct Bench<'a> {
    pub(crate) reading: &'a Facts,
    /// What makes the response as it is.
    pub(crate) causes: &'a [Cause],
    pub(crate) limits: &'a Limits,
    /// Set once the capture is judged: all that follows rests on it.
    pub(crate) capture_is_bad: bool,
    /// Set once azimuth is judged: no delay was measured.
    pub(crate) azimuth_is_unknown: bool,
    /// `[left, right]`: no signal on this channel while the other has one.
    pub(crate) dead: [bool; 2],
    /// What was judged before.
    pub(crate) findings: Vec<Finding>,
}

impl<'a> Bench<'a> {
    pub(crate) fn new(reading: &'a Facts, causes: &'a [Cause], limits: &'a Limits) -> Self {
        let dead = dead_channels(&reading.capture, &reading.level);
        Self {
            reading,
            causes,
            limits,
            capture_is_bad: false,
            azimuth_is_unknown: true,
            dead,
            findings: vec![],
        }
    }

    pub(crate) fn put(&mut self, findings: Vec<Finding>) {
        self.findings.extend(findings);
    }

    /// Whether any finding of this name was judged to be outside before.
    pub(crate) fn is_outside(&self, id: &str) -> bool {
        self.findings.iter().any(|finding| finding.id == id && finding.verdict == Verdict::Outside)
    }

    pub(crate) fn circumstances(&self) -> &Circumstances {
        &self.reading.circumstances
    }

    pub(crate) fn recorded_on(&self) -> Option<RecordedOn> {
        self.reading.circumstances.recorded_on
    }

    /// Whether the programme holds a part of any of these kinds; `None` where it is not known what was played.
    pub(crate) fn in_programme(&self, kinds: &[Served]) -> Option<bool> {
        let serves = self.reading.recipe.as_ref()?.serves.as_ref()?;
        Some(kinds.is_empty() || kinds.iter().any(|kind| serves.contains(kind)))
    }

    /// What sound card and player may be off by at `hz`, dB; 0 where a loopback capture took it off, or where they alone are
    /// read.
    pub(crate) fn sound_card_db(&self, hz: f64) -> f64 {
        let told =
            self.reading.capture.loopback.is_some() || self.recorded_on() == Some(RecordedOn::Loopback);
        if told { 0.0 } else { sound_card::response_db(hz) }
    }

    /// The same for left against right.
    pub(crate) fn sound_card_match_db(&self) -> f64 {
        if self.sound_card_db(1000.0) == 0.0 { 0.0 } else { sound_card::MATCH_DB }
    }

    /// Why nothing up to `hz` can be told, where the sample rate is too low for it.
    pub(crate) fn too_slow(&self, hz: f64) -> Option<Untold> {
        let rate_hz = self.reading.capture.rate_hz;
        let top_hz = sound_card::top_hz(rate_hz);
        (top_hz < hz).then(|| {
            Untold::new(
                format!(
                    "the file has only {rate_hz:.0} samples a second, which show nothing above {}",
                    frequency(top_hz)
                ),
                "record again at 44100 Hz or more",
            )
        })
    }

    /// Starts a finding.
    pub(crate) fn case(&self, id: Id) -> Case {
        let row = id.row();
        let told = self.circumstances();
        Case {
            id: row.name,
            kind: None,
            channel: None,
            unit: row.unit,
            value: None,
            uncertainty: None,
            uncertainty_parts: vec![],
            bounds: Bounds::within(f64::INFINITY),
            reads: None,
            place: None,
            at_hz: None,
            allowed: None,
            limit: None,
            meaning: row.meaning.map_or(OF_THE_RETURN, |quantity| meaning(quantity, told)),
            in_programme: self.in_programme(row.served_by),
            figures: String::new(),
            missing: Untold::new("", ""),
            wide: Untold::new(
                "the uncertainty is wider than the limit",
                "record again with more level, or a longer return",
            ),
            turn: vec![],
            remedies: row.meaning.and_then(|quantity| remedy(quantity, told)).into_iter().collect(),
            origin: self.recorded_on(),
            capture_is_bad: self.capture_is_bad,
            spoilt: [false, true].map(|is_one| spoilt(id, &self.reading.warnings, is_one)),
        }
    }
}

/// What a finding on the return itself means.
const OF_THE_RETURN: Meaning = Meaning::Absolute { note: "the return itself" };

/// Range in which a value may lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Bounds {
    low: f64,
    high: f64,
}

impl Bounds {
    /// Deviation either way, at most `limit`.
    pub(crate) fn within(limit: f64) -> Self {
        Self { low: -limit, high: limit }
    }

    /// From `low` to `high`.
    pub(crate) fn between(low: f64, high: f64) -> Self {
        Self { low, high }
    }

    /// At most `high`, however far below.
    pub(crate) fn below(high: f64) -> Self {
        Self { low: f64::NEG_INFINITY, high }
    }

    /// At least `low`, however far above.
    pub(crate) fn above(low: f64) -> Self {
        Self { low, high: f64::INFINITY }
    }

    /// The range in words, in `unit`; `None` if there is none.
    fn words(self, unit: Unit) -> Option<String> {
        let unit = if unit == Unit::Percent { "%" } else { unit.as_str() };
        let words = match (self.low.is_finite(), self.high.is_finite()) {
            (false, false) => return None,
            (true, true) if self.low == -self.high => format!("+-{} {unit}", plain(self.high)),
            (true, true) => format!("{} to {} {unit}", given(self.low, 2), given(self.high, 2)),
            (false, true) => format!("max {} {unit}", plain(self.high)),
            (true, false) => format!("min {} {unit}", plain(self.low)),
        };
        Some(words.trim_end().to_owned())
    }

    /// How `value` with expanded uncertainty `uncertainty` stands to the range.
    ///
    /// A value that is outside by more than its uncertainty is outside, however wide that is; otherwise an uncertainty
    /// wider than half the range allows no verdict.
    pub(crate) fn stand(self, value: f64, uncertainty: f64) -> Verdict {
        if !value.is_finite() || !uncertainty.is_finite() {
            return Verdict::CannotTell;
        }
        let beyond = (self.low - value).max(value - self.high);
        if beyond > uncertainty {
            Verdict::Outside
        } else if uncertainty > 0.5 * (self.high - self.low) {
            Verdict::CannotTell
        } else if beyond >= -uncertainty {
            Verdict::Marginal
        } else {
            Verdict::Within
        }
    }
}

/// A finding in the making.
pub(crate) struct Case {
    pub(crate) id: &'static str,
    /// Which of several findings of this name.
    pub(crate) kind: Option<&'static str>,
    pub(crate) channel: Option<Channel>,
    pub(crate) unit: Unit,
    pub(crate) value: Option<f64>,
    pub(crate) uncertainty: Option<f64>,
    pub(crate) uncertainty_parts: Vec<UncertaintyPart>,
    pub(crate) bounds: Bounds,
    /// What the trade reads first where that is not the value.
    pub(crate) reads: Option<String>,
    /// Where the value was taken.
    pub(crate) place: Option<String>,
    /// At which frequency, Hz.
    pub(crate) at_hz: Option<f64>,
    /// The limit alone, if it is not just the bounds.
    pub(crate) allowed: Option<String>,
    pub(crate) limit: Option<String>,
    pub(crate) meaning: Meaning,
    /// Whether the programme holds something for it.
    pub(crate) in_programme: Option<bool>,
    /// The figures in plain words; a whole sentence without its full stop.
    pub(crate) figures: String,
    /// Why there is no value and how to find out.
    pub(crate) missing: Untold,
    /// Said where the uncertainty is wider than the limit.
    pub(crate) wide: Untold,
    /// What to turn if the value is outside, step by step.
    pub(crate) turn: Vec<TurnStep>,
    /// What can be told or given for more.
    pub(crate) remedies: Vec<Remedy>,
    pub(crate) origin: Option<RecordedOn>,
    pub(crate) capture_is_bad: bool,
    /// What spoilt the figure where there is none, and where there is none that is sure.
    spoilt: [Option<Untold>; 2],
}

impl Case {
    /// Sets the uncertainty: the return's own, and what sound card and player may be off by. Gives both together.
    pub(crate) fn uncertain(&mut self, own: f64, sound_card: f64) -> f64 {
        self.uncertain_by(own, UncertainFrom::SoundCard, sound_card)
    }

    /// Sets the uncertainty: the return's own, and `more` from elsewhere. Gives both together.
    pub(crate) fn uncertain_by(&mut self, own: f64, from: UncertainFrom, more: f64) -> f64 {
        let both = own.hypot(more);
        self.uncertainty = Some(both);
        if more > 0.0 {
            let part = |from, uncertainty| UncertaintyPart { from, uncertainty };
            self.uncertainty_parts = vec![part(UncertainFrom::Return, own), part(from, more)];
        }
        both
    }

    /// The judged finding.
    pub(crate) fn finish(mut self) -> Finding {
        let verdict = self.verdict();
        let untold = self.untold(verdict);
        let sound_card = |part: &UncertaintyPart| part.from == UncertainFrom::SoundCard;
        if untold.is_none() && self.uncertainty_parts.iter().any(sound_card) {
            self.remedies.push(Remedy::GiveLoopback);
        }
        let why = self.why(verdict, untold.as_ref());
        let steps = if verdict == Verdict::Outside { careful(self.turn, self.origin) } else { vec![] };
        let turn = said(&steps, self.capture_is_bad);
        Finding {
            id: self.id.to_owned(),
            kind: self.kind.map(str::to_owned),
            channel: self.channel,
            value: self.value,
            uncertainty: self.uncertainty,
            uncertainty_parts: self.uncertainty_parts,
            unit: self.unit,
            reads: self.reads,
            place: self.place,
            at_hz: self.at_hz,
            allowed: self.allowed.or_else(|| self.bounds.words(self.unit)).filter(|_| self.limit.is_some()),
            limit: self.limit,
            verdict,
            basis: self.meaning.basis(),
            why,
            untold,
            in_programme: self.in_programme,
            turn,
            // Nothing is to be turned on a capture that shows it wrongly.
            steps: if self.capture_is_bad { vec![] } else { steps },
            rests_on: vec![],
            remedies: self.remedies,
        }
    }

    /// The finding, or `cannot tell` with the figures where no limit is known; `key` is its key.
    pub(crate) fn finish_by(mut self, limit: Option<&Tolerance>, key: Key) -> Finding {
        let told = self.value.is_some() && !matches!(self.meaning, Meaning::CannotTell { .. });
        if limit.is_some() || !told {
            return self.finish();
        }
        let figures = std::mem::take(&mut self.figures);
        let mut finding = self.finish();
        finding.verdict = Verdict::CannotTell;
        finding.turn = None;
        finding.steps.clear();
        let untold =
            Untold::new("no limit is known", format!("give the service manual's ({})", key.row().name));
        finding.why = format!("{figures}. C{}", &untold.why()[1..]);
        finding.untold = Some(untold);
        finding.remedies.push(Remedy::GiveLimit { key: key.row().name.to_owned() });
        finding
    }

    fn verdict(&self) -> Verdict {
        match (&self.meaning, self.value, self.uncertainty) {
            (Meaning::CannotTell { .. }, _, _) => Verdict::CannotTell,
            (_, Some(value), Some(uncertainty)) => self.bounds.stand(value, uncertainty),
            _ => Verdict::CannotTell,
        }
    }

    /// What fault of the recording left no verdict.
    fn spoilt(&self, verdict: Verdict) -> Option<Untold> {
        let could_be_told = verdict == Verdict::CannotTell && self.in_programme != Some(false);
        self.spoilt[usize::from(self.value.is_some())].clone().filter(|_| could_be_told)
    }

    /// Why there is no verdict.
    fn untold(&self, verdict: Verdict) -> Option<Untold> {
        if let Meaning::CannotTell { because, find_out } = self.meaning {
            Some(Untold::new(because, find_out))
        } else if let Some(spoilt) = self.spoilt(verdict) {
            Some(spoilt)
        } else if self.value.is_none() {
            Some(self.missing.clone())
        } else if self.uncertainty.is_none() {
            Some(Untold::new("the uncertainty is not known", "record a longer return"))
        } else if verdict == Verdict::CannotTell {
            Some(self.wide.clone())
        } else {
            None
        }
    }

    fn why(&self, verdict: Verdict, untold: Option<&Untold>) -> String {
        let of_the_figures = self.value.is_some() && !matches!(self.meaning, Meaning::CannotTell { .. });
        match (untold, verdict) {
            (Some(untold), _) if of_the_figures => format!("{}. {}", untold.why(), self.figures),
            (Some(untold), _) => untold.why(),
            (None, Verdict::Marginal) => {
                format!("{}; closer to the limit than the uncertainty", self.figures)
            }
            (None, Verdict::Outside) if self.origin == Some(RecordedOn::Loopback) => {
                format!("{}; this is the sound card's own, not a deck's", self.figures)
            }
            (None, _) => self.figures.clone(),
        }
    }
}

/// Names of the channels, in the order of every pair.
pub(crate) const SIDES: [Channel; 2] = Channel::SIDES;

/// `3.2 dB` for a limit, with as many decimals as the number has, at most 4.
pub(crate) fn plain(value: f64) -> String {
    given(value, 4)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verdicts_respect_the_uncertainty() {
        let bounds = Bounds::within(1.0);
        for (value, uncertainty, want) in [
            (0.5, 0.1, Verdict::Within),
            (-0.95, 0.1, Verdict::Marginal),
            (1.05, 0.1, Verdict::Marginal),
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
}
