//! Constants and curves of published standards: one file a standard. Knows no signal processing.
//!
//! | file | document |
//! | --- | --- |
//! | [`medium`] | compact cassette after IEC 60094-7 and IEC 60094-1; other tape speeds as data |
//! | [`playback_losses`] | Wallace 1951 and the gap and azimuth formulas of the handbooks |
//! | [`tape_equalisation`] | IEC 60094-1:1981 clause 15 |
//! | [`a_weighting`] | IEC 61672-1:2013 |
//! | [`itu_r_468`] | Recommendation ITU-R BS.468-4 |
//! | [`flutter_weighting`] | IEC 60386:1972 (from memory) |
//! | [`octave_bands`] | IEC 61260-1:2014 |
//! | [`house_tape`] | how a house tape repeats, wears and ages (from memory, or common practice) |
//! | [`reference_levels`] | fluxivities and level definitions, see each row |
//! | [`sound_card`] | what a usual sound card and player hide (from memory) |
//! | [`student`] | JCGM 100:2008 table G.2: factors for few observations |
//! | [`test_tapes`] | usual tones of reference tapes, how far editions disagree: no standards |
//! | [`preferred_values`] | IEC 60063 (from memory) |
//! | [`common_practice`] | rules of thumb of the trade, no standards |
//! | [`cassette_parts`] | turning parts and their usual sizes, from memory |
//! | [`CAUTIONS`], [`TRIMMER_CAUTIONS`], [`INJECTION_CAUTIONS`] | what can hurt somebody at this work |

pub mod a_weighting;
pub mod cassette_parts;
pub mod common_practice;
pub mod flutter_weighting;
pub mod house_tape;
pub mod itu_r_468;
pub mod medium;
pub mod octave_bands;
pub mod playback_losses;
pub mod preferred_values;
pub mod reference_levels;
pub mod sound_card;
pub mod student;
pub mod tape_equalisation;
pub mod test_tapes;

mod cautions;
mod decibels;

#[cfg(feature = "sound-card")]
pub use cautions::TEST_TONES;
pub use cautions::{BEFORE_TURNING, CAUTIONS, INJECTION_CAUTIONS, TRIMMER_CAUTIONS};
pub use medium::Medium;
pub use reference_levels::{FluxStatement, StatedFlux};
pub use tape_equalisation::Equalisation;
