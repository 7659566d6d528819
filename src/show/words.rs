//! Circumstances, verdicts and file names as words, alike in text and report.

use crate::judge::Reading;
use crate::judge::{decimals, frequency, signed, unsigned};
use crate::reading::{
    Circumstances, Finding, Heads, NoiseReduction, Origin, RecordedOn, SpeedFromLength, TapeType, Verdict,
};
use crate::trade::octave_bands::third_octave;

/// Control characters, and characters that turn the direction of writing, replaced by U+FFFD.
///
/// A file name may hold sequences that drive a terminal.
pub(super) fn sanitised(text: &str) -> String {
    let steers = |c: char| {
        c.is_control()
            || matches!(c, '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    text.chars().map(|c| if steers(c) { '\u{fffd}' } else { c }).collect()
}

/// A space at which no line may end.
const BOUND: char = '\u{a0}';
/// What stands behind a number and belongs to it.
const UNITS: [&str; 13] =
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

/// When and by what the reading was made, if that is known.
pub(super) fn made(reading: &Reading) -> Option<String> {
    reading.made.as_ref().map(|made| format!("{}, Deckproof {}", made.at, made.version))
}

/// Which job told the circumstances, if one did.
pub(super) fn job(reading: &Reading) -> Option<&str> {
    reading.made.as_ref()?.job.as_deref()
}

/// Which deck, if that was told.
pub(super) fn deck(reading: &Reading) -> Option<&str> {
    reading.made.as_ref()?.deck.as_deref()
}

/// Blanks that a number with `digits` decimals needs behind it to stand with its point under that of one with `most`.
pub(super) fn behind_point(digits: usize, most: usize) -> usize {
    most.saturating_sub(digits) + usize::from(digits == 0 && most > 0)
}

/// With a capital letter and a full stop.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.trim_end_matches('.').chars();
    let first: String = letters.next().map(|first| first.to_uppercase().collect()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
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

/// The findings in the order of work, the worst first among those of one name.
pub(super) fn in_order(findings: &[Finding]) -> Vec<&Finding> {
    let mut groups: Vec<(&str, Vec<&Finding>)> = Vec::new();
    for finding in findings {
        match groups.iter_mut().find(|(id, _)| *id == finding.id) {
            Some((_, group)) => group.push(finding),
            None => groups.push((&finding.id, vec![finding])),
        }
    }
    for (_, group) in &mut groups {
        group.sort_by_key(|finding| match finding.verdict {
            Verdict::Outside => 0,
            Verdict::Marginal => 1,
            Verdict::CannotTell => 2,
            Verdict::Within => 3,
        });
    }
    groups.into_iter().flat_map(|(_, group)| group).collect()
}

/// How many findings have each verdict, in one line.
pub(super) fn tally(findings: &[Finding]) -> String {
    let count = |wanted| findings.iter().filter(|finding| finding.verdict == wanted).count();
    [Verdict::Outside, Verdict::Marginal, Verdict::CannotTell, Verdict::Within]
        .map(|each| format!("{} {}", count(each), verdict(each)))
        .join(", ")
}

/// Unit as it stands behind a number.
pub(super) fn unit(unit: &str) -> &str {
    if unit == "percent" { "%" } else { unit }
}

/// Findings for printing: those that cannot be told for one and the same reason stand together, at the place of the first.
pub(super) fn grouped(findings: &[Finding]) -> Vec<Vec<&Finding>> {
    let mut groups: Vec<Vec<&Finding>> = Vec::new();
    for finding in in_order(findings) {
        let untold = |finding: &Finding| finding.verdict == Verdict::CannotTell && finding.turn.is_none();
        let same = groups.iter_mut().find(|group| {
            untold(finding) && group.iter().all(|other| untold(other) && other.why == finding.why)
        });
        match same {
            Some(group) => group.push(finding),
            None => groups.push(vec![finding]),
        }
    }
    groups
}

/// Names of the findings of a group, each once.
pub(super) fn names(group: &[&Finding]) -> String {
    let mut names: Vec<&str> = group.iter().map(|finding| finding.id.as_str()).collect();
    let mut seen = std::collections::HashSet::new();
    names.retain(|name| seen.insert(*name));
    names.join(", ")
}

/// Value with its uncertainty, such as `+17.00 +- 0.24 us`; `None` if there is no value.
pub(super) fn value(finding: &Finding) -> Option<String> {
    use crate::judge::{decimals, decimals_db, signed, unsigned};
    let value = finding.value?;
    let digits = match finding.unit.as_str() {
        "percent" => decimals(finding.uncertainty, 4),
        "dB" => decimals_db(finding.uncertainty, 1),
        _ => decimals(finding.uncertainty, 1),
    };
    // A deviation carries its sign; a size or a level below its reference does not need a plus.
    let number =
        if ["flutter", "noise", "hum", "capture", "distortion", "separation", "playback-equalisation"]
            .contains(&finding.id.as_str())
        {
            unsigned(value, digits)
        } else {
            signed(value, digits)
        };
    let unit = unit(finding.unit.as_str());
    Some(match finding.uncertainty {
        Some(uncertainty) => format!("{number} +- {} {unit}", unsigned(uncertainty, digits)),
        None => format!("{number} {unit}"),
    })
}

/// Where hum gets in, in words.
pub(super) fn origin(origin: Origin) -> &'static str {
    match origin {
        Origin::Playback => "gets in after the head (playback, leads, sound card)",
        Origin::Recorded => "lies on the tape",
        Origin::CannotTell => "cannot tell whether it lies on the tape",
    }
}

/// Shortest tone that a flutter reading should rest on, s (common practice, no source).
const FLUTTER_LEAST_S: f64 = 30.0;
/// Share of a tone that may be bridged before it is said, percent.
const BRIDGED_PERCENT: f64 = 1.0;

/// What must be known about flutter figures, a sentence each.
pub(super) fn flutter_notes(flutter: &crate::reading::Flutter) -> Vec<String> {
    let mut notes = vec![
        "Rms and 2-sigma (the value exceeded 5 % of the time) are the figures to compare. The quasi-peak figure depends on \
         the indicator below 1 Hz: indicators that all keep the pulse table differ there by up to 30 %."
            .to_owned(),
        "No standard fixes the band limits and the split between wow and flutter; the weighting table is from memory."
            .to_owned(),
    ];
    let length_s = flutter.measured_to_s - flutter.measured_from_s;
    if length_s < FLUTTER_LEAST_S {
        notes.push(format!(
            "Measured over only {length_s:.1} s: a reading should rest on {FLUTTER_LEAST_S:.0} s or more (recipe flutter)."
        ));
    }
    if let Some(bridged) = flutter.bridged_percent.filter(|percent| *percent > BRIDGED_PERCENT) {
        notes.push(format!("In {bridged:.1} % of the time the tone was too weak and was bridged."));
    }
    notes
}

/// A speed from a measured length in one sentence.
pub(super) fn speed_from_length(length: &SpeedFromLength) -> String {
    let digits = decimals(Some(length.uncertainty_percent), 2);
    format!(
        "{} +- {} %, absolute: {} mm +- {} mm of tape in {} s, {} mm/s against {} mm/s ({})",
        signed(length.error_percent, digits),
        unsigned(length.uncertainty_percent, digits),
        length.length_mm,
        length.length_uncertainty_mm,
        unsigned(length.to_s - length.from_s, 3),
        unsigned(length.speed_mm_s, 3),
        length.nominal_mm_s,
        length.marks
    )
}

/// How a flutter line's rate moves, where it does by more than its uncertainty.
pub(super) fn line_drift(line: &crate::reading::FlutterLine) -> Option<String> {
    let (drift, uncertainty) = (line.drift_hz_per_min?, line.drift_uncertainty_hz_per_min?);
    let digits = decimals(Some(uncertainty), 3);
    let words =
        format!("rate moves {} +- {} Hz a minute", signed(drift, digits), unsigned(uncertainty, digits));
    (drift.abs() > uncertainty).then_some(words)
}

#[cfg(test)]
mod tests {
    use super::{bound, row_frequency, with_signs};

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
