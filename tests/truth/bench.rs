//! Plays a recipe through a virtual deck, reads the return and holds every figure against what is really true.
//!
//! What is true comes from the deck's description (its filters' responses, its time warp), not from its sound. Figures
//! that need computing from the true time warp, such as weighted flutter, are computed here by plain means.

use super::flutter_truth;
use crate::returns;
pub use crate::returns::Store;
use deckproof::internals::deck::{DeckFile, Truth, VirtualDeck};
use deckproof::internals::job::{ReadError, ReadOptions, read_samples};
use deckproof::internals::judge::Limits;
use deckproof::internals::judge::Reading;
use deckproof::internals::programme::{Channels, Recipe, Serves, Signal, Timeline};
use deckproof::internals::trade::{Medium, a_weighting};
use deckproof::reading::{Circumstances, NoiseReduction, RecordedOn, Verdict};

/// One rehearsal of the truth.
pub struct Case {
    pub name: &'static str,
    pub deck: DeckFile,
    pub seed: u64,
    pub rate_hz: u32,
    pub store: Store,
}

/// One figure against its truth.
#[derive(Debug, Clone)]
pub struct Row {
    pub quantity: &'static str,
    pub what: String,
    pub got: Option<f64>,
    pub want: f64,
    pub target: f64,
    /// As stated in the reading (k = 2).
    pub uncertainty: Option<f64>,
}

impl Row {
    /// Error over target; infinite where nothing was measured.
    pub fn share(&self) -> f64 {
        self.got.map_or(f64::INFINITY, |got| (got - self.want).abs() / self.target)
    }
}

pub struct Played {
    pub reading: Reading,
    pub truth: Truth,
    pub timeline: Timeline,
}

pub fn options(recorded_on: RecordedOn) -> ReadOptions {
    ReadOptions {
        recipe: None,
        reference_dbfs: -12.0,
        channels: None,
        circumstances: Circumstances {
            recorded_on: Some(recorded_on),
            heads: None,
            tape_type: None,
            noise_reduction: NoiseReduction::Off,
            card: None,
        },
        medium: Medium::COMPACT_CASSETTE,
        limits: Limits::full_size(),
        loopback: None,
        made: None,
        transport: None,
    }
}

pub fn play(recipe: &Recipe, case: &Case) -> Played {
    let samples = returns::of(recipe, &case.deck, case.seed, case.rate_hz, case.store);
    let mut options = options(RecordedOn::Calibrated);
    options.recipe = Some(recipe.clone());
    let reading = read_samples(&samples, case.name, &options)
        .unwrap_or_else(|error| panic!("{}, seed {}: {error}", case.name, case.seed));
    let deck = VirtualDeck::new(&case.deck, case.seed, f64::from(case.rate_hz)).unwrap();
    Played { reading, truth: deck.truth(), timeline: Timeline::from(recipe) }
}

/// Plays a recipe through the deck of `case` and then through `card`, which stands for a sound card.
pub fn try_play_behind(
    recipe: &Recipe,
    case: &Case,
    card: &DeckFile,
    told: &ReadOptions,
) -> Result<Reading, ReadError> {
    let samples = returns::behind(recipe, &case.deck, card, case.seed, case.rate_hz, case.store);
    read_samples(&samples, case.name, told)
}

pub fn play_behind(recipe: &Recipe, case: &Case, card: &DeckFile, told: &ReadOptions) -> Reading {
    try_play_behind(recipe, case, card, told).unwrap_or_else(|error| panic!("{}: {error}", case.name))
}

/// Every figure of the reading that has a target.
pub fn rows(played: &Played) -> Vec<Row> {
    let Played { reading, truth, timeline } = played;
    let mut rows = Vec::new();
    let mono = reading.capture.mono;
    let dead =
        [0, 1].map(|channel| truth.gain_db(channel, 400.0) == f64::NEG_INFINITY || (mono && channel == 1));
    let alive = || [0usize, 1].into_iter().filter(|&channel| !dead[channel]);
    let side = |channel: usize| ["left", "right"][channel];
    // Gain of a tone as it stands on the tape: response, compression, and where the level wandered to meanwhile.
    let gain = |channel: usize, hz: f64, db: f64, start_s: f64, length_s: f64| {
        let wander = (0..20)
            .map(|k| truth.return_time_s(start_s + length_s * (f64::from(k) + 0.5) / 20.0))
            .map(|return_s| truth.level_wander_db(channel, return_s))
            .sum::<f64>()
            / 20.0;
        truth.gain_db(channel, hz) + truth.compression_db(channel, hz, db - 12.0) + wander
    };
    for level in &reading.level {
        let part = timeline.parts.iter().find(|part| part.id == level.part).unwrap();
        let want =
            [0, 1].map(|channel| gain(channel, level.hz, level.programme_db, part.start_s, part.length_s));
        for channel in alive() {
            rows.push(Row {
                quantity: "level",
                what: format!("{} {}", level.part, side(channel)),
                got: level.gain_db[channel],
                want: want[channel],
                target: 0.05,
                uncertainty: Some(level.uncertainty_db),
            });
        }
        if alive().count() == 2 {
            rows.push(Row {
                quantity: "difference",
                what: level.part.clone(),
                got: level.difference_db,
                want: want[0] - want[1],
                target: 0.05,
                uncertainty: None,
            });
        }
    }
    if let Some(response) = &reading.response {
        let is_step = |part: &&deckproof::internals::programme::PlacedPart| {
            part.serves == Serves::Response && part.channels == Channels::Both
        };
        let step = |hz: f64, channel: usize| {
            let tone =
                timeline.parts.iter().filter(is_step).find(|part| part.signal == Signal::Tone { hz })?;
            Some(gain(channel, hz, tone.level_db, tone.start_s, tone.length_s))
        };
        for row in response.steps.iter().filter(|row| (40.0..=16_000.0).contains(&row.hz)) {
            for channel in alive() {
                rows.push(Row {
                    quantity: "steps",
                    what: format!("{} Hz {}", row.hz, side(channel)),
                    got: row.db[channel],
                    want: step(row.hz, channel).unwrap() - step(response.reference_hz, channel).unwrap(),
                    target: 0.15,
                    uncertainty: row.uncertainty_db[channel],
                });
            }
        }
        let sweep = timeline.parts.iter().find(|part| matches!(part.signal, Signal::Sweep { .. }));
        for row in response.sweep.iter().filter(|row| (39.0..=16_000.0).contains(&row.hz)) {
            let db = sweep.unwrap().level_db;
            for channel in alive() {
                // The mean level over the third octave, as the reading says.
                let band = |middle_hz: f64| {
                    (0..40)
                        .map(|k| middle_hz * 10f64.powf(0.1 * ((f64::from(k) + 0.5) / 40.0 - 0.5)))
                        .map(|hz| gain(channel, hz, db, 0.0, 0.0))
                        .sum::<f64>()
                        / 40.0
                };
                rows.push(Row {
                    quantity: "sweep",
                    what: format!("{:.0} Hz {}", row.hz, side(channel)),
                    got: row.db[channel],
                    want: band(row.hz) - gain(channel, response.reference_hz, db, 0.0, 0.0),
                    target: 0.3,
                    uncertainty: row.uncertainty_db[channel],
                });
            }
        }
    }
    if alive().count() == 2 {
        let azimuth = reading.azimuth.as_ref();
        rows.push(Row {
            quantity: "delay",
            what: "us".into(),
            got: azimuth.and_then(|azimuth| azimuth.delay_us),
            want: truth.delay_us(),
            target: 0.3,
            uncertainty: azimuth.and_then(|azimuth| azimuth.uncertainty_us),
        });
        let tone = timeline.parts.iter().find(|part| part.serves == Serves::Azimuth);
        if let (Some(azimuth), Some(part)) = (azimuth, tone) {
            let from_s = truth.return_time_s(part.start_s + 0.05);
            let to_s = truth.return_time_s(part.start_s + part.length_s - 0.05);
            // The phase over the tone itself: its mean moves with the wander, which is part of the truth.
            let wander_deg = -360.0e-6
                * 10_000.0
                * (1.0 + truth.mean_speed_error_percent(from_s, to_s) / 100.0)
                * (truth.mean_delay_us(from_s, to_s) - truth.delay_us());
            let near = azimuth.phase.iter().filter(|row| row.hz == 10_000.0);
            let want = truth.phase_deg(10_000.0) + wander_deg;
            let got = near.map(|row| (row.deg - want + 540.0).rem_euclid(360.0) - 180.0);
            rows.push(Row {
                quantity: "phase at 10 kHz",
                what: "degrees".into(),
                got: got.min_by(|a, b| a.abs().total_cmp(&b.abs())).map(|off| want + off),
                want,
                target: 1.0,
                uncertainty: None,
            });
        }
    }
    let first = timeline.parts.iter().find(|part| matches!(part.signal, Signal::Slate { .. })).unwrap();
    let last = timeline.parts.iter().rfind(|part| matches!(part.signal, Signal::Slate { .. })).unwrap();
    let from_s = truth.return_time_s(first.start_s).max(0.0);
    let to_s = truth.return_time_s(last.start_s + last.length_s).min(reading.capture.duration_s);
    rows.push(Row {
        quantity: "speed",
        what: "percent".into(),
        got: reading.speed.as_ref().map(|speed| speed.error_percent),
        want: truth.mean_speed_error_percent(from_s, to_s),
        target: 0.005,
        uncertainty: reading.speed.as_ref().map(|speed| speed.uncertainty_percent),
    });
    rows.extend(flutter_truth::rows(reading, truth));
    if let Some(noise) = &reading.noise {
        // The loudest that was read: one that is clipped says nothing.
        let read = |id: &str| {
            reading.level.iter().any(|row| row.part == id && row.return_dbfs.iter().any(Option::is_some))
        };
        let any = reading.level.iter().any(|row| read(&row.part));
        let level_tone =
            timeline.parts.iter().filter(|part| part.serves == Serves::Level && (!any || read(&part.id)));
        let loudest = level_tone.max_by(|a, b| a.level_db.total_cmp(&b.level_db)).unwrap();
        let Signal::Tone { hz } = loudest.signal else { unreachable!() };
        for channel in alive() {
            let reference = gain(channel, hz, loudest.level_db, loudest.start_s, loudest.length_s) - 12.0;
            let hum = |weight: &dyn Fn(f64) -> f64| {
                let lines = truth.hum_lines(channel).into_iter();
                lines.map(|(hz, dbfs)| 10f64.powf((dbfs + weight(hz)) / 10.0)).sum::<f64>()
            };
            let top_hz = (reading.capture.rate_hz / 2.0).min(22_400.0);
            let power = |weight: &dyn Fn(f64) -> f64| {
                let steps = 4000;
                let ratio = (top_hz / 22.4f64).ln() / f64::from(steps);
                let hiss = (0..steps)
                    .map(|k| 22.4 * ((f64::from(k) + 0.5) * ratio).exp())
                    .map(|hz| truth.noise_density(channel, hz) * 10f64.powf(weight(hz) / 10.0) * hz * ratio)
                    .sum::<f64>();
                10.0 * (hiss + hum(weight)).log10()
            };
            for (what, got, want) in [
                ("unweighted", noise.unweighted_db[channel], power(&|_| 0.0)),
                ("A-weighted", noise.a_weighted_db[channel], power(&a_weighting::a_weighting_db)),
            ] {
                rows.push(Row {
                    quantity: "noise",
                    what: format!("{what} {}", side(channel)),
                    got,
                    want: want - reference,
                    target: 0.3,
                    uncertainty: noise.uncertainty_db[channel],
                });
            }
        }
    }
    rows
}

/// Every step of the work is said by a finding that is outside, and every such finding with steps asks for work.
pub fn assert_work_follows_from_findings(reading: &Reading) {
    let outside = || reading.findings.iter().filter(|finding| finding.verdict == Verdict::Outside);
    for step in &reading.work {
        // A step of both channels has both names where each finding has its own.
        let text = &step.step.text;
        let alike = |own: &str| {
            own == text
                || [" left", " right"].iter().any(|side| own.replace(side, " left and right") == *text)
        };
        let said = outside().any(|finding| finding.steps.iter().any(|own| alike(&own.text)));
        assert!(said, "no finding says {:?}", step.step.text);
    }
    for finding in outside().filter(|finding| !finding.steps.is_empty()) {
        let asked =
            reading.work.iter().any(|step| step.findings.iter().any(|name| name.starts_with(&finding.id)));
        assert!(asked, "{} is outside and asks for nothing", finding.id);
    }
}
