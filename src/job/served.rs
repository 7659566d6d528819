//! What the parts of a programme are for, as a reading says it.

use crate::programme::{Serves, Timeline};
use crate::reading::Served;

/// Each kind once, in the order of the programme.
pub(super) fn served(timeline: &Timeline) -> Vec<Served> {
    let mut all = Vec::new();
    for part in &timeline.parts {
        let served = match part.serves {
            Serves::Place | Serves::Nothing => continue,
            Serves::Level => Served::Level,
            Serves::Response => Served::Response,
            Serves::Azimuth => Served::Azimuth,
            Serves::Flutter => Served::Flutter,
            Serves::Noise => Served::Noise,
            Serves::Distortion => Served::Distortion,
            Serves::Saturation => Served::Saturation,
            Serves::Separation => Served::Separation,
            Serves::Bias | Serves::Source => Served::Bias,
            Serves::BiasSweep => Served::BiasSweep,
            Serves::ReductionIn | Serves::ReductionOut => Served::NoiseReduction,
            Serves::Erasing => Served::Erasing,
            Serves::Injected(..) => Served::Injection,
        };
        if !all.contains(&served) {
            all.push(served);
        }
    }
    all
}
