//! Room `measure`: one file a quantity. Meters are fed blocks and asked for their result; nothing here prints or
//! knows a file format.

mod course;

mod azimuth;
mod causes;
mod corrections;
mod distortion;
mod faults;
mod flutter;
mod noise;
mod response;
mod separation;
mod skew;
mod speed;
mod tone;
mod trim;
mod whole;

pub use azimuth::delay::{AzimuthResult, PlayedDifference, azimuth, differences, wander_us};
pub use azimuth::delay_fit::{DelayFit, Difference, fit_delay};
pub use causes::told::causes;
pub use corrections::card::{CardError, CardFigures, card_figures, check_calibrated, check_house};
pub use corrections::card_subtracted::subtract_card;
pub use corrections::loopback::{LoopbackCapture, LoopbackError, subtract};
pub use corrections::tape_values::{TapeValues, Told, deck_equalisation};
pub use distortion::harmonics::{DistortionMeter, Harmonics, PlayedStep, distortion};
pub use distortion::intermodulation::{PlayedTwin, TwinTone, TwinToneMeter, intermodulation};
pub use distortion::saturation::saturation;
pub use faults::level_dependence::LevelDependence;
pub use faults::lossy::LossySign;
pub use faults::tears::TornInFile;
pub use flutter::deviation::BAND_HZ;
pub use flutter::figures::STRETCH_S;
pub use flutter::indicator::{indicator, stated};
pub use flutter::meter::FlutterMeter;
pub use flutter::parts::{LinePart, line_parts};
pub use flutter::same_tape::{SameTapeError, TapeCourse, same_tape};
pub use flutter::transport_numbers::{OtherPart, RunsOn, TransportNumbers};
pub use noise::meter::{NoiseMeter, Reference, Silence, UNWEIGHTED_HZ};
pub use response::amplifier::{amplifier_response, tell_time_constants};
pub use response::noise_bands::{BandGain, NoiseBands, NoiseBandsMeter, NoisePlace};
pub use response::steps::{PlayedTone, level, response};
pub use response::sweep::{SweepMeter, SweepPlace, SweepPoint, band_level};
pub use separation::erasing::{Erased, ErasingMeter, erasing};
pub use separation::leakage::{Leakage, PlayedLeakage, SeparationMeter, separation};
pub use skew::cells::{SkewCells, SkewMeter};
pub use skew::consensus::{Consensus, RECORDERS_US, consensus};
pub use skew::content::Content;
pub use skew::delay::{PRODUCTION_US, Skew, SkewDelay, Stretch, coarse_delay_us, skew};
pub use speed::length::{LengthError, MarkedLength, speed_from_length};
pub use speed::slates::speed;
pub use speed::tones::{FrequencyKnowledge, tone_speed};
pub use speed::wander::{SpeedWander, SpeedWanderMeter, speed_wander};
pub use tone::dropouts::dropouts;
pub use tone::meter::{Mutual, Tone, ToneLevel, ToneMeter};
pub use trim::rounds::InRounds;
pub use whole::measured::{MeasureOptions, Measured, MeasuredTone, measure};
