//! A step of the work, and what it is judged by.

use crate::judge::Reading;
use crate::judge::bench::command::Command;
use crate::judge::bench::job_skew::JobSkew;
use crate::reading::JobState;

/// How far a step is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StepState {
    /// Nothing is left to do.
    Done,
    /// Something is outside its limit.
    Turn,
    /// Read, and nothing outside, but not all of it could be judged.
    NotJudged,
    /// Not read yet.
    Open,
}

/// One step of the work.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Its name, for `bench done`.
    pub id: String,
    /// What it is.
    pub title: String,
    /// How far it is.
    pub state: StepState,
    /// Why it is in that state.
    pub because: String,
    /// What must be right first, because this step rests on it, and is not.
    pub first: Vec<String>,
    /// What to do at the bench, at which level and setting.
    pub how: Vec<String>,
    /// What to run, in the job's folder.
    pub commands: Vec<Command>,
    /// What is run while a screw is turned.
    pub follow: Option<Command>,
    /// What may be run instead or besides, each with when.
    pub otherwise: Vec<(&'static str, Command)>,
    /// What to turn on what was found.
    pub turns: Vec<String>,
    /// What can hurt somebody at this step.
    pub cautions: Vec<&'static str>,
}

/// A reading of the job.
#[derive(Debug, Clone, Copy)]
pub struct JobReading<'a> {
    /// Before or after the work.
    pub state: JobState,
    /// Its file, relative to the job's folder.
    pub file: &'a str,
    /// The reading.
    pub reading: &'a Reading,
}

/// What is known of a job besides its sheet.
#[derive(Debug, Clone, Copy, Default)]
pub struct JobEvidence<'a> {
    /// Readings, in the order in which they were attached.
    pub readings: &'a [JobReading<'a>],
    /// Results of `skew`, likewise.
    pub skews: &'a [JobSkew<'a>],
    /// The loopback capture for `read --loopback`, relative to the job's folder.
    pub loopback: Option<&'a str>,
    /// Names that are taken in the job's folder, and in `readings`, which are told with that folder.
    pub taken: &'a [String],
}

/// A step that no reading can show.
pub(crate) fn by_hand_only(id: &str, title: &str, how: Vec<String>, commands: Vec<Command>) -> Step {
    Step {
        id: id.to_owned(),
        title: title.to_owned(),
        state: StepState::Open,
        because: "not done yet".to_owned(),
        first: Vec::new(),
        how,
        commands,
        follow: None,
        otherwise: Vec::new(),
        turns: Vec::new(),
        cautions: Vec::new(),
    }
}
