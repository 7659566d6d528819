//! Playing a programme through the sound card.

use crate::capture::live::{Arrival, LiveStream, Pace, Trouble};
use crate::capture::{CaptureError, ReturnFile, Source};
use crate::programme::{ProgrammeError, Recipe, Renderer, Timeline, find};
use crate::sound_card::{Output, SoundCardError};
use std::path::{Path, PathBuf};
use std::time::Duration;
use thiserror::Error;

use super::WriteOptions;

/// Sample rates at which a recipe is rendered, Hz, the best first.
const RATES_HZ: [u32; 3] = [48_000, 44_100, 96_000];
/// Longest wait for a file, s.
const PATIENCE: Duration = Duration::from_secs(10);
/// Frames rendered at a time.
const BLOCK: usize = 1024;

/// What can go wrong while a programme is played.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PlayError {
    /// The file cannot be played.
    #[error(transparent)]
    File(#[from] CaptureError),
    /// The recipe cannot be played.
    #[error(transparent)]
    Recipe(#[from] ProgrammeError),
    /// The sound card refused.
    #[error(transparent)]
    SoundCard(#[from] SoundCardError),
    /// Reading stopped in the middle.
    #[error("{}: {what}; copy the file to this computer's own disk and play it again", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system or the decoder says.
        what: String,
    },
    /// The programme was played with gaps.
    #[error(
        "{device}: the computer was too slow, and the programme has gaps; end other programs and play it again"
    )]
    Gaps {
        /// The device.
        device: String,
    },
}

/// What is played.
#[derive(Debug)]
pub enum Playable {
    /// A recording or a written programme.
    File {
        /// The file.
        path: PathBuf,
        /// Sample rate, Hz.
        rate_hz: u32,
        /// Length, frames.
        frames: u64,
    },
    /// A recipe, rendered as [`WriteOptions`] has it by default.
    Recipe(Box<Recipe>),
}

impl Playable {
    /// What `typed` means: a file that is there and is no recipe, or else a recipe by its name or its file.
    ///
    /// # Errors
    /// If there is neither, or it is damaged.
    pub fn find(typed: &str) -> Result<Self, PlayError> {
        let path = Path::new(typed);
        let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
        let sounds = ["wav", "flac", "aif", "aiff", "aifc"].map(Some).contains(&ending.as_deref());
        if !sounds && (!path.is_file() || ending.as_deref() == Some("toml")) {
            return Ok(Self::Recipe(Box::new(find(typed)?)));
        }
        let file = ReturnFile::open(path, None)?;
        Ok(Self::File { path: path.to_owned(), rate_hz: file.rate_hz() as u32, frames: file.frames() })
    }
}

/// How often it is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rounds {
    /// Once.
    One,
    /// Again and again, without a gap, until the program is ended.
    Endless,
}

/// A programme, and the device that plays it.
pub struct Player {
    programme: Playable,
    output: Output,
}

impl Player {
    /// Opens the device of that name (see [`crate::sound_card::Device::name`]), the system's own choice without one, at the
    /// rate of the programme. Nothing sounds yet.
    ///
    /// # Errors
    /// If there is no such device, or it does not have the rate.
    pub fn open(programme: Playable, device: Option<&str>) -> Result<Self, PlayError> {
        let rates = match &programme {
            Playable::File { rate_hz, .. } => std::slice::from_ref(rate_hz),
            Playable::Recipe(_) => &RATES_HZ,
        };
        let output = Output::open(device, rates)?;
        Ok(Self { programme, output })
    }

    /// Plays it, and tells the place in the programme and its length, s, from time to time.
    ///
    /// # Errors
    /// If the device or the file refuses, or what was played has gaps.
    pub fn play(mut self, rounds: Rounds, tell: &mut dyn FnMut(f64, f64)) -> Result<(), PlayError> {
        let output = &mut self.output;
        match &self.programme {
            Playable::File { path, frames, .. } => loop {
                play_file(path, *frames, output, tell)?;
                if rounds == Rounds::One {
                    break;
                }
            },
            Playable::Recipe(recipe) => play_recipe(recipe, rounds, output, tell)?,
        }
        output.finish()?;
        match output.gaps() {
            (0, 0) => Ok(()),
            _ => Err(PlayError::Gaps { device: output.name().to_owned() }),
        }
    }
}

/// Says where it is: what the device has taken, as a place in a programme of so many frames.
fn place(output: &Output, frames: u64, tell: &mut dyn FnMut(f64, f64)) {
    let seconds = |frames: u64| frames as f64 / f64::from(output.rate_hz());
    tell(seconds(output.taken() % frames.max(1)), seconds(frames));
}

fn play_file(
    path: &Path,
    frames: u64,
    output: &mut Output,
    tell: &mut dyn FnMut(f64, f64),
) -> Result<(), PlayError> {
    let unreadable = |what: String| PlayError::Unreadable { path: path.to_owned(), what };
    let mut stream = LiveStream::finished(path, None, Pace::Fast, None)?;
    loop {
        match stream.next(PATIENCE) {
            Some(Arrival::Block(block)) => {
                output.write([&block[0], &block[1]])?;
                stream.give_back(block);
                place(output, frames, tell);
            }
            Some(Arrival::Trouble(Trouble::Unreadable { what })) => return Err(unreadable(what)),
            Some(Arrival::Trouble(_)) => {}
            Some(Arrival::End) => return Ok(()),
            None => return Err(unreadable("cannot be read in time".into())),
        }
    }
}

fn play_recipe(
    recipe: &Recipe,
    rounds: Rounds,
    output: &mut Output,
    tell: &mut dyn FnMut(f64, f64),
) -> Result<(), PlayError> {
    let timeline = Timeline::from(recipe);
    let mut renderer = Renderer::new(&timeline, output.rate_hz(), WriteOptions::default().reference_dbfs)?;
    let frames = renderer.frames();
    let mut block = [[0.0; 2]; BLOCK];
    let mut sides = [[0.0; BLOCK]; 2];
    loop {
        let filled = renderer.fill(&mut block);
        if filled == 0 {
            if rounds == Rounds::One {
                return Ok(());
            }
            // Not made anew: it looks through all noise first, longer than the ring holds.
            renderer.rewind();
        }
        for (k, frame) in block[..filled].iter().enumerate() {
            (sides[0][k], sides[1][k]) = (frame[0], frame[1]);
        }
        output.write([&sides[0][..filled], &sides[1][..filled]])?;
        place(output, frames, tell);
    }
}
