//! The code of a programme: 16 bits over everything that is heard, so that a return tells which programme it is.
//!
//! A hash of what is heard: two recipes that differ in anything audible cannot be taken for each other, and a recipe
//! whose words are improved stays the same.

use super::{Channels, Colour, PlacedPart, Signal};
use std::fmt::Write;

/// Code of a programme; never 0. It is frozen: tapes carry it.
///
/// It is the 64-bit FNV-1a hash of [`canonical_text`], folded by exclusive or to 16 bits; 0 becomes 1. Names, titles,
/// purposes, ids and what a part serves do not enter, so they can be changed without disowning a tape.
pub(super) fn code(parts: &[PlacedPart], length_s: f64) -> u16 {
    let hash = canonical_text(parts, length_s).bytes().fold(0xCBF2_9CE4_8422_2325, |hash: u64, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x100_0000_01B3)
    });
    let folded = (hash >> 48) ^ (hash >> 32) ^ (hash >> 16) ^ hash;
    ((folded & 0xFFFF) as u16).max(1)
}

/// One line for each part that is heard: start and length in hundredths of a second, level in dB, channels, signal
/// with its numbers as the shortest decimals. Silences and pauses show in the starts only; the last line is the length.
fn canonical_text(parts: &[PlacedPart], length_s: f64) -> String {
    let hundredths = |seconds: f64| (seconds * 100.0).round() as u64;
    let mut text = String::new();
    for part in parts {
        let channels = match part.channels {
            Channels::Both => "both",
            Channels::Left => "left",
            Channels::Right => "right",
            Channels::Opposed => "opposed",
        };
        let signal = match &part.signal {
            Signal::Silence | Signal::Pause { .. } => continue,
            Signal::Slate { index } => format!("slate {index}"),
            Signal::Tone { hz } => format!("tone {hz}"),
            Signal::Chord { hz } => hz.iter().fold(String::from("chord"), |text, hz| format!("{text} {hz}")),
            Signal::Sweep { from_hz, to_hz } => format!("sweep {from_hz} {to_hz}"),
            Signal::Noise { colour: Colour::White, seed } => format!("white {seed}"),
            Signal::Noise { colour: Colour::Pink, seed } => format!("pink {seed}"),
        };
        let (start_cs, length_cs) = (hundredths(part.start_s), hundredths(part.length_s));
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{start_cs} {length_cs} {} {channels} {signal}", part.level_db);
    }
    let _ = writeln!(text, "{}", hundredths(length_s));
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::programme::{Recipe, Timeline, built_in};

    fn code_of(text: &str) -> u16 {
        Timeline::from(&Recipe::parse(text, "test.toml").unwrap()).code
    }

    const TEXT: &str = r#"
name = "test"
title = "Test"
[[part]]
kind = "slate"
[[part]]
kind = "tone"
id = "level"
hz = 315
level_db = 0
length_s = 2
[[part]]
kind = "noise"
id = "noise"
colour = "pink"
level_db = -20
length_s = 2
"#;

    #[test]
    fn the_canonical_text_is_frozen() {
        let timeline = Timeline::from(&Recipe::parse(TEXT, "test.toml").unwrap());
        let text = "0 304 0 both slate 0\n314 200 0 both tone 315\n524 200 -20 both pink 1\n734\n";
        assert_eq!(canonical_text(&timeline.parts, timeline.length_s), text);
    }

    #[test]
    fn whatever_is_heard_changes_the_code() {
        let changes = [
            ("hz = 315", "hz = 316"),
            ("hz = 315", "hz = 315\nchannels = \"left\""),
            ("hz = 315", "hz = 315\ngap_s = 0.2"),
            ("level_db = 0", "level_db = 0.5"),
            ("length_s = 2", "length_s = 2.01"),
            ("pink", "white"),
            ("level_db = -20", "level_db = -20\nseed = 2"),
            ("kind = \"slate\"", "kind = \"slate\"\nlevel_db = -1"),
        ];
        for (old, new) in changes {
            let changed = TEXT.replacen(old, new, 1);
            assert_ne!(code_of(&changed), code_of(TEXT), "{old} -> {new}");
        }
    }

    #[test]
    fn what_is_not_heard_leaves_the_code() {
        let changes = [
            ("title = \"Test\"", "title = \"Other\"\npurpose = \"Why\" # because"),
            ("name = \"test\"", "name = \"other\"\nreference_hz = 315"),
            ("id = \"level\"", "id = \"tone\"\nserves = \"bias\"\npurpose = \"Why\""),
            ("level_db = 0", "level_db = -0.0"),
        ];
        for (old, new) in changes {
            let changed = TEXT.replacen(old, new, 1);
            assert_eq!(code_of(&changed), code_of(TEXT), "{old} -> {new}");
        }
    }

    #[test]
    fn codes_of_the_built_in_recipes_are_frozen_and_differ() {
        // Tapes carry these. A recipe whose code changes gets a new name, or the tapes recorded with it are disowned.
        let pinned = [
            ("full", 35_937),
            ("first-look", 56_307),
            ("playback", 41_213),
            ("flutter", 6_354),
            ("noise", 3_783),
            ("saturation", 50_644),
            ("separation", 41_899),
            ("erasing", 7_947),
            ("record-trim", 11_337),
            ("monitor-trim", 841),
            ("bias-sweep", 62_662),
            ("turn-azimuth", 48_473),
            ("turn-level", 41_609),
            ("turn-bias", 13_571),
            ("turn-speed", 35_626),
            ("noise-reduction", 2_016),
            ("injection", 44_086),
            ("injection-loop", 34_786),
        ];
        let codes: Vec<(String, u16)> = built_in()
            .into_iter()
            .map(|recipe| (recipe.name.clone(), Timeline::from(&recipe).code))
            .collect();
        let want: Vec<(String, u16)> = pinned.map(|(name, code)| (name.to_owned(), code)).to_vec();
        assert_eq!(codes, want);
        for (k, (name, code)) in codes.iter().enumerate() {
            assert!(codes[..k].iter().all(|(_, other)| other != code), "{name} has a code that is taken");
            assert_ne!(*code, 0, "{name}");
        }
    }
}
