//! One judge a finding.

pub(crate) mod azimuth;
pub(crate) mod capture;
pub(crate) mod equalisation;
pub(crate) mod erasing;
pub(crate) mod flutter_varies;
pub(crate) mod level;
pub(crate) mod noise;
pub(crate) mod noise_reduction;
pub(crate) mod nonlinear;
pub(crate) mod recording;
pub(crate) mod response;
pub(crate) mod separation;
pub(crate) mod transport;
pub(crate) mod wiring;
