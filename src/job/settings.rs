//! What holds for every job of one user: the workshop, for the owner's page.

use super::JobError;
use crate::harmless::echoes;
use crate::programme::{BY_HAND_BYTES, read_text};
use crate::reading::Workshop;
use serde::Deserialize;
use std::io::ErrorKind;
use std::path::PathBuf;

/// The user's settings.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// Who does the work, where a job's file does not say it.
    pub workshop: Option<Workshop>,
}

/// Where the settings lie: `deckproof/settings.toml` in the user's folder for settings; `None` if there is no such folder.
pub fn settings_path() -> Option<PathBuf> {
    let named =
        |variable: &str| std::env::var_os(variable).filter(|path| !path.is_empty()).map(PathBuf::from);
    let folder = if cfg!(windows) {
        named("APPDATA")
    } else {
        named("XDG_CONFIG_HOME").or_else(|| Some(std::env::home_dir()?.join(".config")))
    };
    Some(folder?.join("deckproof").join("settings.toml"))
}

/// The settings; empty if there is no such file.
///
/// # Errors
/// [`JobError`] naming the file if it cannot be read or understood.
pub fn load_settings() -> Result<Settings, JobError> {
    let Some(path) = settings_path() else { return Ok(Settings::default()) };
    let text = match read_text(&path, BY_HAND_BYTES) {
        Ok(text) => text,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Settings::default()),
        Err(error) if error.kind() == ErrorKind::InvalidData => return Err(JobError::NoText { path }),
        Err(source) => return Err(JobError::Settings { path, source }),
    };
    let settings: Settings = toml::from_str(&text).map_err(|error| {
        let start = error.span().map_or(0, |span| span.start);
        let line = text.bytes().take(start).filter(|byte| *byte == b'\n').count() + 1;
        JobError::Malformed { path, line, found: echoes(error.message()) }
    })?;
    Ok(Settings { workshop: settings.workshop.filter(|workshop| !workshop.name.trim().is_empty()) })
}
