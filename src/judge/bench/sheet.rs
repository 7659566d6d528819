//! Everything that goes onto the sheet of a job: as found beside as left.

use crate::judge::Reading;
use crate::judge::bench::hand_readings::{HandRow, judge_by_hand};
use crate::judge::bench::job_skew::{MusicAzimuth, music_azimuth};
use crate::judge::bench::next_step::steps;
use crate::judge::bench::owner::{Beside, OwnersPage, owners_page};
use crate::judge::bench::step::{JobEvidence, JobReading, Step};
use crate::judge::compare::named::Named;
use crate::judge::compare::readings::compare;
use crate::judge::limits::Limits;
use crate::reading::{Channel, Comparison, JobSheet, JobState, RecordedOn, Workshop};

/// Readings of one programme, before and after.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetPair {
    /// Which of the two there are, as found and as left.
    pub there: [bool; 2],
    /// The two against each other; of one reading alone, that reading against itself.
    pub comparison: Comparison,
    /// Names of the findings of the last reading that are outside, with what to turn.
    pub turns: Vec<(String, String)>,
}

impl SheetPair {
    /// Whether no deck is in it.
    pub fn is_sound_card(&self) -> bool {
        let mut readings = self.comparison.readings.iter();
        readings.all(|reading| reading.circumstances.recorded_on == Some(RecordedOn::Loopback))
    }
}

/// Who makes the sheet, and when.
#[derive(Debug, Clone, Copy, Default)]
pub struct SheetMade<'a> {
    /// Who did the work, if that is known.
    pub workshop: Option<&'a Workshop>,
    /// The date, in words.
    pub date: &'a str,
    /// Limits of the job; without them, common practice for full-size decks.
    pub limits: Option<&'a Limits>,
}

/// What is on the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct BenchSheet<'a> {
    /// The job.
    pub job: &'a JobSheet,
    /// Who did the work, if that is known.
    pub workshop: Option<&'a Workshop>,
    /// The date, in words.
    pub date: String,
    /// What the owner reads.
    pub owner: OwnersPage<'a>,
    /// What was read by hand, judged.
    pub hand: Vec<HandRow>,
    /// Azimuth by ordinary music, if that was read.
    pub music: Option<MusicAzimuth>,
    /// What was read from returns.
    pub pairs: Vec<SheetPair>,
    /// The order of work.
    pub steps: Vec<Step>,
    /// Readings that cannot be had, each with the reason.
    pub missing: Vec<String>,
}

/// The sheet of `job` with the readings that are attached to it.
///
/// The first reading as found stands against the last one as left of the same recipe, origin and tape type.
pub fn bench_sheet<'a>(
    job: &'a JobSheet,
    evidence: &JobEvidence<'a>,
    missing: Vec<String>,
    made: SheetMade<'a>,
) -> BenchSheet<'a> {
    let readings = evidence.readings;
    let key = |reading: &Reading| {
        let told = &reading.circumstances;
        (reading.recipe.as_ref().map(|recipe| recipe.name.clone()), told.recorded_on, told.tape_type)
    };
    let mut keys = Vec::new();
    for job in readings {
        if !keys.contains(&key(job.reading)) {
            keys.push(key(job.reading));
        }
    }
    let (mut pairs, mut beside) = (Vec::new(), Vec::new());
    for wanted in &keys {
        let (found, left) = {
            let of = |job: &&JobReading<'_>, state| job.state == state && key(job.reading) == *wanted;
            let found = readings.iter().find(|job| of(job, JobState::AsFound));
            (found, readings.iter().rev().find(|job| of(job, JobState::AsLeft)))
        };
        if wanted.1 != Some(RecordedOn::Loopback) {
            beside.push(Beside { found: found.copied(), left: left.copied() });
        }
        let named: Vec<Named<'_>> = [("as found", found), ("as left", left)]
            .into_iter()
            .filter_map(|(name, job)| Some(Named { name, file: job?.file, reading: job?.reading }))
            .collect();
        let Some(last) = named.last() else { continue };
        let turns = last
            .reading
            .findings
            .iter()
            .filter_map(|finding| {
                let channel = finding.channel.map(Channel::as_str);
                let name = [Some(finding.id.as_str()), finding.kind.as_deref(), channel];
                let name: Vec<&str> = name.into_iter().flatten().collect();
                Some((name.join(", "), finding.turn.clone()?))
            })
            .collect();
        pairs.push(SheetPair {
            there: [found.is_some(), left.is_some()],
            comparison: compare(&named),
            turns,
        });
    }
    // A customer asks for the deck; what the sound card alone does stands behind.
    pairs.sort_by_key(SheetPair::is_sound_card);
    let hand = judge_by_hand(job);
    BenchSheet {
        job,
        workshop: made.workshop,
        date: made.date.to_owned(),
        owner: owners_page(&beside, &hand, made.limits),
        hand,
        music: music_azimuth(evidence.skews),
        pairs,
        steps: steps(job, evidence),
        missing,
    }
}
