//! A house tape is followed as it is read: what its card says of the recording is subtracted.

use super::{followed, mean, near};
use crate::truth::house_truth::{played_on_a_third_deck, recipe};
use deckproof::assert_within;
use deckproof::internals::follow::FollowOptions;
use deckproof::internals::measure::card_used;
use deckproof::reading::{Circumstances, Picture, RecordedOn, Shown, View};

#[test]
fn delay_speed_and_response_are_the_decks_own() {
    let seed = 60_310;
    let (card, source, reading) = played_on_a_third_deck(seed);
    let pictures = |view: View| -> Vec<Picture> {
        let circumstances = Circumstances {
            recorded_on: Some(RecordedOn::House),
            card: Some(card_used(&card, "card.json")),
            ..Circumstances::default()
        };
        let options = FollowOptions {
            view: Some(view),
            circumstances,
            card: Some(card.clone()),
            recipe: Some(recipe()),
            ..FollowOptions::default()
        };
        followed(&source, options)
    };
    let told = pictures(View::Azimuth).into_iter().filter_map(|picture| match picture.shown {
        Shown::Azimuth(now) if now.hz.is_some_and(|hz| hz > 7000.0) => now.at_10k_deg.and(now.delay_us),
        _ => None,
    });
    let azimuth = reading.azimuth.as_ref().unwrap();
    assert_within!(mean(told).unwrap(), azimuth.delay_us.unwrap(), 2.0, "us");
    assert!(card.azimuth.as_ref().unwrap().delay_us.abs() > 10.0, "the tape itself is tilted");

    let told = pictures(View::Speed).into_iter().filter_map(|picture| match picture.shown {
        Shown::Speed(now) if now.nominal_is_known && near(now.hz_1s, 315.0) => now.error_1s_percent,
        _ => None,
    });
    let speed = reading.speed.as_ref().unwrap();
    assert_within!(mean(told).unwrap(), speed.error_percent, speed.uncertainty_percent.max(0.1), "%");

    let pictures = pictures(View::Response);
    let mut compared = 0;
    for want in &reading.response.as_ref().unwrap().steps {
        let newest = pictures.iter().rev().find_map(|picture| match &picture.shown {
            Shown::Response(now) if now.over_s == 0.0 => {
                now.points.iter().find(|point| (point.hz / want.hz - 1.0).abs() < 1e-3).copied()
            }
            _ => None,
        });
        for side in 0..2 {
            let (Some(point), Some(want_db)) = (newest, want.db[side]) else { continue };
            let within = want.uncertainty_db[side].unwrap().hypot(point.uncertainty_db[side].unwrap());
            assert_within!(point.db[side].unwrap(), want_db, within, "dB", "{} Hz {side}", want.hz);
            // What is not known of the tape is in it.
            assert!(point.uncertainty_db[side].unwrap() > 0.2, "{point:?}");
            compared += 1;
        }
    }
    assert!(compared > 15, "{compared}");
    let verdicts = pictures.iter().filter_map(|picture| picture.figure.as_ref()?.verdict);
    assert!(verdicts.count() > 10, "a house tape with its card is judged");
}
