//! The injected playback amplifier: time constants, and the deviation from the curve.

use super::SIDES;
use super::level::points;
use crate::reading::figures::UnitKind::{Db, Microseconds};
use crate::reading::figures::{frequency, given};
use crate::reading::{Amplifier, AmplifierPosition, FedInto};
use crate::show::page::{Measured, Rows, Section, Tone};

/// `120 us`.
pub(in crate::show) fn name(position: &AmplifierPosition) -> String {
    format!("{} us", given(position.equalisation_us, 1))
}

fn fed_into(amplifier: &Amplifier) -> &'static str {
    match amplifier.fed_into {
        FedInto::AmplifierInput => "amplifier input",
        FedInto::FluxLoop => "flux loop",
    }
}

/// The time constants, and the deviation of each position: `amplifier.csv`.
pub(in crate::show) fn amplifier(amplifier: &Amplifier) -> Vec<Section> {
    let deviations = amplifier.positions.iter().map(|position| {
        let table =
            points("amplifier.csv", &position.steps, "equalisation_us", || position.equalisation_us, &[]);
        Section::new(format!("Deviation from the curve, {}", name(position)))
            .say(format!(
                "In dB against {}, fed into the {}: a right amplifier has 0 everywhere.",
                frequency(position.reference_hz),
                fed_into(amplifier)
            ))
            .table(table.table())
    });
    std::iter::once(time_constants(amplifier)).chain(deviations).collect()
}

fn time_constants(amplifier: &Amplifier) -> Section {
    let rows: Vec<(&AmplifierPosition, usize)> =
        amplifier.positions.iter().flat_map(|position| [(position, 0), (position, 1)]).collect();
    let table = Rows::of("", &rows)
        .head("position", |(position, _)| name(position))
        .head("channel", |(_, k)| SIDES[*k])
        .head("high, us", |(position, k)| {
            Measured::of(Microseconds, position.high_us[*k], position.high_uncertainty_us[*k]).sure()
        })
        .head("low, us", |(position, k)| {
            Measured::of(Microseconds, position.low_us[*k], position.low_uncertainty_us[*k]).sure()
        })
        .head("rest, dB", |(position, k)| Measured::of(Db, position.rest_db[*k], None).or_say(""));
    let mut below = Vec::new();
    for (side, channel) in SIDES.iter().enumerate() {
        match amplifier.switched[side] {
            Some(false) => {
                below.push(format!("{channel}: both positions are the same. The selector does nothing."))
            }
            Some(true) => below.push(format!("{channel}: the two positions differ, as they should.")),
            None => {}
        }
        for position in &amplifier.positions {
            below.extend(
                position.why[side].as_ref().map(|why| format!("{channel}, {}: {why}.", name(position))),
            );
        }
    }
    Section::new("Playback equalisation")
        .say(format!(
            "Fed into: {}. Time constants of the amplifier, against those of IEC 60094-1. A coupling capacitor and the \
             amplifier's bandwidth are separated from them as far as the tones allow. Residual: what no time constant explains.",
            fed_into(amplifier)
        ))
        .table(table.table())
        .say_all(Tone::Plain, below)
}
