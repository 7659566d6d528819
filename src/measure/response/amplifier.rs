//! The playback amplifier against its curve, from tones that no tape carried, in both positions of its switch.

use crate::measure::response::steps::{PlayedTone, corner_hz, level, response};
use crate::measure::response::time_constants::{Deviation, time_constants};
use crate::programme::{Channels, Feed, PlacedPart, Serves};
use crate::reading::{Amplifier, AmplifierPosition, FedInto, Response, TapeType};
use crate::trade::Equalisation;
use crate::trade::tape_equalisation::{LOW_TIME_CONSTANT_US, amplifier_db, flux_relative_db};

/// Positions differ if their time constants do by more than this share of what the two curves differ by, in logarithms;
/// they are one and the same below it.
const SWITCHED_SHARE: f64 = 0.35;

/// The gain against that at the reference frequency in each position that was played: what a sound card alone has. The
/// curve is laid over it by [`tell_time_constants`], once the card is subtracted.
pub(crate) fn amplifier(
    played: &[(&PlacedPart, PlayedTone)],
    reference_hz: f64,
    reference_dbfs: f64,
) -> Option<Amplifier> {
    let serving = |part: &PlacedPart| match part.serves {
        Serves::Injected(feed, equalisation) if part.channels == Channels::Both => Some((feed, equalisation)),
        _ => None,
    };
    let feed = played.iter().find_map(|(part, _)| serving(part))?.0;
    let positions: Vec<AmplifierPosition> = Equalisation::ALL
        .into_iter()
        .filter_map(|equalisation| {
            let tones: Vec<PlayedTone> = played
                .iter()
                .filter(|(part, _)| serving(part) == Some((feed, equalisation)))
                .map(|(_, tone)| *tone)
                .collect();
            position(&tones, equalisation, reference_hz, reference_dbfs)
        })
        .collect();
    let fed_into = match feed {
        Feed::Amplifier => FedInto::AmplifierInput,
        Feed::Loop => FedInto::FluxLoop,
    };
    (!positions.is_empty()).then_some(Amplifier { fed_into, positions, switched: [None; 2] })
}

fn position(
    tones: &[PlayedTone],
    equalisation: Equalisation,
    reference_hz: f64,
    reference_dbfs: f64,
) -> Option<AmplifierPosition> {
    let away = |tone: &PlayedTone| (tone.hz / reference_hz).ln().abs();
    let reference = tones.iter().min_by(|a, b| away(a).total_cmp(&away(b)))?;
    let steps = response(tones, None, None, reference_hz, reference_dbfs, None)?.steps;
    (!steps.is_empty()).then(|| AmplifierPosition {
        equalisation_us: equalisation.high_time_constant_us(),
        low_equalisation_us: LOW_TIME_CONSTANT_US,
        reference_hz,
        programme_db: reference.programme_db,
        gain_db: level(reference, reference_dbfs, None).gain_db,
        steps,
        high_us: [None; 2],
        high_uncertainty_us: [None; 2],
        low_us: [None; 2],
        low_uncertainty_us: [None; 2],
        rest_db: [None; 2],
        fitted_hz: [None; 2],
        why: [None, None],
    })
}

/// Makes of the gains the deviations from the curve, fits the time constants of every position and channel to them, and
/// says whether the switch switches.
pub fn tell_time_constants(amplifier: &mut Amplifier) {
    let fed_into = amplifier.fed_into;
    for position in &mut amplifier.positions {
        for step in &mut position.steps {
            let curve_db = curve_db(fed_into, position.equalisation_us, step.hz, position.reference_hz);
            step.db = step.db.map(|db| db.map(|db| db - curve_db));
        }
        for side in 0..2 {
            let deviations: Vec<Deviation> = position
                .steps
                .iter()
                .filter_map(|step| Some((step.hz, step.db[side]?, step.uncertainty_db[side]?)))
                .collect();
            match time_constants(&deviations, position.equalisation_us) {
                Ok(found) => {
                    position.high_us[side] = Some(found.high_us.0);
                    position.high_uncertainty_us[side] = Some(found.high_us.1);
                    position.low_us[side] = found.low_us.map(|low| low.0);
                    position.low_uncertainty_us[side] = found.low_us.map(|low| low.1);
                    position.rest_db[side] = Some(found.rest_db);
                    position.fitted_hz[side] = Some(found.fitted_hz);
                }
                Err(why) => position.why[side] = Some(why),
            }
        }
    }
    amplifier.switched = [0, 1].map(|side| switched(&amplifier.positions, side));
}

/// Gain of a right deck from where the tones are fed in, 0 dB at `reference_hz`.
fn curve_db(fed_into: FedInto, equalisation_us: f64, hz: f64, reference_hz: f64) -> f64 {
    let us_70 = Equalisation::Us70;
    let equalisation =
        if equalisation_us == us_70.high_time_constant_us() { us_70 } else { Equalisation::Us120 };
    match fed_into {
        FedInto::AmplifierInput => amplifier_db(equalisation, hz, reference_hz),
        FedInto::FluxLoop => -flux_relative_db(equalisation, hz, reference_hz),
    }
}

fn switched(positions: &[AmplifierPosition], side: usize) -> Option<bool> {
    let [one, other] = positions else { return None };
    let log = |position: &AmplifierPosition| {
        let us = position.high_us[side]?;
        Some((us.ln(), position.high_uncertainty_us[side]? / us))
    };
    let (a, b) = (log(one)?, log(other)?);
    let (apart, uncertainty) = ((a.0 - b.0).abs(), a.1.hypot(b.1));
    let threshold = SWITCHED_SHARE * (one.equalisation_us / other.equalisation_us).ln().abs();
    if apart - uncertainty > threshold {
        Some(true)
    } else if apart + uncertainty < threshold {
        Some(false)
    } else {
        None
    }
}

/// The deviation in the position that belongs to `tape_type` (120 us if it was not told) as a response.
pub fn amplifier_response(amplifier: &Amplifier, tape_type: Option<TapeType>) -> Option<Response> {
    let equalisation = match tape_type {
        None | Some(TapeType::I) => Equalisation::Us120,
        Some(TapeType::II | TapeType::III | TapeType::IV) => Equalisation::Us70,
    };
    let wanted_us = equalisation.high_time_constant_us();
    let positions = &amplifier.positions;
    let position =
        positions.iter().find(|position| position.equalisation_us == wanted_us).or(positions.first())?;
    let corners =
        |rising: bool| [0, 1].map(|side| corner_hz(&position.steps, side, position.reference_hz, rising));
    Some(Response {
        reference_hz: position.reference_hz,
        programme_db: position.programme_db,
        steps: position.steps.clone(),
        sweep: vec![],
        noise: vec![],
        combined: vec![],
        low_3db_hz: corners(false),
        high_3db_hz: corners(true),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn position(equalisation_us: f64, high_us: f64, uncertainty_us: f64) -> AmplifierPosition {
        AmplifierPosition {
            equalisation_us,
            low_equalisation_us: 3180.0,
            reference_hz: 400.0,
            programme_db: -20.0,
            gain_db: [None; 2],
            steps: vec![],
            high_us: [Some(high_us); 2],
            high_uncertainty_us: [Some(uncertainty_us); 2],
            low_us: [None; 2],
            low_uncertainty_us: [None; 2],
            rest_db: [None; 2],
            fitted_hz: [None; 2],
            why: [None, None],
        }
    }

    #[test]
    fn a_switch_is_told_by_both_positions_and_only_if_they_are_sure() {
        let told = |one: (f64, f64), other: (f64, f64)| {
            switched(&[position(120.0, one.0, one.1), position(70.0, other.0, other.1)], 0)
        };
        assert_eq!(told((119.0, 2.0), (71.0, 2.0)), Some(true));
        assert_eq!(told((119.0, 2.0), (118.0, 2.0)), Some(false));
        assert_eq!(told((71.0, 2.0), (119.0, 2.0)), Some(true));
        assert_eq!(told((119.0, 30.0), (100.0, 30.0)), None);
        assert_eq!(switched(&[position(120.0, 119.0, 2.0)], 0), None);
    }
}
