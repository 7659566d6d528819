//! Azimuth from all played tones.

use crate::measure::azimuth::delay::{self, AzimuthResult, PlayedDifference, differences, wander_us};
use crate::measure::whole::played::{Played, on_both};
use crate::programme::Serves;
use crate::reading::{Azimuth, Warning, WarningId};
use crate::trade::common_practice::AZIMUTH_NEEDS_HZ;
use crate::trade::sound_card::top_hz;

/// Azimuth, and what it was told from.
pub(crate) struct PlayedAzimuth {
    pub azimuth: Option<Azimuth>,
    pub differences: Vec<PlayedDifference>,
    /// The channels have opposite polarity.
    pub opposed: Option<bool>,
    pub warning: Option<Warning>,
}

pub(crate) fn azimuth(played: &Played<'_>) -> PlayedAzimuth {
    let wander = played
        .tones()
        .filter(|(part, tone)| part.serves == Serves::Azimuth && on_both(part) && tone.tone.mutual.is_some())
        .max_by(|a, b| a.0.length_s.total_cmp(&b.0.length_s))
        .and_then(|(_, tone)| wander_us(&tone.tone.band));
    let tones = played.linear_tones().filter(|(part, _)| played.is_first(part)).map(|(_, tone)| tone);
    let differences = differences(tones);
    let Some(AzimuthResult { azimuth, opposed, unresolved }) =
        delay::azimuth(&differences, wander, played.rate_hz, &played.options.medium)
    else {
        return PlayedAzimuth { azimuth: None, differences, opposed: None, warning: None };
    };
    let heard = top_hz(played.rate_hz) >= AZIMUTH_NEEDS_HZ;
    let warning = (heard && unresolved).then(|| {
        Warning::new(
            WarningId::PhaseUnresolved,
            "The phases between the channels fit no single delay: azimuth cannot be told from this return. \
             Check the wiring and the tape's path over the head, then record again.",
        )
    });
    PlayedAzimuth {
        azimuth: heard.then_some(azimuth),
        differences,
        opposed: (!unresolved).then_some(opposed),
        warning,
    }
}
