//! What speaks for or against the figures, and what they were read from.

use crate::measure::azimuth::delay::PlayedDifference;
use crate::measure::faults::level_dependence::LevelDependence;
use crate::measure::faults::lossy::LossySign;
use crate::measure::faults::phase_jumps::PhaseJumpInFile;
use crate::measure::faults::tears::TornInFile;
use crate::measure::flutter::same_tape::TapeCourse;
use crate::measure::speed::tones::MeasuredTone;
use crate::reading::{FileTime, Warning};

/// What was found besides the sections of a reading.
#[derive(Debug, Clone, Default)]
pub struct Evidence {
    /// How the channels differed at each tone, from which azimuth was told.
    pub differences: Vec<PlayedDifference>,
    /// The tones say that the channels have opposite polarity (the slates' word is less sure).
    pub opposed: Option<bool>,
    /// The course of the flutter tone against the place on the tape.
    pub course: Option<TapeCourse>,
    /// Frequency of every tone that was measured, in the order of the programme.
    pub tones: Vec<MeasuredTone>,
    /// Stretches in which samples are missing or came twice.
    pub torn: Vec<TornInFile>,
    /// Where the phase of the flutter tone jumps.
    pub phase_jumps: Vec<PhaseJumpInFile>,
    /// Where alone the tape ran in the flutter tone, from and to, if it did not all the time.
    pub ran_s: Option<[FileTime; 2]>,
    /// From here on no slate was found though the return goes on.
    pub lost_from_s: Option<FileTime>,
    /// A gain that depends on level.
    pub level_dependence: Option<LevelDependence>,
    /// Signs of a lossy codec.
    pub lossy_signs: Vec<LossySign>,
    /// What the reader must know.
    pub warnings: Vec<Warning>,
}
