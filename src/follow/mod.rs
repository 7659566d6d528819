//! Room `follow`: a deck followed live while a screw is turned.
//!
//! Sound is fed as it comes; a picture is asked for as often as somebody looks. The figures are those of the meters of `measure`,
//! fed the newest stretch of what plays: there is no second way of measuring.

mod azimuth;
mod bias;
mod follower;
mod hearing;
mod level;
mod noise;
mod noise_response;
mod options;
mod place;
mod response;
mod ring;
mod speed;
mod tones;

pub use follower::Follower;
pub use options::FollowOptions;
