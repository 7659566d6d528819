//! Room `measure`: one file a quantity. Meters are fed blocks and asked for their result; nothing here prints or
//! knows a file format.

mod azimuth;
mod bias_sweep;
mod delay_fit;
mod distortion;
mod dropouts;
mod erasure;
mod flutter;
mod follow;
mod gain_riding;
mod intermodulation;
mod level_step;
mod measured;
mod noise;
mod noise_reduction;
mod peak;
mod response;
mod rounds;
mod saturation;
mod separation;
mod speed;
mod speed_wander;
mod sweep;
mod tone;

pub use azimuth::{AzimuthResult, azimuth};
pub use delay_fit::{DelayFit, Difference, fit_delay};
pub use distortion::{DistortionMeter, Harmonics, PlayedStep, distortion};
pub use dropouts::dropouts;
pub use erasure::{Erased, ErasureMeter, erasure};
pub use flutter::{BAND_HZ, FlutterMeter};
pub use intermodulation::{PlayedTwin, TwinTone, TwinToneMeter, intermodulation};
pub use measured::{MeasureOptions, Measured, measure};
pub use noise::{NoiseMeter, Silence, UNWEIGHTED_HZ};
pub use response::{PlayedTone, level, response};
pub use rounds::InRounds;
pub use saturation::saturation;
pub use separation::{Leakage, PlayedLeakage, SeparationMeter, separation};
pub use speed::speed;
pub use speed_wander::{SpeedWander, SpeedWanderMeter, speed_wander};
pub use sweep::{SweepMeter, SweepPlace, SweepPoint, band_level};
pub use tone::{Mutual, Tone, ToneLevel, ToneMeter};
