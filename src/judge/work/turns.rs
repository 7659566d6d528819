//! Turns, step by step: how they are put in words, what they rest on, and all of them in the order of work.
//!
//! A finding that is outside holds its turn as steps, and its text is made of them. Here it is known which finding judges what a
//! step moves: from that follows what a finding rests on, and the list of work, in which every adjustment stands once, in the order
//! of `Adjustment`. A step on what is known to be right is left out; on a bad capture nothing else is turned.

use crate::reading::{Adjustment, Channel, Finding, RecordedOn, TurnStep, Unit, Verdict, Way, WorkStep};

/// What comes before every turn in the recording half.
pub(crate) const PLAYBACK_FIRST: &str = "first set playback right, by a calibrated tape";

/// A step on `adjust` with its words, without channel, way and size.
pub(crate) fn step(adjust: Adjustment, text: impl Into<String>) -> TurnStep {
    TurnStep { adjust, channel: None, way: None, by: None, unit: Unit::None, text: text.into() }
}

impl TurnStep {
    /// On this channel.
    pub(crate) fn on(self, channel: Channel) -> Self {
        Self { channel: Some(channel), ..self }
    }

    /// This way, by about so much.
    pub(crate) fn by(self, way: Way, by: f64, unit: Unit) -> Self {
        Self { way: Some(way), by: Some(by), unit, ..self }
    }

    /// This way; how far shows while turning.
    pub(crate) fn towards(self, way: Way) -> Self {
        Self { way: Some(way), ..self }
    }
}

/// The steps with what must be known first; `origin` is whose recording it is.
pub(crate) fn careful(mut steps: Vec<TurnStep>, origin: Option<RecordedOn>) -> Vec<TurnStep> {
    match origin {
        // Nothing of a deck is in this return.
        Some(RecordedOn::Loopback) => return vec![],
        None => {
            if let Some(first) = steps.first_mut() {
                first.text = format!("find out whose recording this is; then {}", first.text);
            }
        }
        Some(RecordedOn::OtherDeck) => {
            if let Some(last) = steps.last_mut() {
                last.text += ". Confirm with a calibrated tape first: the other deck may be off";
            }
        }
        _ => {}
    }
    steps
}

/// The steps in one text; `None` for none.
pub(crate) fn said(steps: &[TurnStep], capture_is_bad: bool) -> Option<String> {
    if steps.is_empty() {
        return None;
    }
    let texts: Vec<String> = steps
        .iter()
        .enumerate()
        .map(|(k, step)| if k == 0 { step.text.clone() } else { capitalised(&step.text) })
        .collect();
    let text = texts.join(". ");
    Some(if capture_is_bad {
        format!("put the capture right and record again; then, if it stays: {text}")
    } else {
        text
    })
}

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

/// The finding that judges what `adjust` moves.
fn judged_by(adjust: Adjustment) -> Option<&'static str> {
    Some(match adjust {
        Adjustment::Capture => "capture",
        Adjustment::Wiring => "wiring",
        Adjustment::Transport => "flutter",
        Adjustment::MotorSpeed => "speed",
        Adjustment::AzimuthScrew => "azimuth",
        Adjustment::PlaybackLevel => "playback-level",
        Adjustment::RecordLevel => "record-level",
        Adjustment::Bias => "bias",
        Adjustment::RecordEqualisation => "record-equalisation",
        Adjustment::Hum => "hum",
        Adjustment::Heads | Adjustment::EqualisationNetwork | Adjustment::PlaybackEqualisation => {
            "playback-response"
        }
        Adjustment::Capacitors
        | Adjustment::Amplifier
        | Adjustment::HeadItself
        | Adjustment::PlaybackFirst
        | Adjustment::Tape => return None,
    })
}

/// Says of every finding which others must be put right first: those that are outside and judge what its steps move.
pub(crate) fn rest(findings: &mut [Finding]) {
    let outside: Vec<String> = findings
        .iter()
        .filter(|finding| finding.verdict == Verdict::Outside)
        .map(|finding| finding.id.clone())
        .collect();
    for finding in findings {
        let wanted = finding.steps.iter().filter_map(|step| judged_by(step.adjust));
        let mut ids: Vec<String> = wanted
            .filter(|id| *id != finding.id && outside.iter().any(|outside| outside == id))
            .map(str::to_owned)
            .collect();
        ids.dedup();
        finding.rests_on = ids;
    }
}

/// `playback-response left`, `flutter, weighted rms`.
pub(crate) fn name(finding: &Finding) -> String {
    let kind = finding.kind.as_ref().map_or(String::new(), |kind| format!(", {kind}"));
    match finding.channel {
        Some(side) if side.is_side() => format!("{} {side}{kind}", finding.id),
        _ => format!("{}{kind}", finding.id),
    }
}

/// Both texts as one, where they differ in nothing but the name of the channel.
fn of_both(one: &str, other: &str) -> Option<String> {
    let [left, right] = Channel::SIDES.map(|side| side.to_string());
    let both = format!("{left} and {right}");
    if one.split(' ').count() != other.split(' ').count() {
        return None;
    }
    let words = one.split(' ').zip(other.split(' ')).map(|(a, b)| match (a, b) {
        _ if a == b => Some(a.to_owned()),
        _ if a.replace(&left, &right) == b => Some(a.replace(&left, &both)),
        _ if b.replace(&left, &right) == a => Some(b.replace(&left, &both)),
        _ => None,
    });
    Some(words.collect::<Option<Vec<String>>>()?.join(" "))
}

/// What is said of both channels in the same words, their names apart, stands once.
fn alike_together(all: &mut Vec<WorkStep>) {
    let mut k = 0;
    while k < all.len() {
        let of_both = |other: &WorkStep| {
            let same = other.step.adjust == all[k].step.adjust && other.step.way == all[k].step.way;
            same.then(|| of_both(&all[k].step.text, &other.step.text)).flatten()
        };
        let found = (k + 1..all.len()).find_map(|other| Some((other, of_both(&all[other])?)));
        if let Some((other, text)) = found {
            let other = all.remove(other);
            all[k].step.text = text;
            all[k].step.channel = Some(Channel::Both);
            all[k].findings.extend(other.findings);
        } else {
            k += 1;
        }
    }
}

/// Whether all findings of this name are within their limits.
fn is_within(findings: &[Finding], id: &str) -> bool {
    let mut named = findings.iter().filter(|finding| finding.id == id).peekable();
    named.peek().is_some() && named.all(|finding| finding.verdict == Verdict::Within)
}

/// All that is to be done, in the order of work: what several findings ask for stands once.
///
/// Empty where nothing is outside its limit, and where a bad capture comes first it is the only step.
pub fn work(findings: &[Finding]) -> Vec<WorkStep> {
    // Beside each step, whether the finding that judges it asks for it.
    let mut all: Vec<(WorkStep, bool)> = Vec::new();
    for finding in findings {
        let name = name(finding);
        for step in &finding.steps {
            // What is known to be right needs no second look.
            if judged_by(step.adjust)
                .is_some_and(|id| id != finding.id && finding.steps.len() > 1 && is_within(findings, id))
            {
                continue;
            }
            let own = judged_by(step.adjust) == Some(finding.id.as_str());
            let same = |(known, _): &&mut (WorkStep, bool)| {
                known.step.adjust == step.adjust
                    && (known.step.channel == step.channel
                        || step.channel.is_none()
                        || known.step.channel.is_none())
            };
            match all.iter_mut().find(same) {
                Some((known, known_own)) => {
                    // The words of the finding that judges it, and of those the first.
                    if own && !*known_own {
                        known.step = step.clone();
                    }
                    *known_own |= own;
                    if !known.findings.contains(&name) {
                        known.findings.push(name.clone());
                    }
                }
                None => {
                    let findings = vec![name.clone()];
                    all.push((WorkStep { number: 0, step: step.clone(), findings, after: vec![] }, own));
                }
            }
        }
    }
    let mut all: Vec<WorkStep> = all.into_iter().map(|(step, _)| step).collect();
    alike_together(&mut all);
    all.sort_by_key(|step| step.step.adjust);
    for (k, step) in all.iter_mut().enumerate() {
        step.number = k as u32 + 1;
    }
    let places: Vec<(u32, Adjustment, Vec<String>)> =
        all.iter().map(|step| (step.number, step.step.adjust, step.findings.clone())).collect();
    for step in &mut all {
        let asking = |name: &String| step.findings.contains(name);
        step.after = places
            .iter()
            .filter(|(number, adjust, names)| {
                *number < step.number && *adjust != step.step.adjust && names.iter().any(asking)
            })
            .map(|(number, ..)| *number)
            .collect();
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_that_differ_in_the_channel_alone_are_one() {
        let text = |side: &str| format!("once all is right: trimmer {side} up; the {side}'s high tone");
        let both = "once all is right: trimmer left and right up; the left and right's high tone";
        for (one, other) in [("left", "right"), ("right", "left")] {
            assert_eq!(of_both(&text(one), &text(other)).as_deref(), Some(both));
        }
        assert_eq!(of_both("trimmer left up", "trimmer right down"), None);
        assert_eq!(of_both("trimmer left up", "trimmer right up 2 dB"), None);
    }
}
