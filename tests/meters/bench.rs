//! A short return with something to measure in every section of a reading.

use crate::signals;
use deckproof::internals::capture::InMemory;
use deckproof::internals::job::{ReadOptions, read_samples};
use deckproof::internals::judge::Limits;
use deckproof::internals::judge::Reading;
use deckproof::internals::programme::{Recipe, Renderer, Timeline};
use deckproof::internals::trade::Medium;
use deckproof::reading::{Circumstances, NoiseReduction, RecordedOn};
use std::f64::consts::TAU;
use std::sync::LazyLock;

const RECIPE: &str = r#"
name = "short"
title = "Short"
[[part]]
kind = "slate"
[[part]]
kind = "tone"
id = "level"
hz = 400
level_db = 0
length_s = 1
serves = "level"
[[part]]
kind = "steps"
id = "response"
hz = [60, 400, 3150, 10000]
level_db = -20
length_s = [1.6, 1.2, 1.2, 1.2]
[[part]]
kind = "tone"
id = "azimuth"
hz = 8000
level_db = -20
length_s = 3.5
serves = "azimuth"
[[part]]
kind = "sweep"
id = "sweep"
from_hz = 200
to_hz = 12000
level_db = -20
length_s = 9
[[part]]
kind = "tone"
id = "flutter"
hz = 3150
level_db = 0
length_s = 4.5
serves = "flutter"
[[part]]
kind = "silence"
length_s = 3
serves = "noise"
[[part]]
kind = "noise"
id = "pink"
colour = "pink"
level_db = -20
length_s = 3
[[part]]
kind = "noise"
id = "white"
colour = "white"
level_db = -10
length_s = 3
serves = "saturation"
[[part]]
kind = "slate"
"#;

pub const RATE_HZ: u32 = 44_100;

pub static TIMELINE: LazyLock<Timeline> = LazyLock::new(|| Timeline::from(&recipe()));

/// The programme after a deck of sorts: 0.2 % of wow, hiss, the right channel weaker and three samples late.
pub static RETURN: LazyLock<InMemory> = LazyLock::new(|| {
    let [left, right] = Renderer::new(&TIMELINE, RATE_HZ, -12.0).unwrap().collect();
    let lead = 0.4 * f64::from(RATE_HZ);
    let count = left.len() + lead as usize + 20_000;
    let play = |samples: &[f64], delay: f64, gain: f64, seed: u64| -> Vec<f64> {
        let hiss = signals::noise(count, seed);
        (0..count)
            .map(|n| {
                let turn = TAU * 1.7 * n as f64 / f64::from(RATE_HZ);
                let place = n as f64 - lead - delay + 0.002 * f64::from(RATE_HZ) / (TAU * 1.7) * turn.sin();
                let (whole, share) = (place.floor(), place.rem_euclid(1.0));
                let at = |k: f64| if k < 0.0 { 0.0 } else { samples.get(k as usize).copied().unwrap_or(0.0) };
                gain * ((1.0 - share) * at(whole) + share * at(whole + 1.0)) + 0.0005 * hiss[n]
            })
            .collect()
    };
    let channels = [play(&left, 0.0, 0.9, 11), play(&right, 3.0, 0.8, 12)];
    InMemory { rate_hz: f64::from(RATE_HZ), channels }
});

pub fn recipe() -> Recipe {
    Recipe::parse(RECIPE, "short.toml").unwrap()
}

pub fn options() -> ReadOptions {
    ReadOptions {
        recipe: Some(recipe()),
        reference_dbfs: -12.0,
        channels: None,
        circumstances: Circumstances {
            recorded_on: Some(RecordedOn::ThisDeck),
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

pub fn read(samples: &InMemory) -> Reading {
    read_samples(samples, "short.wav", &options()).unwrap()
}

/// If a section were missing, all the comparisons of it would pass for nothing.
#[test]
fn the_short_return_fills_every_section() {
    let reading = read(&RETURN);
    assert_eq!(reading.level.len(), 1);
    let response = reading.response.as_ref().unwrap();
    assert_eq!((response.steps.len(), response.sweep.len()), (4, 17));
    assert!(response.steps.iter().chain(&response.sweep).all(|point| point.db.iter().all(Option::is_some)));
    let azimuth = reading.azimuth.as_ref().unwrap();
    assert!(azimuth.delay_us.is_some() && azimuth.wander_us_rms.is_some());
    assert!(reading.speed.is_some() && reading.noise.is_some());
    assert!(reading.flutter.as_ref().unwrap().unweighted_rms_percent.unwrap() > 0.1);
    assert_eq!(reading.capture.slates_found, 2);
    assert!(!reading.findings.is_empty());
    let ids: Vec<&str> = reading.warnings.iter().map(|warning| warning.id.as_str()).collect();
    assert_eq!(ids, [""; 0], "{reading:?}");
}
