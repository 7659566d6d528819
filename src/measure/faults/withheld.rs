//! What is not stated of a return that something spoilt: a figure that may be wrong by more than it says loses its uncertainty.
//!
//! What is stated of a spoilt return is true within its uncertainty, or nothing (`tests/truth/spoilt.rs` counts: 95 of
//! 100). A tone that reaches the tops of a clipped channel gives no level. Coarse samples bend the gain of a weak tone,
//! by the describing function of a quantiser. Speed holds against jumps that no tear shows: by the tones' frequencies,
//! and by how far the slates step about the best line. What looks like a deck that is like that is not told (a static
//! equaliser, noise or hum of the sound card): only a loopback capture shows it.

use crate::measure::faults::lossy::LossySign;
use crate::reading::{FlutterFigures, Measured, Response, ResponsePoint, Warning, WarningId};

/// What the speed of a deck may be off by where the rate of the file is not known, percent.
const MOST_OFF_PERCENT: f64 = 6.5;
/// What a wrong rate does to figures of flutter, by moving its rates under their weighting: share.
const RATE_SHARE: f64 = 0.03;

/// Takes from `measured` what the `warnings` say is not to be relied on. The figures stay, as the file shows them; a figure without
/// an uncertainty is judged nowhere. `lossy_signs`: why a warning says that the return was compressed with loss.
pub fn withhold(measured: &mut Measured, warnings: &[Warning], lossy_signs: &[LossySign]) {
    let warned = |ids: &[WarningId]| warnings.iter().any(|warning| ids.contains(&warning.id));
    let mixed = warned(&[WarningId::Crossfeed]);
    let lossy = warned(&[WarningId::Lossy]);
    let gain = warned(&[WarningId::GainRiding, WarningId::NoiseReductionOn]);
    if mixed || warned(&[WarningId::GainRiding]) {
        for row in &mut measured.level {
            (row.return_dbfs, row.gain_db, row.difference_db) = ([None; 2], [None; 2], None);
        }
    }
    if let Some(response) = &mut measured.response {
        if mixed || gain {
            unsure(response, |_| true);
        } else if lossy {
            let from_hz = lossy_signs.iter().map(|sign| sign.from_hz).fold(f64::INFINITY, f64::min);
            unsure(response, |point| point.hz > from_hz);
        }
    }
    let coarse = warned(&[WarningId::CoarseSamples]);
    // Steps of 8 bit turn the phase of a treble tone by more than its scatter shows.
    if (mixed || coarse || warned(&[WarningId::PolarityFlips]))
        && let Some(azimuth) = &mut measured.azimuth
    {
        (azimuth.delay_us, azimuth.uncertainty_us) = (None, None);
        (azimuth.angle_arcmin, azimuth.loss_at_10k_db) = (None, None);
    }
    if (mixed || gain || lossy || warned(&[WarningId::Clicks, WarningId::CoarseSamples]))
        && let Some(noise) = &mut measured.noise
    {
        noise.uncertainty_db = [None; 2];
        noise.itu468_uncertainty_db = [None; 2];
        if let Some(mains) = &mut noise.mains {
            mains.uncertainty_db = [None; 2];
        }
    }
    if warned(&[WarningId::RateMismatch]) {
        // Whether the header is wrong or the deck, and by how much each, the file does not say.
        if let Some(speed) = &mut measured.speed {
            speed.uncertainty_percent = speed.uncertainty_percent.hypot(MOST_OFF_PERCENT);
        }
        if let Some(flutter) = &mut measured.flutter {
            let (figures, sure) = (flutter.figures(), &mut flutter.uncertainties);
            let more = |figure: Option<f64>, own: &mut Option<f64>| {
                *own = own.zip(figure).map(|(own, figure)| own.hypot(RATE_SHARE * figure));
            };
            more(figures.weighted_rms_percent, &mut sure.weighted_rms_percent);
            more(figures.weighted_quasi_peak_percent, &mut sure.weighted_quasi_peak_percent);
            more(figures.unweighted_rms_percent, &mut sure.unweighted_rms_percent);
        }
    }
    if coarse && let Some(flutter) = &mut measured.flutter {
        // Steps of 8 bit swing the tone at random; the weighting leaves little of it.
        let sure = &mut flutter.uncertainties;
        (sure.unweighted_peak_percent, sure.unweighted_rms_percent) = (None, None);
        sure.flutter_rms_percent = None;
    }
    if lossy && let Some(flutter) = &mut measured.flutter {
        (flutter.uncertainty_percent, flutter.uncertainties) = (None, FlutterFigures::default());
    }
    if (lossy || coarse)
        && let Some(distortion) = &mut measured.distortion
    {
        for step in &mut distortion.steps {
            step.k2_uncertainty_percent = [None; 2];
            step.k3_uncertainty_percent = [None; 2];
            step.thd_uncertainty_percent = [None; 2];
        }
    }
    if coarse && let Some(intermodulation) = &mut measured.intermodulation {
        for step in &mut intermodulation.steps {
            (step.second_uncertainty_percent, step.third_uncertainty_percent) = ([None; 2], [None; 2]);
        }
    }
}

fn unsure(response: &mut Response, which: impl Fn(&ResponsePoint) -> bool) {
    let points = [&mut response.steps, &mut response.sweep, &mut response.noise, &mut response.combined];
    for point in points.into_iter().flatten().filter(|point| which(point)) {
        (point.uncertainty_db, point.difference_uncertainty_db) = ([None; 2], None);
    }
}
