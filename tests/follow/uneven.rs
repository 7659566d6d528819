//! Uneven decks drawn at random, at every rate and depth that sound cards give: a figure that is followed is near the truth, or it
//! is not told.

use super::{near, pictures};
use crate::effort;
use crate::returns::{Store, of};
use crate::truth::panel::uneven;
use deckproof::internals::deck::VirtualDeck;
use deckproof::internals::programme::{Channels, Signal, Timeline, find};
use deckproof::reading::{Shown, View};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Seeds that nothing was tuned on.
const FRESH: u64 = 60_200;

fn seeds() -> std::ops::Range<u64> {
    FRESH..FRESH + u64::from(effort::of([0, 6, 24]))
}

fn captured(seed: u64) -> (u32, Store) {
    [(44_100, Store::Sixteen), (96_000, Store::Float), (48_000, Store::TwentyFour)][(seed % 3) as usize]
}

#[test]
fn delay_is_near_the_truth_or_its_turn_is_not_told() {
    if effort::left_to_ci() {
        return;
    }
    let recipe = find("turn-azimuth").unwrap();
    for seed in seeds() {
        let rng = &mut ChaCha8Rng::seed_from_u64(seed);
        let mut deck = uneven(seed);
        deck.azimuth.angle_arcmin = rng.random_range(-14.0..14.0);
        deck.speed.error_percent = rng.random_range(-2.5..2.5);
        let (rate_hz, store) = captured(seed);
        let truth = VirtualDeck::new(&deck, seed, f64::from(rate_hz)).unwrap().truth();
        let source = of(&recipe, &deck, seed, rate_hz, store);
        let (mut told, mut untold, mut most_us) = (0, 0, 0.0f64);
        for picture in pictures(&source, Some(View::Azimuth)) {
            let Shown::Azimuth(now) = &picture.shown else { continue };
            match now.at_10k_deg.and(now.delay_us) {
                Some(us) => {
                    let off_us = (us - truth.mean_delay_us(picture.at_s - 0.4, picture.at_s - 0.1)).abs();
                    most_us = most_us.max(off_us);
                    told += 1;
                }
                None => untold += 1,
            }
        }
        println!("{seed} at {rate_hz}: told {told}, not told {untold}, off by {most_us:.2} us at most");
        // A turn of phase at 10 kHz is 100 us; what differs between the channels' responses is some microseconds.
        assert!(most_us < 8.0, "seed {seed}: {most_us} us");
        assert!(told > 5 * untold, "seed {seed}: told {told}, not told {untold}");
    }
}

#[test]
fn speed_is_near_the_truth() {
    if effort::left_to_ci() {
        return;
    }
    let recipe = find("turn-speed").unwrap();
    for seed in seeds() {
        let rng = &mut ChaCha8Rng::seed_from_u64(seed + 1000);
        let mut deck = uneven(seed);
        deck.speed.error_percent = rng.random_range(-3.0..3.0);
        let (rate_hz, store) = captured(seed);
        let truth = VirtualDeck::new(&deck, seed, f64::from(rate_hz)).unwrap().truth();
        let source = of(&recipe, &deck, seed, rate_hz, store);
        let (mut count, mut most) = (0, 0.0f64);
        for picture in pictures(&source, Some(View::Speed)) {
            let Shown::Speed(now) = &picture.shown else { continue };
            let Some(got) = now.error_1s_percent.filter(|_| now.nominal_is_known) else { continue };
            let want = truth.mean_speed_error_percent(picture.at_s - 1.1, picture.at_s - 0.05);
            let off = (got - want).abs();
            let within = now.uncertainty_percent.unwrap_or(0.1).max(0.05);
            assert!(
                off < 2.0 * within,
                "seed {seed} at {:.1} s: {got} for {want} +- {within} %",
                picture.at_s
            );
            (count, most) = (count + 1, most.max(off));
        }
        println!("{seed} at {rate_hz}: {count} figures, off by {most:.3} % at most");
        assert!(count > 300, "seed {seed}: {count}");
    }
}

#[test]
fn level_of_each_tone_is_near_the_truth() {
    if effort::left_to_ci() {
        return;
    }
    let recipe = find("playback").unwrap();
    let timeline = Timeline::from(&recipe);
    for seed in seeds() {
        let mut deck = uneven(seed);
        deck.speed.error_percent = ChaCha8Rng::seed_from_u64(seed + 2000).random_range(-2.0..2.0);
        let (rate_hz, store) = captured(seed);
        let truth = VirtualDeck::new(&deck, seed, f64::from(rate_hz)).unwrap().truth();
        let source = of(&recipe, &deck, seed, rate_hz, store);
        let (mut count, mut beyond, mut squares) = (0, 0, 0.0);
        for picture in pictures(&source, Some(View::Level)) {
            let Shown::Level(now) = &picture.shown else { continue };
            let Some((hz, place)) = now.hz.zip(picture.playing.programme.as_ref()) else { continue };
            let part = timeline.parts.iter().find(|part| part.id == place.part).unwrap();
            // In the gap behind a tone, and in the first moments of the next, it is still the one before.
            let Signal::Tone { hz: nominal_hz } = part.signal else { continue };
            if !near(hz, nominal_hz) || part.channels != Channels::Both {
                continue;
            }
            for side in 0..2 {
                let Some(got) = now.dbfs[side] else { continue };
                let programme_dbfs = -12.0 + part.level_db;
                let want = programme_dbfs
                    + truth.gain_db(side, nominal_hz)
                    + truth.compression_db(side, nominal_hz, programme_dbfs);
                let off = got - want;
                // Level wanders along the tape, and drops out now and then.
                beyond += usize::from(off.abs() > now.uncertainty_db[side].unwrap().max(0.6));
                squares += off * off;
                count += 1;
            }
        }
        let rms = (squares / count as f64).sqrt();
        println!("{seed} at {rate_hz}: {count} levels, off by {rms:.2} dB rms, {beyond} beyond");
        assert!(count > 300, "seed {seed}: {count}");
        assert!(rms < 0.3 && beyond * 50 < count, "seed {seed}: {rms} dB rms, {beyond} of {count} beyond");
    }
}
