//! Live figures in words. What is not finite, or beyond all sense, cannot be told.

use crate::reading::figures::{self, UnitKind, frequency, given};
use crate::reading::{Figure, HeardNow, Pair, Sound};
use crate::show::words;

/// Largest number that is shown.
const LARGEST: f64 = 1e7;
/// What stands in place of a figure.
pub(super) const CANNOT_TELL: &str = "cannot tell";

/// The value, if it is one.
pub(super) fn finite(value: Option<f64>) -> Option<f64> {
    value.filter(|value| value.abs() < LARGEST)
}

/// A figure, if it can be told; the uncertainty decides its digits.
pub(super) fn figure(
    unit: UnitKind,
    value: Option<f64>,
    uncertainty: Option<f64>,
) -> Option<figures::Figure> {
    Some(unit.of(finite(value)?, finite(uncertainty)))
}

/// `-13.60 dBFS`.
pub(super) fn told(unit: UnitKind, value: Option<f64>, uncertainty: Option<f64>) -> String {
    figure(unit, value, uncertainty).map_or_else(|| CANNOT_TELL.to_owned(), |figure| figure.to_string())
}

/// `+1.5 dB`.
pub(super) fn deviation(unit: UnitKind, value: Option<f64>, uncertainty: Option<f64>) -> String {
    figure(unit, value, uncertainty)
        .map_or_else(|| CANNOT_TELL.to_owned(), |figure| figure.signed().to_string())
}

/// `+1.5 +- 0.1 dB`.
pub(super) fn deviation_in_full(unit: UnitKind, value: Option<f64>, uncertainty: Option<f64>) -> String {
    figure(unit, value, uncertainty).map_or_else(|| CANNOT_TELL.to_owned(), |figure| figure.signed().full())
}

/// Of both channels: `left +1.5 dB, right +1.2 dB`; once if neither can be told.
pub(super) fn both(pair: Pair, say: impl Fn(Option<f64>) -> String) -> String {
    match pair.map(finite) {
        [None, None] => CANNOT_TELL.to_owned(),
        [left, right] => format!("left {}, right {}", say(left), say(right)),
    }
}

/// A frequency as the trade says it; a number that is none, as such.
pub(super) fn hertz(hz: f64) -> String {
    if finite(Some(hz)).is_some() { frequency(hz) } else { "? Hz".to_owned() }
}

/// Frequencies: `1 kHz, 10 kHz`; of many the first and the last.
pub(super) fn several_hertz(hz: &[f64]) -> String {
    match hz {
        [first, .., last] if hz.len() > 4 => {
            format!("{} of them, {} to {}", hz.len(), hertz(*first), hertz(*last))
        }
        _ => hz.iter().map(|hz| hertz(*hz)).collect::<Vec<_>>().join(", "),
    }
}

/// How the figure that is turned by is written: the kind of its unit, and whether it is a deviation.
fn kind(figure: &Figure) -> (Option<UnitKind>, bool) {
    (UnitKind::of_unit(&figure.unit, &figure.name), figure.target == Some(0.0))
}

/// The figure that is turned by as a number alone, for large digits; `None` if it cannot be told.
pub(super) fn number(turned: &Figure) -> Option<String> {
    let value = finite(Some(turned.value))?;
    Some(match kind(turned) {
        (Some(unit), signed) => {
            let figure = unit.of(value, finite(turned.uncertainty));
            if signed { figure.signed().number() } else { figure.number() }
        }
        (None, _) => given(value, 2),
    })
}

/// Its unit as people write it.
pub(super) fn unit(turned: &Figure) -> &str {
    kind(turned).0.map_or(turned.unit.as_str(), |unit| unit.word())
}

/// `phase at 10 kHz +14.2 +- 0.3 degrees`.
pub(super) fn turned(figure: &Figure) -> String {
    let Some(value) = finite(Some(figure.value)) else { return format!("{} {CANNOT_TELL}", figure.name) };
    let (_, signed) = kind(figure);
    let value = words::figure(value, finite(figure.uncertainty), &figure.unit, &figure.name, signed);
    format!("{} {value}", figure.name)
}

/// `outside, limit +-5 degrees`; empty where nothing is judged.
pub(super) fn judged(figure: &Figure) -> String {
    let limit = match (finite(figure.target), finite(figure.limit)) {
        (Some(0.0), Some(limit)) => Some(format!("limit +-{} {}", given(limit, 2), unit(figure))),
        (Some(target), Some(limit)) => {
            Some(format!("limit {} +- {} {}", given(target, 2), given(limit, 2), unit(figure)))
        }
        _ => None,
    };
    let verdict = figure.verdict.map(|verdict| words::verdict(verdict).to_owned());
    verdict.into_iter().chain(limit).collect::<Vec<_>>().join(", ")
}

/// `phase at 10 kHz +14.2 +- 0.3 degrees: outside, limit +-5 degrees`.
pub(super) fn turned_and_judged(figure: &Figure) -> String {
    let judged = judged(figure);
    let between = if judged.is_empty() { "" } else { ": " };
    format!("{}{between}{judged}", turned(figure))
}

/// What plays, in words.
pub(super) fn playing(heard: &HeardNow) -> String {
    let tones = several_hertz(&heard.hz);
    match heard.sound {
        Sound::Unknown => "listening".to_owned(),
        Sound::Tone => format!("tone {tones}"),
        Sound::InTurn => format!("tones in turn: {tones}"),
        Sound::AtOnce => format!("tones at once: {tones}"),
        Sound::Sweep => "sweep".to_owned(),
        Sound::Noise => "noise".to_owned(),
        Sound::Silence => "silence".to_owned(),
        Sound::Nothing => "nothing: every sample is the same".to_owned(),
        Sound::Slate => "slate".to_owned(),
        Sound::Music => "music or speech".to_owned(),
    }
}

/// A length of time since following began: `0:07`, `1:02:03`.
pub(super) fn clock(at_s: f64) -> String {
    // A number that is none becomes 0.
    let s = at_s.clamp(0.0, LARGEST) as u64;
    match s / 3600 {
        0 => format!("{}:{:02}", s / 60, s % 60),
        hours => format!("{hours}:{:02}:{:02}", s / 60 % 60, s % 60),
    }
}

/// How long, to the second: `4 s`, `3 min`.
pub(super) fn seconds(s: f64) -> String {
    // A number that is none becomes 0.
    let s = s.clamp(0.0, LARGEST).round() as u64;
    if s < 120 { format!("{s} s") } else { format!("{} min", s / 60) }
}
