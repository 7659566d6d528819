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
    // Looped ones are followed, and not read.
    let read = built_in().into_iter().filter(|recipe| !recipe.looped).collect::<Vec<_>>();
    for recipe in effort::some(read, 5) {
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

#[test]
fn a_looped_programme_is_refused_in_plain_words_however_much_there_is_of_it() {
    let looped: Vec<_> = built_in().into_iter().filter(|recipe| recipe.looped).collect();
    assert_eq!(looped.len(), 4);
    for recipe in effort::some(looped, 2) {
        let timeline = Timeline::from(&recipe);
        for playings in [1, 2] {
            // From the middle of one playing to the middle of another: as a capture of a player that repeats.
            let channels = Renderer::new(&timeline, 48_000, -12.0).unwrap().collect().map(|channel| {
                let half = channel.len() / 2;
                [&channel[half..], &channel.repeat(playings - 1), &channel[..half]].concat()
            });
            let samples = InMemory { rate_hz: 48_000.0, channels };
            let error = read_samples(&samples, "looped.wav", &options()).unwrap_err();
            let message = error.to_string();
            let want = format!("looped.wav: made-to-be-followed: it carries {}, during which", timeline.name);
            assert!(message.starts_with(&want) && message.contains("before and after the work"), "{message}");
            let reading = error.reading().unwrap();
            assert_eq!(reading.recipe.as_ref().unwrap().name, timeline.name);
            assert_eq!(reading.capture.slates_found as usize, playings);
            assert!(reading.findings.is_empty() && reading.level.is_empty() && reading.speed.is_none());
        }
    }
}
