//! Flutter lines of readings with known rates, and of virtual decks whose reels move, matched to parts.
//!
//! Rates by hand: v / (pi d) with v = 47.625 mm/s (IEC 60094-7); a reel's change of rate from the area of its pack, which
//! grows by the tape's length times its thickness.

use deckproof::internals::judge::part_words;
use deckproof::internals::measure::{LinePart, TransportNumbers, line_parts};
use deckproof::internals::trade::Medium;
use deckproof::reading::{Facts, FileClock, FlutterLine, RecordedOn};
use std::f64::consts::PI;

const SPEED_MM_S: f64 = 47.625;

fn line(hz: f64, percent_peak: f64, drift: Option<(f64, f64)>) -> FlutterLine {
    FlutterLine {
        hz,
        percent_peak,
        width_hz: None,
        drift_hz_per_min: drift.map(|drift| drift.0),
        drift_uncertainty_hz_per_min: drift.map(|drift| drift.1),
        part: None,
        harmonic: None,
        could_be: false,
    }
}

fn parts(
    lines: Vec<FlutterLine>,
    numbers: Option<&str>,
    change: impl Fn(&mut Facts),
) -> Vec<Option<LinePart>> {
    let mut reading: Facts = serde_json::from_str(include_str!("readings/healthy.json")).unwrap();
    reading.circumstances.recorded_on = Some(RecordedOn::Calibrated);
    let flutter = reading.flutter.as_mut().unwrap();
    flutter.lines = lines;
    (flutter.measured_from_s, flutter.measured_to_s) =
        (FileClock::default().at(10.0), FileClock::default().at(75.0));
    let speed = reading.speed.as_mut().unwrap();
    (speed.error_percent, speed.uncertainty_percent) = (0.0, 0.002);
    change(&mut reading);
    let numbers = numbers.map(|text| TransportNumbers::from_toml(text, "numbers").unwrap());
    line_parts(&reading, &Medium::COMPACT_CASSETTE, numbers.as_ref())
}

fn named(part: &Option<LinePart>) -> (&str, u32, bool) {
    part.as_ref().map_or(("", 0, false), |part| (part.name.as_str(), part.harmonic, part.could_be))
}

/// Rate of a pack of `radius_mm` and its change in Hz a minute, for tape of `tape_um`; positive while it shrinks.
fn pack(radius_mm: f64, tape_um: f64) -> (f64, f64) {
    let rate = |radius: f64| SPEED_MM_S / (2.0 * PI * radius);
    let after = (radius_mm * radius_mm - SPEED_MM_S * 60.0 * tape_um * 1e-3 / PI).sqrt();
    (rate(0.5 * (radius_mm + after)), rate(after) - rate(radius_mm))
}

const NUMBERS: &str =
    "capstan_mm = 2.5\nflywheel_mm = 60\nmotor_pulley_mm = 10\nbelt_mm = 250\npinch_roller_mm = 11\n";

#[test]
fn numbers_given_match_tightly_and_harmonics_too() {
    let capstan = SPEED_MM_S / (PI * 2.5);
    let roller = SPEED_MM_S / (PI * 11.0);
    let lines = vec![
        line(capstan, 0.1, None),
        line(roller * 1.003, 0.05, Some((0.0, 0.001))),
        line(3.0 * roller, 0.02, None),
        line(6.0 * capstan, 0.02, None),
        line(capstan * 60.0 / 250.0 * PI, 0.02, None),
        line(capstan * 1.03, 0.02, None),
        line(150.0, 0.02, None),
    ];
    let got = parts(lines, Some(NUMBERS), |_| {});
    let want = [
        ("capstan with flywheel", 1, false),
        ("pinch roller", 1, false),
        ("pinch roller", 3, false),
        ("motor with pulley", 1, false),
        ("belt", 1, false),
        // What has a number is not somewhere else.
        ("", 0, false),
        ("", 0, false),
    ];
    for (k, want) in want.into_iter().enumerate() {
        assert_eq!(named(&got[k]), want, "line {k}");
    }
}

#[test]
fn a_fast_deck_turns_its_parts_faster() {
    let capstan = 1.03 * SPEED_MM_S / (PI * 2.5);
    let fast = |reading: &mut Facts| reading.speed.as_mut().unwrap().error_percent = 3.0;
    assert_eq!(
        named(&parts(vec![line(capstan, 0.1, None)], Some(NUMBERS), fast)[0]).0,
        "capstan with flywheel"
    );
    // The same capstan cancels its own error in a loop: its rate is not known better than decks are.
    let own = |reading: &mut Facts| reading.circumstances.recorded_on = Some(RecordedOn::ThisDeck);
    assert_eq!(
        named(&parts(vec![line(capstan, 0.1, None)], Some(NUMBERS), own)[0]).0,
        "capstan with flywheel"
    );
}

#[test]
fn two_parts_of_one_rate_are_both_named() {
    let text = "capstan_mm = 2.5\n[[part]]\nname = \"counter belt\"\nhz = 6.07\n";
    let got = parts(vec![line(6.063, 0.1, None)], Some(text), |_| {});
    assert_eq!(named(&got[0]), ("capstan with flywheel or counter belt", 1, false));
}

#[test]
fn usual_ranges_only_say_what_it_could_be() {
    let lines =
        vec![line(6.0, 0.1, None), line(1.9, 0.05, None), line(12.0, 0.04, None), line(33.0, 0.03, None)];
    let got = parts(lines.clone(), None, |_| {});
    assert_eq!(named(&got[0]), ("capstan with flywheel or belt", 1, true));
    assert_eq!(named(&got[1]), ("pinch roller or idler", 1, true));
    // Twice a stronger line.
    assert_eq!(named(&got[2]), ("capstan with flywheel or belt", 2, true));
    assert_eq!(named(&got[3]), ("motor with pulley", 1, true));
    // Without the stronger line nothing is known of it.
    assert_eq!(parts(vec![line(12.0, 0.04, None)], None, |_| {})[0], None);
}

#[test]
fn reels_are_told_apart_by_moving() {
    for (radius_mm, tape_um) in [(12.0, 16.0), (15.0, 12.0), (20.0, 16.0), (23.0, 12.0)] {
        let (hz, change) = pack(radius_mm, tape_um);
        let uncertainty = 0.2 * change;
        let lines = vec![
            line(hz, 0.05, Some((change, uncertainty))),
            line(hz * 1.01, 0.05, Some((-change, uncertainty))),
            line(2.0 * hz, 0.02, Some((2.0 * change, uncertainty))),
            line(hz * 1.02, 0.05, Some((0.1 * change, 2.0 * change))),
            line(hz * 0.99, 0.05, Some((0.0, 0.1 * change))),
            line(hz, 0.05, Some((6.0 * change, uncertainty))),
        ];
        let got = parts(lines, None, |_| {});
        assert_eq!(named(&got[0]), ("supply reel", 1, false), "{radius_mm} mm");
        assert_eq!(named(&got[1]), ("take-up reel", 1, false), "{radius_mm} mm");
        // Too short to tell which, and too steady to be one.
        assert!(named(&got[3]).0.starts_with("supply or take-up reel"), "{radius_mm} mm: {:?}", got[3]);
        assert!(!named(&got[4]).0.contains("reel"), "{radius_mm} mm: {:?}", got[4]);
        assert!(!named(&got[5]).0.contains("reel"), "no tape is that thick: {:?}", got[5]);
        // Beyond what a bare hub can do, it is a harmonic.
        if 2.0 * hz > 0.75 {
            assert_eq!(named(&got[2]), ("supply reel", 2, false), "{radius_mm} mm");
        }
    }
}

#[test]
fn words_say_how_sure_a_part_is() {
    let mut shown = line(12.0, 0.1, None);
    assert_eq!(part_words(&shown), "no part known");
    shown.part = Some("pinch roller".to_owned());
    assert_eq!(part_words(&shown), "pinch roller");
    (shown.harmonic, shown.could_be) = (Some(2), true);
    assert_eq!(part_words(&shown), "could be pinch roller, 2nd harmonic");
}
