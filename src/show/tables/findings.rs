//! Findings, work and warnings.

use crate::judge::Reading;
use crate::reading::{Channel, Finding, NotJudged, Remedy, UncertainFrom, UncertaintyPart, Verdict, Warning};
use crate::show::page::{Block, Entry, Judged, Printed, Rows, Section, Tone};
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

/// What is to be done now, in the order of work.
pub(in crate::show) fn work(reading: &Reading) -> Section {
    let steps = reading.work.iter().map(|work| {
        let mut because = work.findings.join("; ");
        if !work.after.is_empty() {
            let numbers: Vec<String> = work.after.iter().map(u32::to_string).collect();
            because += &format!("; after {}", numbers.join(", "));
        }
        (work.number, sentence(&work.step.text), because)
    });
    steps_and_note(reading, steps.collect())
}

/// What could not be judged: what it takes, and what the programme holds nothing for.
pub(in crate::show) fn not_judged(reading: &Reading) -> Vec<Section> {
    let mut sections = Vec::new();
    let lacks = |group: &&NotJudged| group.in_programme == Some(false);
    let (lacking, open): (Vec<_>, Vec<_>) = reading.not_judged.iter().partition(lacks);
    if !open.is_empty() {
        let entries = open.into_iter().map(judged_by).collect();
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

/// The findings, and why with what to do.
fn judged_by(group: &NotJudged) -> Entry {
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
            "Then read the new return. Turn nothing else by this one."
        } else if reading.work.iter().any(|work| !work.after.is_empty()) {
            "Record and read again after each step that a later one names."
        } else {
            "Then record and read again."
        }
    } else if any(|finding| finding.verdict == Verdict::Outside) {
        "Turn nothing for what is outside: see the findings."
    } else if reading.settled.is_empty() {
        "Nothing was judged. The list below says how to find out."
    } else if reading.not_judged.iter().any(|group| group.in_programme != Some(false)) {
        "Nothing so far: what was judged is right. The list below says what it takes to judge the rest."
    } else {
        "Nothing: all that this programme can tell is right."
    };
    note.to_owned()
}

/// The findings in the order of work, and `findings.csv`.
pub(in crate::show) fn findings(findings: &[Finding]) -> Section {
    let section = Section::new("Findings in full, in the order of work");
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
    let told = together(findings).into_iter().filter(|group| group.iter().any(|finding| stands(finding)));
    section
        .say(format!("{}. Read the cautions at the end before you turn anything.", tally(findings)))
        .block(Block::Entries(told.map(|group| entry(&group)).collect()))
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

/// Findings of one name and kind; what is said of both channels alike is said once.
fn entry(group: &[&Finding]) -> Entry {
    let names = [Some(group[0].id.clone()), group[0].kind.clone()];
    let mut entry = Entry::new(names.into_iter().flatten().collect::<Vec<_>>().join(", "));
    let side =
        |finding: &Finding| finding.channel.filter(|channel| channel.is_side()).map_or("", Channel::as_str);
    entry.figures = group
        .iter()
        .map(|finding| Judged {
            side: side(finding),
            verdict: finding.verdict,
            value: value(finding).unwrap_or_default(),
        })
        .collect();
    let mut say = |label: &'static str, tone: Tone, of: &dyn Fn(&Finding) -> Option<String>| {
        let said: Vec<(&str, Option<String>)> =
            group.iter().map(|finding| (side(finding), of(finding))).collect();
        if said.iter().all(|(_, text)| *text == said[0].1) {
            return entry.line(label, tone, said[0].1.clone());
        }
        for (side, text) in said {
            entry.line(label, tone, text.map(|text| format!("{side}: {text}")));
        }
    };
    say("why", Tone::Plain, &|finding| Some(remedies::why(finding)));
    say("turn", Tone::Turn, &|finding| finding.turn.clone());
    say("+-", Tone::Aside, &parts);
    say("first", Tone::Aside, &|finding| {
        let first = format!("{}: outside, and this rests on it", finding.rests_on.join(", "));
        (!finding.rests_on.is_empty()).then_some(first)
    });
    say("limit", Tone::Aside, &|finding| finding.limit.clone());
    say("basis", Tone::Aside, &|finding| Some(remedies::basis(finding)));
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
            UncertainFrom::Stretches => "how much the deck varies along the tape",
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
fn in_order(findings: &[Finding]) -> Vec<&Finding> {
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

/// The findings in that order, those of one name and kind together, left before right.
pub(in crate::show) fn together(findings: &[Finding]) -> Vec<Vec<&Finding>> {
    let mut groups: Vec<Vec<&Finding>> = Vec::new();
    let key = |finding: &Finding| {
        (finding.id.clone(), finding.kind.clone(), finding.channel.is_some_and(Channel::is_side))
    };
    for finding in in_order(findings) {
        match groups.iter_mut().find(|group| key(group[0]) == key(finding)) {
            Some(group) => group.push(finding),
            None => groups.push(vec![finding]),
        }
    }
    groups.iter_mut().for_each(|group| group.sort_by_key(|finding| finding.channel == Some(Channel::Right)));
    groups
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
