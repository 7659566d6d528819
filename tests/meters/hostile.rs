//! Samples that no recorder makes, but some file holds: none may end in a panic, and what is read must be numbers.

use super::bench::{RETURN, options};
use super::blocks::all_meters_on;
use crate::effort;
use deckproof::internals::capture::{CaptureError, ChirpFinder, InMemory};
use deckproof::internals::job::{ReadError, read_samples};
use deckproof::internals::judge::Reading;
use deckproof::internals::measure::{
    FlutterMeter, FlutterPlan, Meter, NoiseMeter, Reference, SweepMeter, SweepPlace, ToneMeter,
};
use deckproof::reading::FileClock;
use proptest::prelude::*;

/// From telephone quality to four times the usual rate, Hz.
const RATES_HZ: [f64; 11] = [
    8_000.0, 11_025.0, 16_000.0, 22_050.0, 32_000.0, 44_100.0, 48_000.0, 88_200.0, 96_000.0, 176_400.0,
    192_000.0,
];
/// What stands in place of a sample. 1e200 squared is beyond f64; 1e-310 is denormal.
const ODD: [f64; 9] =
    [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e200, -1e200, 1e20, 1e-310, 40_000.0, -900.0];

/// Reads it; a refusal must be in words, and a reading must survive its own JSON, which knows no NaN.
fn read(samples: &InMemory) -> Option<Reading> {
    let reading = match read_samples(samples, "hostile.wav", &options()) {
        Ok(reading) => Some(reading),
        Err(error) => {
            assert!(error.to_string().starts_with("hostile.wav: "), "{error}");
            match error {
                ReadError::NoSlate { reading, .. } => Some(*reading),
                // A rate below that of any sound card.
                ReadError::Capture(CaptureError::Rate { rate_hz, .. }) => {
                    assert!(rate_hz < 11_000.0, "{rate_hz} Hz was refused");
                    None
                }
                _ => panic!("{error}"),
            }
        }
    };
    if let Some(reading) = &reading {
        let text = serde_json::to_string(reading).unwrap();
        let back: Reading = serde_json::from_str(&text).unwrap_or_else(|error| panic!("{error} in {text}"));
        assert_eq!(&back, reading);
    }
    reading
}

fn both(rate_hz: f64, samples: Vec<f64>) -> InMemory {
    InMemory { rate_hz, channels: [samples.clone(), samples] }
}

#[test]
fn nothing_next_to_nothing_and_silence() {
    for rate_hz in effort::some(RATES_HZ, 2) {
        for frames in [0, 1, 2, 777] {
            read(&both(rate_hz, vec![0.5; frames]));
        }
    }
    for value in [0.0, 1.0].into_iter().chain(ODD) {
        read(&both(48_000.0, vec![value; 1]));
        read(&both(48_000.0, vec![value; 20_000]));
    }
    let odd = read(&both(48_000.0, vec![f64::NAN; 100])).unwrap();
    assert_eq!(odd.warnings[0].id, "broken-samples");
    let uneven = InMemory { rate_hz: 48_000.0, channels: [vec![0.1; 5000], vec![]] };
    read(&uneven);
}

#[test]
fn a_rate_that_is_none_is_refused() {
    for rate_hz in [0.0, -48_000.0, f64::NAN, f64::INFINITY, 1e-3, 1.0, 1e12] {
        let error = read_samples(&both(rate_hz, vec![0.1; 1000]), "hostile.wav", &options()).unwrap_err();
        assert!(error.to_string().contains("sample rate"), "{rate_hz}: {error}");
    }
}

#[test]
fn every_meter_bears_little_at_every_rate() {
    for rate_hz in RATES_HZ {
        for frames in [0, 1, 2, 1000, (1.5 * rate_hz) as usize] {
            for value in [0.0, 0.5] {
                let samples = vec![value; frames];
                let found = all_meters_on(rate_hz, [&samples, &samples], &[frames.max(1)]);
                assert!(
                    found.iter().all(|(_, text)| !text.contains("NaN")),
                    "{frames} of {value} at {rate_hz}"
                );
            }
        }
    }
}

/// Whoever feeds a meter without the reader's care gets numbers or nothing, and never a panic.
#[test]
fn meters_alone_say_numbers_or_nothing() {
    if effort::left_to_ci() {
        return;
    }
    for odd in ODD {
        let mut samples: Vec<f64> = (0..200_000).map(|n| 0.1 * (f64::from(n) * 0.4123).sin()).collect();
        samples[90_000] = odd;
        let block = [samples.as_slice(), samples.as_slice()];
        all_meters_on(48_000.0, block, &[samples.len()]);

        let mut tone = ToneMeter::new(48_000.0, 3150.0).unwrap();
        tone.feed(block);
        if let Some(tone) = tone.finish() {
            let levels = tone.levels.iter().flatten().flat_map(|level| [level.dbfs, level.uncertainty_db]);
            let mutual = tone.mutual.iter().flat_map(|mutual| [mutual.phase_rad, mutual.uncertainty_rad]);
            let all: Vec<f64> = levels.chain(mutual).chain([tone.hz]).collect();
            assert!(all.iter().all(|x| x.is_finite()), "tone with {odd}: {all:?}");
        }

        let mut flutter = FlutterMeter::new(
            48_000.0,
            FlutterPlan { programme_hz: 3150.0, expected_hz: 3150.0, clock: FileClock::default() },
        )
        .unwrap();
        flutter.feed(block);
        if let Some(flutter) = flutter.finish().0 {
            let back = serde_json::from_str(&serde_json::to_string(&flutter).unwrap());
            assert_eq!(back.ok(), Some(flutter), "flutter with {odd}");
        }

        let mut noise = NoiseMeter::new(48_000.0, 1.0).unwrap();
        noise.feed(block);
        if let Some(silence) = noise.finish() {
            let noise = silence.noise(&Reference {
                words: "full scale".into(),
                dbfs: [Some(0.0); 2],
                uncertainty_db: 0.0,
            });
            let back = serde_json::from_str(&serde_json::to_string(&noise).unwrap());
            assert_eq!(back.ok(), Some(noise), "noise with {odd}");
        }

        let place = SweepPlace { from_hz: 300.0, to_hz: 9000.0, ratio: 1.0, start_s: 0.1, length_s: 3.9 };
        let mut sweep = SweepMeter::new(48_000.0, place).unwrap();
        sweep.feed(block);
        let powers: Vec<f64> = sweep.finish().iter().flat_map(|point| point.power).flatten().collect();
        assert!(powers.iter().all(|power| power.is_finite()), "sweep with {odd}");

        let mut chirps = ChirpFinder::new(48_000.0);
        chirps.feed(&samples);
        let chirps = chirps.finish();
        let numbers =
            chirps.iter().flat_map(|chirp| [chirp.at_s, chirp.correlation, chirp.amplitude, chirp.phase]);
        assert!(numbers.into_iter().all(f64::is_finite), "chirps with {odd}: {chirps:?}");
    }
}

proptest! {
    #![proptest_config(effort::cases(16))]

    /// A good return, at a rate that its header gets wrong, with odd samples here and there and in rows.
    #[test]
    fn a_return_with_odd_samples(
        rate_hz in prop_oneof![3 => Just(44_100.0), 1 => prop::sample::select(RATES_HZ.to_vec())],
        places in prop::collection::vec((0.0f64..1.0, 0usize..2, prop::sample::select(ODD.to_vec()), 1usize..3000), 1..12),
    ) {
        let mut samples = RETURN.clone();
        samples.rate_hz = rate_hz;
        let frames = samples.channels[0].len();
        for (share, side, value, length) in places {
            let from = (share * frames as f64) as usize;
            samples.channels[side][from..(from + length).min(frames)].fill(value);
        }
        read(&samples);
    }

    /// Noise, steps and odd samples, short and at every rate.
    #[test]
    fn samples_of_any_kind(
        rate_hz in prop::sample::select(RATES_HZ.to_vec()),
        runs in prop::collection::vec(
            (prop_oneof![-1.0f64..1.0, prop::sample::select(ODD.to_vec()), any::<f64>()], 1usize..4000), 1..20,
        ),
    ) {
        let samples = runs.into_iter().flat_map(|(value, count)| std::iter::repeat_n(value, count)).collect();
        read(&both(rate_hz, samples));
    }
}
