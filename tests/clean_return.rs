//! A programme that comes back as it was written must read as such: the reader's own floor.

use crate::effort;
use deckproof::assert_within;
use deckproof::internals::capture::InMemory;
use deckproof::internals::job::{ReadOptions, read_samples};
use deckproof::internals::judge::Limits;
use deckproof::internals::programme::{Renderer, Timeline, built_in};
use deckproof::internals::trade::Medium;
use deckproof::reading::{Circumstances, NoiseReduction, RecordedOn};

fn options() -> ReadOptions {
    ReadOptions {
        recipe: None,
        reference_dbfs: -12.0,
        channels: None,
        circumstances: Circumstances {
            recorded_on: Some(RecordedOn::Loopback),
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

#[test]
fn every_built_in_recipe_reads_itself() {
    for recipe in effort::some(built_in(), 5) {
        let timeline = Timeline::from(&recipe);
        let samples = Renderer::new(&timeline, 48_000, -12.0).unwrap().collect();
        let reading =
            read_samples(&InMemory { rate_hz: 48_000.0, channels: samples }, "clean", &options()).unwrap();
        println!("{}", serde_json::to_string(&reading).unwrap());
        assert_eq!(reading.recipe.as_ref().unwrap().name, timeline.name);
        assert!(reading.warnings.is_empty(), "{}: {:?}", timeline.name, reading.warnings);
        for row in &reading.level {
            for gain in row.gain_db {
                assert_within!(gain.unwrap(), 0.0, 0.01, "dB", "{} {}", timeline.name, row.part);
            }
        }
        if let Some(response) = &reading.response {
            for step in &response.steps {
                for db in step.db {
                    assert_within!(db.unwrap(), 0.0, 0.02, "dB", "{} {} Hz", timeline.name, step.hz);
                }
            }
            for band in &response.sweep {
                for db in band.db {
                    assert_within!(db.unwrap(), 0.0, 0.1, "dB", "{} sweep {} Hz", timeline.name, band.hz);
                }
            }
        }
        let bands = reading.response.iter().flat_map(|response| &response.noise);
        for band in bands.filter(|band| band.hz > 39.0) {
            for db in band.db {
                assert_within!(db.unwrap(), 0.0, 0.1, "dB", "{} noise {} Hz", timeline.name, band.hz);
            }
        }
        for row in reading.saturation.iter().flat_map(|saturation| &saturation.noise) {
            for band in row.bands.iter().filter(|band| band.hz > 39.0) {
                for db in band.db {
                    assert_within!(db.unwrap(), 0.0, 0.1, "dB", "{} {} Hz", row.part, band.hz);
                }
            }
        }
        for round in &reading.rounds {
            assert_eq!(round.moved, None, "{} round {}", timeline.name, round.round);
            for db in round.level_db {
                assert_within!(db.unwrap(), 0.0, 0.01, "dB", "{} round {}", timeline.name, round.round);
            }
        }
        for pair in &reading.bias {
            for db in pair.difference_db {
                assert_within!(db.unwrap(), 0.0, 0.02, "dB", "{} round {}", timeline.name, pair.round);
            }
        }
        for row in reading.noise_reduction.iter().flat_map(|found| &found.rows) {
            for db in row.out_db.into_iter().chain(row.in_db) {
                assert_within!(db.unwrap(), 0.0, 0.02, "dB", "{} {} Hz", timeline.name, row.hz);
            }
        }
        if let Some(azimuth) = &reading.azimuth {
            assert_within!(azimuth.delay_us.unwrap(), 0.0, 0.02, "us", "{}", timeline.name);
        }
        assert_within!(reading.speed.as_ref().unwrap().error_percent, 0.0, 0.0005, "%", "{}", timeline.name);
        if let Some(flutter) = &reading.flutter {
            assert_within!(flutter.unweighted_rms_percent.unwrap(), 0.0, 0.0005, "%", "{}", timeline.name);
        }
    }
}
