//! Several playings of one recording, against the flutter that recorder and playings really have.

use super::bench::{assert_work_follows_from_findings, options};
use crate::effort;
use crate::returns;
use deckproof::internals::capture::InMemory;
use deckproof::internals::deck::{DeckFile, VirtualDeck};
use deckproof::internals::job::{ReadError, Recording, measure_same_tape};
use deckproof::internals::judge::Reading;
use deckproof::internals::programme::{Recipe, built_in_by_name};
use deckproof::reading::{RecordedOn, SharedFigure, Whose};
use rayon::prelude::*;

/// A transport with these lines (Hz, percent peak, degrees) and random flutter.
fn transport(lines: &[(f64, f64, f64)], random: f64, speed: f64, more: &str) -> DeckFile {
    let lines: Vec<String> = lines
        .iter()
        .map(|(hz, peak, deg)| format!("{{ hz = {hz}, percent_peak = {peak}, phase_deg = {deg} }}"))
        .collect();
    let text = format!(
        "[speed]\nerror_percent = {speed}\nflutter = [{}]\nrandom = {{ percent_rms = {random}, low_hz = 0.3, high_hz = 150 }}\n{more}",
        lines.join(", ")
    );
    DeckFile::from_toml(&text, "transport").unwrap()
}

/// A playback: hiss, a start of its own, a clock of its own.
fn playback(lines: &[(f64, f64, f64)], random: f64, k: usize) -> DeckFile {
    let speed = [0.4, -0.3, 0.9, 0.1, -0.7][k % 5];
    let lead = [2.0, 3.3, 1.2, 5.0, 2.6][k % 5];
    let more = format!(
        "drift_percent_per_min = {}\n[tape]\nhiss = {{ db = -52 }}\n[capture]\nclock_ppm = {}\nlead_in = {{ kind = \"silence\", seconds = {lead} }}\n",
        [0.05, -0.08, 0.0, 0.1, 0.02][k % 5],
        [30, -60, 10, 80, -20][k % 5]
    );
    transport(lines, random, speed, &more)
}

fn recipe() -> Recipe {
    built_in_by_name("flutter").unwrap()
}

/// The recording plays into a WAV that is the tape of every playback.
fn record(deck: &DeckFile, seed: u64) -> [Vec<f64>; 2] {
    VirtualDeck::new(deck, seed, 44_100.0).unwrap().play_all(&returns::programme(&recipe(), 44_100))
}

fn read(tape: &[Vec<f64>; 2], playings: &[(DeckFile, u64)]) -> Result<Reading, ReadError> {
    let returns: Vec<InMemory> = playings
        .par_iter()
        .map(|(deck, seed)| InMemory {
            rate_hz: 44_100.0,
            channels: VirtualDeck::new(deck, *seed, 44_100.0).unwrap().play_all(tape),
        })
        .collect();
    let names: Vec<String> = (0..playings.len()).map(|k| format!("playback-{k}.wav")).collect();
    let recordings: Vec<Recording> =
        returns.iter().zip(&names).map(|(samples, name)| Recording::Samples(samples, name)).collect();
    let told = options(RecordedOn::OtherDeck);
    let reading = measure_same_tape(&recordings, &told)?.conclude(&told);
    assert_work_follows_from_findings(&reading);
    Ok(reading)
}

/// Rms of a transport's speed about its best parabola over a stretch of its own time, percent.
fn true_rms(deck: &DeckFile, seed: u64, from_s: f64, to_s: f64) -> f64 {
    let truth = VirtualDeck::new(deck, seed, 44_100.0).unwrap().truth();
    let count = 60_000;
    let at = |k: usize| from_s + (to_s - from_s) * (k as f64 + 0.5) / count as f64;
    let y: Vec<f64> = (0..count).map(|k| 100.0 * truth.speed_deviation(at(k))).collect();
    // Legendre polynomials up to the second: orthogonal on an even grid.
    let x = |k: usize| 2.0 * (k as f64 + 0.5) / count as f64 - 1.0;
    let basis: [fn(f64) -> f64; 3] = [|_| 1.0, |x| x, |x| 1.5 * x * x - 0.5];
    let mean = |f: &dyn Fn(usize) -> f64| (0..count).map(f).sum::<f64>() / count as f64;
    let off: Vec<f64> =
        basis.iter().enumerate().map(|(n, p)| (2 * n + 1) as f64 * mean(&|k| p(x(k)) * y[k])).collect();
    mean(&|k| (y[k] - basis.iter().zip(&off).map(|(p, c)| c * p(x(k))).sum::<f64>()).powi(2)).sqrt()
}

/// Whether the stated figure (or limit) holds `want`.
fn holds(figure: &SharedFigure, want: f64) -> bool {
    match (figure.percent, figure.uncertainty_percent) {
        (Some(percent), Some(uncertainty)) => (percent - want).abs() <= uncertainty,
        _ => want <= figure.below_percent,
    }
}

type Lines = Vec<(f64, f64, f64)>;

/// Recording's lines and random flutter, playings' lines and random flutter, how many playings.
fn cases() -> Vec<(&'static str, Lines, f64, Lines, f64, usize)> {
    vec![
        ("noise against noise", vec![], 0.06, vec![], 0.04, 3),
        ("recording flutters", vec![(4.1, 0.12, 0.0), (0.8, 0.1, 30.0)], 0.03, vec![], 0.02, 3),
        ("playback flutters", vec![], 0.02, vec![(4.1, 0.12, 0.0), (23.0, 0.05, 0.0)], 0.03, 4),
        ("both at one rate", vec![(4.1, 0.1, 0.0)], 0.03, vec![(4.1, 0.07, 0.0)], 0.03, 5),
        ("two playings", vec![(9.3, 0.08, 0.0)], 0.04, vec![(4.1, 0.1, 0.0)], 0.04, 2),
    ]
}

#[test]
fn recording_and_playback_are_told_apart_and_the_uncertainty_holds() {
    let mut held = [0, 0];
    for (number, (name, lines, random, own_lines, own_random, count)) in
        effort::some(cases().into_iter().enumerate(), 5)
    {
        let recorder = transport(&lines, random, 0.5, "");
        let seed = 3 + 101 * number as u64;
        let tape = record(&recorder, seed);
        let playings: Vec<(DeckFile, u64)> = (0..count)
            .map(|k| {
                // The capstan starts at any angle.
                let turned: Lines = own_lines
                    .iter()
                    .enumerate()
                    .map(|(m, (hz, peak, _))| {
                        (*hz, *peak, (137.5 * (k as f64 + 3.7 * seed as f64 + 0.6 * m as f64)) % 360.0)
                    })
                    .collect();
                (playback(&turned, own_random, k), seed + 1 + k as u64)
            })
            .collect();
        let reading = read(&tape, &playings).unwrap();
        let found = reading.same_tape.as_ref().unwrap();
        // The flutter tone by the programme's time is about the same stretch of either transport's own time.
        let want = true_rms(&recorder, seed, found.from_s, found.to_s);
        held[1] += 1;
        held[0] += usize::from(holds(&found.recording.unweighted_rms, want));
        println!("{name} seed {seed}: recording {:?} true {want:.4}", found.recording.unweighted_rms);
        for (k, (deck, own_seed)) in playings.iter().enumerate() {
            let lead_s = [2.0, 3.3, 1.2, 5.0, 2.6][k % 5];
            let want = true_rms(deck, *own_seed, found.from_s + lead_s, found.to_s + lead_s);
            held[1] += 1;
            held[0] += usize::from(holds(&found.playings[k].own.unweighted_rms, want));
            println!("  playback {k} {:?} true {want:.4}", found.playings[k].own.unweighted_rms);
        }
        for line in &found.lines {
            // Speeds of the playings differ by 1.6 %, and so do their own rates in the programme's time.
            let is = |lines: &Lines| lines.iter().any(|own| (own.0 / line.hz - 1.0).abs() < 0.025);
            println!(
                "  line {:.2} Hz {:.3} {:?} {:.3}",
                line.hz, line.percent_peak, line.whose, line.by_chance
            );
            // A wrong word is worse than none.
            assert!(line.whose != Whose::Recording || is(&lines), "{name}: {line:?}");
            assert!(line.whose != Whose::Playback || is(&own_lines), "{name}: {line:?}");
        }
        if name == "recording flutters" {
            assert!(found.lines.iter().any(|line| line.whose == Whose::Recording), "{:?}", found.lines);
            let u = found.recording.unweighted_rms;
            assert!(u.uncertainty_percent.unwrap() < 0.4 * u.percent.unwrap(), "{u:?}");
        }
        if name == "noise against noise" {
            let u = found.recording.unweighted_rms;
            assert!(u.uncertainty_percent.unwrap() < 0.12 * u.percent.unwrap(), "{u:?}");
        }
    }
    assert!(held[0] * 10 >= held[1] * 9, "only {} of {} hold", held[0], held[1]);
}

#[test]
fn what_is_no_set_of_playings_is_refused() {
    if effort::left_to_ci() {
        return;
    }
    let tape = record(&transport(&[], 0.02, 0.0, ""), 1);
    let one = [(playback(&[], 0.02, 0), 2)];
    let told = read(&tape, &one).unwrap_err().to_string();
    assert!(told.contains("at least two"), "{told}");
}
