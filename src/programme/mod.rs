//! Room `programme`: recipes, their timeline, and the WAV that is played into the deck.

pub mod slate;
mod timeline;

pub use timeline::{Channels, Colour, PlacedPart, Serves, Signal, Timeline};
