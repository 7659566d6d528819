//! What `read` is told by the job in whose folder it runs.

use super::bench::STATES;
use super::clock::made_now;
use super::terminal::note;
use super::values::{TypedCircumstances, TypedLimits, WithJob, one_of};
use crate::job::{JobFile, find_job};
use crate::judge::Limits;
use crate::reading::{Circumstances, JobState, Made};
use anyhow::anyhow;
use std::path::{Path, PathBuf};

/// Which job.
#[derive(Debug, clap::Args)]
pub struct TypedWhichJob {
    /// Folder of the job (`bench new`) that says what is not typed here; without it, the job that you stand in
    #[arg(long = "job", value_name = "DIR", conflicts_with = "no_job")]
    folder: Option<PathBuf>,
    /// Take nothing from a job
    #[arg(long)]
    no_job: bool,
}

/// Which job, and what becomes of the reading.
#[derive(Debug, clap::Args)]
pub struct TypedReadJob {
    #[command(flatten)]
    which: TypedWhichJob,
    /// Attach the reading to the job: as found or as left
    #[arg(long, value_name = "STATE", value_parser = one_of(&STATES), conflicts_with = "no_job")]
    pub attach: Option<JobState>,
}

impl TypedReadJob {
    /// The job, if there is one.
    pub fn find(&self) -> anyhow::Result<Option<JobFile>> {
        self.which.find()
    }
}

impl TypedWhichJob {
    /// The job, if there is one.
    pub fn find(&self) -> anyhow::Result<Option<JobFile>> {
        if self.no_job {
            return Ok(None);
        }
        if let Some(folder) = &self.folder {
            return Ok(Some(JobFile::load(folder)?));
        }
        let Some(path) = find_job(Path::new(".")) else { return Ok(None) };
        // Who stands in a folder by chance must know how to read all the same.
        Ok(Some(JobFile::load(&path).map_err(|error| anyhow!("{error}, or give --no-job"))?))
    }
}

/// Circumstances and head of a reading, by the command line first and by the job where that says nothing; says on standard
/// error what the job told.
pub fn told_by(
    job: &JobFile,
    circumstances: &TypedCircumstances,
    by: &TypedLimits,
    deck: Option<String>,
) -> (Circumstances, Made) {
    let WithJob { told, mut taken, mut against } = circumstances.with_job(&job.sheet);
    let name = deck_of(job);
    match (&deck, name.as_str()) {
        (_, "") => {}
        (None, name) => taken.insert(0, format!("deck {name}")),
        (Some(typed), name) if typed != name => {
            against.insert(0, format!("deck {typed} (the job says {name})"))
        }
        _ => {}
    }
    if let Some(limits) = &job.limits {
        if by.names_limits() {
            against.push(format!("limits (the job has {})", limits.name));
        } else {
            taken.push(format!("limits {}", limits.name));
        }
    }
    if let Some(file) = &job.sheet.read.transport {
        if by.names_transport() {
            against.push(format!("transport (the job has {file})"));
        } else {
            taken.push(format!("transport {file}"));
        }
    }
    let taken = if taken.is_empty() { "nothing".to_owned() } else { taken.join(", ") };
    let against = if against.is_empty() {
        String::new()
    } else {
        format!(" The command line differs from the job: {}.", against.join(", "))
    };
    note(&format!("Job {}: {taken}; the command line goes first.{against}", job.path.display()));
    (told, made_for(job, deck))
}

/// Takes what the job says of the level tone at the output for a reading of `file`, where the limits say nothing of it; says
/// on standard error what was taken.
pub fn take_level_tone(job: &JobFile, file: &Path, limits: &mut Limits) {
    if *limits.level_tone() != [None, None] {
        return;
    }
    let told = job.level_tone(file);
    for of in &told.missing {
        note(&format!(
            "Job {}: millivolts of the level tone were read while {of} was recorded, and no reading of it is attached (`bench \
             attach`): they are not used.",
            job.path.display()
        ));
    }
    if !told.taken.is_empty() {
        note(&format!("Job {}: {}.", job.path.display(), told.taken.join(", ")));
    }
    limits.take_level_tone(told.tones);
}

/// The deck of a job in the words of its file; empty if it has no name.
fn deck_of(job: &JobFile) -> String {
    match &job.sheet.deck.number {
        Some(number) => format!("{}, {number}", job.sheet.deck.name),
        None => job.sheet.deck.name.clone(),
    }
}

/// Head of a result that belongs to the job.
pub fn made_for(job: &JobFile, deck: Option<String>) -> Made {
    // Folder and file: a whole path would be that of this computer only.
    let folder = job.path.parent().and_then(Path::file_name).map(|name| name.to_string_lossy().into_owned());
    let file = job.path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let place = folder.map_or_else(|| file.clone(), |folder| format!("{folder}/{file}"));
    let deck = deck.or_else(|| Some(deck_of(job)).filter(|name| !name.is_empty()));
    Made { job: Some(place), ..made_now(deck) }
}
