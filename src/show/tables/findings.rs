//! Findings, work and warnings.

use crate::judge::Reading;
use crate::reading::{
    Channel, Finding, NotJudged, Remedy, Settled, UncertainFrom, UncertaintyPart, Verdict, Warning,
};
use crate::show::page::{Block, Entry, Printed, Rows, Section, Tone};
use crate::show::remedies;
use crate::show::words::{self, sentence};
use crate::trade::BEFORE_TURNING;

/// Quantities whose value is a size or a level below its reference: a plus would say nothing.
const SIZES: [&str; 6] = ["flutter", "noise", "hum", "distortion", "separation", "playback-equalisation"];

/// A value with its uncertainty, such as `+17.0 +- 0.3 us`; `None` if there is no value.
pub(in crate::show) fn value(finding: &Finding) -> Option<String> {
    let is_size = SIZES.contains(&finding.id.as_str());
    Some(words::figure(finding.value?, finding.uncertainty, finding.unit.as_str(), &finding.id, !is_size))
}

/// What is to be done now, in the order of work; what is settled; what could not be judged.
pub(in crate::show) fn work(reading: &Reading) -> Vec<Section> {
    let steps: Vec<(u32, String, String)> = reading
        .work
        .iter()
        .map(|work| {
            let mut because = work.findings.join("; ");
            if !work.after.is_empty() {
                let numbers: Vec<String> = work.after.iter().map(u32::to_string).collect();
                because += &format!("; after {}", numbers.join(", "));
            }
            (work.number, sentence(&work.step.text), because)
        })
        .collect();
    let mut sections = vec![steps_and_note(reading, steps)];
    if !reading.settled.is_empty() {
        let all: Vec<String> = reading.settled.iter().map(settled).collect();
        sections.push(Section::new("Settled: judged, and right now").say(format!("{}.", all.join("; "))));
    }
    let lacks = |group: &&NotJudged| group.in_programme == Some(false);
    let (lacking, open): (Vec<_>, Vec<_>) = reading.not_judged.iter().partition(lacks);
    if !open.is_empty() {
        let entries = open.into_iter().map(not_judged).collect();
        sections.push(Section::new("Not judged, and what it takes").block(Block::Entries(entries)));
    }
    if !lacking.is_empty() {
        let entries = lacking.into_iter().map(not_in_programme).collect();
        sections.push(Section::new("Not in this programme").block(Block::Entries(entries)));
    }
    sections
}

/// Numbered steps below what holds for all of them, and what goes with them or stands instead.
pub(in crate::show) fn steps_and_note(reading: &Reading, steps: Vec<(u32, String, String)>) -> Section {
    let mut section = Section::new("What to do now, in this order");
    if !steps.is_empty() {
        section = section.block(Block::Paragraph(Tone::Warning, BEFORE_TURNING.to_owned()));
        section = section.block(Block::Steps(steps));
    }
    section.say(note(reading))
}

/// `azimuth +0.4 +- 0.3 us`.
fn settled(settled: &Settled) -> String {
    let id = settled.finding.split([' ', ',']).next().unwrap_or_default();
    let figure = settled.value.map(|value| {
        let is_size = SIZES.contains(&id);
        words::figure(value, settled.uncertainty, settled.unit.as_str(), id, !is_size)
    });
    let marginal = (settled.verdict == Verdict::Marginal).then(|| "(marginal)".to_owned());
    let words: Vec<String> =
        [Some(settled.finding.clone()), figure, marginal].into_iter().flatten().collect();
    words.join(" ")
}

/// The findings, and why with what to do.
fn not_judged(group: &NotJudged) -> Entry {
    let mut entry = Entry::new(names(&group.findings));
    entry.line("why", Tone::Plain, Some(sentence(&group.untold.because)));
    entry.line("do", Tone::Plain, Some(find_out(group)));
    entry
}

fn not_in_programme(group: &NotJudged) -> Entry {
    let mut entry = Entry::new(names(&group.findings));
    entry.line("do", Tone::Plain, Some(find_out(group)));
    entry
}

/// What to do for it, with the options that it takes.
pub(in crate::show) fn find_out(group: &NotJudged) -> String {
    sentence(&remedies::with_options(&group.untold.find_out, &group.remedies))
}

/// Kinds of a finding, each with its channels.
type Kinds<'a> = Vec<(&'a str, Vec<&'a str>)>;

/// Names with what they have in common said once: `playback-response left and right, bass left`.
pub(in crate::show) fn names(findings: &[String]) -> String {
    let mut all: Vec<(&str, Kinds)> = Vec::new();
    for finding in findings {
        let (id, more) = finding.split_at(finding.find([' ', ',']).unwrap_or(finding.len()));
        let more = more.trim_start_matches([' ', ',']);
        let (first, others) = more.split_once(", ").unwrap_or((more, ""));
        let (side, kind) = if ["left", "right"].contains(&first) { (first, others) } else { ("", more) };
        let place = all.iter().position(|(known, _)| *known == id).unwrap_or_else(|| {
            all.push((id, Vec::new()));
            all.len() - 1
        });
        let kinds = &mut all[place].1;
        match kinds.iter_mut().find(|(known, _)| *known == kind) {
            Some((_, sides)) => sides.extend((!side.is_empty()).then_some(side)),
            None => kinds.push((kind, vec![side])),
        }
    }
    let of_kind =
        |(kind, sides): &(&str, Vec<&str>)| format!("{kind} {}", sides.join(" and ")).trim().to_owned();
    let each = |(id, kinds): &(&str, Kinds)| {
        let kinds: Vec<String> = kinds.iter().map(of_kind).collect();
        format!("{id} {}", kinds.join(", ")).trim_end().to_owned()
    };
    all.iter().map(each).collect::<Vec<_>>().join("; ")
}

/// What goes with the steps, or stands instead of them.
fn note(reading: &Reading) -> String {
    let any = |is: fn(&Finding) -> bool| reading.findings.iter().any(is);
    let note = if !reading.work.is_empty() {
        if any(|finding| finding.id == "capture" && finding.verdict == Verdict::Outside) {
            "Then read the new return: on this one nothing else is to be turned."
        } else if reading.work.iter().any(|work| !work.after.is_empty()) {
            "Record and read again after each step that a later one names."
        } else {
            "Then record and read again."
        }
    } else if any(|finding| finding.verdict == Verdict::Outside) {
        "Nothing is to be turned for what is outside: see the findings."
    } else if reading.settled.is_empty() {
        "Nothing can be said: nothing was judged. The list below says how to find out."
    } else if reading.not_judged.iter().any(|group| group.in_programme != Some(false)) {
        "Nothing so far: what was judged is right. Not everything could be judged: the list below says what it takes."
    } else {
        "Nothing: all that this programme can tell was judged, and is right."
    };
    note.to_owned()
}

/// The findings in the order of work, and `findings.csv`.
pub(in crate::show) fn findings(findings: &[Finding]) -> Section {
    let section = Section::new("Findings, in the order of work");
    if findings.is_empty() {
        return section.say("None.");
    }
    let filed = Rows::of("findings.csv", findings)
        .printed(Printed::Nowhere)
        .key("id", |finding| finding.id.as_str())
        .key("channel", |finding| finding.channel.map_or("", Channel::as_str))
        .key("kind", |finding| finding.kind.clone().unwrap_or_default())
        .key("verdict", |finding| words::verdict(finding.verdict))
        .key("value", |finding| finding.value)
        .key("uncertainty", |finding| finding.uncertainty)
        .key("unit", |finding| finding.unit.as_str())
        .key("limit", |finding| finding.limit.clone().unwrap_or_default())
        .key("basis", |finding| finding.basis.as_str())
        .key("why", |finding| finding.why.as_str())
        .key("turn", |finding| finding.turn.clone().unwrap_or_default());
    section
        .say(format!("{}. Before anything is turned: read the cautions at the end.", tally(findings)))
        .block(Block::Entries(
            in_order(findings).into_iter().filter(|finding| stands(finding)).map(entry).collect(),
        ))
        .table(filed.table())
}

/// How many findings have each verdict, in one line.
fn tally(findings: &[Finding]) -> String {
    let count = |wanted| findings.iter().filter(|finding| finding.verdict == wanted).count();
    [Verdict::Outside, Verdict::Marginal, Verdict::CannotTell, Verdict::Within]
        .map(|each| format!("{} {}", count(each), words::verdict(each)))
        .join(", ")
}

/// Whether there is more to say than that it could not be judged.
fn stands(finding: &Finding) -> bool {
    finding.verdict != Verdict::CannotTell || finding.value.is_some()
}

fn entry(finding: &Finding) -> Entry {
    let mut entry = Entry::new(match finding.channel {
        Some(side) if side.is_side() => format!("{} {side}", finding.id),
        _ => finding.id.clone(),
    });
    entry.verdict = Some(finding.verdict);
    let value: Vec<String> = value(finding).into_iter().chain(finding.kind.clone()).collect();
    entry.value = value.join(", ");
    entry.line("why", Tone::Plain, Some(remedies::why(finding)));
    entry.line("turn", Tone::Turn, finding.turn.clone());
    entry.line("+-", Tone::Aside, parts(finding));
    let first = format!("{}: outside, and this rests on it", finding.rests_on.join(", "));
    entry.line("first", Tone::Aside, (!finding.rests_on.is_empty()).then_some(first));
    entry.line("limit", Tone::Aside, finding.limit.clone());
    entry.line("basis", Tone::Aside, Some(remedies::basis(finding)));
    entry
}

/// What the uncertainty is made of: `0.02 dB the return's own, 0.10 dB what usual sound cards ...`.
fn parts(finding: &Finding) -> Option<String> {
    let part = |part: &UncertaintyPart| {
        let words = match part.from {
            UncertainFrom::Return => "the return's own",
            UncertainFrom::SoundCard => {
                "what a usual player and sound card may be off by, from memory; a loopback capture tells"
            }
            UncertainFrom::Stretches => "how the deck differs from one stretch of tape to the next",
        };
        let size = words::uncertainty(part.uncertainty, finding.unit.as_str(), &finding.id);
        let asked = finding.remedies.iter().filter(|_| part.from == UncertainFrom::SoundCard);
        remedies::with_options(
            &format!("{size} {words}"),
            asked.filter(|remedy| **remedy == Remedy::GiveLoopback),
        )
    };
    let parts: Vec<String> = finding.uncertainty_parts.iter().map(part).collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// The findings in the order of work, the worst first among those of one name.
pub(in crate::show) fn in_order(findings: &[Finding]) -> Vec<&Finding> {
    let mut groups: Vec<(&str, Vec<&Finding>)> = Vec::new();
    for finding in findings {
        match groups.iter_mut().find(|(id, _)| *id == finding.id) {
            Some((_, group)) => group.push(finding),
            None => groups.push((&finding.id, vec![finding])),
        }
    }
    for (_, group) in &mut groups {
        group.sort_by_key(|finding| std::cmp::Reverse(finding.verdict.rank()));
    }
    groups.into_iter().flat_map(|(_, group)| group).collect()
}

/// What must be known before the figures are trusted.
pub(in crate::show) fn warnings(warnings: &[Warning]) -> Section {
    let facts: Vec<(String, String)> =
        warnings.iter().map(|warning| (warning.id.to_string(), warning.text.clone())).collect();
    let section = Section::new("Warnings");
    if facts.is_empty() { section.say("None.") } else { section.block(Block::Facts(facts)) }
}

#[cfg(test)]
mod tests {
    #[test]
    fn names_say_once_what_they_share() {
        let told =
            |names: &[&str]| super::names(&names.iter().map(|&name| name.to_owned()).collect::<Vec<_>>());
        let names = ["response left", "response left, bass", "response right", "response right, bass", "hum"];
        assert_eq!(told(&names), "response left and right, bass left and right; hum");
        assert_eq!(told(&["level left", "level right", "level"]), "level left and right");
        assert_eq!(told(&["flutter, weighted rms", "flutter, 2-sigma"]), "flutter weighted rms, 2-sigma");
    }
}
