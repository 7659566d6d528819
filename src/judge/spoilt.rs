//! Which faults of the recording leave what untold, and what mends each.

use crate::judge::quantities::Id;
use crate::reading::{Untold, Warning, WarningId};

/// Warnings that spoil figures, with what to do about each.
pub(crate) const SPOILING: [(WarningId, &str); 6] = [
    (
        WarningId::Crossfeed,
        "switch off every enhancement in the sound card's settings, look for a cable or an adaptor that joins the channels, and \
         record again",
    ),
    (
        WarningId::GainRiding,
        "switch off automatic gain and every enhancement in the sound card's settings and record again",
    ),
    (WarningId::Clipped, "lower the sound card's recording level by about 6 dB and record again"),
    (
        WarningId::NoiseReductionOn,
        "switch noise reduction off, in the deck and in the sound card's settings, and record again",
    ),
    (WarningId::Lossy, "record to WAV over a cable, without lossy compression on the way"),
    (WarningId::WrongRecipe, "name the recipe that was played"),
];

/// What a level is needed for.
const LEVELS: [Id; 11] = [
    Id::PlaybackResponse,
    Id::PlaybackEqualisation,
    Id::ChannelMatch,
    Id::PlaybackLevel,
    Id::RecordLevel,
    Id::Bias,
    Id::RecordEqualisation,
    Id::Noise,
    Id::Hum,
    Id::NoiseReduction,
    Id::Saturation,
];

/// A fault, what it touches, and what it is in a clause.
const SPOILS: [(WarningId, &[Id], &str); 11] = [
    (WarningId::PolarityFlips, &[Id::Azimuth], "the polarity of a channel changes on the way"),
    (WarningId::Clipped, &LEVELS, "the tones for it are clipped"),
    (WarningId::Clipped, &[Id::Distortion, Id::Azimuth], "the tones for it are clipped"),
    (WarningId::Crossfeed, &LEVELS, "the channels are mixed into each other on the way"),
    (WarningId::Crossfeed, &[Id::Azimuth], "the channels are mixed into each other on the way"),
    (WarningId::GainRiding, &LEVELS, "something rode the gain"),
    (WarningId::NoiseReductionOn, &LEVELS, "noise reduction or suppression was at work"),
    (WarningId::Lossy, &[Id::Flutter, Id::Noise, Id::Distortion], "the return was compressed with loss"),
    (
        WarningId::RateMismatch,
        &[Id::Speed],
        "the file's header and the programme disagree on the sample rate",
    ),
    (WarningId::LevelMoved, &LEVELS, "the level moved while the programme played"),
    (
        WarningId::CoarseSamples,
        &[Id::Azimuth, Id::Noise, Id::Hum, Id::Distortion, Id::Saturation],
        "the samples of 8 bit are too coarse for it",
    ),
];

/// Why a figure of `id` is missing (or, if there `is_one`, not sure), if one of the `warnings` says it.
pub(crate) fn spoilt(id: Id, warnings: &[Warning], is_one: bool) -> Option<Untold> {
    let warned = |what: &WarningId| warnings.iter().any(|warning| warning.id == *what);
    // A level that moved is there all the same.
    let counts = |fault: &WarningId| warned(fault) && (is_one || *fault != WarningId::LevelMoved);
    let (fault, _, because) = SPOILS.iter().find(|(fault, ids, _)| counts(fault) && ids.contains(&id))?;
    let mend = SPOILING.iter().find(|(spoiling, _)| spoiling == fault).map(|(_, mend)| *mend);
    let elsewhere = match fault {
        WarningId::LevelMoved => "look for a loose plug or a tape that leaves the head and record again",
        WarningId::CoarseSamples => "record again in 16 or 24 bit",
        WarningId::PolarityFlips => "look at plugs and leads and record again",
        _ => "set player and recorder to one sample rate and record again",
    };
    Some(Untold::new(*because, mend.unwrap_or(elsewhere)))
}
