//! Circumstances, verdicts and file names as words; spaces, signs and points of numbers.

use crate::judge::Reading;
use crate::reading::figures::{UnitKind, frequency, given};
use crate::reading::{Circumstances, Heads, NoiseReduction, RecordedOn, TapeType, Verdict};
use crate::trade::octave_bands::third_octave;

/// A space at which no line may end.
const BOUND: char = '\u{a0}';
/// What stands behind a number and belongs to it.
pub(super) const UNITS: [&str; 13] =
    ["%", "dB", "dBFS", "Hz", "kHz", "s", "ms", "us", "mV", "minutes", "degrees", "samples", "bit"];

/// `text` with no-break spaces between each number and its unit, and around `+-` and `re`: a number alone at the end of
/// a line is easily taken for another quantity. Runs of blanks become one.
pub(super) fn bound(text: &str) -> String {
    let words: Vec<&str> = text.split_ascii_whitespace().collect();
    let number = |word: &str| {
        let word = word.trim_start_matches(['(', '+', '-', '<']);
        word.starts_with(|c: char| c.is_ascii_digit()) && word.ends_with(|c: char| c.is_ascii_digit())
    };
    let mut out = String::with_capacity(text.len());
    for (k, word) in words.iter().enumerate() {
        out.push_str(word);
        let Some(next) = words.get(k + 1) else { break };
        let bare = next.trim_end_matches([',', ';', '.', ':', ')']);
        let tied = number(word) && (UNITS.contains(&bare) || *next == "+-" || *next == "/")
            || matches!(*word, "+-" | "/") && (number(bare) || bare == "no" || bare == "cannot");
        out.push(if tied { BOUND } else { ' ' });
    }
    out
}

/// `text` with true signs: a minus before a digit where a word begins, and plus-minus.
pub(super) fn with_signs(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut before = ' ';
    let with_both = text.replace("+-", "\u{b1}");
    let mut rest = with_both.chars().peekable();
    while let Some(c) = rest.next() {
        let begins = before.is_whitespace() || matches!(before, '(' | '\u{2007}');
        let minus = c == '-' && begins && rest.peek().is_some_and(char::is_ascii_digit);
        out.push(if minus { '\u{2212}' } else { c });
        before = c;
    }
    out
}

/// With a capital letter.
pub(super) fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// With a capital letter and a full stop.
pub(super) fn sentence(text: &str) -> String {
    format!("{}.", capitalised(text.trim_end_matches('.')))
}

/// The verdict as the reading writes it.
pub(super) fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Within => "within",
        Verdict::Marginal => "marginal",
        Verdict::Outside => "outside",
        Verdict::CannotTell => "cannot tell",
    }
}

/// The circumstances in one line.
pub(super) fn circumstances(told: &Circumstances) -> String {
    let on = match told.recorded_on {
        None => "not told whose recording (--recorded-on)",
        Some(RecordedOn::Calibrated) => "calibrated tape",
        Some(RecordedOn::House) => "house tape",
        Some(RecordedOn::OtherDeck) => "recorded on another deck",
        Some(RecordedOn::ThisDeck) => "recorded on this deck",
        Some(RecordedOn::Injected) => "injected, no tape",
        Some(RecordedOn::Loopback) => "loopback capture, no deck",
    };
    let heads = match told.heads {
        None => "heads not told",
        Some(Heads::Two) => "2 heads",
        Some(Heads::Three) => "3 heads",
    };
    let tape = match told.tape_type {
        None => "tape type not told",
        Some(TapeType::I) => "tape type I",
        Some(TapeType::II) => "tape type II",
        Some(TapeType::III) => "tape type III",
        Some(TapeType::IV) => "tape type IV",
    };
    let reduction = match told.noise_reduction {
        NoiseReduction::Off => "noise reduction off",
        NoiseReduction::On => "noise reduction on",
    };
    format!("{on}; {heads}; {tape}; {reduction}")
}

/// Frequency of a row: a third octave by its nominal mid-band (63 Hz for 63.1 Hz, ISO 266), a tone as it is.
pub(super) fn row_frequency(hz: f64) -> String {
    let nearest = third_octave((10.0 * (hz / 1000.0).log10()).round() as i32);
    // Tones are played at nominal frequencies, which lie 0.1 % off and more, or (100 Hz, 1 kHz, 10 kHz) are the same.
    frequency(if (nearest.mid_hz / hz - 1.0).abs() < 1e-4 { nearest.nominal_hz } else { hz })
}

/// The recipe in words.
pub(super) fn recipe(reading: &Reading) -> String {
    match &reading.recipe {
        Some(recipe) => format!("{}, code {}", recipe.name, recipe.code),
        None if !reading.found.is_empty() => "none: read without slates".to_owned(),
        None => "not known: no slate was read".to_owned(),
    }
}

/// A value of a quantity in `unit`, as readings write it, with its uncertainty.
pub(super) fn figure(
    value: f64,
    uncertainty: Option<f64>,
    unit: &str,
    quantity: &str,
    signed: bool,
) -> String {
    match UnitKind::of_unit(unit, quantity) {
        Some(kind) if signed => kind.of(value, uncertainty).signed().full(),
        Some(kind) => kind.of(value, uncertainty).full(),
        None => format!("{} {unit}", given(value, 2)),
    }
}

/// The same without its uncertainty, which still decides the digits.
pub(super) fn brief(value: f64, uncertainty: Option<f64>, unit: &str, quantity: &str) -> String {
    match UnitKind::of_unit(unit, quantity) {
        Some(kind) => kind.of(value, uncertainty).to_string(),
        None => format!("{} {unit}", given(value, 2)),
    }
}

/// An uncertainty by itself, rounded up as it is beside its value.
pub(super) fn uncertainty(uncertainty: f64, unit: &str, quantity: &str) -> String {
    let kind = UnitKind::of_unit(unit, quantity);
    match kind.and_then(|kind| Some((kind.of(uncertainty, uncertainty).spread()?, kind.word()))) {
        Some((number, word)) => format!("{number} {word}"),
        None => format!("{} {unit}", given(uncertainty, 2)),
    }
}

#[cfg(test)]
mod tests {
    use super::{bound, row_frequency, uncertainty, with_signs};

    #[test]
    fn an_uncertainty_is_never_rounded_to_nothing() {
        assert_eq!(uncertainty(0.00002, "%", "flutter"), "0.0001 %");
        assert_eq!(uncertainty(0.144, "dB", "playback-response"), "0.15 dB");
        assert_eq!(uncertainty(0.3, "dB", "playback-response"), "0.3 dB");
    }

    #[test]
    fn numbers_are_bound_to_their_units() {
        assert_eq!(bound("costs 0.2 dB at 10 kHz, in each"), "costs 0.2\u{a0}dB at 10\u{a0}kHz, in each");
        assert_eq!(bound("+16.7 +- 0.7 us"), "+16.7\u{a0}+-\u{a0}0.7\u{a0}us");
        assert_eq!(bound("3.0 minutes of arc; (-12.5 dBFS)"), "3.0\u{a0}minutes of arc; (-12.5\u{a0}dBFS)");
        assert_eq!(bound("turn 2 screws"), "turn 2 screws");
    }

    #[test]
    fn minus_signs_stand_before_numbers_only() {
        assert_eq!(
            with_signs("third-octave -1.5 dB, +-2 (-3)"),
            "third-octave \u{2212}1.5 dB, \u{b1}2 (\u{2212}3)"
        );
    }
    use crate::trade::octave_bands::third_octaves;

    #[test]
    fn third_octaves_are_called_by_their_nominal_names() {
        let names: Vec<String> = third_octaves(20.0, 200.0).map(|band| row_frequency(band.mid_hz)).collect();
        assert_eq!(
            names,
            [
                "20 Hz", "25 Hz", "31.5 Hz", "40 Hz", "50 Hz", "63 Hz", "80 Hz", "100 Hz", "125 Hz",
                "160 Hz", "200 Hz"
            ]
        );
        assert_eq!(row_frequency(63.0), "63 Hz");
        assert_eq!(row_frequency(12_600.0), "12.6 kHz");
        for hz in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            row_frequency(hz);
        }
    }
}
