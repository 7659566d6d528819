//! What a cause means, in words.

use crate::reading::figures::{UnitKind, frequency, given};
use crate::reading::{Cause, CauseKind, Channel, Facts, RecordedOn, TapeType, Unexplained, Unit};
use crate::trade::Equalisation;

/// Name of a cause in words of the trade.
pub fn cause_name(kind: CauseKind) -> &'static str {
    match kind {
        CauseKind::Azimuth => "azimuth",
        CauseKind::Spacing => "spacing",
        CauseKind::Gap => "gap",
        CauseKind::TimeConstant => "time constant",
        CauseKind::LowPass => "low-pass",
        CauseKind::Equaliser => "equaliser",
        CauseKind::Coupling => "coupling",
        CauseKind::HeadBump => "head bump",
        CauseKind::None => "none",
    }
}

/// A size with its unit, with digits by its uncertainty; without one a frequency as the trade says it.
pub fn cause_size(value: Option<f64>, uncertainty: Option<f64>, unit: Unit) -> Option<String> {
    let value = value?;
    if unit == Unit::Hz && uncertainty.is_none() {
        return Some(frequency(value));
    }
    let kind = UnitKind::of_unit(unit.as_str(), "")?;
    Some(kind.of(value, uncertainty).full())
}

/// The causes of the response of `facts`, each with what it means and rests on; `unexplained` is what they leave.
pub(crate) fn causes(facts: &Facts, causes: Vec<Cause>, unexplained: &[Unexplained]) -> Vec<Cause> {
    causes.into_iter().map(|cause| Cause { why: why(&cause, facts, unexplained), ..cause }).collect()
}

fn why(cause: &Cause, reading: &Facts, unexplained: &[Unexplained]) -> String {
    let mut words = if cause.instead.is_empty() { one(cause, reading, unexplained) } else { several(cause) };
    let told = &reading.circumstances;
    let fitted = !matches!(cause.cause, CauseKind::Azimuth | CauseKind::None);
    match told.recorded_on {
        Some(RecordedOn::ThisDeck) if fitted && cause.cause.is_treble() => {
            words += ". This is record and playback together: bias and record equalisation make such slopes as well. Only a \
            calibrated tape tells them apart";
        }
        Some(RecordedOn::ThisDeck) if fitted => {
            words += ". This is record and playback together: it may be in either";
        }
        Some(RecordedOn::OtherDeck) if fitted => {
            words += ". This is both decks together: the other one may be the cause"
        }
        None if fitted => words += ". Not told whose recording this is: it may be the recording's",
        _ => {}
    }
    let delay_known = reading.azimuth.as_ref().is_some_and(|azimuth| azimuth.delay_us.is_some());
    let tape = !matches!(told.recorded_on, Some(RecordedOn::ThisDeck | RecordedOn::Injected));
    if fitted && cause.cause.is_treble() && tape && !delay_known {
        words += ". No azimuth was measured: a tilted head loses treble, too";
    }
    words
}

/// Words for a cause by itself.
fn one(cause: &Cause, reading: &Facts, unexplained: &[Unexplained]) -> String {
    match cause.cause {
        CauseKind::Azimuth => "it follows from the measured delay. Set azimuth first".to_owned(),
        CauseKind::Spacing => "the tape runs so far off the head: dirt, a worn head or a weak pressure pad. Switch the deck \
        off, clean, and read again"
            .to_owned(),
        CauseKind::Gap => "the head's gap is so wide (in effect 1.11 times that). If the amplifier makes up for a sound \
        head's gap, the real one is wider"
            .to_owned(),
        CauseKind::TimeConstant => time_constant(cause, reading),
        CauseKind::LowPass if cause.digital => {
            "this is a digital low-pass, not one of a circuit: look for a setting of the sound card, or a conversion on the way"
                .to_owned()
        }
        CauseKind::LowPass if cause.height_db.is_some() => {
            "the head's winding resonates with the capacitor across it, at too low a frequency. Compare the capacitor with \
             the circuit"
                .to_owned()
        }
        CauseKind::LowPass => "a low-pass with this corner, in the amplifier or the head's circuit. Dirt or a gap look \
        different"
            .to_owned(),
        CauseKind::Coupling => {
            let second = cause.second_hz.map_or(String::new(), |hz| {
                format!(", and a second one at about {}", UnitKind::Hertz.of(hz, None))
            });
            format!(
                "a coupling capacitor, 3 dB down at this corner{second}. A capacitor that dries out loses capacity, and the \
                 corner rises. Compare the channels and the circuit. First pull the mains plug and discharge the capacitors"
            )
        }
        CauseKind::Equaliser => "the shape of a treble equalisation trimmer. Another network may have this shape, too"
            .to_owned(),
        CauseKind::HeadBump => "the head's own shape in the bass. A bump of some dB is usual: turn nothing for it"
            .to_owned(),
        CauseKind::None => match most_unexplained(unexplained, cause.channel) {
            Some([hz, db]) if db.abs() >= 1.0 => format!(
                "no known cause has the shape of this response: {} at {} are not explained",
                UnitKind::Db.of(db, None).signed(),
                frequency(hz)
            ),
            _ => "nothing that needs a cause".to_owned(),
        },
    }
}

/// `[Hz, dB]`: the largest of what the causes of `channel` leave.
fn most_unexplained(unexplained: &[Unexplained], channel: Channel) -> Option<[f64; 2]> {
    let left = unexplained.iter().find(|left| left.channel == channel)?;
    left.left_db.iter().max_by(|a, b| a[1].abs().total_cmp(&b[1].abs())).copied()
}

fn time_constant(cause: &Cause, reading: &Facts) -> String {
    let nominal_us = match reading.circumstances.tape_type {
        None | Some(TapeType::I) => Equalisation::Us120,
        Some(_) => Equalisation::Us70,
    }
    .high_time_constant_us();
    let nominal = given(nominal_us, 0);
    let assumed = match reading.circumstances.tape_type {
        None => " (taken for that, because the tape type was not told)",
        Some(_) => "",
    };
    let other_us = if nominal_us > 100.0 { 70.0 } else { 120.0 };
    let near = |value: f64| (value - other_us).abs() <= cause.uncertainty.unwrap_or(0.0).max(0.05 * other_us);
    let switch = if cause.value.is_some_and(near) {
        format!(", so about {} us: look at the tape-type selector first", given(other_us, 0))
    } else {
        String::new()
    };
    format!("the time constant is this, and should be {nominal} us{assumed}{switch}")
}

fn several(cause: &Cause) -> String {
    let each: Vec<String> = cause
        .instead
        .iter()
        .map(|other| {
            let size = cause_size(other.value, None, other.unit).unwrap_or_default();
            let percent = given(100.0 * other.probability, 0);
            format!("{} ({size} by itself, {percent} %)", cause_name(other.cause))
        })
        .collect();
    format!("they could not be told apart: {}. Together they are as stated", each.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_size_has_no_more_digits_than_it_is_known_by() {
        for (value, uncertainty, unit, want) in [
            (13_128.1, None, Unit::Hz, "13.1 kHz"),
            (154.2, Some(22.0), Unit::Hz, "154 +- 22 Hz"),
            (0.182, Some(0.006), Unit::Um, "0.182 +- 0.006 um"),
        ] {
            assert_eq!(cause_size(Some(value), uncertainty, unit).unwrap(), want);
        }
    }
}
