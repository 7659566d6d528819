//! The virtual deck whose azimuth screw, motor and playback trimmers are turned while it plays: its sound against formulas and
//! against what the truth says of the moment.

use crate::virtual_deck::{deck, sine_at, tones};
use deckproof::assert_within;
use deckproof::internals::deck::{DeckFile, EXAMPLES, VirtualDeck};
use deckproof::internals::trade::playback_losses::azimuth_loss_db;
use std::f64::consts::{PI, TAU};

const RATE_HZ: f64 = 48_000.0;

/// Amplitude and phase of `hz` in the tenth of a second about `at_s`; what changes evenly has its value there.
fn about(samples: &[f64], hz: f64, at_s: f64) -> (f64, f64) {
    let middle = (at_s * RATE_HZ) as usize;
    sine_at(&samples[..middle + 2400], hz, RATE_HZ, middle - 2400)
}

fn lag_us(returned: &[Vec<f64>; 2], hz: f64, at_s: f64) -> f64 {
    let phase = [0, 1].map(|channel| about(&returned[channel], hz, at_s).1);
    ((phase[0] - phase[1] + PI).rem_euclid(TAU) - PI) / (TAU * hz) * 1e6
}

/// Delay by hand: s tan(a) / v.
fn delay_us(arcmin: f64) -> f64 {
    0.9 * (arcmin / 60.0).to_radians().tan() / 47.625 * 1e6
}

#[test]
fn the_delay_is_that_of_the_angle_at_every_moment() {
    let text =
        "[azimuth]\nangle_arcmin = 4\n[technician]\nturns = [{ at_s = 1, over_s = 4, azimuth_arcmin = -8 }]";
    let deck = deck(text, RATE_HZ);
    let truth = deck.truth();
    let returned = deck.play_all(&tones(&[1000.0, 3150.0, 10_000.0], RATE_HZ, 6.0));
    for (at_s, arcmin) in [(0.5, 4.0), (2.0, 2.0), (3.5, -1.0), (5.7, -4.0)] {
        let at = truth.at(at_s);
        assert_within!(at.angle_arcmin, arcmin, 1e-12, "arcmin");
        assert_within!(at.delay_us, delay_us(arcmin), 1e-9, "us");
        assert_within!(truth.delay_at_us(at_s), at.delay_us, 1e-9, "us");
        for hz in [1000.0, 3150.0, 10_000.0] {
            // Half a sample of a head that turns by 2 arc minutes a second moves the delay by 1e-4 us.
            assert_within!(lag_us(&returned, hz, at_s), at.delay_us, 0.01, "us", "{hz} Hz at {at_s} s");
        }
    }
}

#[test]
fn the_frequency_is_that_of_the_speed_at_every_moment() {
    let text = "[speed]\nerror_percent = 1.2\n[capture]\nclock_ppm = 100\n[technician]\nturns = [
        { at_s = 1, over_s = 4, speed_percent = -1.6 }, { at_s = 6, over_s = 1, speed_percent = -1.2 }]";
    let deck = deck(text, RATE_HZ);
    let truth = deck.truth();
    let returned = deck.play_all(&tones(&[3150.0], RATE_HZ, 9.0));
    for (at_s, percent) in [(0.5, 1.2), (2.0, 0.8), (4.0, 0.0), (5.5, -0.4), (6.5, -0.2), (8.0, 0.0)] {
        let want = ((1.0 + percent / 100.0) / 1.0001 - 1.0) * 100.0;
        let at = truth.at(at_s);
        assert_within!(at.speed_error_percent, want, 1e-9, "%");
        assert_within!(truth.speed_deviation(at_s) * 100.0, want, 1e-9, "%");
        // Phase against the tone as it is there, 50 ms before and behind.
        let hz = 3150.0 * (1.0 + want / 100.0);
        let [before, behind] = [at_s - 0.05, at_s + 0.05].map(|at_s| about(&returned[0], hz, at_s).1);
        let gained = (behind - before + PI).rem_euclid(TAU) - PI;
        assert_within!(gained / TAU / 0.1 / hz * 100.0, 0.0, 1e-4, "%", "at {at_s} s");
    }
}

#[test]
fn the_treble_peaks_where_the_head_is_upright() {
    // Upright at 3 s; the loss of the fixed angle would be 1.8 dB all the time.
    let text =
        "[azimuth]\nangle_arcmin = 8\n[technician]\nturns = [{ at_s = 1, over_s = 4, azimuth_arcmin = -16 }]";
    let deck = deck(text, RATE_HZ);
    let truth = deck.truth();
    let returned = deck.play_all(&tones(&[10_000.0], RATE_HZ, 6.0));
    let level_db =
        |channel: usize, at_s: f64| 20.0 * (about(&returned[channel], 10_000.0, at_s).0 / 0.1).log10();
    for channel in 0..2 {
        let moments = || (2..58).map(|k| f64::from(k) / 10.0);
        for at_s in moments() {
            let arcmin = (8.0 - 4.0 * (at_s - 1.0)).clamp(-8.0, 8.0);
            let got = level_db(channel, at_s);
            // A parabola over a tenth of a second, and the corners of the turn.
            assert_within!(got, azimuth_loss_db(arcmin, 0.6, 10_000.0, 47.625), 0.02, "dB", "at {at_s} s");
            assert_within!(got, truth.tone_gain_at_db(channel, 10_000.0, -23.0, at_s), 0.02, "dB");
        }
        let loudest = moments().max_by(|a, b| level_db(channel, *a).total_cmp(&level_db(channel, *b)));
        assert_within!(loudest.unwrap(), 3.0, 1e-9, "s");
    }
}

#[test]
fn playback_trimmers_turn_level_and_treble() {
    let text = "[technician]\nturns = [{ at_s = 1, over_s = 2, playback_db = [-2, 1], treble_db = [3, -3] }]";
    let deck = deck(text, RATE_HZ);
    let truth = deck.truth();
    let returned = deck.play_all(&tones(&[315.0, 10_000.0], RATE_HZ, 4.0));
    for (at_s, share) in [(0.5, 0.0), (2.0, 0.5), (3.6, 1.0)] {
        let at = truth.at(at_s);
        assert_eq!((at.playback_db, at.treble_db), ([-2.0 * share, share], [3.0 * share, -3.0 * share]));
        for (channel, returned) in returned.iter().enumerate() {
            for hz in [315.0, 10_000.0] {
                let got = 20.0 * (about(returned, hz, at_s).0 / 0.1).log10();
                let want = truth.tone_gain_at_db(channel, hz, -23.0, at_s);
                assert_within!(got, want, 0.01, "dB", "{hz} Hz at {at_s} s");
            }
            // By hand: the shelf is 0 dB in the bass, and most of its 3 dB at 10 kHz.
            let bass = truth.tone_gain_at_db(channel, 20.0, -23.0, at_s);
            assert_within!(bass, at.playback_db[channel], 0.01, "dB");
            let treble = truth.tone_gain_at_db(channel, 10_000.0, -23.0, at_s) - bass;
            assert!((0.75..0.95).contains(&(treble / at.treble_db[channel])) || share == 0.0, "{treble}");
        }
    }
}

#[test]
fn a_turn_to_where_everything_stands_changes_no_bit() {
    let built = EXAMPLES.iter().find(|(name, _)| *name == "tilted-head").unwrap().1;
    let play = |text: &str| {
        let file = DeckFile::from_toml(text, "deck").unwrap();
        let deck = VirtualDeck::new(&file, 5, RATE_HZ).unwrap();
        deck.play_all(&tones(&[400.0, 9000.0], RATE_HZ, 1.0))
    };
    let still =
        "[technician]\nturns = [{ at_s = 1, azimuth_arcmin = 0, speed_percent = 0, playback_db = 0 }]";
    assert!(play(built) == play(&format!("{built}\n{still}")));
    // Something is compared: an angle that is turned does change them.
    assert!(play(built) != play(&format!("{built}\n{}", still.replacen("arcmin = 0", "arcmin = 1", 1))));
}

#[test]
fn nothing_that_moves_a_tape_is_turned_where_there_is_none() {
    let text = |key: &str| {
        format!("[injection]\ninto = 'amplifier'\n[technician]\nturns = [{{ at_s = 1, {key} = 1 }}]")
    };
    for key in ["azimuth_arcmin", "speed_percent"] {
        let message = DeckFile::from_toml(&text(key), "a.toml").unwrap_err().to_string();
        assert!(message.contains("stands beside a turn of screw or motor"), "{message}");
    }
    DeckFile::from_toml(&text("playback_db"), "a.toml").unwrap();
}

#[test]
fn the_examples_end_upright_at_speed_and_at_nominal_bias() {
    let truth = |name: &str| {
        let text = EXAMPLES.iter().find(|(deck, _)| *deck == name).unwrap().1;
        VirtualDeck::new(&DeckFile::from_toml(text, name).unwrap(), 1, RATE_HZ).unwrap().truth()
    };
    let azimuth = truth("turned-azimuth");
    let (found, left) = (azimuth.at(5.0), azimuth.at(55.0));
    assert_eq!((found.angle_arcmin, left.angle_arcmin), (9.0, 0.0));
    // The card's clock is 12 millionths fast.
    assert_within!(found.speed_error_percent, 1.2, 0.002, "%");
    assert_within!(left.speed_error_percent, 0.0, 0.002, "%");
    let bias = truth("turned-bias");
    let (found, left) = (bias.at(5.0), bias.at(57.0));
    assert_eq!((found.record_db, found.bias_db), ([-1.5, 0.6], [-3.0, -2.0]));
    assert_eq!((left.record_db, left.bias_db), ([0.0; 2], [0.0; 2]));
}
