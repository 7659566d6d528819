//! Returns resampled to low rates, held against the same return at its full rate: a figure that is stated is the same
//! within both uncertainties, and what the rate cannot show is not stated.

use super::bench::{Store, options};
use super::panel;
use crate::effort;
use crate::returns;
use crate::tsv;
use deckproof::internals::capture::InMemory;
use deckproof::internals::job::read_samples;
use deckproof::internals::judge::Reading;
use deckproof::internals::programme::find;
use deckproof::reading::{Pair, RecordedOn, TapeType, Verdict};
use std::collections::BTreeMap;
use std::f64::consts::PI;

/// Ripple of the resampling filter up to 0.42 of the lower rate, dB: the worst of `REFERENCE`.
const RIPPLE_DB: f64 = 0.0212;

/// What scipy 1.17.1 computes, made by tests/reference/resample_reference.py.
const REFERENCE: &str = include_str!("../reference/resample_reference.tsv");

const FULL_RATE_HZ: usize = 48_000;
const RATES_HZ: [usize; 5] = [11_025, 16_000, 22_050, 24_000, 32_000];

/// Modified Bessel function of the first kind of order 0, by its series.
fn bessel_i0(x: f64) -> f64 {
    let mut term = 1.0;
    (1..40).fold(1.0, |sum, k| {
        term *= (x / 2.0 / f64::from(k)).powi(2);
        sum + term
    })
}

fn divisor(a: usize, b: usize) -> usize {
    if b == 0 { a } else { divisor(b, a % b) }
}

/// As `scipy.signal.resample_poly` resamples by default: a windowed sinc of 20 times the larger factor and one taps, Kaiser
/// window with beta 5.
fn resampled(x: &[f64], from_hz: usize, to_hz: usize) -> Vec<f64> {
    let (up, down) = (to_hz / divisor(to_hz, from_hz), from_hz / divisor(to_hz, from_hz));
    let most = up.max(down) as f64;
    let half = 10 * up.max(down);
    let mut taps: Vec<f64> = (0..=2 * half)
        .map(|n| {
            let t = n as f64 - half as f64;
            let sinc = if t == 0.0 { 1.0 } else { (PI * t / most).sin() / (PI * t / most) };
            sinc * bessel_i0(5.0 * (1.0 - (t / half as f64).powi(2)).max(0.0).sqrt())
        })
        .collect();
    let sum: f64 = taps.iter().sum();
    taps.iter_mut().for_each(|tap| *tap *= up as f64 / sum);
    (0..x.len() * up / down)
        .map(|m| {
            // Output m lies at m * down of the finer grid, on which input k lies at k * up.
            let at = m * down + half;
            let last = (at / up).min(x.len() - 1);
            let first = (at.saturating_sub(2 * half)).div_ceil(up);
            (first..=last).map(|k| x[k] * taps[at - k * up]).sum()
        })
        .collect()
}

/// `samples` at another rate, in samples of so many bits.
fn at(samples: &InMemory, rate_hz: usize, bits: i32) -> InMemory {
    let steps = 2f64.powi(bits - 1);
    let channels = samples.channels.each_ref().map(|channel| {
        let mut channel =
            if rate_hz == FULL_RATE_HZ { channel.clone() } else { resampled(channel, FULL_RATE_HZ, rate_hz) };
        channel.iter_mut().for_each(|x| *x = (*x * steps).round().clamp(-steps, steps - 1.0) / steps);
        channel
    });
    InMemory { rate_hz: rate_hz as f64, channels }
}

fn read(samples: &InMemory) -> Reading {
    let mut told = options(RecordedOn::Calibrated);
    told.circumstances.tape_type = Some(TapeType::I);
    read_samples(samples, "return", &told).unwrap()
}

/// Figures with their uncertainties, by name.
fn figures(reading: &Reading) -> BTreeMap<String, (f64, f64)> {
    let mut all = BTreeMap::new();
    let mut put = |name: String, value: Option<f64>, sure: Option<f64>| {
        if let Some(figure) = value.zip(sure) {
            all.insert(name, figure);
        }
    };
    let mut pair = |name: String, values: Pair, sure: Pair| {
        (0..2).for_each(|side| put(format!("{name}, {side}"), values[side], sure[side]));
    };
    for row in &reading.level {
        pair(format!("level of {}", row.part), row.return_dbfs, [Some(row.uncertainty_db); 2]);
    }
    if let Some(response) = &reading.response {
        for (kind, points) in [
            ("steps", &response.steps),
            ("sweep", &response.sweep),
            ("noise", &response.noise),
            ("combined", &response.combined),
        ] {
            for point in points {
                pair(format!("response by {kind} at {:.0} Hz", point.hz), point.db, point.uncertainty_db);
            }
        }
    }
    if let Some(noise) = &reading.noise {
        pair("noise, unweighted".into(), noise.unweighted_db, noise.uncertainty_db);
        pair("noise, A-weighted".into(), noise.a_weighted_db, noise.uncertainty_db);
        pair("hiss, A-weighted".into(), noise.a_weighted_without_hum_db, noise.uncertainty_db);
        pair("noise, quasi-peak".into(), noise.itu468_db, noise.itu468_uncertainty_db);
        for band in &noise.bands {
            pair(format!("noise about {:.0} Hz", band.hz), band.db, band.uncertainty_db);
        }
        if let Some(mains) = &noise.mains {
            pair("hum".into(), mains.hum_db, mains.uncertainty_db);
        }
    }
    if let Some(distortion) = &reading.distortion {
        for step in &distortion.steps {
            let name = |what: &str| format!("{what} of {}", step.part);
            pair(name("second harmonic"), step.k2_percent, step.k2_uncertainty_percent);
            pair(name("third harmonic"), step.k3_percent, step.k3_uncertainty_percent);
            pair(name("distortion"), step.thd_percent, step.thd_uncertainty_percent);
        }
    }
    if let Some(intermodulation) = &reading.intermodulation {
        for step in &intermodulation.steps {
            let name = |what: &str| format!("{what} product of {}", step.part);
            pair(name("second"), step.second_percent, step.second_uncertainty_percent);
            pair(name("third"), step.third_percent, step.third_uncertainty_percent);
        }
    }
    if let Some(azimuth) = &reading.azimuth {
        put("delay".into(), azimuth.delay_us, azimuth.uncertainty_us);
    }
    if let Some(speed) = &reading.speed {
        put("speed".into(), Some(speed.error_percent), Some(speed.uncertainty_percent));
    }
    if let Some(flutter) = &reading.flutter {
        let (value, sure) = (flutter.figures(), &flutter.uncertainties);
        put("flutter, rms".into(), value.weighted_rms_percent, sure.weighted_rms_percent);
        put(
            "flutter, quasi-peak".into(),
            value.weighted_quasi_peak_percent,
            sure.weighted_quasi_peak_percent,
        );
        put("flutter, unweighted".into(), value.unweighted_rms_percent, sure.unweighted_rms_percent);
    }
    all
}

/// What is stated at a low rate and is not what the full rate says, and how many figures were held against each other.
fn apart(full: &Reading, low: &Reading) -> (Vec<String>, usize) {
    let (full, low) = (figures(full), figures(low));
    let mut count = 0;
    let apart = low.iter().filter_map(|(name, (value, sure))| {
        let (want, also_sure) = full.get(name)?;
        count += 1;
        let is_db = ["level", "response", "noise", "hum"].iter().any(|kind| name.starts_with(kind));
        let off = (value - want).abs() > sure + also_sure + if is_db { RIPPLE_DB } else { 0.0 };
        off.then(|| format!("{name}: {value:.4} +- {sure:.4}, at the full rate {want:.4} +- {also_sure:.4}"))
    });
    (apart.collect(), count)
}

/// What the rate cannot show.
fn not_stated(low: &Reading, rate_hz: usize) {
    let top_hz = 0.42 * rate_hz as f64;
    if let Some(response) = &low.response {
        for points in [&response.steps, &response.sweep, &response.noise, &response.combined] {
            assert!(points.iter().all(|point| point.hz <= top_hz), "{rate_hz}: {points:?}");
        }
        let treble = response.steps.iter().any(|point| point.hz > 0.7 * top_hz);
        assert!(treble, "{rate_hz}: nothing up to {top_hz} Hz");
    }
    assert_eq!(low.azimuth.is_some(), top_hz > 8000.0, "{rate_hz}");
    let noise = low.noise.as_ref().unwrap();
    assert_eq!(noise.unweighted_db, [None; 2], "{rate_hz}");
    assert_eq!(noise.unweighted_without_hum_db, [None; 2], "{rate_hz}");
    assert_eq!(noise.a_weighted_db[0].is_some(), rate_hz == 32_000, "{rate_hz}");
    assert_eq!(noise.itu468_db[0].is_some(), rate_hz >= 24_000, "{rate_hz}");
    assert!(low.warnings.iter().any(|warning| warning.id == "low-rate"), "{rate_hz}");
    for finding in &low.findings {
        let needs_hz = match finding.id.as_str() {
            "azimuth" => 8000.0,
            "noise" => 13_000.0,
            "playback-response" if finding.kind.is_none() => 9600.0,
            _ => continue,
        };
        if top_hz < needs_hz && finding.verdict != Verdict::Outside {
            assert_eq!(finding.verdict, Verdict::CannotTell, "{rate_hz}: {finding:?}");
            let untold = finding.untold.as_ref().unwrap();
            assert!(untold.because.contains("samples a second"), "{rate_hz}: {untold:?}");
            assert!(untold.find_out.contains("44100 Hz or more"), "{rate_hz}: {untold:?}");
        }
    }
}

/// Reads what `recipe` returns from an uneven deck at each low rate, in 16 and 8 bit.
fn held(recipe: &str, seed: u64, one_in: u32) {
    let returned = returns::of(
        &find(recipe).unwrap(),
        &panel::uneven(seed),
        seed,
        FULL_RATE_HZ as u32,
        Store::TwentyFour,
    );
    let full = read(&returned);
    let cases = RATES_HZ.into_iter().flat_map(|rate_hz| [(rate_hz, 16), (rate_hz, 8)]);
    let mut odd = Vec::new();
    let mut all = 0;
    for (rate_hz, bits) in effort::some(cases, one_in) {
        let low = read(&at(&returned, rate_hz, bits));
        if bits == 16 && recipe == "full" {
            not_stated(&low, rate_hz);
        }
        let ids: Vec<&str> = low.warnings.iter().map(|warning| warning.id.as_str()).collect();
        for id in ["clicks", "clipped", "dead-channel", "lossy", "rate-mismatch"] {
            assert!(!ids.contains(&id), "{rate_hz} Hz, {bits} bit: {ids:?}");
        }
        let (apart, count) = apart(&full, &low);
        // Coarse samples leave levels, speed and weighted flutter; a recipe for distortion has nothing else to compare.
        for kind in ["level", "speed", "flutter, rms", "flutter, quasi-peak"] {
            let states = |reading| figures(reading).keys().any(|name| name.starts_with(kind));
            assert!(states(&low) || !states(&full), "{rate_hz} Hz, {bits} bit: no {kind}");
        }
        let is_all = bits == 8 && recipe == "saturation";
        let enough = is_all || count > if bits == 16 { 40 } else { 5 };
        assert!(enough, "{rate_hz} Hz, {bits} bit: {count} figures only");
        all += count;
        odd.extend(apart.into_iter().map(|words| format!("{recipe}, {rate_hz} Hz, {bits} bit: {words}")));
    }
    eprintln!("{recipe}, seed {seed}: {} of {all} apart\n{}", odd.len(), odd.join("\n"));
    // k = 2 of both together: what is further apart is one of some hundreds.
    assert!(odd.len() * 100 <= all, "{} of {all}:\n{}", odd.len(), odd.join("\n"));
}

#[test]
fn the_returns_are_resampled_as_scipy_does() {
    let x: Vec<f64> = (0..1200u32).map(|n| f64::from(n * n % 101) / 101.0 - 0.5).collect();
    let mut worst_db: f64 = 0.0;
    for row in tsv::rows(REFERENCE, 50) {
        let got = resampled(&x, FULL_RATE_HZ, row.number("rate_hz") as usize)[row.number("index") as usize];
        deckproof::assert_within!(got, row.number("value"), 1e-9, "", "at {}", row.number("rate_hz"));
        worst_db = worst_db.max(row.number("ripple_db"));
    }
    deckproof::assert_within!(worst_db, RIPPLE_DB, 1e-4, "dB");
}

#[test]
fn what_is_stated_at_a_low_rate_is_what_the_full_rate_says() {
    held("full", 60_410, 10);
}

#[test]
fn distortion_and_saturation_at_a_low_rate_are_those_of_the_full_rate() {
    if !effort::left_to_ci() {
        held("saturation", 60_411, 1);
    }
}

#[test]
fn a_slow_file_is_not_taken_for_a_mislabelled_one_nor_the_reverse() {
    if effort::left_to_ci() {
        return;
    }
    let recipe = find("first-look").unwrap();
    let returned =
        returns::of(&recipe, &panel::uneven(60_412), 60_412, FULL_RATE_HZ as u32, Store::TwentyFour);
    for (true_hz, header_hz) in [
        (22_050, 22_050),
        (22_050, 44_100),
        (44_100, 22_050),
        (24_000, 22_050),
        (11_025, 22_050),
        (16_000, 16_000),
    ] {
        let mut samples = at(&returned, true_hz, 16);
        samples.rate_hz = header_hz as f64;
        let reading = read(&samples);
        let warned = |id: &str| reading.warnings.iter().any(|warning| warning.id == id);
        assert_eq!(warned("rate-mismatch"), true_hz != header_hz, "{true_hz} in the header {header_hz}");
        assert_eq!(warned("low-rate"), true_hz < 44_000, "{true_hz} in the header {header_hz}");
        let speed = reading.speed.as_ref().unwrap();
        assert!(speed.error_percent.abs() < 0.5, "{true_hz} in the header {header_hz}: {speed:?}");
    }
}
