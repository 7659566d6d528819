//! A virtual deck plays while somebody turns a screw: the followed figures against the truth at that moment.

use super::pictures;
use crate::effort;
use crate::returns::{Store, of};
use deckproof::internals::capture::InMemory;
use deckproof::internals::deck::{DeckFile, EXAMPLES, Truth, VirtualDeck};
use deckproof::internals::programme::find;
use deckproof::reading::{Shown, View};
use std::sync::Arc;

const SEED: u64 = 7;

fn turned(recipe: &str, deck: &str) -> (Arc<InMemory>, Truth) {
    let text = EXAMPLES.iter().find(|(name, _)| *name == deck).unwrap().1;
    let deck = DeckFile::from_toml(text, deck).unwrap();
    let truth = VirtualDeck::new(&deck, SEED, 48_000.0).unwrap().truth();
    (of(&find(recipe).unwrap(), &deck, SEED, 48_000, Store::TwentyFour), truth)
}

/// Rms and largest of what followed figures are off by, and how many there are.
struct Off {
    rms: f64,
    most: f64,
    count: usize,
}

fn off(pairs: impl IntoIterator<Item = (f64, f64)>) -> Off {
    let off: Vec<f64> = pairs.into_iter().map(|(got, want)| (got - want).abs()).collect();
    let rms = (off.iter().map(|x| x * x).sum::<f64>() / off.len().max(1) as f64).sqrt();
    let most = off.iter().copied().fold(0.0, f64::max);
    println!("{} figures, off by {rms:.3} rms, {most:.3} at most", off.len());
    Off { rms, most, count: off.len() }
}

#[test]
fn delay_is_followed_while_the_screw_goes_to_and_fro() {
    let (source, truth) = turned("turn-azimuth", "turned-azimuth");
    let pictures = pictures(&source, Some(View::Azimuth));
    let told: Vec<(f64, f64)> = pictures
        .iter()
        .filter_map(|picture| match &picture.shown {
            // In the middle of what the figure averages.
            Shown::Azimuth(now) if now.at_10k_deg.is_some() => {
                Some((now.delay_us?, truth.delay_at_us(picture.at_s - 0.2)))
            }
            _ => None,
        })
        .collect();
    // 2 us a second are turned, through zero and more than half a turn of phase to either side.
    let off = off(told.iter().copied());
    assert!(off.count > 700, "{}", off.count);
    assert!(off.rms < 0.7 && off.most < 3.0, "{} us rms, {} us at most", off.rms, off.most);
    // The best place passed is the upright head.
    let best = pictures.iter().rev().find_map(|picture| match &picture.shown {
        Shown::Azimuth(now) => now.best,
        _ => None,
    });
    assert!(best.unwrap().value.abs() < 3.0, "{best:?}");
}

#[test]
fn speed_is_followed_while_the_trimmer_goes_to_and_fro() {
    if effort::left_to_ci() {
        return;
    }
    let (source, truth) = turned("turn-speed", "turned-azimuth");
    let told = pictures(&source, Some(View::Speed)).into_iter().filter_map(|picture| match &picture.shown {
        Shown::Speed(now) if now.nominal_is_known => {
            Some((now.error_1s_percent?, truth.at(picture.at_s - 0.55).speed_error_percent))
        }
        _ => None,
    });
    let off = off(told);
    assert!(off.count > 700, "{}", off.count);
    assert!(off.rms < 0.03 && off.most < 0.15, "{} % rms, {} % at most", off.rms, off.most);
}

#[test]
fn high_against_low_is_followed_while_bias_goes_to_and_fro() {
    let (source, truth) = turned("turn-bias", "turned-bias");
    let programme_dbfs = -32.0;
    let mut told = Vec::new();
    for picture in pictures(&source, Some(View::Bias)) {
        let Shown::Bias(now) = &picture.shown else { continue };
        let Some(high) = now.high.iter().find(|high| (high.hz / 10_000.0 - 1.0).abs() < 0.03) else {
            continue;
        };
        for side in 0..2 {
            let Some(got) = high.difference_db[side] else { continue };
            // A round takes two seconds: the figure is as old as the older of its two tones.
            let at_s = picture.at_s - high.ago_s / 2.0 - 0.2;
            let gain = |hz: f64| truth.tone_gain_at_db(side, hz, programme_dbfs, at_s);
            told.push((got, gain(10_000.0) - gain(1000.0)));
        }
    }
    let off = off(told);
    assert!(off.count > 1000, "{}", off.count);
    assert!(off.rms < 0.5 && off.most < 2.5, "{} dB rms, {} dB at most", off.rms, off.most);
}
