//! Spectrum of a silent part in third octaves.

use crate::measure::noise::reference::Reference;
use crate::measure::noise::silence::Silence;
use crate::reading::SilenceBand;
use crate::trade::octave_bands::third_octaves;
use crate::trade::sound_card::top_hz;

/// Bands that are stated, nominal, Hz.
const FROM_HZ: f64 = 20.0;
const TO_HZ: f64 = 20_000.0;
/// How exactly edges and density hold, dB: what chance does not show.
const FLATNESS_DB: f64 = 0.05;

/// Third octaves of `silence` against `reference`, rising; a band that reaches beyond half the sample rate, or into a slow
/// capture's own filter, is left out.
pub(crate) fn bands(silence: &Silence, reference: &Reference) -> Vec<SilenceBand> {
    third_octaves(FROM_HZ, TO_HZ)
        .filter(|band| band.upper_hz <= top_hz(silence.rate_hz).min(silence.rate_hz / 2.0))
        .map(|band| {
            let db = [0, 1].map(|channel| {
                let power = silence.band_power(channel, band.lower_hz, band.upper_hz);
                reference.against_db(power, channel)
            });
            let independent = silence.independent(band.upper_hz - band.lower_hz);
            // A mean square of n independent values (two squares each) has a relative deviation of 1 / root n.
            let uncertainty_db = (2.0 * 4.343 / independent.max(1.0).sqrt())
                .hypot(FLATNESS_DB)
                .hypot(reference.uncertainty_db);
            SilenceBand { hz: band.mid_hz, db, uncertainty_db: db.map(|db| db.map(|_| uncertainty_db)) }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{Meter, NoiseMeter};
    use crate::signal::noise::{Noise, PinkFilter};
    use crate::signal::test_signals::sine;

    const REFERENCE_DBFS: f64 = -12.0;

    fn read(rate_hz: f64, samples: &[f64]) -> Vec<SilenceBand> {
        let mut meter = NoiseMeter::new(rate_hz, 1.0).unwrap();
        for block in samples.chunks(5000) {
            meter.feed([block, block]);
        }
        let reference =
            Reference { words: "x".into(), dbfs: [Some(REFERENCE_DBFS), None], uncertainty_db: 0.0 };
        bands(&meter.finish().unwrap(), &reference)
    }

    /// Level of a mean square against the reference, dB.
    fn against(power: f64) -> f64 {
        10.0 * (2.0 * power).log10() - REFERENCE_DBFS
    }

    /// Bands whose error is beyond what is stated, of all.
    fn outside(bands: &[SilenceBand], want_db: impl Fn(f64) -> f64) -> usize {
        let beyond = |band: &&SilenceBand| {
            (band.db[0].unwrap() - want_db(band.hz)).abs() > band.uncertainty_db[0].unwrap()
        };
        bands.iter().filter(beyond).count()
    }

    #[test]
    fn white_noise_rises_3_db_an_octave_and_pink_noise_is_flat() {
        let mut count = [0, 0];
        for (rate, seed) in [(44_100, 1), (48_000, 2), (96_000, 3)] {
            let rate_hz = f64::from(rate);
            let frames = 12 * rate as usize;
            let mut white = Noise::white(seed);
            let samples: Vec<f64> = (0..frames).map(|_| white.sample()).collect();
            let power = samples.iter().map(|x| x * x).sum::<f64>() / frames as f64;
            let found = read(rate_hz, &samples);
            // IEC 61260-1: a third octave is G^(1/6) - G^(-1/6) of its mid-band wide, G = 10^(3/10).
            let share = 10f64.powf(0.05) - 10f64.powf(-0.05);
            let white_db = |hz: f64| against(power * hz * share / (rate_hz / 2.0));
            let beyond_white = outside(&found, white_db);

            let mut pink = Noise::pink(seed, rate).unwrap();
            let samples: Vec<f64> = (0..frames).map(|_| pink.sample()).collect();
            let flat = read(rate_hz, &samples);
            // Pink noise has as much in every band, but for the ripple of the filter that makes it. The level is that of the
            // bands from 1 kHz up, which are the surest.
            let filter = PinkFilter::new(rate).unwrap();
            let shape_db = |hz: f64| filter.response_db(hz, rate) + 10.0 * hz.log10();
            let sure: Vec<f64> =
                flat[17..].iter().map(|band| band.db[0].unwrap() - shape_db(band.hz)).collect();
            let level_db = sure.iter().sum::<f64>() / sure.len() as f64;
            assert!(flat.iter().all(|band| (band.db[0].unwrap() - level_db - shape_db(1000.0)).abs() < 2.0));
            let beyond_pink = outside(&flat, |hz| level_db + shape_db(hz));
            count = [count[0] + found.len() + flat.len(), count[1] + beyond_white + beyond_pink];

            // 20 kHz reaches to 22.39 kHz, which 44.1 kHz does not hold.
            assert_eq!(found.len(), if rate == 44_100 { 30 } else { 31 }, "{rate}");
            assert!(found.iter().all(|band| band.db[1].is_none() && band.uncertainty_db[1].is_none()));
        }
        // k = 2: one in twenty may lie outside.
        assert!(count[1] * 12 <= count[0], "{} of {} bands outside", count[1], count[0]);
    }

    #[test]
    fn a_line_stands_in_its_own_band_only() {
        for hz in [50.0, 315.0, 9000.0] {
            let samples: Vec<f64> = sine(0.001, hz, 48_000.0, 480_000);
            let found = read(48_000.0, &samples);
            let (own, others): (Vec<_>, Vec<_>) =
                found.iter().partition(|band| (band.hz / hz).max(hz / band.hz) < 10f64.powf(0.05));
            assert_eq!(own.len(), 1, "{hz}");
            // Amplitude 0.001 is -60 dBFS by definition.
            crate::assert_within!(own[0].db[0].unwrap(), -60.0 - REFERENCE_DBFS, 0.01, "dB", "{hz} Hz");
            assert!(others.iter().all(|band| band.db[0].is_none_or(|db| db < -100.0)), "{hz} Hz: {others:?}");
        }
    }
}
