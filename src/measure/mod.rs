//! Room `measure`: one file a quantity. Meters are fed blocks and asked for their result; nothing here prints or
//! knows a file format.

mod azimuth;
mod delay_fit;
mod dropouts;
mod flutter;
mod flutter_course;
mod flutter_figures;
mod flutter_indicator;
mod flutter_lines;
mod gain_riding;
mod measured;
mod noise;
mod response;
mod speed;
mod speed_wander;
mod sweep;
mod tone;

pub use azimuth::{AzimuthResult, azimuth};
pub use delay_fit::{DelayFit, Difference, fit_delay};
pub use dropouts::dropouts;
pub use flutter::FlutterMeter;
pub use flutter_course::BAND_HZ;
pub use flutter_figures::STRETCH_S;
pub use flutter_indicator::{indicator, stated};
pub use measured::{MeasureOptions, Measured, measure};
pub use noise::{NoiseMeter, Silence, UNWEIGHTED_HZ};
pub use response::{PlayedTone, level, response};
pub use speed::speed;
pub use speed_wander::{SpeedWander, SpeedWanderMeter, speed_wander};
pub use sweep::{SweepMeter, SweepPlace, SweepPoint, band_level};
pub use tone::{Mutual, Tone, ToneLevel, ToneMeter};
