//! Room `measure`: one file a quantity. Meters are fed blocks and asked for their result; nothing here prints or
//! knows a file format.

mod azimuth;
mod delay_fit;
mod dropouts;
mod flutter;
mod noise;
mod response;
mod speed;
mod sweep;
mod tone;
