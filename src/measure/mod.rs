//! Room `measure`: one file a quantity. Meters are fed blocks and asked for their result; nothing here prints or
//! knows a file format.

mod azimuth;
mod cells;
mod delay_fit;
mod dropouts;
mod flutter;
mod gain_riding;
mod level_dependence;
mod lossy;
mod measured;
mod noise;
mod response;
mod speed;
mod speed_wander;
mod steady;
mod surroundings;
mod sweep;
mod tears;
mod tone;

pub use azimuth::{AzimuthResult, azimuth};
pub use delay_fit::{DelayFit, Difference, fit_delay};
pub use dropouts::dropouts;
pub use flutter::{BAND_HZ, FlutterMeter};
pub use level_dependence::LevelDependence;
pub use lossy::LossySign;
pub use measured::{MeasureOptions, Measured, measure};
pub use noise::{NoiseMeter, Silence, UNWEIGHTED_HZ};
pub use response::{PlayedTone, level, response};
pub use speed::speed;
pub use speed_wander::{SpeedWander, SpeedWanderMeter, speed_wander};
pub use sweep::{SweepMeter, SweepPlace, SweepPoint, band_level};
pub use tears::Torn;
pub use tone::{Mutual, Tone, ToneLevel, ToneMeter};
