//! Room `measure`: one file a quantity. Meters are fed blocks and asked for their result; nothing here prints or
//! knows a file format.

mod azimuth;
mod causes;
mod corrections;
mod distortion;
mod faults;
mod flutter;
mod meter;
mod noise;
mod playback;
mod response;
mod separation;
mod skew;
mod speed;
mod tone;
mod trim;
mod whole;

pub use azimuth::delay::PlayedDifference;
pub use causes::told::causes;
pub use corrections::card::{CardError, CardFigures, card_figures, check_calibrated, check_house};
pub use corrections::card_at_tone::{
    card_used, recorded_delay, recorded_level, recorded_phase, recorded_speed,
};
pub use corrections::card_subtracted::subtract_card;
pub use corrections::loopback::{LoopbackCapture, LoopbackError, subtract};
pub use corrections::tape_values::{TapeValues, Told, deck_equalisation};
pub use distortion::harmonics::{DistortionMeter, PlayedStep, distortion};
pub use faults::level_dependence::LevelDependence;
pub use faults::withheld::withhold;
pub use flutter::meter::{FlutterMeter, FlutterPlan};
pub use flutter::needle::needle_percent;
pub use flutter::parts::{line_parts, parts_of};
pub use flutter::same_tape::{SameTapeError, TapeCourse, same_tape};
pub use flutter::transport_numbers::TransportNumbers;
pub use meter::Meter;
pub use noise::meter::NoiseMeter;
pub use noise::reference::Reference;
pub use playback::MeasureOptions;
pub use response::amplifier::{amplifier_response, tell_time_constants};
pub use response::noise_bands::{NoiseBandsMeter, NoisePlace};
pub use response::sweep::{SweepMeter, SweepPlace, band_level};
pub use skew::cells::{SkewCells, SkewMeter};
pub use skew::consensus::{Consensus, RECORDERS_US, consensus};
pub use skew::content::Content;
pub use skew::delay::{Skew, Stretch, coarse_delay_us, skew};
pub use speed::length::{LengthError, MarkedLength, speed_from_length};
pub use speed::tones::{FrequencyKnowledge, MeasuredTone, tone_speed};
pub use tone::meter::{Tone, ToneMeter};
pub use whole::evidence::Evidence;
pub use whole::measured::{Measured, measure};

// What only tests and benches ask for by name.
#[cfg(feature = "internals")]
pub use self::{
    azimuth::delay_fit::Difference,
    distortion::intermodulation::{PlayedTwin, TwinToneMeter, intermodulation},
    faults::phase_jumps::{PhaseJump, phase_jumps},
    flutter::indicator::{indicator, stated},
    flutter::parts::LinePart,
    separation::erasing::ErasingMeter,
    separation::leakage::{LeakagePlan, SeparationMeter},
};
