//! Leaders of data cassettes: where they begin and end, what may be said of them and what not.

use super::tape::{Chance, Code, Piece, Place, Wave, play, read, tones};
use crate::effort;
use deckproof::assert_within;
use deckproof::internals::job::{KnownPitch, UnslatedOptions};
use deckproof::reading::{NominalBy, Remedy, Verdict};

/// A tape drawn at random: its pieces, the deck, and the sample rate.
fn drawn(seed: u64) -> (Vec<Piece>, String, f64) {
    let mut chance = Chance::new(seed);
    let pick = |chance: &mut Chance, count: usize| (chance.next() * count as f64) as usize;
    let (code, wave, hz) = [
        (Code::Octave, Wave::Sine, 2400.0),
        (Code::Octave, Wave::Square, 2400.0),
        (Code::Shorter, Wave::Square, 810.0),
        (Code::ThreeLengths, Wave::Square, 2840.0),
        (Code::ThreeLengths, Wave::Pulse, 2700.0),
    ][pick(&mut chance, 5)];
    let rate_hz = [44_100.0, 48_000.0][pick(&mut chance, 2)];
    let data_db = [0.0, -6.0, 3.0][pick(&mut chance, 3)];
    let mut pieces = vec![Piece::Gap(1.0)];
    for k in 0..2 + pick(&mut chance, 2) {
        if k == 1 {
            pieces.extend([Piece::Speech(chance.between(1.0, 2.5)), Piece::Gap(0.5)]);
        }
        let data_s = if chance.next() < 0.4 { chance.between(0.15, 1.3) } else { chance.between(2.0, 8.0) };
        pieces.push(Piece::Leader(wave, hz, chance.between(2.0, 8.0)));
        pieces.push(Piece::Data(code, wave, hz, data_db, data_s));
        if chance.next() < 0.5 {
            pieces.push(Piece::Gap(chance.between(0.3, 1.5)));
        }
    }
    let deck = format!(
        "[speed]\nerror_percent = {:.2}\nrandom = {{ percent_rms = {:.2} }}\n[tape]\nhiss = {{ db = {:.0} }}\n\
         random_dropouts = {{ per_min = 10, length_ms = 40, depth_db = 12 }}\n[electronics]\n\
         hum = {{ hz = 50, level_db = -40, harmonics_db = [-6, -9, -18] }}",
        chance.between(-3.0, 3.0),
        chance.between(0.1, 0.6),
        chance.between(-48.0, -36.0)
    );
    (pieces, deck, rate_hz)
}

/// The speed error that `deck` was drawn with, percent.
fn error_percent(deck: &str) -> f64 {
    deck.split("error_percent = ").nth(1).unwrap().lines().next().unwrap().parse().unwrap()
}

#[test]
fn leaders_are_found_and_end_where_data_begins_and_a_guess_says_no_speed() {
    for seed in effort::some(700..716, 4) {
        let (pieces, deck, rate_hz) = drawn(seed);
        let (samples, places) = play(&pieces, &deck, rate_hz, seed);
        let case = format!("seed {seed}");
        let reading =
            read(&samples, &UnslatedOptions::default()).unwrap_or_else(|error| panic!("{case}: {error}"));
        let found = tones(&reading);
        assert_eq!(found.len(), places.len(), "{case}: {found:?}");
        let ratio = 1.0 + error_percent(&deck) / 100.0;
        for (tone, Place { hz, from_s, to_s }) in found.iter().zip(&places) {
            // What is asked for, and what wow moves a place by in a tape of half a minute.
            let most_s = 0.03 + 0.0003 * to_s;
            assert_within!(tone.from_s.seconds(), from_s / ratio, most_s, "s", "{case}: start");
            assert_within!(tone.to_s.seconds(), to_s / ratio, most_s, "s", "{case}: end");
            assert_within!(tone.hz.unwrap() / hz, ratio, 0.004, "", "{case}");
        }
        assert_eq!(reading.speed, None, "{case}");
        let speed = reading.findings.iter().find(|finding| finding.id == "speed").unwrap();
        assert_eq!((speed.verdict, &speed.turn), (Verdict::CannotTell, &None), "{case}");
        assert!(speed.remedies.contains(&Remedy::GivePitch), "{case}: {speed:?}");
        // Data is no dropout: those that were made are 12 dB deep at most, on top of what noise does.
        let deepest = reading.dropouts.iter().map(|dropout| dropout.depth_db).fold(0.0, f64::max);
        assert!(deepest < 20.0, "{case}: {:?}", reading.dropouts);
    }
}

#[test]
fn who_knows_the_frequency_of_the_leaders_knows_the_speed() {
    for seed in effort::some(740..744, 2) {
        let (pieces, deck, rate_hz) = drawn(seed);
        let (samples, places) = play(&pieces, &deck, rate_hz, seed);
        let known = Some(KnownPitch { hz: places[0].hz, within_percent: 0.01 });
        let reading = read(&samples, &UnslatedOptions { known, ..UnslatedOptions::default() }).unwrap();
        let named = tones(&reading).iter().filter(|tone| tone.nominal_by == Some(NominalBy::Known)).count();
        assert_eq!(named, places.len(), "seed {seed}");
        let speed = reading.speed.as_ref().unwrap();
        assert_within!(
            speed.error_percent,
            error_percent(&deck),
            speed.uncertainty_percent,
            "%",
            "seed {seed}, as stated"
        );
        assert!(speed.uncertainty_percent < 0.5, "seed {seed}: {speed:?}");
    }
}

#[test]
fn a_leader_without_flutter_reads_none_though_data_follows() {
    use Piece::{Data, Gap, Leader};
    let data = |s: f64| Data(Code::Octave, Wave::Sine, 2400.0, 0.0, s);
    let leader = |s: f64| Leader(Wave::Sine, 2400.0, s);
    let pieces = [Gap(0.3), leader(6.0), data(2.4), leader(0.9), data(0.3), leader(5.3), Gap(0.5)];
    let (samples, _) = play(&pieces, "[tape]\nhiss = { db = -60 }", 44_100.0, 3);
    let reading = read(&samples, &UnslatedOptions::default()).unwrap();
    let flutter = reading.flutter.as_ref().unwrap();
    assert_eq!(flutter.stretches.len(), 2, "{:?}", flutter.stretches);
    assert!(flutter.unweighted_rms_percent.unwrap() < 0.005, "{:?}", flutter.unweighted_rms_percent);
    assert_eq!(reading.dropouts, []);
    assert!(!reading.warnings.iter().any(|warning| warning.id == "time-jump"), "{:?}", reading.warnings);
}

#[test]
fn flutter_of_a_low_tone_says_how_far_it_goes() {
    // 1 kHz shows all of 200 Hz, 400 Hz a half of it.
    for (hz, highest_hz) in [(1000.0, 200.0), (400.0, 100.0)] {
        let pieces = [Piece::Gap(1.0), Piece::Tone(hz, 0.0, 20.0), Piece::Gap(1.0)];
        let deck = "[speed]\nflutter = [{ hz = 8, percent_peak = 0.2 }, { hz = 60, percent_peak = 0.1 }]\n[tape]\n\
                    hiss = { db = -50 }";
        let (samples, _) = play(&pieces, deck, 48_000.0, 5);
        let flutter = read(&samples, &UnslatedOptions::default()).unwrap().flutter.clone().unwrap();
        assert_eq!(flutter.band_hz, [0.1, 6.0, highest_hz], "{hz} Hz");
        let want = f64::hypot(0.2, 0.1) / f64::sqrt(2.0);
        assert_within!(flutter.unweighted_rms_percent.unwrap(), want, 0.03 * want, "%", "{hz} Hz");
        for (line_hz, peak) in [(8.0, 0.2), (60.0, 0.1)] {
            let line = flutter.lines.iter().find(|line| (line.hz - line_hz).abs() < 0.1);
            let line = line.unwrap_or_else(|| panic!("{hz} Hz: {:?}", flutter.lines));
            assert_within!(line.percent_peak, peak, 0.03 * peak, "%", "{hz} Hz: {line_hz} Hz");
        }
    }
}
