//! `bench`: the folder of one job, its sheet, and what comes next.

use super::Outcome;
use super::clock::made_now;
use super::terminal::{note, print};
use super::values::{Choice, TAPE_TYPES, one_of, overwrite};
use crate::harmless::harmless;
use crate::job::{Attached, DeckTold, HandSet, JobError, JobFile, NewJob, find_job, load_settings, new_job};
use crate::judge::{JobEvidence, JobReading, JobSkew, STEPS, SheetMade, bench_sheet, judge_by_hand, steps};
use crate::programme::{NewFile, write_text};
use crate::reading::{JobState, TapeType};
use crate::show;
use anyhow::ensure;
use clap::Subcommand;
use std::path::PathBuf;

/// Keep the folder and the sheet of one job, and say what comes next
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  deckproof bench new job-12 --deck \"grey deck of the choir\" --heads 3
  deckproof bench next --job job-12")]
pub struct Typed {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Make a folder with the file of a new job, `job.toml`, to be edited by hand as you like
    #[command(after_help = "\
Examples:
  deckproof bench new job-12 --deck \"grey deck of the choir\" --heads 3
  deckproof bench new job-13 --deck \"portable\" --portable --complaint \"eats tapes\"")]
    New(New),
    /// Add a line to the work done, with the date, or to the complaint
    #[command(after_help = "\
Examples:
  deckproof bench note \"pinch roller and belt renewed\"
  deckproof bench note --complaint \"dull on the right\"")]
    Note {
        /// What to note
        #[arg(value_name = "WORDS")]
        words: String,
        /// It is what the owner says, not work
        #[arg(long)]
        complaint: bool,
        #[command(flatten)]
        job: TypedJob,
    },
    /// Set what was read by hand: take-up-torque, fast-forward-torque, rewind-torque, back-tension,
    /// dc-offset-left, dc-offset-right, level-tone (level-tone-left, level-tone-right), meter-left, meter-right, tape-path;
    /// or what the service manual says of the output: output-nominal, output-tolerance, deck-standard
    #[command(after_help = "\
Examples:
  deckproof bench set level-tone-left 655 mV --return playback-level-1.wav
  deckproof bench set deck-standard 200,short-circuit nWb/m")]
    Set {
        /// Which reading
        #[arg(value_name = "NAME")]
        name: String,
        /// The number, or words for tape-path; for deck-standard with how it is stated: 200,short-circuit
        #[arg(value_name = "VALUE", allow_hyphen_values = true)]
        value: String,
        /// g.cm or mN.m for torques, mV, dB, nWb/m
        #[arg(value_name = "UNIT")]
        unit: Option<String>,
        /// What the gauge may be wrong by, in the unit of the value (k = 2) [default: usual for such a gauge]
        #[arg(long, value_name = "NUMBER")]
        within: Option<String>,
        /// The return that was recorded while the level tone was read: ties its millivolts to levels of returns
        #[arg(long = "return", value_name = "RETURN")]
        of: Option<String>,
        /// After the work; without it, as found
        #[arg(long)]
        as_left: bool,
        /// Replace a value that is there, and keep the old one as a comment
        #[arg(long)]
        force: bool,
        #[command(flatten)]
        job: TypedJob,
    },
    /// Add readings to the job, of returns (`read`) or of ordinary music (`skew`); those from outside its folder are copied
    /// into it
    #[command(after_help = "\
Examples:
  deckproof bench attach as-found readings/full/reading.json
  deckproof bench attach as-left azimuth-by-music.json --job job-12")]
    Attach {
        /// Before or after the work
        #[arg(value_name = "STATE", value_parser = one_of(&STATES))]
        state: JobState,
        /// Readings of `read` or results of `skew` (JSON)
        #[arg(value_name = "READING", num_args = 1.., required = true)]
        files: Vec<PathBuf>,
        #[command(flatten)]
        job: TypedJob,
    },
    /// Call a step of the order of work done, with a remark
    #[command(after_help = "\
Examples:
  deckproof bench done safety \"read\"
  deckproof bench done offset \"coupled by capacitors\"")]
    Done {
        /// Its name, as `bench next` says it
        #[arg(value_name = "STEP")]
        step: String,
        /// Why
        #[arg(value_name = "WORDS", default_value = "")]
        remark: String,
        #[command(flatten)]
        job: TypedJob,
    },
    /// Print the sheet: a page for the owner, then readings as found and as left, what is open
    #[command(
        visible_alias = "show",
        after_help = "\
Examples:
  deckproof bench sheet
  deckproof bench sheet --job job-12 --out sheet.html"
    )]
    Sheet {
        /// The sheet as a page (HTML) that prints on A4 and Letter
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
        /// Replace a page of Deckproof's that is there
        #[arg(long)]
        force: bool,
        #[command(flatten)]
        job: TypedJob,
    },
    /// Say what comes next in the order of work: what to play or record, how to read it, what to turn
    #[command(after_help = "\
Examples:
  deckproof bench next
  deckproof bench next azimuth --job job-12")]
    Next {
        /// A step to be told whole, instead of the first that is not done
        #[arg(value_name = "STEP")]
        step: Option<String>,
        #[command(flatten)]
        job: TypedJob,
    },
}

/// Which job.
#[derive(Debug, clap::Args)]
struct TypedJob {
    /// The job's folder; without it, the one that you stand in, or the nearest above
    #[arg(long = "job", value_name = "DIR")]
    folder: Option<PathBuf>,
}

impl TypedJob {
    fn load(&self) -> Result<JobFile, JobError> {
        if let Some(folder) = &self.folder {
            return JobFile::load(folder);
        }
        match find_job(std::path::Path::new(".")) {
            Some(path) => JobFile::load(&path),
            None => Err(JobError::NoJob { folder: PathBuf::from(".") }),
        }
    }
}

pub const STATES: [Choice<JobState>; 2] =
    [("as-found", "", JobState::AsFound), ("as-left", "", JobState::AsLeft)];

#[derive(Debug, clap::Args)]
struct New {
    /// The folder to be made
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// Which deck this is, in your words
    #[arg(long, value_name = "WORDS")]
    deck: String,
    /// Its number
    #[arg(long, value_name = "WORDS")]
    number: Option<String>,
    /// Whose it is
    #[arg(long, value_name = "WORDS")]
    owner: Option<String>,
    /// The owner's reference: an order, a ticket
    #[arg(long, value_name = "WORDS")]
    reference: Option<String>,
    /// Heads of the deck: 3 = the return is taken while recording
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(2..=3))]
    heads: Option<u8>,
    /// A portable or a simple deck: judge it by the wider limits
    #[arg(long)]
    portable: bool,
    /// What the owner says
    #[arg(long, value_name = "WORDS")]
    complaint: Option<String>,
    /// A calibrated tape is at hand
    #[arg(long)]
    calibrated_tape: bool,
    /// Tape type that the deck shall record on; once for each
    #[arg(long = "tape-type", value_name = "TYPE", value_parser = one_of(&TAPE_TYPES))]
    tape_types: Vec<TapeType>,
}

impl Typed {
    /// Does it.
    pub fn run(self) -> anyhow::Result<Outcome> {
        match self.what {
            What::New(new) => new.run()?,
            What::Note { words, complaint, job } => {
                ensure!(!words.trim().is_empty(), "the note is empty, nothing was written; give some words");
                let words = if complaint { words } else { format!("{}: {words}", today()) };
                told(&job.load()?.note(&words, complaint)?, "noted")?;
            }
            What::Set { name, value, unit, within, of, as_left, force, job } => {
                let job = job.load()?;
                if DeckTold::NAMES.contains(&name.as_str()) {
                    let with =
                        [("--within", within.is_some()), ("--return", of.is_some()), ("--as-left", as_left)];
                    let with: Vec<&str> =
                        with.iter().filter(|option| option.1).map(|option| option.0).collect();
                    ensure!(
                        with.is_empty(),
                        "{name}: this comes from the manual, not from a gauge; leave {} away",
                        with.join(", ")
                    );
                    let meant = DeckTold::meant(&name, &value, unit.as_deref())?;
                    told(&job.set_told(&meant, force)?, &format!("{name} set, in [limits]"))?;
                    return Ok(Outcome::Done);
                }
                let state = if as_left { JobState::AsLeft } else { JobState::AsFound };
                let names: &[&str] =
                    if name == "level-tone" { &["level-tone-left", "level-tone-right"] } else { &[&name] };
                let (unit, within, of) = (unit.as_deref(), within.as_deref(), of.as_deref());
                let sets =
                    names.iter().map(|name| HandSet { state, name, told: &value, unit, within, of, force });
                let job = job.set(&sets.collect::<Vec<_>>())?;
                told(&job, &format!("{name} set, {}", show::job_state(state)))?;
                for row in judge_by_hand(&job.sheet).iter().filter(|row| names.contains(&row.id)) {
                    print(&show::hand_text(row))?;
                }
            }
            What::Attach { state, files, job } => {
                let (job, attached) = job.load()?.attach(state, &files)?;
                told(&job, &format!("attached {}: {}", show::job_state(state), attached.join(", ")))?;
            }
            What::Done { step, remark, job } => {
                let remark = if remark.trim().is_empty() { today() } else { remark };
                told(&job.load()?.tick(&step, &remark)?, &format!("{step} called done"))?;
            }
            What::Sheet { out, force, job } => {
                let overwrite = overwrite(force);
                if let Some(out) = &out {
                    drop(NewFile::create(out, overwrite)?);
                }
                let job = job.load()?;
                let attached = job.attached();
                let (readings, skews) = (readings(&attached), skews(&attached));
                let missing = attached.missing.clone();
                let settings = load_settings()?;
                let made = SheetMade {
                    workshop: job.sheet.workshop.as_ref().or(settings.workshop.as_ref()),
                    date: &today(),
                    limits: job.limits.as_ref(),
                };
                let sheet = bench_sheet(&job.sheet, &evidence(&attached, &readings, &skews), missing, made);
                print(&show::sheet_text(&sheet))?;
                if let Some(out) = &out {
                    write_text(out, &show::sheet_html(&sheet), overwrite)?;
                    note(&format!("Sheet: {}", out.display()));
                }
            }
            What::Next { step, job } => {
                let job = job.load()?;
                let attached = job.attached();
                for line in &attached.missing {
                    note(line);
                }
                let (readings, skews) = (readings(&attached), skews(&attached));
                let steps = steps(&job.sheet, &evidence(&attached, &readings, &skews));
                let text = show::next_text(&steps, step.as_deref());
                let names: Vec<&str> = steps.iter().map(|step| step.id.as_str()).collect();
                let unknown = step.unwrap_or_default();
                ensure!(text.is_some(), "{unknown}: no step of this job; steps are {}", names.join(", "));
                print(&text.unwrap_or_default())?;
            }
        }
        Ok(Outcome::Done)
    }
}

fn readings(attached: &Attached) -> Vec<JobReading<'_>> {
    attached
        .readings
        .iter()
        .map(|(state, file, reading)| JobReading { state: *state, file, reading })
        .collect()
}

fn skews(attached: &Attached) -> Vec<JobSkew<'_>> {
    attached.skews.iter().map(|(state, file, skew)| JobSkew { state: *state, file, skew }).collect()
}

fn evidence<'a>(
    attached: &'a Attached,
    readings: &'a [JobReading<'a>],
    skews: &'a [JobSkew<'a>],
) -> JobEvidence<'a> {
    JobEvidence { readings, skews, loopback: attached.loopback.as_deref(), taken: &attached.taken }
}

/// Says what became of the file.
fn told(job: &JobFile, what: &str) -> anyhow::Result<()> {
    print(&format!("{}\n", harmless(&format!("{}: {what}", job.path.display()))))
}

/// The date alone.
fn today() -> String {
    made_now(None).at.chars().take(10).collect()
}

impl New {
    fn run(self) -> anyhow::Result<()> {
        ensure!(!self.deck.trim().is_empty(), "--deck: the name is empty; say which deck this is");
        let new = NewJob {
            deck: self.deck,
            number: self.number,
            owner: self.owner,
            reference: self.reference,
            heads: self.heads,
            portable: self.portable,
            complaint: self.complaint,
            calibrated_tape: self.calibrated_tape,
            tape_types: self.tape_types,
        };
        let path = new_job(&self.folder, &new)?;
        note(&format!("Job: {}", path.display()));
        print(&format!(
            "Edit {} by hand as you like. In its folder, `deckproof bench next` says what comes first of {} steps.\n",
            harmless(&path.display().to_string()),
            STEPS.len()
        ))
    }
}
