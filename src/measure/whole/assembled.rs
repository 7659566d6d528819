//! What the parts of a programme gave, put together: one function a quantity, each in its quantity's folder.

use crate::measure::azimuth::section::azimuth;
use crate::measure::distortion::section::{distortion, intermodulation, saturation};
use crate::measure::faults::jumps::Jumps;
use crate::measure::faults::section::{gain_signs, level_moved, lost_from_s, noise_limited, ran_s};
use crate::measure::faults::surroundings::Surroundings;
use crate::measure::flutter::section::flutter;
use crate::measure::noise::section::{noise, reference};
use crate::measure::response::section::{amplifier, levels, response};
use crate::measure::separation::section::{erasing, separation};
use crate::measure::speed::section::{speed, tones};
use crate::measure::tone::level_wander::LevelWander;
use crate::measure::tone::section::dropouts;
use crate::measure::whole::evidence::Evidence;
use crate::measure::whole::played::Played;
use crate::reading;

/// Puts all played parts together; what is measured in rounds is left open.
pub(crate) fn assemble(
    played: &Played<'_>,
    mut around: Surroundings,
    wander: &[LevelWander; 2],
) -> (reading::Measured, Evidence) {
    let clock = played.alignment.clock;
    let jumps = Jumps::of(played);
    let (ran_s, lost_from_s) = (ran_s(played), lost_from_s(played));
    // A silence without the tape is none, and no slate behind it says that the tape ran.
    if lost_from_s.is_some() {
        around.silence = None;
    }
    let stopped = ran_s.is_some() && lost_from_s.is_some();
    let level = levels(played, wander);
    let reference_dbfs = reference(&level).map_or([None; 2], |reference| reference.dbfs);
    let response = response(played, &jumps, wander);
    let (azimuth, ((flutter, course), noise)) = rayon::join(
        || azimuth(played),
        || (flutter(played, &jumps), if stopped { None } else { noise(played, &level) }),
    );
    let distortion = distortion(played, reference_dbfs);
    let gain = gain_signs(played, &around, distortion.as_ref());
    let mut warnings = gain.warnings;
    warnings.extend(level_moved(wander, clock));
    warnings.extend(azimuth.warning);
    // A level that was left out because it is clipped is not hidden by noise.
    if played.options.tops == [None; 2] {
        warnings.extend(noise_limited(&level, response.as_ref(), around.there));
    }
    let evidence = Evidence {
        differences: azimuth.differences,
        opposed: azimuth.opposed,
        course,
        tones: tones(played),
        torn: jumps.torn.iter().map(|torn| torn.in_file(clock)).collect(),
        phase_jumps: jumps.phase_jumps.iter().map(|jump| jump.in_file(clock)).collect(),
        ran_s,
        lost_from_s,
        level_dependence: gain.level_dependence,
        lossy_signs: gain.lossy_signs,
        warnings,
    };
    let facts = reading::Measured {
        response,
        amplifier: amplifier(played),
        azimuth: azimuth.azimuth,
        speed: speed(played, &jumps),
        flutter,
        noise,
        distortion,
        intermodulation: intermodulation(played),
        saturation: saturation(played, &level, reference_dbfs, wander),
        separation: separation(played),
        erasing: erasing(played),
        dropouts: dropouts(played),
        level,
        ..Default::default()
    };
    (facts, evidence)
}
