//! Values that several commands take.

use crate::job::WriteOptions;
use crate::judge::Limits;
use crate::measure::TransportNumbers;
use crate::programme::{Depth, Feeding, Overwrite};
use crate::reading::{Circumstances, Heads, JobSheet, NoiseReduction, RecordedOn, TapeType};
use anyhow::Context;
use clap::ValueEnum;
use std::path::{Path, PathBuf};

#[derive(Debug, Clone, Copy, ValueEnum)]
enum RateValue {
    #[value(name = "44100")]
    Cd,
    #[value(name = "48000")]
    Usual,
    #[value(name = "96000")]
    Double,
}

impl RateValue {
    fn hz(self) -> u32 {
        match self {
            Self::Cd => 44_100,
            Self::Usual => 48_000,
            Self::Double => 96_000,
        }
    }
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum DepthValue {
    #[value(name = "16")]
    Sixteen,
    #[value(name = "24")]
    TwentyFour,
    #[value(name = "float")]
    Float,
}

impl From<DepthValue> for Depth {
    fn from(value: DepthValue) -> Self {
        match value {
            DepthValue::Sixteen => Self::Sixteen,
            DepthValue::TwentyFour => Self::TwentyFour,
            DepthValue::Float => Self::Float,
        }
    }
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum RecordedOnValue {
    /// A calibration tape with a certificate
    Calibrated,
    /// The workshop's own tape with its card
    House,
    /// A tape that another deck recorded
    OtherDeck,
    /// A tape that the deck on the bench recorded
    ThisDeck,
    /// No tape: injected at the head amplifier or through a flux loop
    Injected,
    /// No deck: sound card output straight into its input
    Loopback,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum HeadsValue {
    #[value(name = "2")]
    Two,
    #[value(name = "3")]
    Three,
}

/// Tape type.
#[derive(Debug, Clone, Copy, ValueEnum)]
#[allow(clippy::upper_case_acronyms, reason = "Roman numerals, as printed on the cassette")]
pub enum TapeTypeValue {
    #[value(name = "I")]
    I,
    #[value(name = "II")]
    II,
    #[value(name = "III")]
    III,
    #[value(name = "IV")]
    IV,
}

impl From<TapeTypeValue> for TapeType {
    fn from(value: TapeTypeValue) -> Self {
        match value {
            TapeTypeValue::I => Self::I,
            TapeTypeValue::II => Self::II,
            TapeTypeValue::III => Self::III,
            TapeTypeValue::IV => Self::IV,
        }
    }
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum NoiseReductionValue {
    Off,
    On,
}

/// What the samples of a programme are.
#[derive(Debug, clap::Args)]
pub struct TypedSamples {
    /// Sample rate of the programme, Hz
    #[arg(long, value_name = "HZ", default_value = "48000")]
    rate: RateValue,
    /// Bits of a sample of the programme
    #[arg(long, value_name = "BITS", default_value = "24")]
    depth: DepthValue,
    /// Where 0 dB of the programme lies, dBFS (0 dBFS: rms of a full-scale sine)
    #[arg(long, value_name = "DBFS", default_value = "-12", allow_hyphen_values = true, value_parser = reference_dbfs)]
    pub reference_dbfs: f64,
}

impl TypedSamples {
    /// As meant, with `--force` or without.
    pub fn meant(&self, force: bool) -> WriteOptions {
        WriteOptions {
            rate_hz: self.rate.hz(),
            depth: self.depth.into(),
            reference_dbfs: self.reference_dbfs,
            overwrite: overwrite(force),
            feeding: Feeding::default(),
        }
    }
}

/// How findings are judged, and what becomes of the result.
#[derive(Debug, clap::Args)]
pub struct TypedJudging {
    /// What findings are judged by: good (deck), portable (deck), or a file with the service manual's numbers
    /// [default: good]
    #[arg(long, value_name = "NAME|FILE")]
    limits: Option<String>,
    /// Diameters and ratios of the transport (capstan, pinch roller, pulleys, belt, idler): a TOML file
    #[arg(long, value_name = "FILE")]
    transport: Option<PathBuf>,
    /// Exit with status 3 if a finding is outside its limit
    #[arg(long)]
    pub strict: bool,
    /// Replace files that are there already
    #[arg(long)]
    pub force: bool,
}

impl TypedJudging {
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
    #[arg(long, value_name = "WHOSE")]
    recorded_on: Option<RecordedOnValue>,
    /// Heads of the deck: 2 = one head records and plays back, 3 = the return was taken while recording
    #[arg(long, value_name = "N")]
    heads: Option<HeadsValue>,
    /// Tape type as printed on the cassette
    #[arg(long, value_name = "TYPE")]
    tape_type: Option<TapeTypeValue>,
    /// Whether the deck's noise reduction was on [default: off]
    #[arg(long, value_name = "STATE")]
    noise_reduction: Option<NoiseReductionValue>,
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
            recorded_on: typed.recorded_on.map(|whose| match whose {
                RecordedOnValue::Calibrated => RecordedOn::Calibrated,
                RecordedOnValue::House => RecordedOn::House,
                RecordedOnValue::OtherDeck => RecordedOn::OtherDeck,
                RecordedOnValue::ThisDeck => RecordedOn::ThisDeck,
                RecordedOnValue::Injected => RecordedOn::Injected,
                RecordedOnValue::Loopback => RecordedOn::Loopback,
            }),
            heads: typed.heads.map(|heads| match heads {
                HeadsValue::Two => Heads::Two,
                HeadsValue::Three => Heads::Three,
            }),
            tape_type: typed.tape_type.map(TapeType::from),
            noise_reduction: match typed.noise_reduction {
                None | Some(NoiseReductionValue::Off) => NoiseReduction::Off,
                Some(NoiseReductionValue::On) => NoiseReduction::On,
            },
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

/// Largest text file that is read, bytes: what people write by hand is far smaller.
const LARGEST_TEXT: u64 = 4 << 20;

/// Text of a file that people write; `what` says what the file should hold.
pub fn text(path: &Path, what: &str) -> anyhow::Result<String> {
    let name = path.display();
    let size = std::fs::metadata(path)
        .with_context(|| format!("{name}: cannot be read; give the path of a file with {what}"))?
        .len();
    anyhow::ensure!(
        size <= LARGEST_TEXT,
        "{name}: {size} bytes is too large for a file with {what}; check the name"
    );
    std::fs::read_to_string(path)
        .with_context(|| format!("{name}: cannot be read as text; give a file with {what}"))
}

/// Reference level, dBFS.
pub fn reference_dbfs(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(dbfs) if (-60.0..=0.0).contains(&dbfs) => Ok(dbfs),
        _ => Err("allowed are -60 to 0 dBFS; -12 is usual".into()),
    }
}
