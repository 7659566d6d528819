//! Losses of replay, in dB, negative or zero. All depend on the wavelength v/f only.

use std::f64::consts::PI;

/// Losses are not followed below this, dB: near a null nothing is left to measure.
const DEEPEST_DB: f64 = -120.0;

fn wavelength_um(hz: f64, speed_mm_s: f64) -> f64 {
    speed_mm_s * 1000.0 / hz
}

/// 20 lg |sin x / x|, not below -120 dB.
fn sinc_db(x: f64) -> f64 {
    if x.abs() < 1e-9 {
        return 0.0;
    }
    (20.0 * (x.sin() / x).abs().log10()).max(DEEPEST_DB)
}

/// Loss by a distance between head and coating: 20 lg e^(-2 pi d / lambda) = -54.575 d / lambda
/// (Wallace, Bell System Technical Journal, October 1951).
pub fn spacing_loss_db(distance_um: f64, hz: f64, speed_mm_s: f64) -> f64 {
    (-2.0 * PI * distance_um / wavelength_um(hz, speed_mm_s) * 20.0 * std::f64::consts::LOG10_E).max(DEEPEST_DB)
}

/// Loss by the gap: sin(pi g / lambda) / (pi g / lambda). Give the effective gap (see [`effective_gap_um`]) for a
/// real head. Beyond the first null the loss comes back as it does on a head.
pub fn gap_loss_db(gap_um: f64, hz: f64, speed_mm_s: f64) -> f64 {
    sinc_db(PI * gap_um / wavelength_um(hz, speed_mm_s))
}

/// Effective gap of a head whose mechanical gap is `gap_um`: 1.11 times it (Eargle, Electroacoustical Reference
/// Data, 1994).
pub fn effective_gap_um(gap_um: f64) -> f64 {
    1.11 * gap_um
}

/// Loss of one channel of width `track_width_mm` by a head tilted by `arcmin`:
/// sin x / x with x = pi w tan(a) / lambda.
pub fn azimuth_loss_db(arcmin: f64, track_width_mm: f64, hz: f64, speed_mm_s: f64) -> f64 {
    let slant_um = track_width_mm * 1000.0 * (arcmin / 60.0).to_radians().tan();
    sinc_db(PI * slant_um / wavelength_um(hz, speed_mm_s))
}

/// Loss by a coating of `coating_um` recorded through its depth: 20 lg[(1 - e^(-k d)) / (k d)], k = 2 pi / lambda
/// (Wallace, 1951). Real tapes fall more: a lower bound.
pub fn thickness_loss_db(coating_um: f64, hz: f64, speed_mm_s: f64) -> f64 {
    let kd = 2.0 * PI * coating_um / wavelength_um(hz, speed_mm_s);
    if kd < 1e-9 { 0.0 } else { 20.0 * (-(-kd).exp_m1() / kd).log10() }
}

/// Level of the sum of both channels (a mono listener) against either, when the head is tilted by `arcmin`:
/// 20 lg |cos(phase / 2)|, the phase being that between the channels at centre distance `pair_centre_distance_mm`.
pub fn mono_sum_loss_db(arcmin: f64, pair_centre_distance_mm: f64, hz: f64, speed_mm_s: f64) -> f64 {
    let slant_um = pair_centre_distance_mm * 1000.0 * (arcmin / 60.0).to_radians().tan();
    (20.0 * (PI * slant_um / wavelength_um(hz, speed_mm_s)).cos().abs().log10()).max(DEEPEST_DB)
}
