//! Playback amplifiers that are fed without a tape, against what they really are.

use super::bench::{Case, Played, Store, play, try_play_behind};
use crate::effort;
use deckproof::assert_within;
use deckproof::internals::deck::DeckFile;
use deckproof::internals::programme::{Recipe, built_in_by_name};
use deckproof::reading::{Amplifier, FedInto, RecordedOn, Verdict};
use rayon::prelude::*;

fn case(name: &'static str, text: &str, seed: u64, rate_hz: u32, store: Store) -> Case {
    Case { name, deck: DeckFile::from_toml(text, name).unwrap(), seed, rate_hz, store }
}

/// An amplifier with these time constants: 120 us position, 70 us position, low end; with what real ones have besides.
fn deck(into: &str, high_120: [f64; 2], high_70: [f64; 2], low: [f64; 2], more: &str) -> String {
    format!(
        "[injection]\ninto = \"{into}\"\nswitched_at_s = 80\nhigh_120_us = {high_120:?}\nhigh_70_us = {high_70:?}\n\
         low_us = {low:?}\n{more}\n[electronics.hum]\nhz = 50\nlevel_db = [-56, -62]\nharmonics_db = [-6, -3, -20, -8]\n"
    )
}

/// Ordinary noise, coupling and bandwidth, unequal channels, and a clock that is off.
const USUAL: &str = "[head]\ncoupling_hz = [6, 9]\n[playback]\ngain_db = [0.3, -1.1]\n\
                     sections = [{ kind = \"low-pass2\", hz = 19800, q = 0.9 }]\n[capture]\nclock_ppm = 80\n\
                     lead_in = { kind = \"music\", seconds = 4 }\n[electronics]\nnoise_db = [-52, -58]";

fn recipe(into: &str) -> Recipe {
    built_in_by_name(if into == "loop" { "injection-loop" } else { "injection" }).unwrap()
}

fn amplifier(played: &Played) -> &Amplifier {
    let found = played.reading.amplifier.as_ref().unwrap_or_else(|| panic!("{:?}", played.reading.warnings));
    assert_eq!(found.positions.len(), 2);
    found
}

/// How often the uncertainty holds the truth, over all positions and channels: held, all.
fn holds(value: f64, uncertainty: f64, want: f64, row: &str, count: &mut [usize; 2]) {
    count[1] += 1;
    // Twice the stated: nothing may be that far off.
    assert!((value - want).abs() <= 2.0 * uncertainty, "{row}: got {value} +- {uncertainty}, true {want}");
    count[0] += usize::from((value - want).abs() <= uncertainty);
}

#[test]
fn deviation_and_time_constants_are_the_amplifier_s_at_every_rate_and_both_ways_in() {
    type Pair = [f64; 2];
    let cases: Vec<(&str, Pair, Pair, Pair, u32, Store)> = vec![
        ("amplifier", [120.0, 120.0], [70.0, 70.0], [3180.0, 3180.0], 48_000, Store::TwentyFour),
        ("amplifier", [96.0, 131.0], [70.0, 77.0], [2900.0, 3500.0], 44_100, Store::Sixteen),
        ("amplifier", [119.0, 70.0], [119.0, 70.0], [3180.0, 2400.0], 96_000, Store::Float),
        ("loop", [122.0, 118.0], [69.0, 72.0], [3180.0, 3000.0], 48_000, Store::Float),
        ("loop", [145.0, 100.0], [84.0, 58.0], [3900.0, 3180.0], 44_100, Store::TwentyFour),
    ];
    let counts: Vec<[usize; 2]> = effort::some(cases.into_iter().enumerate(), 3)
        .into_par_iter()
        .map(|(k, (into, high_120, high_70, low, rate_hz, store))| {
            let text = deck(into, high_120, high_70, low, USUAL);
            let case = case("injected", &text, 30 + k as u64, rate_hz, store);
            let played = play(&recipe(into), &case);
            let found = amplifier(&played);
            let want = if into == "loop" { FedInto::FluxLoop } else { FedInto::AmplifierInput };
            assert_eq!(found.fed_into, want);
            let mut count = [0; 2];
            for (which, position) in found.positions.iter().enumerate() {
                assert!(position.steps.len() >= 30, "{} steps", position.steps.len());
                for side in 0..2 {
                    let row =
                        format!("{into}, {} us, channel {side}, {rate_hz} Hz", position.equalisation_us);
                    for step in &position.steps {
                        let want = played.truth.injected_deviation_db(side, which, step.hz);
                        // Target of stepped tones.
                        assert_within!(step.db[side].unwrap(), want, 0.15, "dB", "{row}, {} Hz", step.hz);
                    }
                    let high = [high_120, high_70][which][side];
                    let (us, uncertainty) =
                        (position.high_us[side].unwrap(), position.high_uncertainty_us[side].unwrap());
                    holds(us, uncertainty, high, &row, &mut count);
                    // Good enough to see a part that is off by its own tolerance of 5 %.
                    assert!(uncertainty < 0.05 * us, "{row}: +- {uncertainty} us");
                    let (us, uncertainty) =
                        (position.low_us[side].unwrap(), position.low_uncertainty_us[side].unwrap());
                    holds(us, uncertainty, low[side], &row, &mut count);
                    assert!(uncertainty < 0.2 * us, "{row}: low +- {uncertainty} us");
                }
            }
            let switched = [0, 1].map(|side| Some(high_120[side] != high_70[side]));
            assert_eq!(found.switched, switched);
            count
        })
        .collect();
    let [held, all] = counts.into_iter().fold([0; 2], |sum, one| [sum[0] + one[0], sum[1] + one[1]]);
    // k = 2 shall hold 95 times in 100.
    assert!(held * 20 >= all * 18, "only {held} of {all} uncertainties hold the truth");
}

#[test]
fn faults_are_named_and_nothing_is_said_of_a_tape() {
    if effort::left_to_ci() {
        return;
    }
    let text = deck("amplifier", [96.0, 121.0], [71.0, 121.0], [3180.0, 3180.0], USUAL);
    let played = play(&recipe("amplifier"), &case("named", &text, 5, 48_000, Store::TwentyFour));
    let reading = &played.reading;
    assert_eq!(reading.circumstances.recorded_on, Some(RecordedOn::Injected));
    assert!(reading.azimuth.is_none() && reading.speed.is_none() && reading.flutter.is_none());
    // The bench says that the tape is a calibrated one; there is none, and that is said.
    assert!(reading.warnings.iter().any(|warning| warning.id == "not-a-tape"), "{:?}", reading.warnings);
    let find = |kind: &str, channel: &str| {
        let is = |text: Option<&str>, want: &str| text == Some(want);
        let mut found = reading.findings.iter().filter(|finding| finding.id == "playback-equalisation");
        found
            .find(|finding| {
                is(finding.kind.as_deref(), kind) && is(finding.channel.map(|own| own.as_str()), channel)
            })
            .unwrap()
    };
    let drifted = find("120 us", "left");
    assert!(drifted.verdict == Verdict::Outside && drifted.why.contains("has drifted"), "{drifted:?}");
    let stuck = find("70 us", "right");
    assert!(
        stuck.verdict == Verdict::Outside && stuck.why.contains("the selector does nothing"),
        "{stuck:?}"
    );
    assert_eq!(find("70 us", "left").verdict, Verdict::Within);
    assert_eq!(find("120 us", "right").verdict, Verdict::Within);
    for quiet in ["speed", "flutter", "azimuth", "bias"] {
        let finding = reading.findings.iter().find(|finding| finding.id == quiet).unwrap();
        assert_eq!((finding.verdict, finding.turn.clone()), (Verdict::CannotTell, None), "{finding:?}");
    }
    let hum = reading.findings.iter().find(|finding| finding.id == "hum").unwrap();
    assert!(hum.why.contains("no tape was in the chain"), "{hum:?}");
    let odd = ["gain-riding", "noise-reduction-on", "lossy", "mono", "unmeasured", "time-jump"];
    assert!(
        reading.warnings.iter().all(|warning| !odd.contains(&warning.id.as_str())),
        "{:?}",
        reading.warnings
    );
}

#[test]
fn one_wire_for_both_channels_is_no_mono_fault() {
    if effort::left_to_ci() {
        return;
    }
    let more = format!("one_wire = true\n{USUAL}");
    let text = deck("loop", [120.0, 104.0], [70.0, 70.0], [3180.0, 3180.0], &more);
    let played = play(&recipe("loop"), &case("one wire", &text, 6, 48_000, Store::TwentyFour));
    assert!(!played.reading.capture.mono);
    let found = &amplifier(&played).positions[0];
    for (side, want) in [(0, 120.0), (1, 104.0)] {
        assert_within!(found.high_us[side].unwrap(), want, found.high_uncertainty_us[side].unwrap(), "us");
    }
}

#[test]
fn a_sound_card_s_slope_is_taken_off_before_the_fit() {
    if effort::left_to_ci() {
        return;
    }
    let text = deck("amplifier", [120.0, 108.0], [70.0, 70.0], [3180.0, 3180.0], USUAL);
    let case = case("card", &text, 8, 48_000, Store::Float);
    // A poor card: dull from 7 kHz on one side.
    let card = "[playback]\nsections = [{ kind = \"low-pass1\", hz = 7000, channel = \"left\" }, \
                { kind = \"low-pass1\", hz = 9000, channel = \"right\" }, { kind = \"high-pass1\", hz = 25 }]\n";
    let card = DeckFile::from_toml(card, "card").unwrap();
    let folder = tempfile::tempdir().unwrap();
    let loopback = super::loopback::capture(&recipe("amplifier"), folder.path(), 48_000, &card);
    let mut told = super::bench::options(RecordedOn::Injected);
    told.loopback = Some(loopback);
    let reading = try_play_behind(&recipe("amplifier"), &case, &card, &told).unwrap();
    let found = &reading.amplifier.as_ref().unwrap().positions[0];
    let treble = found.steps.iter().find(|step| step.hz == 10_000.0).unwrap();
    let want = deckproof::internals::deck::VirtualDeck::new(&case.deck, 8, 48_000.0).unwrap().truth();
    assert_within!(treble.db[1].unwrap(), want.injected_deviation_db(1, 0, 10_000.0), 0.1, "dB");
    for (side, want) in [(0, 120.0), (1, 108.0)] {
        assert_within!(found.high_us[side].unwrap(), want, found.high_uncertainty_us[side].unwrap(), "us");
    }
}
