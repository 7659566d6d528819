//! Azimuth: delay between the channels, the angle it stands for, how much it moves, and what it costs.

use crate::measure::azimuth::delay_fit::{DelayFit, Difference, fit_delay};
use crate::measure::response::steps::PlayedTone;
use crate::reading::{Azimuth, PhasePoint};
use crate::signal::baseband::Band;
use crate::signal::spectrum::periodogram;
use crate::signal::statistics::{exponential_mean, mean};
use crate::trade::{Medium, playback_losses};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// Azimuth and what was learnt about the wiring on the way.
#[derive(Debug, Clone, PartialEq)]
pub struct AzimuthResult {
    /// For the reading.
    pub azimuth: Azimuth,
    /// The channels have opposite polarity (undone in the phases).
    pub opposed: bool,
    /// Another delay fits the phases almost as well.
    pub unresolved: bool,
}

/// How the channels differed at one tone of the programme.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayedDifference {
    /// Frequency in the programme, Hz.
    pub hz: f64,
    /// Standard deviation of the phase over the part, rad.
    pub spread_rad: f64,
    /// Level and phase, right minus left.
    pub difference: Difference,
}

/// The differences between the channels at all tones that were measured in both, by rising frequency.
///
/// Those at equal frequencies stand in the order of time.
pub(crate) fn differences<'a>(tones: impl Iterator<Item = PlayedTone<'a>>) -> Vec<PlayedDifference> {
    let mut rows: Vec<PlayedDifference> = tones
        .filter_map(|PlayedTone { hz, at_s, tone, .. }| {
            let (left, right, mutual) = (tone.levels[0]?, tone.levels[1]?, tone.mutual?);
            let difference = Difference {
                hz: tone.hz,
                at_s: Some(at_s),
                level_db: right.dbfs - left.dbfs,
                level_sigma_db: left.uncertainty_db.hypot(right.uncertainty_db) / 2.0,
                phase_rad: mutual.phase_rad,
                phase_sigma_rad: mutual.uncertainty_rad / 2.0,
            };
            Some(PlayedDifference { hz, spread_rad: mutual.spread_rad, difference })
        })
        .collect();
    rows.sort_by(|a, b| a.hz.total_cmp(&b.hz));
    rows
}

/// Azimuth from how the channels differ; `rate_hz` is the sample rate of the return; `wander_us_rms` is passed on.
///
/// `None` if there are fewer than four differences.
pub fn azimuth(
    differences: &[PlayedDifference],
    wander_us_rms: Option<f64>,
    rate_hz: f64,
    medium: &Medium,
) -> Option<AzimuthResult> {
    let plain: Vec<Difference> = differences.iter().map(|row| row.difference).collect();
    let fit: DelayFit = fit_delay(&plain, rate_hz)?;
    let angle_arcmin = medium.arcmin_from_delay_us(fit.delay_us);
    let loss =
        playback_losses::azimuth_loss_db(angle_arcmin, medium.track_width_mm, 10_000.0, medium.speed_mm_s);
    let phase = differences
        .iter()
        .enumerate()
        .map(|(i, row)| PhasePoint {
            hz: row.hz,
            deg: fit.unwrapped_rad[i].to_degrees(),
            spread_deg: row.spread_rad.to_degrees(),
            response_deg: Some(fit.response_rad[i].to_degrees()),
        })
        .collect();
    let resolved = fit.resolved;
    Some(AzimuthResult {
        azimuth: Azimuth {
            delay_us: resolved.then_some(fit.delay_us),
            uncertainty_us: resolved.then_some(fit.uncertainty_us),
            angle_arcmin: resolved.then_some(angle_arcmin),
            wander_us_rms,
            loss_at_10k_db: resolved.then_some(loss),
            phase,
        },
        opposed: fit.opposed,
        unresolved: !resolved,
    })
}

/// Limits of the wander's band, Hz: slower is drift of the mean, faster is noise of the tape.
const WANDER_BAND_HZ: (f64, f64) = (0.1, 10.0);

/// Rms of the delay's movement between 0.1 and 10 Hz over a steady tone in both channels' `bands`, noise subtracted, us.
/// `None` if shorter than 3 s or too noisy.
pub fn wander_us(bands: &[Band; 2]) -> Option<f64> {
    let (rate_hz, centre_hz) = (bands[0].rate_hz, bands[0].centre_hz);
    let size = (rate_hz / 50.0).round().max(1.0) as usize;
    let crosses: Vec<Complex64> = bands[0]
        .samples
        .chunks_exact(size)
        .zip(bands[1].samples.chunks_exact(size))
        .map(|(left, right)| left.iter().zip(right).map(|(l, r)| r * l.conj()).sum())
        .collect();
    let block_hz = rate_hz / size as f64;
    if (crosses.len() as f64) < 3.0 * block_hz {
        return None;
    }
    let sum: Complex64 = crosses.iter().sum();
    let phases: Vec<f64> = crosses.iter().map(|cross| (cross * sum.conj()).arg()).collect();
    // Phases that run all round cannot be told from noise.
    if phases.iter().filter(|phase| phase.abs() > 0.8 * PI).count() * 20 > phases.len() {
        return None;
    }
    let mut delays: Vec<f64> = phases.iter().map(|phase| -phase / (TAU * centre_hz) * 1e6).collect();
    let mean = mean(&delays);
    delays.iter_mut().for_each(|delay| *delay -= mean);
    let spectrum = periodogram(&delays.iter().map(|&d| Complex64::new(d, 0.0)).collect::<Vec<_>>(), block_hz);
    let n = spectrum.len() as f64;
    // The noise of the phase is white; above the wander's band there is only noise, and single lines (hum).
    let beyond = spectrum.iter().filter(|(hz, _)| hz.abs() > 1.3 * WANDER_BAND_HZ.1);
    let noise = exponential_mean(beyond.map(|bin| bin.1));
    let variance: f64 = spectrum
        .iter()
        .filter(|(hz, _)| hz.abs() >= WANDER_BAND_HZ.0 && hz.abs() <= WANDER_BAND_HZ.1)
        .map(|bin| bin.1 - noise)
        .sum::<f64>()
        / n;
    Some(variance.max(0.0).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::Random;

    fn bands(wander_us: f64, wander_hz: f64, noise_us: f64) -> [Band; 2] {
        let rate_hz = 1500.0;
        let mut random = Random(3);
        let band = |samples| Band { samples, rate_hz, centre_hz: 10_000.0, first_s: 0.0 };
        let right = (0..15_000)
            .map(|n| {
                let t = f64::from(n) / rate_hz;
                let delay =
                    5.0 + wander_us * 2f64.sqrt() * (TAU * wander_hz * t).sin() + noise_us * random.even();
                Complex64::from_polar(0.1, -TAU * 10_000.0 * delay * 1e-6)
            })
            .collect();
        [band(vec![Complex64::new(0.1, 0.0); 15_000]), band(right)]
    }

    #[test]
    fn wander_is_read_and_noise_is_not() {
        crate::assert_within!(wander_us(&bands(1.0, 1.3, 0.0)).unwrap(), 1.0, 0.03, "us");
        // 2 us of noise in 750 Hz are 0.23 us in 10 Hz.
        crate::assert_within!(wander_us(&bands(1.0, 1.3, 2.0)).unwrap(), 1.0, 0.06, "us");
        assert!(wander_us(&bands(0.0, 1.0, 2.0)).unwrap() < 0.12);
    }
}
