//! Room `programme`: recipes, their timeline, and the WAV that is played into the deck.

mod built_in;
mod code;
mod cue;
mod error;
mod feeding;
mod inputs;
mod keys;
mod layout;
mod new_file;
mod own;
mod parts;
pub mod recipe;
mod render;
mod shape;
mod sheet;
mod sheet_feeding;
mod shortest;
pub mod slate;
mod tape_file;
mod timeline;
mod wav;

pub use built_in::{built_in, built_in_by_code, built_in_text, find};
pub use cue::cue_sheet;
pub use error::{ProgrammeError, RecipeFault};
pub use feeding::Feeding;
pub(crate) use inputs::bounded_text;
pub use inputs::{BY_HAND_BYTES, DATA_BYTES, note_input, read_text};
pub use new_file::{NewFile, Overwrite, abandon_unfinished, remove_own, write_text};
pub use own::DECK_MARK;
pub use recipe::Recipe;
pub use render::Renderer;
pub use sheet::{RunningSheet, SheetRounds, SheetRow, Written, running_sheet};
pub use shortest::{shortest_sweep_s, shortest_tone_s};
pub use tape_file::{TAPE_EXAMPLE, TapeFile, TapeTone, Track};
pub use timeline::{Channels, Colour, Feed, PlacedPart, Serves, Signal, Timeline};
pub use wav::{Depth, WavSink, write_wav};

// What only tests and benches ask for by name.
#[cfg(feature = "internals")]
pub use self::built_in::{built_in_by_name, built_in_names};
