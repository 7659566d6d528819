//! Jobs in rounds against the truth: record level and bias, the bias sweep, noise reduction in against out.

use super::bench::{Case, Played, Store, options, play};
use crate::{effort, returns};
use deckproof::assert_within;
use deckproof::internals::deck::{DeckFile, Truth, VirtualDeck};
use deckproof::internals::job::read_samples;
use deckproof::internals::programme::{PlacedPart, Recipe, Signal, Timeline, built_in_text};
use deckproof::internals::trade::a_weighting::a_weighting_db;
use deckproof::reading::{Heads, MonitorSwitch, Pair, RecordedOn, Verdict};
use rayon::prelude::*;

/// The built-in recipe `name` with `count` rounds.
fn recipe(name: &str, count: usize) -> Recipe {
    let text = built_in_text(name).unwrap();
    let line = text.lines().find(|line| line.starts_with("count = ")).unwrap();
    Recipe::parse(&text.replacen(line, &format!("count = {count}"), 1), name).unwrap()
}

fn case(name: &'static str, text: &str, seed: u64, rate_hz: u32, store: Store) -> Case {
    Case { name, deck: DeckFile::from_toml(text, name).unwrap(), seed, rate_hz, store }
}

/// Gain of a part, with where the level wandered to meanwhile.
fn gain(truth: &Truth, part: &PlacedPart, channel: usize) -> f64 {
    let Signal::Tone { hz } = part.signal else { panic!("{} is no tone", part.id) };
    let at = |k: i32| part.start_s + part.length_s * (f64::from(k) + 0.5) / 20.0;
    let wander =
        (0..20).map(|k| truth.level_wander_db(channel, truth.return_time_s(at(k)))).sum::<f64>() / 20.0;
    truth.tone_gain_db(channel, hz, part.level_db - 12.0, part.start_s + part.length_s / 2.0) + wander
}

fn part<'a>(played: &'a Played, id: &str) -> &'a PlacedPart {
    played.timeline.parts.iter().find(|part| part.id == id).unwrap_or_else(|| panic!("no part {id}"))
}

/// A-weighted noise while `part` plays, dBFS.
fn a_weighted_dbfs(truth: &Truth, part: &PlacedPart, channel: usize, rate_hz: f64) -> f64 {
    let top_hz = (rate_hz / 2.0).min(22_400.0);
    let steps = 4000;
    let ratio = (top_hz / 22.4f64).ln() / f64::from(steps);
    let at_s = part.start_s + part.length_s / 2.0;
    let power = (0..steps)
        .map(|k| 22.4 * ((f64::from(k) + 0.5) * ratio).exp())
        .map(|hz| {
            truth.noise_density_at(channel, hz, at_s) * 10f64.powf(a_weighting_db(hz) / 10.0) * hz * ratio
        })
        .sum::<f64>();
    10.0 * power.log10()
}

fn each(pair: Pair) -> impl Iterator<Item = (usize, f64)> {
    pair.into_iter().enumerate().map(|(channel, value)| (channel, value.expect("a value")))
}

/// Ordinary tape and transport.
const USUAL: &str = "
[speed]
error_percent = 0.7
flutter = [{ hz = 4.1, percent_peak = 0.1 }]
[tape]
saturation = { k3_percent_at_0db = 1.0 }
hiss = { db = -52 }
modulation_noise = { db = -50 }
level_wander = { db_rms = 0.03 }
[head]
spacing_um = [0.1, 0.2]
gap_um = 1.1
";

#[test]
fn every_round_of_a_trimming_stands_for_itself() {
    let turned = "
[technician]
turns = [{ at_s = 0, over_s = 0, bias_db = [-1.5, 1], record_db = [-0.6, 0.2] }]
steps = { first_s = 18.7, every_s = 9.44, record_db = [-0.1, [0.2, 0.2], [0.0, 0.4]], bias_db = [[-0.5, 1], [0, 0.2], 0] }
";
    let cases = [
        case("usual", USUAL, 5, 48_000, Store::TwentyFour),
        case("usual", USUAL, 61, 44_100, Store::Sixteen),
        case("usual", USUAL, 2024, 96_000, Store::Float),
    ];
    effort::some(cases, 3).into_par_iter().for_each(|mut case| {
        case.deck = DeckFile::from_toml(&format!("{USUAL}{turned}"), "trimmed").unwrap();
        let played = play(&recipe("record-trim", 5), &case);
        let reading = &played.reading;
        assert_eq!((reading.rounds.len(), reading.bias.len()), (5, 10), "{:?}", reading.warnings);
        for row in &reading.rounds {
            assert_eq!(row.moved, None, "round {}", row.round);
            let tone = part(&played, &format!("level-round-{}", row.round));
            for (channel, db) in each(row.level_db) {
                let want = gain(&played.truth, tone, channel);
                // Target of levels.
                assert_within!(db, want, 0.05, "dB", "round {} channel {channel}", row.round);
            }
        }
        // From round 2 to round 3 the left channel was turned up by 0.3 dB of record level, and its bias with it.
        assert!(reading.rounds[2].change_db[0].unwrap() > 0.2, "{:?}", reading.rounds[2]);
        for row in &reading.bias {
            let name = if row.high_hz == 10_000.0 { "high-10k" } else { "high-15k" };
            let high = part(&played, &format!("{name}-round-{}", row.round));
            let low = part(&played, &format!("low-round-{}", row.round));
            for (channel, db) in each(row.difference_db) {
                let want = gain(&played.truth, high, channel) - gain(&played.truth, low, channel);
                // Target of stepped tones; the uncertainty that is stated must be about as large as the error.
                assert_within!(
                    db,
                    want,
                    0.15,
                    "dB",
                    "round {} {} Hz channel {channel}",
                    row.round,
                    row.high_hz
                );
                assert_within!(db, want, 2.0 * row.uncertainty_db[channel].unwrap(), "dB", "stated, {row:?}");
            }
        }
    });
}

/// Like [`play`], of a deck with three heads that records and is heard at once.
fn play_own(recipe: &Recipe, case: &Case) -> Played {
    let samples = returns::of(recipe, &case.deck, case.seed, case.rate_hz, case.store);
    let mut told = options(RecordedOn::ThisDeck);
    told.circumstances.heads = Some(Heads::Three);
    told.recipe = Some(recipe.clone());
    let reading = read_samples(&samples, case.name, &told).expect("a reading");
    let deck = VirtualDeck::new(&case.deck, case.seed, f64::from(case.rate_hz)).expect("a deck");
    Played { reading, truth: deck.truth(), timeline: Timeline::from(recipe) }
}

#[test]
fn tape_against_source_needs_no_target_and_no_sound_card() {
    if effort::left_to_ci() {
        return;
    }
    let recipe = recipe("monitor-trim", 4);
    let timeline = Timeline::from(&recipe);
    let turn_s = |round: u32| {
        timeline.parts.iter().find(|part| part.id == format!("turn-round-{round}")).expect("a turn").start_s
            + 0.3
    };
    let switch_s = timeline.parts.iter().find(|part| part.id == "switch").expect("a switch").start_s + 1.5;
    let cases = [
        (21, 48_000, Store::TwentyFour, 8.0),
        (22, 44_100, Store::Sixteen, 2.0),
        (23, 96_000, Store::Float, 15.0),
    ];
    effort::some(cases, 2).into_par_iter().for_each(|(seed, rate_hz, store, head_distance_mm)| {
        // The trim of the sound card's input is what no target would know of.
        let text = format!(
            "{USUAL}[capture]\ntrim_db = -1.7\n[technician]\n\
             monitor = {{ tape_from_s = {switch_s}, head_distance_mm = {head_distance_mm} }}\n\
             turns = [{{ at_s = 0, over_s = 0, bias_db = [-1.5, 1], record_db = [-0.6, 0.2] }}, \
             {{ at_s = {}, over_s = 0.5, record_db = [-0.1, 0.2] }}, {{ at_s = {}, over_s = 0.5, bias_db = [-0.5, 0] }}]\n",
            turn_s(2),
            turn_s(3),
        )
        .replace("error_percent = 0.7\n", "");
        let played = play_own(&recipe, &case("monitored", &text, seed, rate_hz, store));
        let reading = &played.reading;
        let source = reading.source.as_ref().expect("a stretch at SOURCE");
        assert_eq!(source.monitor, MonitorSwitch::Switched, "{source:?}");
        // The tape runs at 47.625 mm/s.
        assert_within!(source.behind_ms.unwrap(), head_distance_mm / 0.047_625, 3.0, "ms");
        assert_eq!((source.tones.len(), reading.rounds.len(), reading.bias.len()), (4, 4, 8));
        assert!(reading.warnings.is_empty(), "{:?}", reading.warnings);
        for row in &reading.rounds {
            let tone = part(&played, &format!("level-round-{}", row.round));
            for (channel, db) in each(row.level_db) {
                // A wire at SOURCE: what is true of the tape alone, but for the card's trim.
                let want = gain(&played.truth, tone, channel) + 1.7;
                assert_within!(db, want, 0.05, "dB", "round {} channel {channel}", row.round);
            }
        }
        for row in &reading.bias {
            let name = if row.high_hz == 10_000.0 { "high-10k" } else { "high-15k" };
            let high = part(&played, &format!("{name}-round-{}", row.round));
            let low = part(&played, &format!("low-round-{}", row.round));
            for (channel, db) in each(row.difference_db) {
                let want = gain(&played.truth, high, channel) - gain(&played.truth, low, channel);
                assert_within!(db, want, 0.15, "dB", "round {} {} Hz", row.round, row.high_hz);
            }
        }
        let found = |id: &str, side: usize| {
            reading.findings.iter().filter(|finding| finding.id == id).nth(side).expect("a finding")
        };
        for side in 0..2 {
            let level = found("record-level", side);
            assert_eq!(level.value, reading.rounds[3].level_db[side]);
            assert_ne!(level.verdict, Verdict::CannotTell, "{level:?}");
            assert_ne!(found("bias", side).verdict, Verdict::CannotTell);
        }
    });
}

#[test]
fn a_monitor_that_was_not_switched_is_named_and_nothing_is_judged() {
    let recipe = recipe("monitor-trim", 2);
    // All the time at TAPE, and all the time at SOURCE.
    let cases = [(31, ""), (32, "monitor = { tape_from_s = 3600 }\n")];
    cases.into_par_iter().for_each(|(seed, monitor)| {
        let text = format!("{USUAL}[technician]\n{monitor}").replace("error_percent = 0.7\n", "");
        let played = play_own(&recipe, &case("still", &text, seed, 44_100, Store::Sixteen));
        let source = played.reading.source.as_ref().expect("a stretch at SOURCE");
        assert_eq!(source.monitor, MonitorSwitch::NotSwitched, "{source:?}");
        for finding in played
            .reading
            .findings
            .iter()
            .filter(|finding| finding.id == "record-level" || finding.id == "bias")
        {
            assert_eq!(finding.verdict, Verdict::CannotTell, "{finding:?}");
            assert!(finding.why.contains("the monitor was not switched"), "{finding:?}");
        }
    });
}

#[test]
fn a_trimmer_turned_while_a_tone_sounds_is_said_and_does_not_mix_two_settings() {
    if effort::left_to_ci() {
        return;
    }
    let recipe = recipe("record-trim", 4);
    let timeline = deckproof::internals::programme::Timeline::from(&recipe);
    let start = |id: &str| timeline.parts.iter().find(|part| part.id == id).unwrap().start_s;
    // Round 2: in the level tone, so the rest of the round belongs to the new setting. Round 4: in the last tone.
    let text = format!(
        "{USUAL}[technician]\nturns = [{{ at_s = {}, over_s = 0.1, record_db = 2 }}, {{ at_s = {}, over_s = 0.1, record_db = -1 }}]\n",
        start("level-round-2") + 0.35,
        start("high-15k-round-4") + 0.6
    );
    for (seed, rate_hz) in [(8, 48_000), (9, 44_100)] {
        let played = play(&recipe, &case("turned", &text, seed, rate_hz, Store::TwentyFour));
        let rounds = &played.reading.rounds;
        let moved: Vec<bool> = rounds.iter().map(|round| round.moved.is_some()).collect();
        assert_eq!(moved, [false, true, false, true], "{rounds:?}");
        assert!(rounds[1].moved.as_ref().unwrap().contains("315 Hz moved by +"), "{rounds:?}");
        let at_s = rounds[1].moved_at_s.unwrap().seconds();
        assert_within!(at_s, played.truth.return_time_s(start("level-round-2") + 0.4), 0.1, "s");
        // The new setting, of the third round, and the old one in the fourth.
        for (channel, db) in each(rounds[1].change_db) {
            let level =
                |round: u32| gain(&played.truth, part(&played, &format!("level-round-{round}")), channel);
            // Turned up by 2 dB, less what the tape compresses.
            assert_within!(db, level(3) - level(1), 0.15, "dB", "channel {channel}");
        }
        for (channel, db) in each(rounds[3].change_db) {
            assert_within!(db, 0.0, 0.15, "dB", "channel {channel}");
        }
        let last = &played.reading.bias[played.reading.bias.len() - 1];
        assert_eq!((last.round, last.high_hz), (4, 15_000.0));
        let tone = part(&played, "low-round-4");
        let high = part(&played, "high-15k-round-3");
        for (channel, db) in each(last.difference_db) {
            let want = gain(&played.truth, high, channel) - gain(&played.truth, tone, channel);
            // Half of the tone is left, and the level wanders by 0.03 dB rms.
            assert_within!(db, want, 0.2, "dB", "channel {channel}");
        }
    }
}

#[test]
fn a_bias_sweep_shows_peaks_overbias_and_noise_as_they_are() {
    let swept = "
[technician]
steps = { first_s = 9.5, every_s = 14.94, bias_db = [[-6, -5.5], [-5, -4.5], [-4, -3.5], [-3, -2.5], [-2, -1.5], [-1, -0.5], [0, 0.5], [1, 1.5], [2, 2.5], [3, 3.5], [4, 4.5]] }
";
    let cases = [(3u64, 48_000u32, Store::TwentyFour), (71, 44_100, Store::Sixteen)];
    effort::some(cases, 2).into_par_iter().for_each(|(seed, rate_hz, store)| {
        let played =
            play(&recipe("bias-sweep", 11), &case("swept", &format!("{USUAL}{swept}"), seed, rate_hz, store));
        let truth = &played.truth;
        let sweep = played.reading.bias_sweep.as_ref().unwrap();
        assert_eq!((sweep.steps.len(), sweep.rising), (11, Some(true)));
        let reference = &played.reading.level[0];
        for step in &sweep.steps {
            let named = |name: &str| part(&played, &format!("{name}-round-{}", step.round));
            for (channel, db) in each(step.low_db) {
                assert_within!(db, gain(truth, named("low"), channel), 0.05, "dB", "round {}", step.round);
            }
            for (high, name) in step.high.iter().zip(["high-10k", "high-15k"]) {
                for (channel, db) in each(high.db) {
                    assert_within!(
                        db,
                        gain(truth, named(name), channel),
                        0.15,
                        "dB",
                        "{name} {}",
                        step.round
                    );
                }
            }
            for (channel, percent) in each(step.k3_percent) {
                let at_s = named("level").start_s + 1.0;
                let want = truth.tone_k3_percent(channel, 315.0, -12.0, at_s);
                // Target of the third harmonic.
                assert_within!(percent, want, 0.05 * want, "%", "K3, round {} channel {channel}", step.round);
            }
            for (channel, db) in each(step.noise_a_weighted_db) {
                let want = a_weighted_dbfs(truth, named("noise"), channel, f64::from(rate_hz))
                    - reference.return_dbfs[channel].unwrap();
                // Target of weighted noise, and 2.5 s of hiss: 2 sigma of 0.1 dB more.
                assert_within!(db, want, 0.4, "dB", "noise, round {}", step.round);
            }
        }
        // The true place of the least third harmonic: a parabola through the three lowest of its true levels.
        for (channel, round) in each(sweep.lowest_k3_round) {
            let level = |round: u32| {
                let at_s = part(&played, &format!("level-round-{round}")).start_s + 1.0;
                20.0 * truth.tone_k3_percent(channel, 315.0, -12.0, at_s).log10()
            };
            let lowest = (2..=10).min_by(|&a, &b| level(a).total_cmp(&level(b))).unwrap();
            let [before, at, after] = [lowest - 1, lowest, lowest + 1].map(level);
            let want = f64::from(lowest) + 0.5 * (before - after) / (before - 2.0 * at + after);
            assert_within!(round, want, 0.3, "rounds", "lowest K3, channel {channel}");
        }
        // The true peak at 10 kHz: of the deck's own curve, in steps of a hundredth of a dB of bias.
        for (channel, round) in each(sweep.peaks[1].round) {
            let bias = |round: f64| (if channel == 0 { -7.0 } else { -6.5 }) + round;
            let rounds = (100..=1100).map(|k| f64::from(k) / 100.0);
            let curve = |round: f64| truth.bias_gain_db(10_000.0, bias(round));
            let want = rounds.max_by(|&a, &b| curve(a).total_cmp(&curve(b))).unwrap();
            let stated = sweep.peaks[1].uncertainty_rounds[channel].unwrap();
            // The curve is no parabola over all that is fitted: a quarter of a round (0.25 dB of bias) at most.
            assert_within!(round, want, 0.25, "rounds", "stated +- {stated}");
            for step in &sweep.steps {
                let want = curve(want) - curve(f64::from(step.round));
                let got = step.high[0].past_peak_db[channel].unwrap();
                assert_within!(got.abs(), want, 0.25, "dB", "overbias, round {}", step.round);
                assert!(want < 0.3 || (got > 0.0) == (f64::from(step.round) > round), "{step:?}");
            }
        }
    });
}

#[test]
fn noise_reduction_is_held_against_its_absence() {
    if effort::left_to_ci() {
        return;
    }
    let reduced = "
[noise_reduction]
most_db = 10
level_error_db = [-2, 1.5]
[technician]
turns = [{ at_s = 70, noise_reduction = true }]
";
    let cases = [(4u64, 48_000u32, Store::TwentyFour), (444, 96_000, Store::Float)];
    effort::some(cases, 2).into_par_iter().for_each(|(seed, rate_hz, store)| {
        let recipe = Recipe::parse(built_in_text("noise-reduction").unwrap(), "a").unwrap();
        let played = play(&recipe, &case("reduced", &format!("{USUAL}{reduced}"), seed, rate_hz, store));
        let truth = &played.truth;
        assert!(part(&played, "switch").start_s < 70.0 && part(&played, "in-130-10dB").start_s > 71.0);
        let found = played.reading.noise_reduction.as_ref().unwrap();
        assert_eq!((found.rows.len(), found.switched), (28, Some(true)));
        let mut largest = 0.0f64;
        for row in &found.rows {
            let named = |half: &str| part(&played, &format!("{half}-{}{:+}dB", row.hz, row.programme_db));
            for (channel, db) in each(row.mistracking_db) {
                let want = gain(truth, named("in"), channel) - gain(truth, named("out"), channel);
                largest = largest.max(want.abs());
                // Twice the target of stepped tones: two tones. At -40 dB hiss has its share in both.
                let target = if row.programme_db < -35.0 && row.hz > 12_000.0 { 0.5 } else { 0.3 };
                assert_within!(
                    db,
                    want,
                    target,
                    "dB",
                    "{} dB {} Hz channel {channel}",
                    row.programme_db,
                    row.hz
                );
            }
        }
        assert!(largest > 0.8, "only {largest} dB of mistracking to be found");
        let (out, within) = (part(&played, "noise-out"), part(&played, "noise-in"));
        for (channel, db) in each(found.noise_lowered_db) {
            let level = |part: &PlacedPart| a_weighted_dbfs(truth, part, channel, f64::from(rate_hz));
            assert_within!(db, level(out) - level(within), 0.4, "dB", "noise, channel {channel}");
        }
    });
}

#[test]
fn noise_reduction_that_was_not_switched_is_found_out() {
    if effort::left_to_ci() {
        return;
    }
    let recipe = Recipe::parse(built_in_text("noise-reduction").unwrap(), "a").unwrap();
    let played = play(&recipe, &case("forgotten", USUAL, 12, 44_100, Store::TwentyFour));
    assert_eq!(played.reading.noise_reduction.as_ref().unwrap().switched, Some(false));
    assert!(played.reading.warnings.iter().any(|warning| warning.id == "noise-reduction-not-switched"));
}
