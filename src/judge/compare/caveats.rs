//! Differences between readings that are none of the deck: what must be known before a comparison is trusted.

use crate::judge::Reading;
use crate::judge::compare::named::Named;
use crate::judge::compare::quantities::recorded_on;
use crate::judge::spoilt::SPOILING;
use crate::reading::{NoiseReduction, Warning, WarningId};

/// Differences between the readings that are none of the deck.
pub(crate) fn caveats(readings: &[Named<'_>]) -> Vec<Warning> {
    let mut warnings = Vec::new();
    let differs = |of: &dyn Fn(&Reading) -> String| {
        let each: Vec<String> = readings.iter().map(|named| of(named.reading)).collect();
        let all = || {
            let pairs = readings.iter().zip(&each);
            pairs.map(|(named, value)| format!("{}: {value}", named.name)).collect::<Vec<_>>().join("; ")
        };
        each.windows(2).any(|pair| pair[0] != pair[1]).then(all)
    };
    let mut warn = |id: WarningId, found: Option<String>, text: &str| {
        if let Some(found) = found {
            warnings.push(Warning::new(id, format!("{text} ({found}).")));
        }
    };
    let told = |value: Option<String>| value.unwrap_or_else(|| "not told".to_owned());
    warn(
        WarningId::OtherDeck,
        differs(&|r| told(r.made.as_ref().and_then(|made| made.deck.clone()))),
        "The readings name different decks: differences are those of the decks, too",
    );
    warn(
        WarningId::OtherRecipe,
        differs(&|r| told(r.recipe.as_ref().map(|recipe| recipe.name.clone()))),
        "The programmes differ: only what is in all of them can be compared",
    );
    warn(
        WarningId::OtherHouseCard,
        differs(&|r| told(r.circumstances.card.as_ref().map(|card| card.name.clone()))),
        "Different cards were subtracted: levels, response, azimuth and speed differ by the cards' errors as well",
    );
    warn(
        WarningId::OtherRecording,
        differs(&|r| told(r.circumstances.recorded_on.map(|on| recorded_on(on).to_owned()))),
        "The tapes are of different origin: levels, response, azimuth and speed mean different things",
    );
    warn(
        WarningId::OtherHeads,
        differs(&|r| told(r.circumstances.heads.map(|heads| u8::from(heads).to_string()))),
        "The numbers of heads differ: flutter and azimuth mean different things",
    );
    warn(
        WarningId::OtherTapeType,
        differs(&|r| told(r.circumstances.tape_type.map(|kind| format!("{kind:?}")))),
        "The tape types differ",
    );
    warn(
        WarningId::OtherNoiseReduction,
        differs(&|r| match r.circumstances.noise_reduction {
            NoiseReduction::On => "on".to_owned(),
            NoiseReduction::Off => "off".to_owned(),
        }),
        "Noise reduction was on in some and off in others: response and noise cannot be compared",
    );
    warn(
        WarningId::OtherCard,
        differs(&|r| if r.capture.loopback.is_some() { "subtracted" } else { "not subtracted" }.to_owned()),
        "The sound card was subtracted from some of the readings only",
    );
    let faults = |r: &Reading| {
        let spoils = |id: &&WarningId| SPOILING.iter().any(|(spoiling, _)| spoiling == *id);
        let ids: Vec<&str> = r.warnings.iter().map(|w| &w.id).filter(spoils).map(WarningId::as_str).collect();
        ids.join(", ")
    };
    for named in readings {
        let ids = faults(named.reading);
        if !ids.is_empty() {
            warnings.push(Warning::new(
                WarningId::BadCapture,
                format!("{}: its capture is not sound ({ids}); what differs may be the capture.", named.name),
            ));
        }
    }
    for (side, name) in ["left", "right"].into_iter().enumerate() {
        let dead: Vec<&str> =
            readings.iter().filter(|named| is_dead(named.reading, side)).map(|named| named.name).collect();
        if !dead.is_empty() {
            warnings.push(Warning::new(
                WarningId::DeadChannel,
                format!(
                    "The {name} channel is dead in {}: neither it nor left minus right can be compared.",
                    dead.join(", ")
                ),
            ));
        }
    }
    for (k, named) in readings.iter().enumerate() {
        if let Some(twin) = readings[..k].iter().find(|other| other.reading == named.reading) {
            warnings.push(Warning::new(
                WarningId::SameReading,
                format!("{} and {} are one and the same reading: nothing can differ.", twin.name, named.name),
            ));
        }
    }
    warnings
}

/// Whether nothing came back on a side, as its wiring was found.
fn is_dead(reading: &Reading, side: usize) -> bool {
    let is = |level: &crate::reading::Level| {
        level.return_dbfs[side].is_none() && level.return_dbfs[1 - side].is_some()
    };
    !reading.level.is_empty() && reading.level.iter().all(is)
}

/// What makes repeats worthless for these readings.
pub(crate) fn repeats(readings: &[Named<'_>], repeats: &[Named<'_>]) -> Vec<Warning> {
    let (Some(first), false) = (readings.first(), repeats.is_empty()) else { return Vec::new() };
    let mut warnings = Vec::new();
    let same = |other: &&Named<'_>| {
        let key = |reading: &Reading| {
            let told = &reading.circumstances;
            (told.recorded_on, told.heads, told.tape_type, reading.recipe.as_ref().map(|r| r.code.clone()))
        };
        key(other.reading) == key(first.reading)
    };
    let others: Vec<&str> = repeats.iter().filter(|named| !same(named)).map(|named| named.file).collect();
    if !others.is_empty() {
        warnings.push(Warning::new(
            WarningId::OtherRepeats,
            format!(
                "The repeats are of another programme, or were read under other circumstances, than {}: {}. These readings \
                 may repeat better or worse.",
                first.name,
                others.join(", ")
            ),
        ));
    }
    warnings
}
