//! The whole job without hardware: a programme is written, a virtual deck plays it, the return is read.

use super::error::RehearseError;
use super::recording::Recording;
use super::results::{check_folder, make_folder, result_files, write_results};
use super::{ReadOptions, WriteOptions, measure_return, programme_files, write_programme};
use crate::deck::{DeckFile, VirtualDeck};
use crate::judge::Reading;
use crate::programme::{DECK_MARK, Depth, Recipe, Renderer, Timeline, WavSink, write_text};
use crate::reading::{Warning, WarningId};
use std::path::{Path, PathBuf};

/// What is under way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// The programme is written.
    Writing,
    /// The virtual deck plays it.
    Playing,
    /// The return is read.
    Reading,
}

/// A deck and the text that describes it.
#[derive(Debug, Clone)]
pub struct RehearsalDeck {
    /// The deck.
    pub deck: DeckFile,
    /// The text that it was made from; a copy is left in the folder, to hold the findings against.
    pub text: String,
    /// Fixes everything random in it.
    pub seed: u64,
}

/// What a rehearsal leaves.
#[derive(Debug)]
pub struct Rehearsal {
    /// The reading of the virtual deck's return; `None` for a looped programme, which is followed and not read.
    pub reading: Option<Reading>,
    /// All files, in the order in which they were made.
    pub files: Vec<PathBuf>,
}

/// Writes `recipe`, plays it through `deck`, reads the return, and leaves all files in `folder`: `programme.wav` with its
/// sheets, `deck.toml`, `return.wav` (24 bit), and, but for a looped programme, what [`write_results`] writes. `stage` hears what is under way.
///
/// # Errors
/// If a file exists or cannot be written, or the return cannot be read (a deck can be too bad for that).
pub fn rehearse(
    recipe: &Recipe,
    deck: &RehearsalDeck,
    folder: &Path,
    write: &WriteOptions,
    read: &ReadOptions,
    stage: &mut dyn FnMut(Stage),
) -> Result<Rehearsal, RehearseError> {
    let virtual_deck = VirtualDeck::new(&deck.deck, deck.seed, f64::from(write.rate_hz))?;
    let [programme_wav, deck_file, return_wav] =
        ["programme.wav", "deck.toml", "return.wav"].map(|name| folder.join(name));
    let mut files = if recipe.looped { vec![] } else { result_files(folder) };
    files.extend(programme_files(&programme_wav, write));
    files.extend([deck_file.clone(), return_wav.clone()]);
    check_folder(folder, &files, write.overwrite)?;
    make_folder(folder)?;
    stage(Stage::Writing);
    let programme = write_programme(recipe, &programme_wav, write)?;
    let text = deck.text.strip_prefix(DECK_MARK).unwrap_or(&deck.text);
    write_text(&deck_file, &format!("{DECK_MARK}{text}"), write.overwrite)?;
    stage(Stage::Playing);
    play(recipe, &virtual_deck, &return_wav, write)?;
    let mut files = vec![programme.wav];
    files.extend(programme.sheets.into_iter().chain(programme.cue));
    files.extend([deck_file, return_wav.clone()]);
    if recipe.looped {
        return Ok(Rehearsal { reading: None, files });
    }
    stage(Stage::Reading);
    let mut playing = measure_return(Recording::File(&return_wav), read)?;
    // Whoever is shown the report later must not take it for a deck's.
    playing.facts.warnings.insert(
        0,
        Warning::new(
            WarningId::Rehearsal,
            format!("Nothing here is from a real deck: a virtual one played. {}", deck.deck.about),
        ),
    );
    let reading = playing.conclude(read);
    files.extend(write_results(folder, &reading, &read.limits, write.overwrite)?);
    Ok(Rehearsal { reading: Some(reading), files })
}

/// Plays `recipe` through `deck` into a WAV file.
fn play(recipe: &Recipe, deck: &VirtualDeck, path: &Path, write: &WriteOptions) -> Result<(), RehearseError> {
    let timeline = Timeline::from(recipe);
    let mut renderer = Renderer::new(&timeline, write.rate_hz, write.reference_dbfs)?;
    // 8 kHz to 192 kHz, checked by the deck.
    let rate_hz = deck.return_rate_hz().round() as u32;
    let mut sink = WavSink::create(path, rate_hz, Depth::TwentyFour, 0, write.overwrite)?;
    let mut frames: Vec<[f64; 2]> = Vec::new();
    let source = |buffers: &mut [Vec<f64>; 2], wanted: usize| {
        frames.resize(wanted, [0.0; 2]);
        let filled = renderer.fill(&mut frames);
        for (channel, buffer) in buffers.iter_mut().enumerate() {
            buffer.extend(frames[..filled].iter().map(|frame| frame[channel]));
        }
        filled
    };
    let mut out: Vec<[f64; 2]> = Vec::new();
    deck.play(source, |block: &[&[f64]; 2]| {
        out.clear();
        out.extend(block[0].iter().zip(block[1]).map(|(&left, &right)| [left, right]));
        sink.feed(&out)
    })?;
    sink.finish()?;
    Ok(())
}
