//! Writing a programme: the WAV, its running sheet and, for burning, its CUE sheet.

use crate::programme::{
    Depth, Feeding, NewFile, Overwrite, ProgrammeError, Recipe, Timeline, Written, cue_sheet, remove_own,
    running_sheet, write_text, write_wav,
};
use crate::show;
use std::path::{Path, PathBuf};

/// How a programme is written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WriteOptions {
    /// Sample rate, Hz: 44100, 48000 or 96000. Default: 48000.
    pub rate_hz: u32,
    /// What a sample is. Default: 24 bit.
    pub depth: Depth,
    /// Where 0 dB of the programme lies, dBFS. Default: -12.
    pub reference_dbfs: f64,
    /// What to do about files that are there already. Default: refuse.
    pub overwrite: Overwrite,
    /// What is known of player and deck, for the sheet of an injection. Default: nothing.
    pub feeding: Feeding,
}

impl Default for WriteOptions {
    fn default() -> Self {
        Self {
            rate_hz: 48_000,
            depth: Depth::TwentyFour,
            reference_dbfs: -12.0,
            overwrite: Overwrite::Refuse,
            feeding: Feeding::default(),
        }
    }
}

/// The files of a written programme.
#[derive(Debug, Clone, PartialEq)]
pub struct Programme {
    /// The WAV.
    pub wav: PathBuf,
    /// The running sheet, as text and as a page to print.
    pub sheets: [PathBuf; 2],
    /// The CUE sheet, for 44.1 kHz and 16 bit.
    pub cue: Option<PathBuf>,
    /// Length of the programme, s.
    pub length_s: f64,
}

/// Endings of the running sheet.
const SHEETS: [&str; 2] = ["sheet.txt", "sheet.html"];

/// The files that [`write_programme`] writes: `wav`, the running sheets, and for an audio CD the CUE sheet.
pub fn programme_files(wav: &Path, options: &WriteOptions) -> Vec<PathBuf> {
    let mut files = vec![wav.to_owned()];
    files.extend(SHEETS.map(|ending| wav.with_extension(ending)));
    if options.rate_hz == 44_100 && options.depth == Depth::Sixteen {
        files.push(wav.with_extension("cue"));
    }
    files
}

/// Writes `recipe` to `wav`, with `.sheet.txt`, `.sheet.html` and, for an audio CD, `.cue` beside it under the same name.
///
/// # Errors
/// If the recipe does not fit the options, or a file exists or cannot be written; no file is left half written then.
pub fn write_programme(
    recipe: &Recipe,
    wav: &Path,
    options: &WriteOptions,
) -> Result<Programme, ProgrammeError> {
    let timeline = Timeline::from(recipe);
    let wav_name = wav.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let files = programme_files(wav, options);
    let sheets = SHEETS.map(|ending| wav.with_extension(ending));
    let cue =
        files.get(3).map(|path| Ok((path.clone(), cue_sheet(&wav_name, &recipe.title)?))).transpose()?;
    // All that can fail cheaply fails before the long work.
    for path in &files {
        drop(NewFile::create(path, options.overwrite)?);
    }
    write_wav(&timeline, options.rate_hz, options.depth, options.reference_dbfs, wav, options.overwrite)?;
    let written = Written {
        wav_name: &wav_name,
        rate_hz: options.rate_hz,
        depth: options.depth,
        reference_dbfs: options.reference_dbfs,
        feeding: options.feeding,
    };
    let sheet = running_sheet(recipe, &timeline, &written);
    write_text(&sheets[0], &show::running_sheet_text(&sheet), options.overwrite)?;
    write_text(&sheets[1], &show::running_sheet_html(&sheet), options.overwrite)?;
    let cue = match cue {
        Some((path, text)) => {
            write_text(&path, &text, options.overwrite)?;
            Some(path)
        }
        None => {
            // That of an older programme would burn this one wrongly.
            if options.overwrite == Overwrite::Force {
                remove_own(&wav.with_extension("cue"));
            }
            None
        }
    };
    Ok(Programme { wav: wav.to_owned(), sheets, cue, length_s: timeline.length_s })
}
