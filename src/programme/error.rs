//! What can go wrong with a recipe and with writing a programme.

use std::path::PathBuf;

/// Why a recipe was refused or a programme could not be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ProgrammeError {
    /// The file is not TOML.
    #[error("{file}, line {line}: this is not TOML: {message}; mend that line")]
    NotToml {
        /// File of the recipe.
        file: String,
        /// Line, from 1.
        line: usize,
        /// What the TOML reader says.
        message: String,
    },
    /// A key of the recipe is missing, unknown, or has a value that is not allowed.
    #[error("{0}")]
    Recipe(Box<RecipeFault>),
    /// A recipe file could not be read.
    #[error("{file}: cannot be read: {source}; give the path of a recipe file")]
    Unreadable {
        /// File of the recipe.
        file: String,
        /// What the system says.
        source: std::io::Error,
    },
    /// Neither a built-in recipe nor a file has this name.
    #[error("{name}: no such recipe; built in are {built_in}; or give the path of a recipe file")]
    NoSuchRecipe {
        /// The name that was asked for.
        name: String,
        /// Names of the built-in recipes.
        built_in: String,
    },
    /// The sample rate is not one of those that programmes are made for.
    #[error("sample rate {rate_hz} Hz: allowed are 44100, 48000 and 96000 Hz; choose one of them")]
    Rate {
        /// The rate that was asked for, Hz.
        rate_hz: u32,
    },
    /// The reference level is not a number below 0 dBFS.
    #[error("reference level {reference_dbfs} dBFS: allowed are -60 to 0 dBFS; -12 is usual")]
    ReferenceLevel {
        /// The level that was asked for, dBFS.
        reference_dbfs: f64,
    },
    /// A frequency is too high for the sample rate.
    #[error(
        "part {part}: {hz} Hz at a sample rate of {rate_hz} Hz; allowed are up to {highest_hz:.0} Hz; write at a higher rate or take the tone out"
    )]
    TooHigh {
        /// Id of the part.
        part: String,
        /// Its frequency, Hz.
        hz: f64,
        /// The rate, Hz.
        rate_hz: u32,
        /// Highest frequency at that rate, Hz.
        highest_hz: f64,
    },
    /// A part would go beyond full scale.
    #[error(
        "part {part}: its peak is {peak_dbfs:+.2} dBFS with the reference level at {reference_dbfs} dBFS; allowed is below 0 dBFS; choose a reference level of {highest_reference_dbfs:.2} dBFS or lower"
    )]
    Clips {
        /// Id of the part.
        part: String,
        /// Its highest peak, dB re a full-scale sine's peak.
        peak_dbfs: f64,
        /// The reference level that was asked for, dBFS.
        reference_dbfs: f64,
        /// The highest reference level at which nothing clips in this part, dBFS.
        highest_reference_dbfs: f64,
    },
    /// A WAV file cannot be as large as this.
    #[error("{}: the file would have {bytes} bytes; a WAV holds at most {limit} bytes; choose a lower rate, a smaller depth or a shorter programme", file.display())]
    TooLarge {
        /// The file.
        file: PathBuf,
        /// Its size, bytes.
        bytes: u64,
        /// The largest size, bytes.
        limit: u64,
    },
    /// The file is there already.
    #[error("{}: this file exists already and was left alone; choose another name, or force it to be replaced", file.display())]
    Exists {
        /// The file.
        file: PathBuf,
    },
    /// The file is one that is read.
    #[error("{}: this is {}, which is read here; give what is written another name", file.display(), input.display())]
    IsInput {
        /// The file.
        file: PathBuf,
        /// Its name as an input.
        input: PathBuf,
    },
    /// The file is not of our making.
    #[error("{}: this file is not of Deckproof's making, or of another kind, and was left alone; choose another name", file.display())]
    NotOurs {
        /// The file.
        file: PathBuf,
    },
    /// The file could not be written.
    #[error("{}: cannot be written: {source}; check that the folder exists, may be written to and is not full", file.display())]
    Unwritable {
        /// The file.
        file: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// A CUE sheet cannot name this file.
    #[error(
        "{file:?}: a CUE sheet cannot name this file; allowed are names without double quotes, control characters and marks of direction; choose another name"
    )]
    CueName {
        /// Name of the file.
        file: String,
    },
}

/// What is wrong with one key of a recipe.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{file}, line {line}: {key}: found {found}; allowed: {allowed}; {remedy}")]
pub struct RecipeFault {
    /// File of the recipe.
    pub file: String,
    /// Line, from 1: that of the key, or that of its part when the key is missing.
    pub line: usize,
    /// The key.
    pub key: String,
    /// What was found.
    pub found: String,
    /// What is allowed.
    pub allowed: String,
    /// What to do.
    pub remedy: String,
}
