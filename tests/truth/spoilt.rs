//! Returns that something spoilt on their way: what is stated is true within its uncertainty, or it is not stated.
//!
//! Decks are drawn at random, half of them smooth and half as uneven as real ones; what spoils the return is drawn as well: its
//! kind, size, place and channel. Truth is the deck's without what spoilt the return.

use super::bench::{Played, Row, Store, options, rows};
use super::{coverage, panel};
use crate::{effort, returns};
use deckproof::internals::capture::InMemory;
use deckproof::internals::deck::{AutomaticGain, DeckFile, LossyCodec, NoiseSuppression, VirtualDeck};
use deckproof::internals::job::read_samples;
use deckproof::internals::judge::flutter_uncertainty;
use deckproof::internals::programme::{Recipe, Timeline, find};
use deckproof::reading::RecordedOn;
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// What spoils the samples: kinds of it.
const KINDS: [&str; 34] = [
    "nothing",
    "step of one channel",
    "small step of one channel",
    "step of both channels",
    "step before the silence",
    "level creeps",
    "cut",
    "inserted",
    "repeated buffers",
    "lost buffers",
    "clicks",
    "clipped",
    "clipped hard",
    "one-sided tops",
    "crossfeed",
    "widened",
    "offset",
    "8 per cent fast",
    "twice as fast",
    "rate taken for another",
    "22.05 kHz",
    "32 kHz",
    "8 bit",
    "quiet and 16 bit",
    "white noise",
    "another sound",
    "muted for a while",
    "inverted from a place on",
    "automatic gain",
    "noise suppression",
    "lossy",
    "two takes",
    "enhanced bass and treble",
    "hum of the wiring",
];

/// Nothing in the file tells these from a deck that is like that: only a loopback capture does.
const LIKE_A_DECK: [&str; 3] = ["white noise", "enhanced bass and treble", "hum of the wiring"];

/// What must be named, by the warning that does it.
const NAMED: [(&str, &str); 13] = [
    ("step before the silence", "level-moved"),
    ("clicks", "clicks"),
    ("clipped", "clipped"),
    ("clipped hard", "clipped"),
    ("crossfeed", "crossfeed"),
    ("offset", "offset"),
    ("8 per cent fast", "rate-mismatch"),
    ("twice as fast", "rate-mismatch"),
    ("rate taken for another", "rate-mismatch"),
    ("22.05 kHz", "low-rate"),
    ("32 kHz", "low-rate"),
    ("lossy", "lossy"),
    ("two takes", "several-takes"),
];

fn ratio(db: f64) -> f64 {
    10f64.powf(db / 20.0)
}

/// Keeps every `by`-th sample behind a low-pass as a capture has it: flat to some 0.45 of the new rate.
fn decimated(samples: &[f64], by: usize) -> Vec<f64> {
    let half = 32 * by as i64;
    let taps: Vec<f64> = (-half..=half)
        .map(|k| {
            let x = 0.92 * k as f64 / by as f64;
            let sinc =
                if k == 0 { 1.0 } else { (std::f64::consts::PI * x).sin() / (std::f64::consts::PI * x) };
            let window = (0.5 * std::f64::consts::PI * k as f64 / (half + 1) as f64).cos().powi(2);
            0.92 / by as f64 * sinc * window
        })
        .collect();
    (0..samples.len() / by)
        .map(|n| {
            let middle = (n * by) as i64;
            let at = |k: i64| usize::try_from(k).ok().and_then(|k| samples.get(k)).copied().unwrap_or(0.0);
            taps.iter().zip(-half..).map(|(tap, k)| tap * at(middle + k)).sum()
        })
        .collect()
}

/// What is done to the deck's own text before it plays.
fn spoil_deck(kind: &str, deck: &mut DeckFile, rng: &mut impl Rng) {
    match kind {
        "automatic gain" => {
            deck.capture.automatic_gain = Some(AutomaticGain {
                attack_ms: 10.0,
                release_s: rng.random_range(0.5..5.0),
                target_dbfs: -12.0,
                most_db: rng.random_range(6.0..30.0),
            });
        }
        "noise suppression" => {
            deck.capture.noise_suppression =
                Some(NoiseSuppression { below_dbfs: -45.0, most_db: rng.random_range(6.0..20.0) });
        }
        "lossy" => {
            deck.capture.lossy =
                Some(LossyCodec { low_pass_hz: rng.random_range(13_000.0..18_000.0), masking_db: 20.0 });
        }
        _ => {}
    }
}

/// What is done to the samples; `timeline` tells where its parts lie.
fn spoil(kind: &str, samples: &mut InMemory, timeline: &Timeline, rng: &mut impl Rng) {
    let rate_hz = samples.rate_hz;
    let count = samples.channels[0].len();
    let place = rng.random_range(count / 8..count * 9 / 10);
    let side = rng.random_range(0..2usize);
    let channels = &mut samples.channels;
    let gained = |channels: &mut [Vec<f64>; 2], side: usize, from: usize, db: f64| {
        channels[side][from..].iter_mut().for_each(|x| *x *= ratio(db));
    };
    let sign = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
    match kind {
        "step of one channel" => gained(channels, side, place, sign * rng.random_range(0.5..3.0)),
        "small step of one channel" => gained(channels, side, place, sign * rng.random_range(0.15..0.6)),
        "step of both channels" => {
            let db = sign * rng.random_range(0.5..4.0);
            (0..2).for_each(|side| gained(channels, side, place, db));
        }
        "step before the silence" => {
            use deckproof::internals::programme::{Serves, Signal};
            let silence = timeline
                .parts
                .iter()
                .find(|part| part.signal == Signal::Silence && part.serves == Serves::Noise)
                .unwrap();
            let from = ((silence.start_s - 0.4) * rate_hz) as usize;
            let db = sign * rng.random_range(1.0..6.0);
            (0..2).for_each(|side| gained(channels, side, from, db));
        }
        "level creeps" => {
            let db = sign * rng.random_range(0.3..2.0);
            for channel in channels.iter_mut() {
                for (n, x) in channel.iter_mut().enumerate() {
                    *x *= ratio(db * n as f64 / count as f64);
                }
            }
        }
        "cut" => {
            let length = (rng.random_range(0.03..0.3) * rate_hz) as usize;
            channels.iter_mut().for_each(|channel| drop(channel.drain(place..place + length)));
        }
        "inserted" => {
            let length = (rng.random_range(0.03..0.3) * rate_hz) as usize;
            for channel in channels.iter_mut() {
                channel.splice(place..place, vec![0.0; length]);
            }
        }
        "repeated buffers" => {
            for _ in 0..rng.random_range(1..5) {
                let at = rng.random_range(count / 10..count * 9 / 10);
                for channel in channels.iter_mut() {
                    let buffer = channel[at..at + 512].to_vec();
                    channel.splice(at..at, buffer);
                }
            }
        }
        "lost buffers" => {
            for _ in 0..rng.random_range(1..6) {
                let at = rng.random_range(count / 10..count * 9 / 10);
                channels.iter_mut().for_each(|channel| channel[at..at + 480].fill(0.0));
            }
        }
        "clicks" => {
            for _ in 0..20 {
                let at = rng.random_range(0..count - 4);
                let side = rng.random_range(0..2usize);
                channels[side][at..at + 2].fill(sign * 0.95);
            }
        }
        "clipped" | "clipped hard" => {
            let db =
                if kind == "clipped" { rng.random_range(12.0..16.0) } else { rng.random_range(18.0..24.0) };
            channels.iter_mut().flatten().for_each(|x| *x = (*x * ratio(db)).clamp(-1.0, 1.0));
        }
        "one-sided tops" => {
            let top = rng.random_range(0.13..0.22);
            channels[side].iter_mut().for_each(|x| *x = x.min(top));
        }
        "crossfeed" | "widened" => {
            let share = rng.random_range(0.1..0.5) * if kind == "crossfeed" { 1.0 } else { -0.6 };
            let [left, right] = channels;
            for (l, r) in left.iter_mut().zip(right) {
                (*l, *r) = (*l + share * *r, *r + share * *l);
            }
        }
        "offset" => channels[side].iter_mut().for_each(|x| *x += 0.5),
        "8 per cent fast" => samples.rate_hz *= 1.0 + 0.08 * sign,
        "twice as fast" => samples.rate_hz *= if sign > 0.0 { 2.0 } else { 0.5 },
        "rate taken for another" => samples.rate_hz = 44_100.0,
        "22.05 kHz" => {
            // The deck played at 44.1 kHz.
            channels.iter_mut().for_each(|channel| *channel = decimated(channel, 2));
            samples.rate_hz = rate_hz / 2.0;
        }
        "32 kHz" => {
            channels.iter_mut().for_each(|channel| *channel = decimated(channel, 3));
            samples.rate_hz = rate_hz / 3.0;
        }
        "8 bit" => channels.iter_mut().flatten().for_each(|x| *x = (*x * 128.0).round() / 128.0),
        "quiet and 16 bit" => {
            let db = rng.random_range(-45.0..-30.0);
            channels.iter_mut().flatten().for_each(|x| *x = (*x * ratio(db) * 32_768.0).round() / 32_768.0);
        }
        "white noise" => {
            let level = ratio(rng.random_range(-55.0..-35.0));
            channels.iter_mut().flatten().for_each(|x| *x += level * rng.random_range(-1.0..1.0));
        }
        "another sound" => {
            let (hz, length) =
                (rng.random_range(300.0..3000.0), (rng.random_range(0.2..1.5) * rate_hz) as usize);
            for channel in channels.iter_mut() {
                for (n, x) in channel[place..].iter_mut().take(length).enumerate() {
                    *x += 0.1 * (std::f64::consts::TAU * hz * n as f64 / rate_hz).sin();
                }
            }
        }
        "muted for a while" => {
            let length = (rng.random_range(0.2..2.0) * rate_hz) as usize;
            channels[side][place..].iter_mut().take(length).for_each(|x| *x = 0.0);
        }
        "inverted from a place on" => channels[side][place..].iter_mut().for_each(|x| *x = -*x),
        "two takes" => {
            for channel in channels.iter_mut() {
                let again: Vec<f64> = channel.iter().map(|x| x * ratio(-1.0)).collect();
                channel.extend(again);
            }
        }
        "enhanced bass and treble" => {
            // The difference of neighbouring samples, and what a slow mean holds.
            for channel in channels.iter_mut() {
                let (mut last, mut slow) = (0.0, 0.0);
                for x in channel.iter_mut() {
                    slow += 0.02 * (*x - slow);
                    let lifted = *x + 0.5 * (*x - last) + 0.5 * slow;
                    last = *x;
                    *x = lifted;
                }
            }
        }
        "hum of the wiring" => {
            for (n, (l, r)) in {
                let [left, right] = channels;
                left.iter_mut().zip(right).enumerate()
            } {
                let hum = 0.02 * (std::f64::consts::TAU * 50.0 * n as f64 / rate_hz).sin();
                *l += hum;
                *r += hum;
            }
        }
        _ => {}
    }
}

/// One spoilt return, read.
struct Case {
    kind: &'static str,
    recipe: &'static str,
    seed: u64,
    /// Figures that state an uncertainty.
    rows: Vec<Row>,
    warnings: Vec<String>,
}

fn case(seed: u64) -> Case {
    let case = read_spoilt(seed);
    for line in &case.lines() {
        println!("{line}");
    }
    case
}

impl Case {
    /// Figures that are wrong by more than they say, and the warnings.
    fn lines(&self) -> Vec<String> {
        let head = format!("{:>5} {} {}", self.seed, self.kind, self.recipe);
        let wrong = self.rows.iter().filter(|row| !holds(row)).map(|row| {
            let (got, stated) = (row.got.unwrap(), row.uncertainty.unwrap());
            format!("{head}: {} {}: {got:.4} +- {stated:.4}, true {:.4}", row.quantity, row.what, row.want)
        });
        wrong.chain([format!("{head}: warnings {:?}", self.warnings)]).collect()
    }
}

fn holds(row: &Row) -> bool {
    (row.got.unwrap() - row.want).abs() <= row.uncertainty.unwrap()
}

fn read_spoilt(seed: u64) -> Case {
    let rng = &mut ChaCha8Rng::seed_from_u64(seed);
    let kind = KINDS[(seed % KINDS.len() as u64) as usize];
    let name = match rng.random_range(0..10) {
        0 => "full",
        1..4 => "playback",
        _ => "first-look",
    };
    let recipe: Recipe = find(name).unwrap();
    let mut deck = if rng.random_bool(0.5) { coverage::deck(seed) } else { panel::uneven(seed) };
    spoil_deck(kind, &mut deck, rng);
    let rate_hz = match kind {
        "22.05 kHz" => 44_100,
        "32 kHz" => 96_000,
        _ => 48_000,
    };
    let mut samples: InMemory =
        returns::of(&recipe, &deck, seed, rate_hz, Store::TwentyFour).as_ref().clone();
    let timeline = Timeline::from(&recipe);
    spoil(kind, &mut samples, &timeline, rng);
    let mut told = options(RecordedOn::Calibrated);
    told.recipe = Some(recipe);
    let Ok(reading) = read_samples(&samples, kind, &told) else {
        return Case { kind, recipe: name, seed, rows: Vec::new(), warnings: vec!["refused".to_owned()] };
    };
    let warnings = reading.warnings.iter().map(|warning| warning.id.to_string()).collect();
    let truth = VirtualDeck::new(&deck, seed, f64::from(rate_hz)).unwrap().truth();
    let matched = reading
        .findings
        .iter()
        .find(|finding| finding.id == "channel-match" && finding.kind.as_deref() == Some("level tone"))
        .map(|finding| (finding.value, finding.uncertainty));
    let played = Played { reading, truth, timeline };
    let mut rows: Vec<Row> = rows(&played)
        .into_iter()
        .filter_map(|mut row| {
            match row.quantity {
                "flutter" if row.what == "weighted rms" => {
                    // As it is printed: as the deck's own.
                    let flutter = played.reading.flutter.as_ref()?;
                    row.uncertainty = flutter_uncertainty(flutter, |f| f.weighted_rms_percent, false);
                }
                // The file's own level is not the deck's.
                "difference" if row.what.starts_with("level-315") => {
                    (row.got, row.uncertainty) = matched?;
                }
                "steps" | "sweep" | "delay" | "speed" | "noise" => {}
                _ => return None,
            }
            row.uncertainty.filter(|_| row.got.is_some())?;
            Some(row)
        })
        .collect();
    if matches!(kind, "8 per cent fast" | "twice as fast" | "rate taken for another") {
        // What is true of them is told by times and a band that the header has wrong.
        rows.retain(|row| !matches!(row.quantity, "sweep" | "flutter" | "noise"));
    }
    Case { kind, recipe: name, seed, rows, warnings }
}

#[test]
fn what_a_spoilt_return_states_is_true() {
    let asked = std::env::var("DECKPROOF_SPOILT").unwrap_or_default();
    let (first, count) = asked.split_once('+').map_or_else(
        || (0, u64::from(effort::of([2, 34, 340]))),
        |(first, count)| (first.parse().unwrap(), count.parse().unwrap()),
    );
    let cases: Vec<Case> = (first..first + count).into_par_iter().map(case).collect();
    let mut by_kind: BTreeMap<&str, BTreeMap<&str, [usize; 2]>> = BTreeMap::new();
    for case in &cases {
        let by_quantity = by_kind.entry(case.kind).or_default();
        for row in &case.rows {
            let tally = by_quantity.entry(row.quantity).or_default();
            tally[0] += usize::from(holds(row));
            tally[1] += 1;
        }
    }
    let (mut held, mut all) = (0, 0);
    for (kind, by_quantity) in &by_kind {
        println!("{kind}: {by_quantity:?}");
        if !LIKE_A_DECK.contains(kind) {
            held += by_quantity.values().map(|tally| tally[0]).sum::<usize>();
            all += by_quantity.values().map(|tally| tally[1]).sum::<usize>();
        }
    }
    println!("held {held} of {all}");
    let mut unnamed = Vec::new();
    for case in cases.iter().filter(|case| !case.warnings.contains(&"refused".to_owned())) {
        let warned = |id: &str| case.warnings.iter().any(|warning| warning == id);
        for (_, id) in NAMED.iter().filter(|(kind, _)| *kind == case.kind) {
            if !warned(id) {
                unnamed.push(format!("{} {}: {id} is not named", case.seed, case.kind));
            }
        }
        // A sound return is not blamed for any of these.
        unnamed.extend(
            NAMED
                .iter()
                .filter(|(_, id)| case.kind == "nothing" && warned(id))
                .map(|(_, id)| format!("{}: a sound return is said to have {id}", case.seed)),
        );
    }
    assert!(unnamed.is_empty(), "{}", unnamed.join("\n"));
    assert!(held * 100 >= all * 95, "{held} of {all}");
}
