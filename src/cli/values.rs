//! Values that several commands take.

use crate::job::{RehearseError, WriteOptions};
use crate::judge::Limits;
use crate::measure::TransportNumbers;
use crate::programme::{BY_HAND_BYTES, Depth, Feeding, Overwrite, ProgrammeError, read_text};
use crate::reading::{Circumstances, Heads, JobSheet, NoiseReduction, RecordedOn, TapeType};
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use std::path::{Path, PathBuf};

/// A word to be typed, its help (empty where the word says it all), and what it means.
pub type Choice<T> = (&'static str, &'static str, T);

const RATES_HZ: [Choice<u32>; 3] = [("44100", "", 44_100), ("48000", "", 48_000), ("96000", "", 96_000)];

const DEPTHS: [Choice<Depth>; 3] =
    [("16", "", Depth::Sixteen), ("24", "", Depth::TwentyFour), ("float", "", Depth::Float)];

const RECORDED_ON: [Choice<RecordedOn>; 6] = [
    ("calibrated", "A calibration tape with a certificate", RecordedOn::Calibrated),
    ("house", "The workshop's own tape with its card", RecordedOn::House),
    ("other-deck", "A tape that another deck recorded", RecordedOn::OtherDeck),
    ("this-deck", "A tape that the deck on the bench recorded", RecordedOn::ThisDeck),
    ("injected", "No tape: injected at the head amplifier or through a flux loop", RecordedOn::Injected),
    ("loopback", "No deck: sound card output straight into its input", RecordedOn::Loopback),
];

const HEADS: [Choice<Heads>; 2] = [("2", "", Heads::Two), ("3", "", Heads::Three)];

/// Tape types.
pub const TAPE_TYPES: [Choice<TapeType>; 4] =
    [("I", "", TapeType::I), ("II", "", TapeType::II), ("III", "", TapeType::III), ("IV", "", TapeType::IV)];

const NOISE_REDUCTION: [Choice<NoiseReduction>; 2] =
    [("off", "", NoiseReduction::Off), ("on", "", NoiseReduction::On)];

/// Takes one of `choices`.
pub fn one_of<T: Copy + Send + Sync + 'static>(
    choices: &'static [Choice<T>],
) -> impl TypedValueParser<Value = T> {
    let word = |&(word, help, _): &Choice<T>| {
        let word = PossibleValue::new(word);
        if help.is_empty() { word } else { word.help(help) }
    };
    let meant = |typed: String| choices.iter().find(|choice| choice.0 == typed).map(|choice| choice.2);
    PossibleValuesParser::new(choices.iter().map(word))
        .try_map(move |typed| meant(typed).ok_or("not one of the words"))
}

/// What the samples of a programme are.
#[derive(Debug, clap::Args)]
pub struct TypedSamples {
    /// Sample rate of the programme, Hz
    #[arg(long, value_name = "HZ", default_value = "48000", value_parser = one_of(&RATES_HZ))]
    rate: u32,
    /// Bits of a sample of the programme
    #[arg(long, value_name = "BITS", default_value = "24", value_parser = one_of(&DEPTHS))]
    depth: Depth,
    /// Where 0 dB of the programme lies, dBFS (0 dBFS: rms of a full-scale sine)
    #[arg(long, value_name = "DBFS", default_value = "-12", allow_hyphen_values = true, value_parser = reference_dbfs)]
    pub reference_dbfs: f64,
}

impl TypedSamples {
    /// As meant, with `--force` or without.
    pub fn meant(&self, force: bool) -> WriteOptions {
        WriteOptions {
            rate_hz: self.rate,
            depth: self.depth,
            reference_dbfs: self.reference_dbfs,
            overwrite: overwrite(force),
            feeding: Feeding::default(),
        }
    }
}

/// What figures are judged by.
#[derive(Debug, clap::Args)]
pub struct TypedLimits {
    /// What findings are judged by: full-size, portable, or a file with the service manual's numbers
    /// [default: full-size]
    #[arg(long, value_name = "NAME|FILE")]
    limits: Option<String>,
    /// Diameters and ratios of the transport (capstan, pinch roller, pulleys, belt, idler): a TOML file
    #[arg(long, value_name = "FILE")]
    transport: Option<PathBuf>,
}

/// How findings are judged, and what becomes of the result.
#[derive(Debug, clap::Args)]
pub struct TypedJudging {
    #[command(flatten)]
    pub by: TypedLimits,
    /// Print all: why, what the uncertainty is made of, every figure
    #[arg(long)]
    pub long: bool,
    /// Exit with status 3 if a finding is outside its limit
    #[arg(long)]
    pub strict: bool,
    /// Replace files of Deckproof's that are there already
    #[arg(long)]
    pub force: bool,
}

impl TypedLimits {
    /// The limits that were named; what the job has, or else those of full-size decks, if none were.
    pub fn limits(&self, of_job: Option<&Limits>) -> anyhow::Result<Limits> {
        match (&self.limits, of_job) {
            (Some(told), _) => limits(told),
            (None, Some(of_job)) => Ok(of_job.clone()),
            (None, None) => Ok(Limits::full_size()),
        }
    }

    /// Whether limits were named.
    pub fn names_limits(&self) -> bool {
        self.limits.is_some()
    }

    /// Whether a transport's numbers were named.
    pub fn names_transport(&self) -> bool {
        self.transport.is_some()
    }

    /// The transport's numbers, if a file was named, or else if the job names one.
    pub fn transport(&self, of_job: Option<PathBuf>) -> anyhow::Result<Option<TransportNumbers>> {
        let Some(path) = self.transport.clone().or(of_job) else { return Ok(None) };
        let path = &path;
        let text = text(path, "a transport's numbers")?;
        Ok(Some(TransportNumbers::from_toml(&text, &path.display().to_string())?))
    }
}

/// What the reader must be told because no signal shows it.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Circumstances, which no signal shows")]
pub struct TypedCircumstances {
    /// Whose recording is on the tape; without it, nothing absolute can be said
    #[arg(long, value_name = "WHOSE", value_parser = one_of(&RECORDED_ON))]
    recorded_on: Option<RecordedOn>,
    /// Heads of the deck: 2 = one head records and plays back, 3 = the return was taken while recording
    #[arg(long, value_name = "N", value_parser = one_of(&HEADS))]
    heads: Option<Heads>,
    /// Tape type as printed on the cassette
    #[arg(long, value_name = "TYPE", value_parser = one_of(&TAPE_TYPES))]
    tape_type: Option<TapeType>,
    /// Whether the deck's noise reduction was on [default: off]
    #[arg(long, value_name = "STATE", value_parser = one_of(&NOISE_REDUCTION))]
    noise_reduction: Option<NoiseReduction>,
}

impl TypedCircumstances {
    /// What was told, and where nothing was told what the job says.
    ///
    /// A loopback capture has neither heads nor tape, whatever is on the bench.
    pub fn with_job(&self, job: &JobSheet) -> WithJob {
        let mut all = WithJob { told: Circumstances::from(self), ..WithJob::default() };
        let of_job = &job.read;
        all.told.recorded_on = all.one("recorded on", all.told.recorded_on, of_job.recorded_on, words);
        if all.told.recorded_on == Some(RecordedOn::Loopback) {
            return all;
        }
        all.told.heads =
            all.one("", all.told.heads, job.deck.heads, |heads| format!("{} heads", u8::from(*heads)));
        all.told.tape_type =
            all.one("tape type", all.told.tape_type, of_job.tape_type, |kind| format!("{kind:?}"));
        let typed = self.noise_reduction.is_some().then_some(all.told.noise_reduction);
        let reduction = all.one("noise reduction", typed, of_job.noise_reduction, words);
        all.told.noise_reduction = reduction.unwrap_or_default();
        all
    }
}

/// Circumstances of a return that belongs to a job.
#[derive(Debug, Default)]
pub struct WithJob {
    /// What goes.
    pub told: Circumstances,
    /// What was taken from the job, in words.
    pub taken: Vec<String>,
    /// What was typed and is not what the job says, in words.
    pub against: Vec<String>,
}

impl WithJob {
    /// What was typed, or else what the job says.
    fn one<T: PartialEq>(
        &mut self,
        name: &str,
        typed: Option<T>,
        of_job: Option<T>,
        words: impl Fn(&T) -> String,
    ) -> Option<T> {
        match (&typed, &of_job) {
            (None, Some(job)) => self.taken.push(format!("{name} {}", words(job)).trim_start().to_owned()),
            (Some(typed), Some(job)) if typed != job => {
                let said = format!("{name} {} (the job says {})", words(typed), words(job));
                self.against.push(said.trim_start().to_owned());
            }
            _ => {}
        }
        typed.or(of_job)
    }
}

/// A value as the job's file has it.
fn words(value: &impl serde::Serialize) -> String {
    serde_json::to_value(value).ok().and_then(|value| Some(value.as_str()?.to_owned())).unwrap_or_default()
}

impl From<&TypedCircumstances> for Circumstances {
    fn from(typed: &TypedCircumstances) -> Self {
        Self {
            recorded_on: typed.recorded_on,
            heads: typed.heads,
            tape_type: typed.tape_type,
            noise_reduction: typed.noise_reduction.unwrap_or_default(),
            card: None,
        }
    }
}

/// `--force` as meant.
pub fn overwrite(force: bool) -> Overwrite {
    if force { Overwrite::Force } else { Overwrite::Refuse }
}

/// Limits by name (`full-size`, `portable`) or from a file.
pub fn limits(name_or_path: &str) -> anyhow::Result<Limits> {
    Ok(match name_or_path {
        "full-size" => Limits::full_size(),
        "portable" => Limits::portable(),
        path => Limits::from_toml(&text(Path::new(path), "limits, or `full-size` or `portable`")?, path)?,
    })
}

/// Text of a file that people write; `what` says what the file should hold.
pub fn text(path: &Path, what: &str) -> anyhow::Result<String> {
    let name = path.display();
    read_text(path, BY_HAND_BYTES)
        .map_err(|error| anyhow::anyhow!("{name}: cannot be read: {error}; give a file with {what}"))
}

/// The error with the recipe as it was typed, if it is one of a part of it.
pub fn of_recipe(error: anyhow::Error, typed: &str) -> anyhow::Error {
    let error_of = |error: &ProgrammeError| {
        matches!(error, ProgrammeError::TooHigh { .. } | ProgrammeError::Clips { .. })
    };
    let of_part = match error.downcast_ref::<RehearseError>() {
        Some(RehearseError::Programme(error)) => error_of(error),
        _ => error.downcast_ref().is_some_and(error_of),
    };
    if of_part { error.context(typed.to_owned()) } else { error }
}

/// Reference level, dBFS.
pub fn reference_dbfs(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(dbfs) if (-60.0..=0.0).contains(&dbfs) => Ok(dbfs),
        _ => Err("allowed are -60 to 0 dBFS; -12 is usual".into()),
    }
}
