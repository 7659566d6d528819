//! What is drawn of a deck that is followed live, from invented pictures: every view at three sizes, and at any size.

use crate::live_pictures::{self, all};
use deckproof::internals::show::live::{json_line, plain_line, screen_text};
use deckproof::reading::{Picture, Shown, Verdict};
use insta::assert_snapshot;

#[test]
fn every_view_on_a_screen_of_each_size() {
    for (name, picture) in all() {
        for (width, height) in [(80, 24), (100, 30), (132, 43)] {
            let text = screen_text(&picture, width, height);
            assert!(text.lines().all(|line| line.chars().count() <= width.into()), "{name}\n{text}");
            assert_eq!(text.lines().count(), usize::from(height), "{name}");
            assert_snapshot!(format!("live-{name}-{width}x{height}"), text);
        }
    }
}

#[test]
fn a_screen_that_is_too_small_says_the_figure_and_what_size_shows_all() {
    let text = screen_text(&live_pictures::azimuth(), 60, 10);
    assert_snapshot!("live-small-60x10", text);
}

#[test]
fn a_line_a_second_stands_for_itself() {
    let lines: Vec<String> = all().iter().map(|(_, picture)| plain_line(picture)).collect();
    for line in &lines {
        assert!(line.chars().count() <= 120 && !line.contains('\n'), "{line}");
        assert!(line.starts_with("12:34: "), "{line}");
    }
    assert_snapshot!("live-plain-lines", lines.join("\n"));
}

#[test]
fn data_read_back_as_they_were() {
    for (name, picture) in all() {
        let line = json_line(&picture);
        assert_eq!(line.matches('\n').count(), 1, "{name}");
        assert_eq!(serde_json::from_str::<Picture>(&line).unwrap(), picture, "{name}");
    }
}

/// All numbers of a picture replaced by others, in turn.
fn with_numbers(picture: &Picture, numbers: &[f64]) -> Vec<Picture> {
    // By way of JSON: every number of every view, without naming them.
    let value = serde_json::to_value(picture).unwrap();
    let replaced = numbers.iter().map(|number| {
        let mut value = value.clone();
        replace(&mut value, *number);
        serde_json::from_value(value).unwrap()
    });
    replaced.collect()
}

fn replace(value: &mut serde_json::Value, number: f64) {
    match value {
        // `worst` counts channels.
        serde_json::Value::Number(now) if !now.is_u64() => *value = number.into(),
        serde_json::Value::Array(values) => values.iter_mut().for_each(|value| replace(value, number)),
        serde_json::Value::Object(values) => values.values_mut().for_each(|value| replace(value, number)),
        _ => {}
    }
}

/// Pictures with numbers that no deck gives; NaN and infinity do not go through JSON and are put in by hand.
fn extremes() -> Vec<Picture> {
    let numbers = [0.0, -0.0, 1e-300, -1e-300, 1e6, -1e6, 9.99999e6, 1e300, -1e300, 180.0, f64::MAX];
    let mut pictures: Vec<Picture> =
        all().iter().flat_map(|(_, picture)| with_numbers(picture, &numbers)).collect();
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        for (_, mut picture) in all() {
            picture.at_s = bad;
            picture.meters.dbfs = [Some(bad); 2];
            picture.meters.peak_dbfs = [Some(bad), None];
            if let Some(figure) = &mut picture.figure {
                (figure.value, figure.limit, figure.uncertainty) = (bad, Some(bad), Some(bad));
            }
            picture.playing.hz = vec![bad; 7];
            if let Some(place) = &mut picture.playing.programme {
                place.left_s = bad;
            }
            spoil(&mut picture.shown, bad);
            pictures.push(picture);
        }
    }
    pictures
}

fn spoil(shown: &mut Shown, bad: f64) {
    let pair = [Some(bad), None];
    match shown {
        Shown::Nothing { .. } => {}
        Shown::Azimuth(now) => {
            (now.hz, now.phase_deg, now.delay_us, now.limit_deg) =
                (Some(bad), Some(bad), Some(bad), Some(bad));
            now.level_dbfs = pair;
            now.below_highest_db = pair;
            now.best
                .as_mut()
                .unwrap_or(&mut deckproof::reading::BestPassed { value: 0.0, ago_s: 0.0 })
                .value = bad;
            now.xy = vec![[bad as f32, 0.0], [f32::MAX, f32::MIN]];
        }
        Shown::Level(now) => {
            (now.dbfs, now.deck_db, now.mv, now.target_dbfs) = (pair, pair, pair, pair);
            (now.limit_db, now.difference_db) = (Some(bad), Some(bad));
        }
        Shown::Bias(now) => {
            now.low_hz = bad;
            for high in &mut now.high {
                (high.hz, high.ago_s) = (bad, bad);
                (high.difference_db, high.past_peak_db, high.change_db) = (pair, pair, pair);
            }
        }
        Shown::Speed(now) => {
            (now.hz_1s, now.hz_10s, now.error_1s_percent, now.limit_percent) =
                (bad, Some(bad), Some(bad), Some(bad));
            if let Some(flutter) = &mut now.flutter {
                (flutter.needle_percent, flutter.limit_percent, flutter.over_s) = (Some(bad), Some(bad), bad);
                flutter.spectrum = vec![[bad, 1.0], [1.0, bad], [bad, bad]];
                flutter.lines.iter_mut().for_each(|line| line.hz = bad);
            }
        }
        Shown::Response(now) => {
            now.points.iter_mut().for_each(|point| point.db = pair);
            now.points[0].hz = bad;
            now.worst = Some((bad, bad, 7));
            (now.limit_db, now.limit_from_hz, now.limit_to_hz) = (Some(bad), Some(bad), Some(bad));
        }
        Shown::Noise(now) => {
            (now.a_weighted_db, now.hum_db, now.mains_hz) = (pair, pair, Some(bad));
            now.lines.iter_mut().for_each(|line| line.hz = bad);
        }
    }
}

#[test]
fn no_size_and_no_number_makes_it_stumble() {
    let sizes = [0, 1, 2, 3, 9, 33, 79, 80, 81, 132, 240];
    let heights = [0, 1, 2, 5, 11, 23, 24, 25, 43, 90];
    let check = |picture: &Picture, width: u16, height: u16| {
        let text = screen_text(picture, width, height);
        assert_eq!(text.lines().count(), usize::from(height));
        assert!(text.lines().all(|line| line.chars().count() <= width.into()), "{width}x{height}\n{text}");
    };
    for (_, picture) in all() {
        for width in sizes {
            heights.iter().for_each(|height| check(&picture, width, *height));
        }
    }
    for picture in extremes() {
        for (width, height) in [(1, 1), (40, 12), (80, 24), (100, 30), (132, 43)] {
            check(&picture, width, height);
            let text = screen_text(&picture, width, height);
            assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
        }
        let line = plain_line(&picture);
        assert!(line.chars().count() <= 120 && !line.contains("NaN") && !line.contains("inf"), "{line}");
        let json = json_line(&picture);
        assert!(serde_json::from_str::<serde_json::Value>(&json).is_ok(), "{json}");
    }
}

#[test]
fn a_number_that_is_none_is_null_and_text_is_harmless() {
    let mut picture = live_pictures::azimuth_far();
    picture.figure.as_mut().unwrap().value = f64::NAN;
    picture.meters.dbfs[0] = Some(f64::NEG_INFINITY);
    picture.troubles[0] = "a\u{1b}[2J\u{202e}\nb".to_owned();
    let json = json_line(&picture);
    let data: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert!(data["figure"]["value"].is_null() && data["meters"]["dbfs"][0].is_null());
    assert_eq!(data["troubles"][0], "a\u{1b}[2J\u{202e}\nb");
    assert_eq!(json.matches(|c: char| c.is_control() || c == '\u{202e}').count(), 1, "{json}");
    for text in [screen_text(&picture, 80, 24), screen_text(&picture, 30, 9), plain_line(&picture)] {
        assert!(!text.contains(['\u{1b}', '\u{202e}']), "{text}");
    }
}

#[test]
fn the_verdict_stands_in_words() {
    let words = [
        (Verdict::Within, "within"),
        (Verdict::Marginal, "marginal"),
        (Verdict::Outside, "outside"),
        (Verdict::CannotTell, "cannot tell"),
    ];
    for (name, mut picture) in all() {
        for (verdict, word) in words {
            let Some(figure) = &mut picture.figure else { continue };
            figure.verdict = Some(verdict);
            for text in [screen_text(&picture, 80, 24), screen_text(&picture, 50, 12), plain_line(&picture)] {
                // On a narrow screen a verdict of two words may go on in the next row.
                let flowing = text.split_whitespace().collect::<Vec<_>>().join(" ");
                assert!(flowing.contains(word), "{name}: {word}\n{text}");
            }
        }
    }
}
