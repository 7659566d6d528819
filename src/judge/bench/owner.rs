//! What the owner of a deck reads: some ten lines as found and as left, the response, and one verdict.

use crate::judge::Reading;
use crate::judge::bench::hand_readings::{HandJudged, HandRow};
use crate::judge::bench::step::JobReading;
use crate::judge::limits::{Limits, ResponseLimit};
use crate::reading::{Channel, Finding, Response, Verdict};

/// Quantities of the owner's page: in the owner's words, the finding, and its kind where it has several.
const LINES: [(&str, &str, Option<&str>); 15] = [
    ("speed", "speed", None),
    ("flutter, weighted quasi-peak", "flutter", Some("weighted quasi-peak")),
    ("azimuth", "azimuth", None),
    ("playback level", "playback-level", None),
    ("playback response", "playback-response", None),
    ("left against right, level tone", "channel-match", Some("level tone")),
    ("noise", "noise", None),
    ("hum", "hum", None),
    ("separation", "separation", None),
    ("erasing", "erasing", None),
    ("record level", "record-level", None),
    ("bias", "bias", None),
    ("record equalisation", "record-equalisation", None),
    ("distortion", "distortion", None),
    ("noise reduction", "noise-reduction", None),
];

/// One line of the owner's page.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnersLine<'a> {
    /// What it is, in the owner's words.
    pub words: &'static str,
    /// Findings as found, left before right; empty if it was not judged then.
    pub found: Vec<&'a Finding>,
    /// The same as left.
    pub left: Vec<&'a Finding>,
}

/// The verdict over all.
#[derive(Debug, Clone, PartialEq)]
pub enum OwnersVerdict {
    /// Nothing was judged after the work.
    NotReadAfter,
    /// All that was judged after the work is right; named is what is only just right.
    InOrder(Vec<String>),
    /// What is outside its limit after the work.
    Outside(Vec<String>),
    /// Nothing is outside after the work, but this was before it, and was not judged again.
    NotReadAgain(Vec<String>),
}

/// The response of a deck before and after the work.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnersResponse<'a> {
    /// As found.
    pub found: Option<&'a Response>,
    /// As left.
    pub left: Option<&'a Response>,
    /// What it may be off by, each in its band.
    pub limits: Vec<ResponseLimit>,
}

/// What the owner reads.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnersPage<'a> {
    /// The lines that could be judged, before or after the work.
    pub lines: Vec<OwnersLine<'a>>,
    /// Quantities in the owner's words that could not be judged, though they were looked for.
    pub untold: Vec<&'static str>,
    /// The verdict over all.
    pub verdict: OwnersVerdict,
    /// The response, if one was read.
    pub response: Option<OwnersResponse<'a>>,
}

/// Readings of one programme, origin and tape type: the first as found and the last as left.
#[derive(Debug, Clone, Copy)]
pub(super) struct Beside<'a> {
    pub(super) found: Option<JobReading<'a>>,
    pub(super) left: Option<JobReading<'a>>,
}

/// The owner's page of readings, those of the sound card alone left out, and of what was read by hand.
pub(super) fn owners_page<'a>(
    all: &[Beside<'a>],
    hand: &[HandRow],
    limits: Option<&Limits>,
) -> OwnersPage<'a> {
    let (mut lines, mut untold) = (Vec::new(), Vec::new());
    for (words, id, kind) in LINES {
        let of = |reading: Option<JobReading<'a>>| findings(reading.map(|job| job.reading), id, kind);
        let beside: Vec<[Vec<&Finding>; 2]> =
            all.iter().map(|each| [of(each.found), of(each.left)]).collect();
        let judged =
            |findings: &[&Finding]| findings.iter().any(|finding| finding.verdict != Verdict::CannotTell);
        // Like against like if it can be had, else the newer one.
        let rank = |[found, left]: &&[Vec<&Finding>; 2]| (judged(left), judged(found));
        let Some([found, left]) = beside.iter().max_by_key(rank) else { continue };
        if judged(found) || judged(left) {
            let told =
                |findings: &Vec<&'a Finding>| if judged(findings) { findings.clone() } else { Vec::new() };
            lines.push(OwnersLine { words, found: told(found), left: told(left) });
        } else if beside.iter().flatten().any(|findings| !findings.is_empty()) {
            untold.push(words);
        }
    }
    let response = |job: Option<JobReading<'a>>| job.and_then(|job| job.reading.response.as_ref());
    let read = all.iter().filter(|each| response(each.found).or(response(each.left)).is_some());
    let response = read
        .max_by_key(|each| response(each.found).is_some() && response(each.left).is_some())
        .and_then(|each| {
            let told = &each.left.or(each.found)?.reading.circumstances;
            let limits = limits.cloned().unwrap_or_else(Limits::full_size);
            let main = limits.response(told);
            let limits = limits.bass_below(&main, told).into_iter().chain([main]).collect();
            Some(OwnersResponse { found: response(each.found), left: response(each.left), limits })
        });
    OwnersPage { lines, untold, verdict: verdict(all, hand), response }
}

/// The findings of one quantity and kind, left before right, one of both channels last.
fn findings<'a>(reading: Option<&'a Reading>, id: &str, kind: Option<&str>) -> Vec<&'a Finding> {
    let all = reading.map_or(&[][..], |reading| &reading.findings);
    let of: Vec<&Finding> = all.iter().filter(|finding| finding.id == id).collect();
    // Without a kind asked for, the first one stands for the quantity.
    let kind = kind.or_else(|| of.first().and_then(|first| first.kind.as_deref()));
    let mut of: Vec<&Finding> = of.into_iter().filter(|finding| finding.kind.as_deref() == kind).collect();
    let is_side = |finding: &&Finding| finding.channel.is_some_and(Channel::is_side);
    if of.iter().any(is_side) {
        of.retain(is_side);
    }
    of.sort_by_key(|finding| finding.channel == Some(Channel::Right));
    of
}

/// A quantity that was judged: its name, its kind where it has several, its channel, and the verdict.
type Judged<'a> = ((&'a str, Option<&'a str>, Option<Channel>), Verdict);

fn judged(job: Option<JobReading<'_>>) -> impl Iterator<Item = Judged<'_>> {
    let findings = job.map_or(&[][..], |job| &job.reading.findings);
    let of = findings
        .iter()
        .map(|finding| ((finding.id.as_str(), finding.kind.as_deref(), finding.channel), finding.verdict));
    of.filter(|judged| judged.1 != Verdict::CannotTell)
}

/// What all readings after the work say together, beside what was outside before it.
fn verdict(all: &[Beside<'_>], hand: &[HandRow]) -> OwnersVerdict {
    let by_hand = |judged: &Option<HandJudged>, row: &HandRow| {
        judged
            .as_ref()
            .filter(|one| one.verdict != Verdict::CannotTell)
            .map(|one| ((row.words, None, None), one.verdict))
    };
    let mut found: Vec<_> = all.iter().flat_map(|each| judged(each.found)).collect();
    let mut left: Vec<_> = all.iter().flat_map(|each| judged(each.left)).collect();
    found.extend(hand.iter().filter_map(|row| by_hand(&row.as_found, row)));
    left.extend(hand.iter().filter_map(|row| by_hand(&row.as_left, row)));
    // Each name once, in the owner's words.
    let names = |judged: &mut dyn Iterator<Item = &Judged<'_>>| {
        let mut names: Vec<String> = Vec::new();
        for ((id, _, _), _) in judged {
            let words = LINES.iter().find(|line| line.1 == *id).map_or(*id, |line| line.0);
            if !names.iter().any(|known| known == words) {
                names.push(words.to_owned());
            }
        }
        names
    };
    let is = |wanted: Verdict| move |judged: &&Judged<'_>| judged.1 == wanted;
    let again = |judged: &Judged<'_>| left.iter().any(|one| one.0 == judged.0);
    let outside = names(&mut left.iter().filter(is(Verdict::Outside)));
    let open = names(&mut found.iter().filter(is(Verdict::Outside)).filter(|judged| !again(judged)));
    if left.is_empty() {
        OwnersVerdict::NotReadAfter
    } else if !outside.is_empty() {
        OwnersVerdict::Outside(outside)
    } else if !open.is_empty() {
        OwnersVerdict::NotReadAgain(open)
    } else {
        OwnersVerdict::InOrder(names(&mut left.iter().filter(is(Verdict::Marginal))))
    }
}
