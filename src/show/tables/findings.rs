//! Findings, work and warnings.

use crate::reading::{Channel, Finding, Verdict, Warning, WorkStep};
use crate::show::page::{Block, Entry, Printed, Rows, Section, Tone};
use crate::show::remedies;
use crate::show::words::{self, sentence};

/// Quantities whose value is a size or a level below its reference: a plus would say nothing.
const SIZES: [&str; 7] =
    ["flutter", "noise", "hum", "capture", "distortion", "separation", "playback-equalisation"];

/// A value with its uncertainty, such as `+17.0 +- 0.3 us`; `None` if there is no value.
pub(in crate::show) fn value(finding: &Finding) -> Option<String> {
    let is_size = SIZES.contains(&finding.id.as_str());
    Some(words::figure(finding.value?, finding.uncertainty, finding.unit.as_str(), &finding.id, !is_size))
}

/// What is to be done, in the order of work.
pub(in crate::show) fn work(work: &[WorkStep], findings: &[Finding]) -> Section {
    let steps: Vec<(u32, String, String)> = work
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
    let section = Section::new("What to do, in this order");
    let section = if steps.is_empty() { section } else { section.block(Block::Steps(steps)) };
    section.say(note(work, findings))
}

/// What goes with the steps, or stands instead of them.
fn note(work: &[WorkStep], findings: &[Finding]) -> String {
    let any = |is: fn(&Finding) -> bool| findings.iter().any(is);
    if !work.is_empty() {
        let capture = any(|finding| finding.id == "capture" && finding.verdict == Verdict::Outside);
        let note = if capture {
            "Then read the new return: on this one nothing else is to be turned."
        } else if work.iter().any(|work| !work.after.is_empty()) {
            "After each step that a later one names, record and read again: what is left may be gone."
        } else {
            "Then record and read again."
        };
        return note.to_owned();
    }
    let open = findings.iter().filter(|finding| finding.verdict == Verdict::CannotTell).count();
    if any(|finding| finding.verdict == Verdict::Outside) {
        "Nothing is to be turned for what is outside: see the findings.".to_owned()
    } else if open == findings.len() {
        "Nothing can be said: nothing was judged. Each finding says how to find out.".to_owned()
    } else if open == 0 {
        "Nothing: every quantity was judged, and none is outside its limit.".to_owned()
    } else {
        format!(
            "Nothing so far: what was judged is inside its limits. {open} of {} findings could not be judged; each says how to \
             find out.",
            findings.len()
        )
    }
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
        .block(Block::Entries(grouped(findings).iter().map(|group| entry(group)).collect()))
        .table(filed.table())
}

/// How many findings have each verdict, in one line.
fn tally(findings: &[Finding]) -> String {
    let count = |wanted| findings.iter().filter(|finding| finding.verdict == wanted).count();
    [Verdict::Outside, Verdict::Marginal, Verdict::CannotTell, Verdict::Within]
        .map(|each| format!("{} {}", count(each), words::verdict(each)))
        .join(", ")
}

/// A finding, or several that cannot be told for one reason.
fn entry(group: &[&Finding]) -> Entry {
    let finding = group[0];
    let why = Some(remedies::why(finding));
    let basis = remedies::basis(finding);
    if group.len() > 1 {
        let mut entry = Entry::new(names(group));
        entry.verdict = Some(finding.verdict);
        entry.line("why", Tone::Plain, why);
        let shared = group.iter().all(|other| remedies::basis(other) == basis);
        entry.line("basis", Tone::Aside, shared.then_some(basis));
        return entry;
    }
    let mut entry = Entry::new(match finding.channel {
        Some(side) if side.is_side() => format!("{} {side}", finding.id),
        _ => finding.id.clone(),
    });
    entry.verdict = Some(finding.verdict);
    let value: Vec<String> = value(finding).into_iter().chain(finding.kind.clone()).collect();
    entry.value = value.join(", ");
    entry.line("why", Tone::Plain, why);
    entry.line("turn", Tone::Turn, finding.turn.clone());
    let first = format!("{}: outside, and this rests on it", finding.rests_on.join(", "));
    entry.line("first", Tone::Aside, (!finding.rests_on.is_empty()).then_some(first));
    entry.line("limit", Tone::Aside, finding.limit.clone());
    entry.line("basis", Tone::Aside, Some(basis));
    entry
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
        group.sort_by_key(|finding| match finding.verdict {
            Verdict::Outside => 0,
            Verdict::Marginal => 1,
            Verdict::CannotTell => 2,
            Verdict::Within => 3,
        });
    }
    groups.into_iter().flat_map(|(_, group)| group).collect()
}

/// Those that cannot be told for one and the same reason stand together, at the place of the first.
fn grouped(findings: &[Finding]) -> Vec<Vec<&Finding>> {
    let mut groups: Vec<Vec<&Finding>> = Vec::new();
    let untold = |finding: &Finding| finding.verdict == Verdict::CannotTell && finding.turn.is_none();
    for finding in in_order(findings) {
        let same = groups.iter_mut().find(|group| {
            untold(finding) && group.iter().all(|other| untold(other) && other.why == finding.why)
        });
        match same {
            Some(group) => group.push(finding),
            None => groups.push(vec![finding]),
        }
    }
    groups
}

/// Names of the findings of a group, each once.
fn names(group: &[&Finding]) -> String {
    let mut names: Vec<&str> = Vec::new();
    for finding in group {
        if !names.contains(&finding.id.as_str()) {
            names.push(&finding.id);
        }
    }
    names.join(", ")
}

/// What must be known before the figures are trusted.
pub(in crate::show) fn warnings(warnings: &[Warning]) -> Section {
    let facts: Vec<(String, String)> =
        warnings.iter().map(|warning| (warning.id.to_string(), warning.text.clone())).collect();
    let section = Section::new("Warnings");
    if facts.is_empty() { section.say("None.") } else { section.block(Block::Facts(facts)) }
}
